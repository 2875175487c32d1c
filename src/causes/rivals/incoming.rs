//! What came with the part: lot, supplier, part number, size; and how it was laid.

use super::{Recorded, Rows, text};
use crate::causes::Rival;
use crate::duel::{codes, in_order};
use crate::records::Panel;

/// Sizes that are told apart at most.
const MOST_SIZES: usize = 12;

/// Lots by their stretches, or their panels against their neighbours; suppliers,
/// part numbers and, where these are not recorded, sizes by their lots.
pub(super) fn contenders(rows: &Rows<'_>) -> Vec<Recorded> {
    let cells = rows.cells();
    let lots = rows.each(|p| text(&p.lot));
    let (lot, names) = codes(&lots);
    let mut found = vec![Recorded::in_stretches(Rival::Lot, &lots, cells.clone())];
    let mut groups = vec![(Rival::Supplier, rows.each(|p| text(&p.supplier)))];
    let parts = rows.each(|p| text(&p.part));
    if parts.iter().any(Option::is_some) {
        groups.push((Rival::Part, parts));
    } else {
        let size = |p: &Panel| Some(format!("{:.0} × {:.0} mm", p.length_mm, p.width_mm));
        let sizes = rows.each(size);
        // More of them were measured, not ordered.
        if codes(&sizes).1.len() <= MOST_SIZES {
            groups.push((Rival::Size, sizes));
        }
    }
    let lay = |p: &Panel| p.lay_recorded.then(|| format!("{}°", p.lay.degrees()));
    groups.push((Rival::Lay, rows.each(lay)));
    for (rival, values) in groups {
        let group = Recorded::in_stretches(rival, &values, cells.clone());
        let alone = &group.contender.units;
        // A lot of two part numbers is a unit of each.
        let units = if names.is_empty() {
            alone.clone()
        } else {
            let unit = |at: usize| (&values[at], lot[at], lot[at].is_none().then(|| alone[at]));
            in_order((0..values.len()).map(unit)).into()
        };
        found.push(group.in_units(units));
    }
    found
}
