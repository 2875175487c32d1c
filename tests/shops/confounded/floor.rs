//! The floor of one simulated shop: panels with everything that the shop knows
//! of them, and the marks that they get. What a panel's row records is set by
//! name; what is never recorded (pallets, luck of the day) stays here.

use std::collections::BTreeMap;
use std::sync::Arc;

use onus::records::{Defect, DefectName, Grit, GritScale, Lay, Panel, Point, Reading, Records};
use onus::site::DefectClass;
use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Exp};

use super::super::draws::{mixing, normal, poisson};
use super::super::{count, from_machine, panel_at, turned_back};

/// Size of a panel if nothing else is said, mm.
pub const LENGTH: f64 = 600.0;
/// See [`LENGTH`].
pub const WIDTH: f64 = 400.0;

/// Kinds of defect of the simulated shops; a stain has no class.
pub const ORANGE_PEEL: &str = "orange peel left";
pub const SAND_THROUGH: &str = "sand-through";
pub const SWIRL: &str = "swirl";
pub const NIB: &str = "dust nib";
pub const STAIN: &str = "stain";

fn class(defect: &str) -> Option<DefectClass> {
    match defect {
        ORANGE_PEEL => Some(DefectClass::Under),
        SAND_THROUGH => Some(DefectClass::Over),
        SWIRL => Some(DefectClass::Surface),
        NIB => Some(DefectClass::Incoming),
        _ => None,
    }
}

/// Whose axes a place is given in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Frame {
    /// The machine, as the panel lay in it.
    Machine,
    /// The panel.
    Panel,
    /// The inspection table, as the panel lay there, recorded or not.
    Table,
    /// The pallet that the panel came on.
    Pallet,
}

/// A panel on its way through the shop.
#[derive(Debug, Clone)]
pub struct Piece {
    /// What its row records.
    pub panel: Panel,
    /// Place in the order of sanding, from 0.
    pub number: usize,
    /// Working day, from 0, and place within it.
    pub day: usize,
    pub of_day: usize,
    /// Shifts of eight hours, two a day, counted on.
    pub shift: usize,
    /// Pallet, from 0, and place within it.
    pub pallet: usize,
    pub of_pallet: usize,
    /// How it lay on its pallet.
    pub stacked: Lay,
    /// How it lay at the table.
    pub table: Lay,
    /// What its rates are multiplied by, for no reason that anybody wrote down.
    pub luck: f64,
    /// A level of something that is not recorded.
    pub hidden: usize,
}

impl Piece {
    /// Working week, from 0.
    pub fn week(&self) -> usize {
        self.day / 5
    }

    /// Whether it is the level of the name, such as lot "L3".
    pub fn is(value: &Option<Arc<str>>, name: &str) -> bool {
        value.as_deref() == Some(name)
    }

    fn on_panel(&self, frame: Frame, at: Point) -> Point {
        match frame {
            Frame::Machine => from_machine(&self.panel, at),
            Frame::Panel => at,
            Frame::Table => turned_back(&self.panel, self.table, at),
            Frame::Pallet => turned_back(&self.panel, self.stacked, at),
        }
    }
}

/// A name with a number, from 1: `name("L", 0)` is L1.
pub fn name(prefix: &str, k: usize) -> Option<Arc<str>> {
    Some(format!("{prefix}{}", k + 1).into())
}

