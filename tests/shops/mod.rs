//! Simulated shops with known truth, for tests of promises.
//!
//! Panels carry background marks (flat, edge-heavy, corner-heavy, one-sided;
//! clumped; gamma-mixed over panels and lots) and, on demand, planted repeats in
//! the machine's, the panel's or one lot's name. All invented.
//!
//! [`Shop`] places marks. The shops of `promises/recipe` and `promises/change` place
//! none: they make removal and counts follow a recipe and a change. `confounded` makes
//! floors in which parties hide behind each other, `command/shop` one fixed pattern
//! without chance. What they share is here: panels, times, draws, files.
#![allow(
    dead_code,
    unused_imports,
    reason = "each test binary uses its own part of the simulator"
)]

pub mod confounded;
pub mod draws;
pub mod files;

use std::sync::Arc;

use onus::causes::{View, ViewMark, ViewPanel};
use onus::records::{Defect, DefectName, Lay, Moment, Panel, Point, Reading, Records};
use onus::site::DefectClass;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Exp};

use draws::{mixing, normal, pick, poisson};

/// Where ordinary marks fall.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Background {
    /// Anywhere alike.
    Flat,
    /// A share near an edge at an exponential distance of this mean, mm; the low-x
    /// edge takes `left` times as many a length as the others, at least 1.
    Edges { share: f64, mean_mm: f64, left: f64 },
    /// A share near a corner, both distances exponential of this mean, mm; the
    /// first corner takes `first` times as many as each of the others, at least 1.
    Corners {
        share: f64,
        mean_mm: f64,
        first: f64,
    },
    /// The rate falls by this factor from low to high machine x.
    OneSided { factor: f64 },
}

/// Seven marks in ten lie along the edges.
pub const EDGES: Background = Background::Edges {
    share: 0.7,
    mean_mm: 15.0,
    left: 1.0,
};

/// Whose a planted repeat is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Owner {
    /// Fixed in the machine frame of the first machine.
    Machine,
    /// Fixed in the machine frame of the second machine.
    SecondMachine,
    /// Fixed in the panel frame of all panels.
    Panel,
    /// Fixed in the panel frame of the first `n` lots only.
    Lots(usize),
    /// Fixed on the inspection table.
    Table,
    /// At fixed distances from the panel's low edges as it lies in the machine.
    Path,
    /// Fixed in the panel frame, but only the first inspector writes it down.
    Inspector,
}

/// What a planted repeat looks like.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Looks {
    /// A place.
    Spot,
    /// A stripe at the place's x, anywhere along y of the owner's frame.
    LineAlongY,
    /// Stripes along y of the owner's frame, a pitch apart.
    Bars { pitch: Pitch, phase: BarPhase },
}

/// What bars are apart by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Pitch {
    /// So many mm, whatever the feed.
    Mm(f64),
    /// The way fed in one period of this frequency.
    Hz(f64),
}

/// Where bars begin.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BarPhase {
    /// At the same place on all panels.
    Fixed,
    /// Anew on every panel.
    Slips,
}

/// A planted repeat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Repeater {
    /// Whose it is.
    pub owner: Owner,
    /// Where, in the owner's frame, mm.
    pub at: Point,
    /// Chance of a mark on a panel exposed to it.
    pub share: f64,
    /// Scatter of the place, mm, without the location error.
    pub sd_mm: f64,
    /// First and last panel (share of the run) on which it lives.
    pub live: (f64, f64),
    /// What it looks like.
    pub looks: Looks,
    /// Further marks, on average, of a line or bars on a panel with a mark of it.
    pub further: f64,
    /// How far the place moves over the whole run, steadily, mm.
    pub moves_mm: Point,
}

impl Repeater {
    /// A repeat at a place of the first machine, alive all the time.
    pub fn machine(x: f64, y: f64, share: f64) -> Self {
        Self {
            owner: Owner::Machine,
            at: Point { x, y },
            share,
            sd_mm: 2.5,
            live: (0.0, 1.0),
            looks: Looks::Spot,
            further: 0.0,
            moves_mm: Point { x: 0.0, y: 0.0 },
        }
    }

