//! Panels laid differently inside blocks: in which frame does a place stay?

use serde::Serialize;

use super::contrast::{Given, read};
use super::read_back::block_of;
use crate::duel::Toward;
use crate::records::{Lay, Panel, Point, Records};

/// Where a repeat was seen: a point, or a line of one coordinate.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// The finding.
    pub finding: String,
    /// Its machine, where recorded.
    pub machine: Option<String>,
    /// Its head, where recorded.
    pub head: Option<String>,
    /// Its defect.
    pub defect: String,
    /// Along x, mm.
    pub x_mm: Option<f64>,
    /// Along y, mm.
    pub y_mm: Option<f64>,
    /// A mark within this distance is at the place, mm.
    pub reach_mm: f64,
    /// What x and y count from.
    pub fixed: Fixed,
}

/// What a place is given in, or stays in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Fixed {
    /// The machine's frame.
    Machine,
    /// The panel's frame.
    Panel,
    /// The inspection table's.
    Table,
}

/// A place on panels that lay differently.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Turned {
    /// The finding.
    pub finding: String,
    /// Its defect.
    pub defect: String,
    /// Each two frames that the sheet parted.
    pub parted: Vec<Parted>,
}

/// Two frames that lie apart on some panels of a sheet and not on others.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Parted {
    /// The frames.
    pub frames: [Fixed; 2],
    /// Panels on which their places lie apart.
    pub panels: usize,
    /// Those of them with a mark at each frame's place.
    pub hit: [usize; 2],
    /// p of "marks keep to this frame's place": small where panels lack them as soon
    /// as the other frame lies elsewhere; adjusted (Bonferroni) for all places read.
    pub p_adjusted: [f64; 2],
}

/// What became of a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stays {
    /// It stays in this frame: every other one that was parted from it is out.
    In(Fixed),
    /// Every frame is out.
    Nowhere,
    /// Not told yet.
    NotTold,
}

impl Turned {
    /// Where the place stays, each two frames compared at the level `alpha`.
    #[must_use]
    pub fn stays(&self, alpha: f64) -> Stays {
        let duels = |frame: Fixed| {
            self.parted.iter().filter_map(move |p| {
                let own = p.frames.iter().position(|f| *f == frame)?;
                Some((p.p_adjusted[own] <= alpha, p.p_adjusted[1 - own] <= alpha))
            })
        };
        let parted = |frame: &Fixed| duels(*frame).next().is_some();
        let frames = FRAMES.iter().copied().filter(parted);
        if frames.clone().all(|f| duels(f).any(|(out, _)| out)) {
            return Stays::Nowhere;
        }
        let stays = |f: &Fixed| duels(*f).all(|(out, other_out)| !out && other_out);
        frames.clone().find(stays).map_or(Stays::NotTold, Stays::In)
    }
}

const FRAMES: [Fixed; 3] = [Fixed::Machine, Fixed::Panel, Fixed::Table];

/// Each two of the frames.
const PAIRS: [[Fixed; 2]; 3] = [
    [Fixed::Machine, Fixed::Panel],
    [Fixed::Panel, Fixed::Table],
    [Fixed::Machine, Fixed::Table],
];

/// Reads places on the panels of a plan that lay differently, in the cell or at the
/// table.
///
/// Where two frames lie alike their places are one; where they lie apart, the marks
/// are missing at the place of the frame that does not make them.
pub(super) fn turned(records: &Records, rows: &[usize], places: &[Place]) -> Vec<Turned> {
    let of = |place: &Place| {
        let name = (records.defect_names.iter()).position(|d| d.name == place.defect)?;
        let own: Vec<usize> = (rows.iter().copied())
            .filter(|at| place.is_of(&records.panels[*at]))
            .collect();
        let parted: Vec<Parted> = PAIRS
            .iter()
            .filter_map(|frames| parted(records, &own, place, name, *frames))
            .collect();
        (!parted.is_empty()).then(|| Turned {
            finding: place.finding.clone(),
            defect: place.defect.clone(),
            parted,
        })
    };
    let mut out: Vec<Turned> = places.iter().filter_map(of).collect();
    let read = out.len() as f64;
    let p_values = out.iter_mut().flat_map(|t| &mut t.parted);
    for p in p_values.flat_map(|p| &mut p.p_adjusted) {
        *p = (*p * read).min(1.0);
    }
    out
}

