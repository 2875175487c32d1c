//! What came with the part: lot, supplier, part number.

use super::{Recorded, Rows};
use crate::causes::Rival;
use crate::duel::{Contender, Given, Toward, codes, in_order, stretches};

/// Lots by their stretches, or their panels against their neighbours; suppliers
/// and part numbers by their lots.
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
    let groups = [
        (Rival::Supplier, rows.each(|p| text(p.supplier.as_ref()))),
        (Rival::Part, rows.each(|p| text(p.part.as_ref()))),
    ];
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