    /// A line of the first machine along y, with half a mark more on a panel.
    pub fn line(x: f64, share: f64) -> Self {
        Self {
            looks: Looks::LineAlongY,
            further: 0.5,
            ..Self::machine(x, 0.0, share)
        }
    }

    /// The same with another scatter.
    pub fn scattered(self, sd_mm: f64) -> Self {
        Self { sd_mm, ..self }
    }

    /// The same of another owner.
    pub fn owned_by(self, owner: Owner) -> Self {
        Self { owner, ..self }
    }
}

/// A shop: everything that the simulation needs to know.
#[derive(Debug, Clone, PartialEq)]
pub struct Shop {
    /// Panels in all.
    pub panels: usize,
    /// Machines, taken in turn; 0 = not recorded.
    pub machines: usize,
    /// Lots; panels come in pallets of ten, lots return; 0 = not recorded.
    pub lots: usize,
    /// Lots run one after the other instead of returning.
    pub lots_in_blocks: bool,
    /// Panel sizes, mm, drawn at random.
    pub sizes: Vec<(f64, f64)>,
    /// Lays with their chances.
    pub lays: Vec<(Lay, f64)>,
    /// Whether all panels of a lot lie one way, the lays taken in turn by lot.
    pub lay_by_lot: bool,
    /// Feeds, mm/s, set in turn for ten panels of each machine; none = not recorded.
    pub feeds: Vec<f64>,
    /// Whether the lay at the inspection table is recorded, drawn from 0 and 180.
    pub inspect_lays: bool,
    /// Inspectors, drawn at random; 0 = not recorded.
    pub inspectors: usize,
    /// Background marks a panel, on average.
    pub marks: f64,
    /// Shape of the gamma that mixes panels' rates; smaller is wilder.
    pub mixing: f64,
    /// Rate factors of the lots, taken in turn (the first lots are the bad ones).
    pub lot_factors: Vec<f64>,
    /// Where ordinary marks fall.
    pub background: Background,
    /// Scatter of clumps, mm; none = single marks.
    pub clump_sd_mm: Option<f64>,
    /// Location error, mm.
    pub error_mm: f64,
    /// Grid to which half of the panels' inspectors round, mm; 0 = none.
    pub rounding_mm: f64,
    /// Share of panels whose places are rounded.
    pub rounded_share: f64,
    /// Planted repeats.
    pub repeaters: Vec<Repeater>,
    /// Name and class of the defect.
    pub defect: (&'static str, Option<DefectClass>),
}

impl Default for Shop {
    fn default() -> Self {
        Self {
            panels: 100,
            machines: 1,
            lots: 10,
            lots_in_blocks: false,
            sizes: vec![(600.0, 400.0)],
            lays: vec![(Lay::Deg0, 0.5), (Lay::Deg180, 0.5)],
            lay_by_lot: false,
            feeds: Vec::new(),
            inspect_lays: true,
            inspectors: 0,
            marks: 2.0,
            mixing: 1.0,
            lot_factors: vec![1.0],
            background: Background::Flat,
            clump_sd_mm: None,
            error_mm: 3.0,
            rounding_mm: 0.0,
            rounded_share: 1.0,
            repeaters: Vec::new(),
            defect: ("sand-through", Some(DefectClass::Over)),
        }
    }
}

impl Shop {
    /// A stream for the scan alone: panels all laid alike, so that machine and panel
    /// have one frame.
    pub fn stream() -> Self {
        Self {
            lays: vec![(Lay::Deg0, 1.0)],
            ..Self::default()
        }
    }

    /// The same with a lot for every ten panels, the first two with ten times the rate.
    pub fn with_bad_lots(self) -> Self {
        let lots = self.panels.div_ceil(10);
        Self {
            lots,
            lot_factors: (0..lots).map(|k| if k < 2 { 10.0 } else { 1.0 }).collect(),
            ..self
        }
    }

