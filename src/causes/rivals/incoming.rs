//! What came with the part: lot, supplier, part number, size; and how it was laid.

use super::{Recorded, Rows};
use crate::causes::Rival;
use crate::duel::{Contender, Given, Toward, codes, in_order, stretches};
use crate::records::Panel;

/// Sizes that are told apart at most.
const MOST_SIZES: usize = 12;

/// Lots by their stretches, or their panels against their neighbours; suppliers,
/// part numbers and, where these are not recorded, sizes by their lots.
pub(super) fn contenders(rows: &Rows<'_>) -> Vec<Recorded> {
    let cells = rows.cells();
    let text = |of: Option<&std::sync::Arc<str>>| of.map(|t| t.to_string());
    let (lot, lots) = codes(&rows.each(|p| text(p.lot.as_ref())));
    let mut found = vec![Recorded {
        rival: Rival::Lot,
        levels: lots.clone(),
        contender: Contender {
            given: Given::Levels(lot.clone(), lots.len()),
            units: stretches(&lot, &cells),
            blocks: cells.clone(),
            toward: Toward::Rises,
            by_neighbours: true,
        },
    }];
    let mut groups = vec![(Rival::Supplier, rows.each(|p| text(p.supplier.as_ref())))];
    let parts = rows.each(|p| text(p.part.as_ref()));
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
        let (of, levels) = codes(&values);
        // A lot of two part numbers is a unit of each.
        let units = if lots.is_empty() {
            stretches(&of, &cells)
        } else {
            let alone = stretches(&of, &cells);
            in_order(
                (0..of.len()).map(|at| (of[at], lot[at], lot[at].is_none().then(|| alone[at]))),
            )
        };
        found.push(Recorded {
            rival,
            contender: Contender {
                given: Given::Levels(of, levels.len()),
                units,
                blocks: cells.clone(),
                toward: Toward::Rises,
                by_neighbours: false,
            },
            levels,
        });
    }
    found
}
