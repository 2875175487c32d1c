//! Records made by hand for unit tests.

use crate::records::{Defect, DefectName, Panel, Point, Records};
use crate::site::DefectClass;

/// Records without panels of these kinds of defect.
pub(super) fn records(kinds: &[(&str, Option<DefectClass>)]) -> Records {
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
pub(super) fn panel(id: usize, length_mm: f64, width_mm: f64) -> Panel {
    Panel {
        id: format!("{id}"),
        length_mm,
        width_mm,
        inspected: true,
        ..Panel::default()
    }
}

/// A mark of a kind on a panel, written as it lies.
pub(super) fn mark(panel: usize, name: usize, place: Option<Point>) -> Defect {
    Defect {
        panel,
        name,
        place,
        written: place,
        area_mm2: None,
        severity: None,
    }
}
