//! Records made by hand for unit tests.

use super::{Cause, Certainty, Evidence, Finding, Frame, Kind, NextCheck, Stream};
use crate::records::{Defect, DefectName, Panel, Point, Records};
use crate::site::DefectClass;

/// Records without panels of these kinds of defect.
pub(crate) fn records(kinds: &[(&str, Option<DefectClass>)]) -> Records {
    let name = |&(name, class): &(&str, Option<DefectClass>)| DefectName {
        name: name.into(),
        class,
    };
    Records {
        defect_names: kinds.iter().map(name).collect(),
        ..Records::default()
    }
}

/// An inspected panel, mm.
pub(crate) fn panel(id: usize, length_mm: f64, width_mm: f64) -> Panel {
    Panel {
        id: format!("{id}"),
        length_mm,
        width_mm,
        inspected: true,
        ..Panel::default()
    }
}

/// A mark of a kind on a panel, written as it lies.
pub(crate) fn mark(panel: usize, name: usize, place: Option<Point>) -> Defect {
    Defect {
        panel,
        name,
        place,
        written: place,
        area_mm2: None,
        severity: None,
    }
}

/// A machine spot on 38 of 120 panels.
pub(crate) fn spot() -> Finding {
    Finding {
        id: "F1".into(),
        machine: Some("M1".into()),
        head: None,
        defect: "sand-through".into(),
        cause: Cause::Machine,
        certainty: Certainty::CannotTell,
        rival: None,
        levels: Vec::new(),
        open: Vec::new(),
        kind: Kind::Spot,
        frame: Some(Frame::Machine),
        x_mm: Some(412.3),
        y_mm: Some(88.0),
        radius_mm: Some(6.0),
        line_axis: None,
        panels_hit: 38,
        panels_exposed: 120,
        hit_rate: Some(0.317),
        hit_rate_ci: None,
        reach_mm: None,
        expected_hits: Some(2.1),
        p_adjusted: Some(4e-4),
        first_panel: Some("P0007".into()),
        last_panel: Some("P0119".into()),
        onset_panel: None,
        end_panel: None,
        drift_mm_per_day: None,
        bars: None,
        lots: vec!["A".into(), "B".into()],
        reasons: Vec::new(),
        next_check: NextCheck::None,
        evidence: Evidence::default(),
    }
}

/// The dust nibs of 120 panels, most of which have some.
pub(crate) fn stream() -> Stream {
    Stream {
        machine: None,
        head: None,
        defect: "nib".into(),
        class: None,
        panels: 120,
        panels_hit: 79,
        defects: 431,
        cause: Cause::Part,
        certainty: Certainty::Likely,
        causes: Vec::new(),
        open: Vec::new(),
        smallest_repeat_seen: Some(0.12),
        panels_needed: None,
        reasons: Vec::new(),
        rate_by_level: Vec::new(),
        next_check: NextCheck::None,
    }
}