fn parted(
    records: &Records,
    rows: &[usize],
    place: &Place,
    name: usize,
    frames: [Fixed; 2],
) -> Option<Parted> {
    let panels: Vec<&Panel> = rows.iter().map(|at| &records.panels[*at]).collect();
    let levels: Vec<Option<usize>> = panels
        .iter()
        .map(|panel| place.lie_apart(panel, frames).map(usize::from))
        .collect();
    let blocks: Vec<usize> = panels.iter().map(|p| block_of(p)).collect();
    let hits = |frame: Fixed| -> Vec<f64> {
        let hit = |at: &usize| {
            let panel = &records.panels[*at];
            // Defects stand by panel.
            let first = records.defects.partition_point(|d| d.panel < *at);
            let own = records.defects[first..]
                .iter()
                .take_while(|d| d.panel == *at);
            own.filter(|d| d.name == name)
                .filter_map(|d| d.place)
                .any(|mark| place.is_at(panel, mark, frame))
        };
        rows.iter().map(|at| f64::from(u8::from(hit(at)))).collect()
    };
    let values = frames.map(hits);
    let p = |values: &[f64]| {
        // Panels without a mark at either level speak against nobody.
        let found = read(values, &levels, &blocks, Given::Singly, Toward::Falls, None);
        found.map_or(1.0, |f| f.p_value)
    };
    let apart: Vec<usize> = (0..rows.len()).filter(|i| levels[*i] == Some(1)).collect();
    let together = levels.contains(&Some(0));
    (together && !apart.is_empty()).then(|| Parted {
        frames,
        panels: apart.len(),
        hit: [0, 1].map(|f| apart.iter().filter(|i| values[f][**i] > 0.0).count()),
        p_adjusted: [p(&values[0]), p(&values[1])],
    })
}

/// The lay of a panel against a frame; none where it is not known.
fn lay(panel: &Panel, frame: Fixed) -> Option<Lay> {
    match frame {
        Fixed::Machine => Some(panel.lay),
        Fixed::Panel => Some(Lay::Deg0),
        Fixed::Table => panel.inspect_lay,
    }
}

/// Extents of a panel along the axes of a frame in which it lies so.
fn extents(panel: &Panel, lay: Lay) -> (f64, f64) {
    if lay.swaps_axes() {
        (panel.width_mm, panel.length_mm)
    } else {
        (panel.length_mm, panel.width_mm)
    }
}

fn back(lay: Lay) -> Lay {
    match lay {
        Lay::Deg90 => Lay::Deg270,
        Lay::Deg270 => Lay::Deg90,
        half => half,
    }
}

impl Place {
    /// Whether a panel can say anything about it.
    fn is_of(&self, panel: &Panel) -> bool {
        let same = |own: &Option<String>, of: Option<&str>| own.is_none() || own.as_deref() == of;
        panel.inspected
            && self.machine.as_deref() == panel.machine.as_deref()
            && same(&self.head, panel.head.as_deref())
    }

    /// The place from the corner of a panel that lies as the frame does; a line's
    /// other coordinate is none.
    fn off_corner(&self, panel: &Panel) -> [Option<f64>; 2] {
        match self.fixed {
            Fixed::Machine => [
                self.x_mm.map(|x| x - panel.lay_x_mm),
                self.y_mm.map(|y| y - panel.lay_y_mm),
            ],
            Fixed::Panel | Fixed::Table => [self.x_mm, self.y_mm],
        }
    }

    /// Distance of a point, given from the same corner, mm.
    fn distance(&self, panel: &Panel, at: Point) -> f64 {
        let [x, y] = self.off_corner(panel);
        let along = |own: Option<f64>, of: f64| own.map_or(0.0, |own| of - own);
        along(x, at.x).hypot(along(y, at.y))
    }

    /// Whether a mark lies at the place if that stays in this frame.
    fn is_at(&self, panel: &Panel, mark: Point, frame: Fixed) -> bool {
        let (length, width) = (panel.length_mm, panel.width_mm);
        lay(panel, frame).is_some_and(|lay| {
            self.distance(panel, lay.place(mark, length, width)) <= self.reach_mm
        })
    }

