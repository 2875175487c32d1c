//! Two settings that are to meet: how panels are dealt out to them, and the test
//! that reads them.

use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;

use super::two_level::Fraction;
use crate::duel::{Follows, Precision, Response, Suspect, Toward, follows_at, stretches};

/// Most contrasts of one sheet that panels can be given singly.
pub(super) const MOST_SINGLE: usize = 7;

/// Most contrasts of one sheet that are changed in stretches.
pub(super) const MOST_IN_STRETCHES: usize = 2;

/// How a contrast is given to panels.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Given {
    /// Panel by panel.
    Singly,
    /// In stretches of several panels.
    InStretches,
}

/// A panel of a sheet: its lot and the level, 0 or 1, of each contrast.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Dealt {
    pub lot: usize,
    pub levels: Vec<usize>,
}

/// Deals panels out: every lot holds all levels of all contrasts. What is changed
/// in stretches comes twice a lot at each level, by turns; what is given singly is
/// shuffled inside stretches, every level as often. `size` copies of the cells of
/// the single contrasts make a stretch.
pub(super) fn deal(given: &[Given], lots: usize, size: usize, rng: &mut ChaCha8Rng) -> Vec<Dealt> {
    let count = |kind: Given| given.iter().filter(|g| **g == kind).count();
    let single = cells(count(Given::Singly));
    let turns = cells(count(Given::InStretches));
    let mut out = Vec::new();
    for lot in 0..lots {
        let mut order = turns.clone();
        order.shuffle(rng);
        // By turns: the same order again, so that no level is early or late.
        let again = if turns.len() > 1 { 2 } else { 1 };
        for stretch in (0..again).flat_map(|_| order.clone()) {
            let mut panels: Vec<&Vec<usize>> = single.iter().flat_map(|c| vec![c; size]).collect();
            panels.shuffle(rng);
            out.extend(panels.into_iter().map(|own| {
                let (mut a, mut b) = (own.iter(), stretch.iter());
                let next = |g: &Given| match g {
                    Given::Singly => a.next(),
                    Given::InStretches => b.next(),
                };
                Dealt {
                    lot,
                    levels: given
                        .iter()
                        .map(next)
                        .map(|l| l.copied().unwrap_or(0))
                        .collect(),
                }
            }));
        }
    }
    out
}

/// Levels of contrasts that meet evenly in few cells.
fn cells(contrasts: usize) -> Vec<Vec<usize>> {
    let runs = (1usize << contrasts).min(8);
    match Fraction::standard(contrasts, runs) {
        None => vec![Vec::new()],
        Some(design) => design
            .runs()
            .iter()
            .map(|run| run.iter().map(|sign| usize::from(*sign > 0.0)).collect())
            .collect(),
    }
}

/// Panels that a sheet of this size has.
pub(super) fn panels(given: &[Given], lots: usize, size: usize) -> usize {
    let singly = given.iter().filter(|g| **g == Given::Singly).count();
    let stretched = given.len() - singly;
    let again = if stretched > 0 { 2 } else { 1 };
    lots * size * cells(singly).len() * cells(stretched).len() * again
}

/// The test by which a contrast is read: does the response follow the levels
/// among panels of one lot, stretches of one level exchanged as wholes? Panels
/// without a level are left out; `near` where only the side of a level is asked for.
/// See [`crate::duel`].
pub(super) fn read(
    values: &[f64],
    levels: &[Option<usize>],
    lots: &[usize],
    given: Given,
    toward: Toward,
    near: Option<f64>,
) -> Option<Follows> {
    let suspect = Suspect {
        given: levels.iter().map(|l| l.map(|l| l as f64)).collect(),
        units: match given {
            Given::Singly => (0..values.len()).collect(),
            Given::InStretches => stretches(levels, lots).into(),
        },
        blocks: lots.into(),
        toward,
        serial: false,
    };
    let response = Response {
        value: values.to_vec(),
        expected: vec![1.0; values.len()],
    };
    follows_at(
        &[response],
        &suspect,
        None,
        near.map_or(Precision::Full, Precision::SideOf),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;

    /// Two contrasts given singly and one in stretches, three lots, two copies of the
    /// cells: four cells twice, in two stretches of either level.
    #[test]
    fn every_lot_has_each_level_in_two_stretches_by_turns() {
        let given = [Given::Singly, Given::InStretches, Given::Singly];
        let dealt = deal(&given, 3, 2, &mut ChaCha8Rng::seed_from_u64(1));
        assert_eq!(dealt.len(), 3 * 8 * 4);
        assert_eq!(panels(&given, 3, 2), dealt.len());
        for lot in dealt.chunks(32) {
            assert!(lot.iter().all(|p| p.lot == lot[0].lot));
            let of: Vec<usize> = lot.iter().map(|p| p.levels[1]).collect();
            let (first, other) = (of[0], 1 - of[0]);
            let turns = [first, other, first, other]
                .map(|level| vec![level; 8])
                .concat();
            assert_eq!(of, turns);
            for stretch in lot.chunks(8) {
                let high = |at: usize| stretch.iter().filter(|p| p.levels[at] == 1).count();
                assert_eq!([high(0), high(2)], [4, 4]);
            }
        }
    }
}
