//! Who or what inspected.

use super::{Recorded, Rows};
use crate::causes::Rival;
use crate::duel::{Contender, Given, Toward, codes, stretches};

/// An inspector's stretches, whatever machine the panels came from, compared
/// panel against panel of one machine. One who finds less hides as much as one
/// who finds more makes.
pub(super) fn contenders(rows: &Rows<'_>) -> Vec<Recorded> {
    let (of, levels) = codes(&rows.each(|p| p.inspector.as_ref().map(|t| t.to_string())));
    let together = vec![0; of.len()];
    vec![Recorded {
        rival: Rival::Inspector,
        contender: Contender {
            units: stretches(&of, &together),
            given: Given::Levels(of, levels.len()),
            blocks: rows.cells(),
            toward: Toward::Either,
            by_neighbours: true,
        },
        levels,
    }]
}