    /// The marks of one run in the machine's frame.
    pub fn view(&self, seed: u64) -> View {
        let records = self.records(seed);
        let panel = |p: &Panel| ViewPanel {
            rect: p.machine_rect(),
            swapped: matches!(p.lay, Lay::Deg90 | Lay::Deg270),
        };
        let mark = |(defect, d): (usize, &Defect)| {
            let place = d.place?;
            Some(ViewMark {
                panel: d.panel,
                at: records.panels[d.panel].to_machine(place),
                grain_mm: grain(place),
                defect,
            })
        };
        View {
            panels: records.panels.iter().map(panel).collect(),
            marks: records
                .defects
                .iter()
                .enumerate()
                .filter_map(mark)
                .collect(),
        }
    }

    /// The records of one run of the shop.
    pub fn records(&self, seed: u64) -> Records {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut panels = Vec::with_capacity(self.panels);
        let mut defects = Vec::new();
        for i in 0..self.panels {
            let panel = self.panel(i, &mut rng);
            let marks = self.marks_of(i, &panel, &mut rng);
            let round = self.rounding_mm > 0.0 && rng.random::<f64>() < self.rounded_share;
            for mark in marks {
                let written = self.written(mark, &panel, round, &mut rng);
                defects.push(mark_on(i, 0, Some(written)));
            }
            panels.push(panel);
        }
        let mut records = Records {
            panels,
            defects,
            defect_names: vec![DefectName {
                name: self.defect.0.into(),
                class: self.defect.1,
            }],
            ..Records::default()
        };
        count(&mut records);
        records
    }

    fn panel(&self, i: usize, rng: &mut ChaCha8Rng) -> Panel {
        let (length_mm, width_mm) = self.sizes[rng.random_range(0..self.sizes.len())];
        let name = |prefix: &str, k: usize| Some(Arc::from(format!("{prefix}{}", k + 1)));
        let set = i / self.machines.max(1) / 10 % self.feeds.len().max(1);
        Panel {
            machine: (self.machines > 0)
                .then(|| name("M", i % self.machines))
                .flatten(),
            lot: self.lot(i).and_then(|k| name("lot-", k)),
            feed_mm_s: self.feeds.get(set).copied(),
            lay: match self.lot(i) {
                Some(lot) if self.lay_by_lot => self.lays[lot % self.lays.len()].0,
                _ => pick(&self.lays, rng),
            },
            lay_recorded: true,
            inspect_lay: self
                .inspect_lays
                .then(|| pick(&[(Lay::Deg0, 0.5), (Lay::Deg180, 0.5)], rng)),
            inspector: (self.inspectors > 0)
                .then(|| name("I", rng.random_range(0..self.inspectors)))
                .flatten(),
            ..panel_at(i, (0, 7 * i), (length_mm, width_mm))
        }
    }

    /// The lot of panel `i`, 0-based.
    pub fn lot(&self, i: usize) -> Option<usize> {
        match (self.lots, self.lots_in_blocks) {
            (0, _) => None,
            (lots, true) => Some(i * lots / self.panels),
            (lots, false) => Some(i / 10 % lots),
        }
    }

    fn marks_of(&self, i: usize, panel: &Panel, rng: &mut ChaCha8Rng) -> Vec<Point> {
        let lot = self.lot(i).unwrap_or(0);
        let factor = self.lot_factors[lot % self.lot_factors.len()];
        let mean = self.marks * factor * mixing(self.mixing, rng);
        let clump = if self.clump_sd_mm.is_some() { 2.0 } else { 1.0 };
        let mut marks = Vec::new();
        for _ in 0..poisson(mean / clump, rng) {
            let centre = self.background_point(panel, rng);
            marks.push(centre);
            if let Some(sd) = self.clump_sd_mm {
                for _ in 0..poisson(1.0, rng) {
                    marks.push(Point {
                        x: centre.x + sd * normal(rng),
                        y: centre.y + sd * normal(rng),
                    });
                }
            }
        }
        for repeater in &self.repeaters {
            marks.extend(self.planted(repeater, i, panel, rng));
        }
        marks
    }