    /// Whether the frames' places lie apart on a panel; none where that is not known,
    /// where they lie too near to each other, or where one of them is off the panel.
    fn lie_apart(&self, panel: &Panel, frames: [Fixed; 2]) -> Option<bool> {
        let [one, other] = [lay(panel, frames[0])?, lay(panel, frames[1])?];
        let on_panel = |lay: Lay| {
            let (length, width) = extents(panel, lay);
            let within =
                |v: Option<f64>, extent: f64| v.is_none_or(|v| (0.0..=extent).contains(&v));
            let [x, y] = self.off_corner(panel);
            within(x, length) && within(y, width)
        };
        if !on_panel(one) || !on_panel(other) {
            return None;
        }
        if one == other {
            return Some(false);
        }
        let [x, y] = self.off_corner(panel);
        if (x.is_none() || y.is_none()) && one.swaps_axes() != other.swaps_axes() {
            // Lines that cross each other.
            return Some(true);
        }
        // The one frame's place, as it lies in the other frame.
        let (length, width) = extents(panel, one);
        let middle = Point {
            x: x.unwrap_or(length / 2.0),
            y: y.unwrap_or(width / 2.0),
        };
        let on_panel = back(one).place(middle, length, width);
        let there = other.place(on_panel, panel.length_mm, panel.width_mm);
        (self.distance(panel, there) > 2.0 * self.reach_mm).then_some(true)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place(x: Option<f64>, y: Option<f64>) -> Place {
        Place {
            finding: "F1".into(),
            machine: None,
            head: None,
            defect: "nib".into(),
            x_mm: x,
            y_mm: y,
            reach_mm: 10.0,
            fixed: Fixed::Machine,
        }
    }

    fn panel(lay: Lay) -> Panel {
        Panel {
            length_mm: 600.0,
            width_mm: 400.0,
            lay,
            lay_x_mm: 50.0,
            inspected: true,
            ..Panel::default()
        }
    }

    const MACHINE_PANEL: [Fixed; 2] = [Fixed::Machine, Fixed::Panel];

    #[test]
    fn frames_lie_apart_on_turned_panels_unless_the_place_is_in_the_middle() {
        let corner = place(Some(150.0), Some(100.0));
        let middle = place(Some(352.0), Some(203.0));
        let of = |p: &Place, lay| p.lie_apart(&panel(lay), MACHINE_PANEL);
        assert_eq!(of(&corner, Lay::Deg0), Some(false));
        assert_eq!(of(&corner, Lay::Deg180), Some(true));
        assert_eq!(of(&middle, Lay::Deg180), None);
        // A quarter turn takes what lies beyond 400 mm off the panel.
        assert_eq!(of(&corner, Lay::Deg90), Some(true));
        assert_eq!(of(&place(Some(500.0), Some(100.0)), Lay::Deg90), None);
    }

    #[test]
    fn a_mark_is_at_the_place_of_the_frame_in_which_it_stays() {
        let spot = place(Some(150.0), Some(100.0));
        let turned = panel(Lay::Deg180);
        // The machine's place lies at 500, 300 on a panel turned by half a turn.
        let (made, brought) = (Point { x: 500.0, y: 300.0 }, Point { x: 100.0, y: 100.0 });
        for (mark, frames) in [(made, [true, false]), (brought, [false, true])] {
            let found = MACHINE_PANEL.map(|f| spot.is_at(&turned, mark, f));
            assert_eq!(found, frames);
        }
        // A line along y: any y.
        let line = place(Some(150.0), None);
        assert!(line.is_at(&turned, Point { x: 505.0, y: 12.0 }, Fixed::Machine));
        assert_eq!(
            line.lie_apart(&panel(Lay::Deg90), MACHINE_PANEL),
            Some(true)
        );
    }

    #[test]
    fn a_frame_is_told_only_where_it_beat_all_that_were_parted_from_it() {
        let duel = |frames, p_adjusted| Parted {
            frames,
            panels: 20,
            hit: [0, 0],
            p_adjusted,
        };
        let turned = |parted| Turned {
            finding: "F1".into(),
            defect: "nib".into(),
            parted,
        };
        let machine = duel(MACHINE_PANEL, [0.9, 0.001]);
        let table = duel([Fixed::Machine, Fixed::Table], [0.9, 0.2]);
        assert_eq!(
            turned(vec![machine.clone()]).stays(0.01),
            Stays::In(Fixed::Machine)
        );
        assert_eq!(turned(vec![machine, table]).stays(0.01), Stays::NotTold);
        let none = duel(MACHINE_PANEL, [0.001, 0.001]);
        assert_eq!(turned(vec![none]).stays(0.01), Stays::Nowhere);
    }
}
