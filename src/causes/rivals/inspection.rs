//! Who or what inspected.

use super::{Recorded, Rows, text};
use crate::causes::Rival;
use crate::duel::Toward;

/// An inspector's stretches, whatever machine the panels came from, compared
/// panel against panel of one machine. One who finds less hides as much as one
/// who finds more makes.
pub(super) fn contenders(rows: &Rows<'_>) -> Vec<Recorded> {
    let seen_by = rows.each(|p| text(&p.inspector));
    let together = vec![0; seen_by.len()];
    let mut all = Recorded::in_stretches(Rival::Inspector, &seen_by, together.into());
    all.contender.blocks = rows.cells();
    all.contender.toward = Toward::Either;
    vec![all]
}