    fn background_point(&self, panel: &Panel, rng: &mut ChaCha8Rng) -> Point {
        let (l, w) = (panel.length_mm, panel.width_mm);
        let mut p = Point {
            x: rng.random::<f64>() * l,
            y: rng.random::<f64>() * w,
        };
        let near = |mean_mm: f64, extent: f64, rng: &mut ChaCha8Rng| {
            let d = Exp::new(1.0 / mean_mm)
                .unwrap()
                .sample(rng)
                .min(extent / 2.0);
            if rng.random::<bool>() { d } else { extent - d }
        };
        match self.background {
            Background::Flat => {}
            Background::Edges {
                share,
                mean_mm,
                left,
            } => {
                if rng.random::<f64>() < share {
                    let (ends, sides) = ((left + 1.0) * w, 2.0 * l);
                    if rng.random::<f64>() < ends / (ends + sides) {
                        p.x = near(mean_mm, l, rng);
                        if left > 1.0 && rng.random::<f64>() < (left - 1.0) / (left + 1.0) {
                            p.x = p.x.min(l - p.x);
                        }
                    } else {
                        p.y = near(mean_mm, w, rng);
                    }
                }
            }
            Background::Corners {
                share,
                mean_mm,
                first,
            } => {
                if rng.random::<f64>() < share {
                    p = Point {
                        x: near(mean_mm, l, rng),
                        y: near(mean_mm, w, rng),
                    };
                    if first > 1.0 && rng.random::<f64>() < (first - 1.0) / (first + 3.0) {
                        p = Point {
                            x: p.x.min(l - p.x),
                            y: p.y.min(w - p.y),
                        };
                    }
                }
            }
            Background::OneSided { factor } => {
                let rect = panel.machine_rect();
                loop {
                    let at = (panel.to_machine(p).x - rect.x0) / rect.width();
                    if rng.random::<f64>() < (1.0 - at) + at / factor {
                        break;
                    }
                    p = Point {
                        x: rng.random::<f64>() * l,
                        y: rng.random::<f64>() * w,
                    };
                }
            }
        }
        p
    }

    fn planted(&self, r: &Repeater, i: usize, panel: &Panel, rng: &mut ChaCha8Rng) -> Vec<Point> {
        let when = i as f64 / self.panels as f64;
        let hit = rng.random::<f64>() < r.share;
        let (dx, dy) = (r.sd_mm * normal(rng), r.sd_mm * normal(rng));
        let of_machine = |k: usize| self.machines == 0 || i % self.machines == k;
        let mine = match r.owner {
            Owner::Machine | Owner::Path => of_machine(0),
            Owner::SecondMachine => of_machine(1),
            Owner::Panel | Owner::Table => true,
            Owner::Lots(n) => self.lot(i).is_some_and(|lot| lot < n),
            Owner::Inspector => panel.inspector.as_deref() == Some("I1"),
        };
        if !hit || !mine || when < r.live.0 || when > r.live.1 {
            return Vec::new();
        }
        let stripe = Stripe::of(r, panel, rng);
        let mut marks = Vec::new();
        for k in 0..1 + poisson(r.further, rng) {
            let dx = if k == 0 { dx } else { r.sd_mm * normal(rng) };
            let laid = Point {
                x: stripe.map_or(r.at.x, |s| s.x(rng)) + r.moves_mm.x * when + dx,
                y: match stripe {
                    Some(_) => rng.random::<f64>() * panel.machine_rect().height(),
                    None => r.at.y + r.moves_mm.y * when + dy,
                },
            };
            let mark = r.owner.to_panel(panel, laid);
            // A place counts where it lies itself, a stripe where the mark does.
            let there = stripe.map_or_else(|| r.owner.to_panel(panel, r.at), |_| mark);
            if panel.rect().contains(there) {
                marks.push(mark);
            }
        }
        marks
    }