/// A column that levels are written down in, by number: the first part is D1, the
/// first disc A1, the first batch B1.
#[derive(Debug, Clone, Copy)]
pub enum Column {
    Part,
    Supplier,
    Lot,
    Fixture,
    Inspector,
    Machine,
    Head,
    Recipe,
    Disc,
    Batch,
    /// The feeds of the levels, mm/s.
    Feed(&'static [f64]),
    /// The lay in the cell: as it is, or by half a turn.
    Turned,
    /// Panels sanded on the abrasive.
    Age,
}

impl Column {
    fn write(self, piece: &mut Piece, k: usize) {
        let panel = &mut piece.panel;
        match self {
            Column::Part => panel.part = name("D", k),
            Column::Supplier => panel.supplier = name("S", k),
            Column::Lot => panel.lot = name("L", k),
            Column::Fixture => panel.fixture = name("F", k),
            Column::Inspector => panel.inspector = name("I", k),
            Column::Machine => panel.machine = name("M", k),
            Column::Head => panel.head = name("H", k),
            Column::Recipe => panel.recipe = name("R", k),
            Column::Disc => panel.abrasive_id = name("A", k),
            Column::Batch => panel.abrasive_id = name("B", k),
            Column::Feed(feeds) => panel.feed_mm_s = Some(feeds[k]),
            Column::Turned => panel.lay = [Lay::Deg0, Lay::Deg180][k],
            Column::Age => panel.abrasive_age = Some(k as f64),
        }
    }
}

/// The first where it holds, else the second.
pub fn either<T>(holds: bool, then: T, otherwise: T) -> T {
    if holds { then } else { otherwise }
}

/// A FEPA P grit.
pub fn grit(number: u32) -> Option<Grit> {
    Some(Grit::parse(&number.to_string(), Some(GritScale::FepaP)))
}

/// The panels of one run, in the order of sanding, and their marks.
#[derive(Debug)]
pub struct Floor {
    pub rng: ChaCha8Rng,
    pub pieces: Vec<Piece>,
    marks: Vec<(usize, &'static str, Point)>,
    readings: Vec<Reading>,
    /// Location error of a written place, mm.
    pub error_mm: f64,
    /// Shape of the gamma that mixes the panels' rates.
    pub mixing: f64,
    /// Share of ordinary marks within some 15 mm of an edge.
    pub at_edges: f64,
    /// Marks that come with an ordinary mark, on average, within 8 mm.
    pub clump: f64,
}

impl Floor {
    /// So many panels of one machine, at 16 hours a working day from a Monday,
    /// pallets of ten, all laid and stacked alike, nothing else recorded.
    pub fn new(panels: usize, per_day: usize, seed: u64) -> Self {
        let piece = |number: usize| {
            let (day, of_day) = (number / per_day, number % per_day);
            let minute = of_day * 960 / per_day;
            let of_calendar = day / 5 * 7 + day % 5;
            Piece {
                panel: Panel {
                    machine: name("M", 0),
                    lay_recorded: true,
                    ..panel_at(number, (of_calendar, minute), (LENGTH, WIDTH))
                },
                number,
                day,
                of_day,
                shift: 2 * day + minute / 480,
                pallet: number / 10,
                of_pallet: number % 10,
                stacked: Lay::Deg0,
                table: Lay::Deg0,
                luck: 1.0,
                hidden: 0,
            }
        };
        Self {
            rng: ChaCha8Rng::seed_from_u64(seed),
            pieces: (0..panels).map(piece).collect(),
            marks: Vec::new(),
            readings: Vec::new(),
            error_mm: 3.0,
            mixing: 2.0,
            at_edges: 0.3,
            clump: 0.0,
        }
    }

    /// Other properties of the shop.
    pub fn with(mut self, change: impl FnOnce(&mut Self)) -> Self {
        change(&mut self);
        self
    }

    /// Something about every panel.
    pub fn each(mut self, mut set: impl FnMut(&mut Piece)) -> Self {
        self.pieces.iter_mut().for_each(&mut set);
        self
    }

    /// Something about every panel that chance has a part in.
    pub fn drawn(mut self, mut set: impl FnMut(&mut Piece, &mut ChaCha8Rng)) -> Self {
        for piece in &mut self.pieces {
            set(piece, &mut self.rng);
        }
        self
    }

    /// Deals `levels` to the stretches that `of` numbers, as from shuffled decks,
    /// so that no level is left out.
    pub fn dealt(
        mut self,
        of: impl Fn(&Piece) -> usize,
        levels: usize,
        deal: impl Fn(&mut Piece, usize),
    ) -> Self {
        let (mut deck, mut held) = (Vec::new(), BTreeMap::new());
        for piece in &mut self.pieces {
            let rng = &mut self.rng;
            let level = *held.entry(of(piece)).or_insert_with(|| {
                if deck.is_empty() {
                    deck.extend(0..levels);
                    deck.shuffle(rng);
                }
                deck.pop().unwrap_or(0)
            });
            deal(piece, level);
        }
        self
    }

    /// These columns name the same level of every panel.
    pub fn named(self, columns: &[Column], level: impl Fn(&Piece) -> usize) -> Self {
        self.each(|p| {
            let k = level(p);
            columns.iter().for_each(|column| column.write(p, k));
        })
    }

    /// Deals `levels` of these columns together to the stretches that `of` numbers.
    pub fn dealt_to(self, columns: &[Column], levels: usize, of: impl Fn(&Piece) -> usize) -> Self {
        self.dealt(of, levels, |p, k| {
            columns.iter().for_each(|column| column.write(p, k));
        })
    }

    /// Half of the panels turned by half a turn, panel by panel.
    pub fn turned(self) -> Self {
        self.turned_by(0.5)
    }

    /// This share of the panels turned by half a turn, panel by panel.
    pub fn turned_by(self, share: f64) -> Self {
        self.drawn(|p, rng| {
            if rng.random::<f64>() < share {
                p.panel.lay = Lay::Deg180;
            }
        })
    }

    /// How panels lay at the table: drawn for each, and written down.
    pub fn table_drawn(self) -> Self {
        self.drawn(|p, rng| {
            p.table = [Lay::Deg0, Lay::Deg180][rng.random_range(0..2)];
            p.panel.inspect_lay = Some(p.table);
        })
    }

