//! Panels turned inside blocks: does a place stay in the machine, or turn with them?

use serde::Serialize;

use super::contrast::{Given, read};
use crate::duel::Toward;
use crate::records::{Lay, Panel, Point, Records};

/// Where a repeat was seen.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// The finding.
    pub finding: String,
    /// Its machine, where recorded.
    pub machine: Option<String>,
    /// Its defect.
    pub defect: String,
    /// Along x, mm.
    pub x_mm: f64,
    /// Along y, mm.
    pub y_mm: f64,
    /// The circle that holds 90 % of its hits, mm.
    pub radius_mm: f64,
    /// What x and y count from.
    pub fixed: Fixed,
}

/// What a place is given in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fixed {
    /// The machine's frame.
    InMachine,
    /// The panel's frame.
    OnPanel,
}

/// A place on panels that lay both ways.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Turned {
    /// The finding.
    pub finding: String,
    /// Its defect.
    pub defect: String,
    /// Panels that were turned.
    pub turned: usize,
    /// Turned panels with a mark at the machine's place.
    pub hit_turned: usize,
    /// p of "marks keep to the panel's place": small where turned panels lack them.
    pub p_panel: f64,
    /// p of "marks keep to the machine's place": small where turned panels lack them.
    pub p_machine: f64,
}

/// A mark within so many radii is at the place, and within so many mm at least.
const REACH: f64 = 1.5;
const LEAST_REACH_MM: f64 = 5.0;

/// Reads places on the panels of a plan that lay at 0 and otherwise.
///
/// At lay 0 both places are one. If the machine makes the marks, turned panels lack
/// them at the panel's place; if the panel brings them, at the machine's.
pub(super) fn turned(records: &Records, rows: &[usize], places: &[Place]) -> Vec<Turned> {
    let panels = &records.panels;
    let mut out = Vec::new();
    for place in places {
        let Some(name) = records
            .defect_names
            .iter()
            .position(|d| d.name == place.defect)
        else {
            continue;
        };
        let mut own: Vec<usize> = (rows.iter().copied())
            .filter(|at| {
                panels[*at].inspected && panels[*at].machine.as_deref() == place.machine.as_deref()
            })
            .collect();
        own.sort_by_key(|at| panels[*at].planned.as_ref().map(|run| run.run));
        let levels: Vec<Option<usize>> = (own.iter())
            .map(|at| Some(usize::from(panels[*at].lay != Lay::Deg0)))
            .collect();
        let blocks: Vec<usize> = (own.iter())
            .map(|at| {
                panels[*at]
                    .planned
                    .as_ref()
                    .and_then(|r| r.block)
                    .unwrap_or(1) as usize
            })
            .collect();
        let reach = (REACH * place.radius_mm).max(LEAST_REACH_MM);
        let hits = |fixed: Fixed| -> Vec<f64> {
            own.iter()
                .map(|&at| {
                    let panel = &panels[at];
                    let wanted = wanted(place, panel, fixed);
                    let near = |p: Point| {
                        let q = panel.to_machine(p);
                        (q.x - wanted.x).hypot(q.y - wanted.y) <= reach
                    };
                    // Defects stand by panel.
                    let first = records.defects.partition_point(|d| d.panel < at);
                    let own = records.defects[first..]
                        .iter()
                        .take_while(|d| d.panel == at);
                    let hit = own
                        .filter(|d| d.name == name)
                        .filter_map(|d| d.place)
                        .any(near);
                    f64::from(u8::from(hit))
                })
                .collect()
        };
        let in_machine = hits(Fixed::InMachine);
        let p = |values: &[f64]| {
            let found = read(values, &levels, &blocks, Given::Singly, Toward::Falls);
            found.map(|f| f.p_value)
        };
        let (Some(p_panel), Some(p_machine)) = (p(&hits(Fixed::OnPanel)), p(&in_machine)) else {
            continue;
        };
        let is_turned = |i: &usize| levels[*i] == Some(1);
        out.push(Turned {
            finding: place.finding.clone(),
            defect: place.defect.clone(),
            turned: (0..own.len()).filter(is_turned).count(),
            hit_turned: (0..own.len())
                .filter(is_turned)
                .filter(|i| in_machine[*i] > 0.0)
                .count(),
            p_panel,
            p_machine,
        });
    }
    out
}

/// Where, in the machine, a mark lies if the place is `fixed` so.
fn wanted(place: &Place, panel: &Panel, fixed: Fixed) -> Point {
    let given = Point {
        x: place.x_mm,
        y: place.y_mm,
    };
    let lay_0 = Panel {
        lay: Lay::Deg0,
        ..panel.clone()
    };
    match (place.fixed, fixed) {
        (Fixed::InMachine, Fixed::InMachine) => given,
        (Fixed::OnPanel, Fixed::OnPanel) => panel.to_machine(given),
        (Fixed::OnPanel, Fixed::InMachine) => lay_0.to_machine(given),
        (Fixed::InMachine, Fixed::OnPanel) => panel.to_machine(Point {
            x: given.x - panel.lay_x_mm,
            y: given.y - panel.lay_y_mm,
        }),
    }
}