    fn written(&self, p: Point, panel: &Panel, round: bool, rng: &mut ChaCha8Rng) -> Point {
        let put = |v: f64, extent: f64, rng: &mut ChaCha8Rng| {
            let mut v = v + self.error_mm * normal(rng);
            v = if round {
                (v / self.rounding_mm).round() * self.rounding_mm
            } else {
                (v * 10.0).round() / 10.0
            };
            v.clamp(0.0, extent)
        };
        let x = put(p.x, panel.length_mm, rng);
        Point {
            x,
            y: put(p.y, panel.width_mm, rng),
        }
    }
}

/// The x of stripes in the owner's frame.
#[derive(Debug, Clone, Copy)]
struct Stripe {
    first: f64,
    pitch: f64,
    count: usize,
}

impl Stripe {
    fn of(r: &Repeater, panel: &Panel, rng: &mut ChaCha8Rng) -> Option<Self> {
        let (pitch, phase) = match r.looks {
            Looks::Spot => return None,
            Looks::LineAlongY => {
                return Some(Self {
                    first: r.at.x,
                    pitch: 0.0,
                    count: 1,
                });
            }
            Looks::Bars { pitch, phase } => (pitch, phase),
        };
        let pitch = match pitch {
            Pitch::Mm(mm) => mm,
            Pitch::Hz(hz) => panel.feed_mm_s.unwrap() / hz,
        };
        let first = pitch
            * match phase {
                BarPhase::Fixed => 0.3,
                BarPhase::Slips => rng.random::<f64>(),
            };
        let extent = match r.owner {
            Owner::Machine | Owner::SecondMachine => panel.machine_rect().width(),
            _ => panel.length_mm,
        };
        Some(Self {
            first,
            pitch,
            count: ((extent - first) / pitch).max(0.0) as usize + 1,
        })
    }

    fn x(self, rng: &mut ChaCha8Rng) -> f64 {
        let bar = if self.count > 1 {
            rng.random_range(0..self.count)
        } else {
            0
        };
        self.first + self.pitch * bar as f64
    }
}

impl Owner {
    /// Where a point of the owner's frame lies on the panel.
    fn to_panel(self, panel: &Panel, p: Point) -> Point {
        match self {
            Owner::Machine | Owner::SecondMachine => from_machine(panel, p),
            Owner::Panel | Owner::Lots(_) | Owner::Inspector => p,
            Owner::Table => from_table(panel, p),
            Owner::Path => {
                let rect = panel.machine_rect();
                let at = Point {
                    x: rect.x0 + p.x,
                    y: rect.y0 + p.y,
                };
                from_machine(panel, at)
            }
        }
    }
}

/// Step of the round numbers in which a place is written, mm; 0 if not round.
fn grain(place: Point) -> f64 {
    let divides = |g: f64, v: f64| ((v / g) - (v / g).round()).abs() < 1e-6;
    [100.0, 50.0, 25.0, 20.0, 10.0, 5.0]
        .into_iter()
        .find(|&g| divides(g, place.x) && divides(g, place.y))
        .unwrap_or(0.0)
}

/// The panel of this number, sanded so many days and minutes after the first of all,
/// inspected, and nothing else known of it.
pub fn panel_at(i: usize, (day, minute): (usize, usize), size: (f64, f64)) -> Panel {
    let first: jiff::civil::DateTime = "2031-03-03T06:00:00".parse().unwrap();
    let whole = |n: usize| i64::try_from(n).unwrap();
    let later = jiff::Span::new().days(whole(day)).minutes(whole(minute));
    Panel {
        id: format!("P{i:05}"),
        sanded_at: Some(at_local(first + later)),
        length_mm: size.0,
        width_mm: size.1,
        inspected: true,
        ..Panel::default()
    }
}

/// A time of day in a shop that keeps universal time.
pub fn at_local(local: jiff::civil::DateTime) -> Moment {
    let instant = jiff::tz::TimeZone::UTC.to_timestamp(local).unwrap();
    Moment { instant, local }
}

/// A mark on a panel, of the defect with this number.
pub fn mark_on(panel: usize, name: usize, place: Option<Point>) -> Defect {
    Defect {
        panel,
        name,
        place,
        written: place,
        area_mm2: None,
        severity: None,
    }
}

/// Where a machine point lies on the panel.
pub fn from_machine(panel: &Panel, p: Point) -> Point {
    let at = Point {
        x: p.x - panel.lay_x_mm,
        y: p.y - panel.lay_y_mm,
    };
    turned_back(panel, panel.lay, at)
}

/// Where a point of the inspection table lies on the panel.
pub fn from_table(panel: &Panel, p: Point) -> Point {
    turned_back(panel, panel.inspect_lay.unwrap_or_default(), p)
}

fn turned_back(panel: &Panel, lay: Lay, Point { x, y }: Point) -> Point {
    let (l, w) = (panel.length_mm, panel.width_mm);
    match lay {
        Lay::Deg0 => Point { x, y },
        Lay::Deg90 => Point { x: y, y: w - x },
        Lay::Deg180 => Point { x: l - x, y: w - y },
        Lay::Deg270 => Point { x: l - y, y: x },
    }
}

/// Adds removal readings on a `side` × `side` grid: base, machine slopes along
/// machine x and y (µm per half extent), panel-to-panel slope sd, gauge sd.
pub fn add_readings(
    records: &mut Records,
    side: usize,
    base: f64,
    slope: (f64, f64),
    panel_sd: f64,
    gauge_sd: f64,
    seed: u64,
) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    for (index, panel) in records.panels.iter().enumerate() {
        let (px, py) = (panel_sd * normal(&mut rng), panel_sd * normal(&mut rng));
        let rect = panel.machine_rect();
        for j in 0..side * side {
            let at = |k: usize| (k as f64 + 0.5) / side as f64;
            let place = Point {
                x: panel.length_mm * at(j % side),
                y: panel.width_mm * at(j / side),
            };
            let m = panel.to_machine(place);
            let u = 2.0 * (m.x - rect.x0) / rect.width() - 1.0;
            let v = 2.0 * (m.y - rect.y0) / rect.height() - 1.0;
            let removed =
                base + (slope.0 + px) * u + (slope.1 + py) * v + gauge_sd * normal(&mut rng);
            records.readings.push(Reading {
                panel: index,
                place: Some(place),
                removed_um: Some(removed),
                film_um: None,
            });
        }
    }
    count(records);
}