    /// At the table as in the machine, written down or not.
    pub fn table_as_laid(self, recorded: bool) -> Self {
        self.each(|p| {
            p.table = p.panel.lay;
            p.panel.inspect_lay = recorded.then_some(p.table);
        })
    }

    /// Lots of so many panels, one after the other.
    pub fn lots(self, panels: usize) -> Self {
        self.each(|p| p.panel.lot = name("L", p.number / panels))
    }

    /// So many lots that come back, dealt to stretches of so many panels.
    pub fn lots_back(self, lots: usize, panels: usize) -> Self {
        self.dealt(
            |p| p.number / panels,
            lots,
            |p, k| p.panel.lot = name("L", k),
        )
    }

    /// Rates of the stretches differ by themselves (SD of the log).
    pub fn swings(mut self, of: impl Fn(&Piece) -> usize, sd: f64) -> Self {
        let mut held = BTreeMap::new();
        for piece in &mut self.pieces {
            let rng = &mut self.rng;
            let log = held.entry(of(piece)).or_insert_with(|| sd * normal(rng));
            piece.luck *= log.exp();
        }
        self
    }

    /// Rates wander: SD of the log, and how much of it is left a panel later.
    pub fn wanders(mut self, sd: f64, kept: f64) -> Self {
        let mut log = sd * normal(&mut self.rng);
        for piece in &mut self.pieces {
            piece.luck *= log.exp();
            log = kept * log + (1.0 - kept * kept).sqrt() * sd * normal(&mut self.rng);
        }
        self
    }

    /// Ordinary marks: so many on a panel of rate 1, anywhere.
    pub fn anywhere(
        mut self,
        defect: &'static str,
        marks: f64,
        rate: impl Fn(&Piece) -> f64,
    ) -> Self {
        for i in 0..self.pieces.len() {
            let mean = marks * rate(&self.pieces[i]) * self.pieces[i].luck;
            self.ordinary(i, defect, mean);
        }
        self
    }

    /// Ordinary marks, so many a panel whatever it is.
    pub fn marks(self, defect: &'static str, marks: f64) -> Self {
        self.anywhere(defect, marks, |_| 1.0)
    }

    /// Ordinary marks on one panel, `mean` on average.
    pub fn ordinary(&mut self, piece: usize, defect: &'static str, mean: f64) -> usize {
        let mean = mean * mixing(self.mixing, &mut self.rng) / (1.0 + self.clump);
        let before = self.marks.len();
        for _ in 0..poisson(mean, &mut self.rng) {
            let at = self.place_of_ordinary(piece);
            self.mark(piece, defect, at);
            for _ in 0..poisson(self.clump, &mut self.rng) {
                let mut near = |v: f64| v + 8.0 * normal(&mut self.rng);
                let (x, y) = (near(at.x), near(at.y));
                self.mark(piece, defect, Point { x, y });
            }
        }
        self.marks.len() - before
    }

    fn place_of_ordinary(&mut self, piece: usize) -> Point {
        let panel = &self.pieces[piece].panel;
        let (l, w) = (panel.length_mm, panel.width_mm);
        let rng = &mut self.rng;
        let mut at = Point {
            x: rng.random::<f64>() * l,
            y: rng.random::<f64>() * w,
        };
        if rng.random::<f64>() < self.at_edges {
            let depth: f64 = Exp::new(1.0 / 15.0).unwrap().sample(rng);
            let high = rng.random::<bool>();
            let put = |extent: f64| {
                let depth = depth.min(extent / 2.0);
                if high { extent - depth } else { depth }
            };
            if rng.random::<f64>() < w / (l + w) {
                at.x = put(l);
            } else {
                at.y = put(w);
            }
        }
        at
    }

    /// Marks of one kind in a frame: what `draw` gives for a panel, where the
    /// panel covers it.
    pub fn planted(
        mut self,
        defect: &'static str,
        frame: Frame,
        draw: impl Fn(&Piece, &mut ChaCha8Rng) -> Vec<Point>,
    ) -> Self {
        for i in 0..self.pieces.len() {
            for at in draw(&self.pieces[i], &mut self.rng) {
                let place = self.pieces[i].on_panel(frame, at);
                let rect = self.pieces[i].panel.rect();
                if rect.contains(place) {
                    self.mark(i, defect, place);
                }
            }
        }
        self
    }

    /// A place: a mark with the chance `share` of the panel.
    pub fn spot(
        self,
        defect: &'static str,
        frame: Frame,
        (x, y): (f64, f64),
        share: impl Fn(&Piece) -> f64,
    ) -> Self {
        self.planted(defect, frame, move |piece, rng| {
            let (dx, dy) = (2.5 * normal(rng), 2.5 * normal(rng));
            let hit = rng.random::<f64>() < share(piece);
            let at = Point {
                x: x + dx,
                y: y + dy,
            };
            if hit { vec![at] } else { Vec::new() }
        })
    }