/// Puts the streams of several records of the same panels side by side.
pub fn merge(mut first: Records, second: Records) -> Records {
    let shift = first.defect_names.len();
    first.defect_names.extend(second.defect_names);
    first
        .defects
        .extend(second.defects.into_iter().map(|d| Defect {
            name: d.name + shift,
            ..d
        }));
    first.defects.sort_by_key(|d| d.panel);
    count(&mut first);
    first
}

fn count(records: &mut Records) {
    records.input.files = 1;
    records
        .input
        .count(&records.panels, &records.defects, &records.readings);
}

/// Adds marks of one kind to every panel, in machine coordinates: `marks` gives
/// those of a panel. Without location error; rounded to 0.1 mm.
pub fn add_marks(
    records: &mut Records,
    defect: (&str, Option<DefectClass>),
    seed: u64,
    mut marks: impl FnMut(&Panel, &mut ChaCha8Rng) -> Vec<Point>,
) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let known = (records.defect_names.iter()).position(|n| n.name == defect.0);
    let name = known.unwrap_or(records.defect_names.len());
    if known.is_none() {
        records.defect_names.push(DefectName {
            name: defect.0.into(),
            class: defect.1,
        });
    }
    for panel in 0..records.panels.len() {
        let about = &records.panels[panel];
        for mark in marks(about, &mut rng) {
            let p = from_machine(about, mark);
            let put = |v: f64, extent: f64| ((v * 10.0).round() / 10.0).clamp(0.0, extent);
            let place = Some(Point {
                x: put(p.x, about.length_mm),
                y: put(p.y, about.width_mm),
            });
            records.defects.push(mark_on(panel, name, place));
        }
    }
    records.defects.sort_by_key(|d| d.panel);
    count(records);
}