    /// A place that marks this share of all panels.
    pub fn place(self, defect: &'static str, frame: Frame, at: (f64, f64), share: f64) -> Self {
        self.spot(defect, frame, at, |_| share)
    }

    /// Marks that are not written down, each with this chance.
    pub fn unwritten(mut self, lost: impl Fn(&Piece, &str) -> f64) -> Self {
        let (pieces, rng) = (&self.pieces, &mut self.rng);
        self.marks
            .retain(|(i, defect, _)| rng.random::<f64>() >= lost(&pieces[*i], defect));
        self
    }

    /// No more marks than `most` of a panel are written down.
    pub fn cut_off(mut self, most: impl Fn(&Piece) -> usize) -> Self {
        let mut written = vec![0; self.pieces.len()];
        let pieces = &self.pieces;
        self.marks.retain(|(i, _, _)| {
            written[*i] += 1;
            written[*i] <= most(&pieces[*i])
        });
        self
    }

    /// Places written otherwise than they are, such as on a grid.
    pub fn rewritten(mut self, write: impl Fn(&Piece, Point, &mut ChaCha8Rng) -> Point) -> Self {
        for (i, _, place) in &mut self.marks {
            *place = write(&self.pieces[*i], *place, &mut self.rng);
        }
        self
    }

    fn mark(&mut self, piece: usize, defect: &'static str, at: Point) {
        let panel = &self.pieces[piece].panel;
        let mut put = |v: f64, extent: f64| {
            let v = v + self.error_mm * normal(&mut self.rng);
            ((v * 10.0).round() / 10.0).clamp(0.0, extent)
        };
        let place = Point {
            x: put(at.x, panel.length_mm),
            y: put(at.y, panel.width_mm),
        };
        self.marks.push((piece, defect, place));
    }

    /// Readings on a 3 × 3 grid of every panel: film, and removal at a point of
    /// the panel as it lies in the machine (−1..1 along both axes), SD 1 µm.
    pub fn read(
        mut self,
        film_um: impl Fn(&Piece) -> Option<f64>,
        removed_um: impl Fn(&Piece, f64, f64) -> f64,
    ) -> Self {
        for (i, piece) in self.pieces.iter().enumerate() {
            let rect = piece.panel.machine_rect();
            for k in 0..9 {
                let place = Point {
                    x: piece.panel.length_mm * ((k % 3) as f64 + 0.5) / 3.0,
                    y: piece.panel.width_mm * ((k / 3) as f64 + 0.5) / 3.0,
                };
                let m = piece.panel.to_machine(place);
                let u = 2.0 * (m.x - rect.x0) / rect.width() - 1.0;
                let v = 2.0 * (m.y - rect.y0) / rect.height() - 1.0;
                let (a, b) = (normal(&mut self.rng), normal(&mut self.rng));
                self.readings.push(Reading {
                    panel: i,
                    place: Some(place),
                    removed_um: Some(removed_um(piece, u, v) + a),
                    film_um: film_um(piece).map(|film| film + b),
                });
            }
        }
        self
    }

    /// The records of the panels that were exported: all for which `keep` holds,
    /// given how many marks they have.
    pub fn exported(mut self, keep: impl Fn(&Piece, usize) -> bool) -> Records {
        let mut of_piece = vec![0; self.pieces.len()];
        for (i, _, _) in &self.marks {
            of_piece[*i] += 1;
        }
        let mut new = vec![None; self.pieces.len()];
        let mut records = Records::default();
        for (i, piece) in self.pieces.into_iter().enumerate() {
            if keep(&piece, of_piece[i]) {
                new[i] = Some(records.panels.len());
                records.panels.push(piece.panel);
            }
        }
        let mut names: Vec<&str> = self.marks.iter().map(|m| m.1).collect();
        names.sort_unstable();
        names.dedup();
        let defect_name = |name: &&str| DefectName {
            name: (*name).to_owned(),
            class: class(name),
        };
        records.defect_names = names.iter().map(defect_name).collect();
        self.marks.sort_by_key(|m| m.0);
        for (i, defect, place) in self.marks {
            let Some(panel) = new[i] else { continue };
            records.defects.push(super::super::mark_on(
                panel,
                names.partition_point(|n| *n < defect),
                Some(place),
            ));
        }
        for reading in self.readings {
            if let Some(panel) = new[reading.panel] {
                records.readings.push(Reading { panel, ..reading });
            }
        }
        count(&mut records);
        records
    }

    /// The records of all panels.
    pub fn records(self) -> Records {
        self.exported(|_, _| true)
    }
}
