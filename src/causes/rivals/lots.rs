//! Does the repeat gather in few lots, or do the lots clear it?

use std::collections::BTreeSet;

use crate::causes::Tally;
use crate::causes::verdict::Lots;
use crate::stats::distributions::chi_squared;

/// Level of every test in this file.
const LEVEL: f64 = 0.01;

/// With the two most-hit lots left out, the rest must be this improbable as
/// background before lots are cleared.
const CLEARS: f64 = 0.001;

/// Lots with a hit before lots can be cleared.
const LEAST_LOTS_HIT: usize = 3;

/// Both borders of a stretch must show it, over so many panels on either side; and
/// panels inside before the first hit must be no rarer than this.
const BESIDE: usize = 10;
const BEGINS_LATER: f64 = 0.05;

/// Why lots that don't stand out are not cleared either.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LotsLack {
    /// Fewer than three lots with a hit, or fewer than three lots.
    LotsHit,
    /// Without the two most-hit lots, what is left may be chance.
    RestNotClear(Tally),
    /// The rates differ from lot to lot beyond chance.
    Uneven,
    /// It gathers in lots that are the first or the last stretch of time.
    OneStretch,
}

/// When lots clear a repeat: the chance of what the two most-hit lots leave, by
/// background, or what is lacking.
pub(crate) type Clears = fn(&[Tally], f64) -> Result<f64, LotsLack>;

/// What the lots say about a repeat.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum LotEvidence {
    /// No lot is recorded: neither helps nor clears.
    NotRecorded,
    /// All panels are of one lot.
    OneLot,
    /// The repeat runs through the lots: no lot made it.
    Cleared {
        /// Lots with a hit, among those judged.
        lots_hit: usize,
        /// Lots judged.
        lots: usize,
        /// Chance of the hits left when the two most-hit lots go, by background.
        rest: f64,
    },
    /// The repeat gathers in these lots and the rest is unremarkable.
    Gathered {
        /// Their positions in the input, most improbable first.
        lots: Vec<usize>,
        /// The smallest tail times the number of lots.
        p_value: f64,
    },
    /// The lots are neither to blame nor cleared.
    Open {
        /// Lots with a hit, among those judged.
        lots_hit: usize,
        /// Lots judged.
        lots: usize,
        /// What clearing them lacks.
        lack: LotsLack,
    },
}

/// Judges hits by lot. `all` counts every exposed panel; `live` the panels
/// while the repeat was alive, lots in the same order (lots not run then have
/// no panels); `background` is the chance of a hit without a repeat.
pub(crate) fn judge(all: &[Tally], live: &[Tally], background: f64, clears: Clears) -> LotEvidence {
    let exposed = |counts: &[Tally]| counts.iter().filter(|c| c.exposed > 0).count();
    match exposed(all) {
        0 => return LotEvidence::NotRecorded,
        1 => return LotEvidence::OneLot,
        _ => {}
    }
    let segment = if exposed(live) >= 5 { live } else { all };
    let (lots_hit, lots) = (
        segment.iter().filter(|c| c.hits > 0).count(),
        exposed(segment),
    );
    let lack = match clears(segment, background) {
        Ok(rest) => {
            return LotEvidence::Cleared {
                lots_hit,
                lots,
                rest,
            };
        }
        Err(lack) => lack,
    };
    match gathered(all, background) {
        Some((lots, p_value)) => LotEvidence::Gathered { lots, p_value },
        None => LotEvidence::Open {
            lots_hit,
            lots,
            lack,
        },
    }
}

impl LotEvidence {
    /// Lots and time must have met: lots that came as one stretch are one episode
    /// of whatever else began and ended there, unless the hits begin and end with
    /// them in the middle of a day. `codes`, `hits`, `days`: lot, hit and day of
    /// every panel, in time order.
    pub(crate) fn against_time(
        self,
        codes: &[Option<usize>],
        hits: &[bool],
        days: &[Option<i64>],
    ) -> Self {
        let LotEvidence::Gathered { lots, p_value } = self else {
            return self;
        };
        let known: Vec<usize> = (0..codes.len()).filter(|&i| codes[i].is_some()).collect();
        let inside = |i: usize| codes[i].is_some_and(|lot| lots.contains(&lot));
        let mut stretches = 0;
        let mut sharp = 0;
        let runs: Vec<&[usize]> = known.chunk_by(|&a, &b| inside(a) == inside(b)).collect();
        for pair in runs.windows(2) {
            let (before, after) = (pair[0], pair[1]);
            stretches += usize::from(inside(after[0]));
            let day = days[after[0]];
            let same_day = |i: &&usize| day.is_some() && days[**i] == day;
            let before: Vec<usize> = before.iter().rev().take_while(same_day).copied().collect();
            let after: Vec<usize> = after.iter().take_while(same_day).copied().collect();
            let (own, other) = if after.first().is_some_and(|&i| inside(i)) {
                (after, before)
            } else {
                (before, after)
            };
            sharp += usize::from(steps(&own, &other, hits));
        }
        stretches += usize::from(runs.first().is_some_and(|run| inside(run[0])));
        if stretches > 1 || sharp == 2 {
            return LotEvidence::Gathered { lots, p_value };
        }
        let all: BTreeSet<usize> = codes.iter().flatten().copied().collect();
        LotEvidence::Open {
            lots_hit: lots.len(),
            lots: all.len(),
            lack: LotsLack::OneStretch,
        }
    }

    /// As the verdict asks for it; `turned`: panels turned inside lots clear them.
    pub(crate) fn fact(&self, turned: bool) -> Lots {
        match self {
            LotEvidence::NotRecorded => Lots::NotRecorded,
            LotEvidence::Cleared { .. } => Lots::Cleared,
            _ if turned => Lots::Cleared,
            LotEvidence::Gathered { .. } => Lots::Gathered,
            LotEvidence::OneLot | LotEvidence::Open { .. } => Lots::TooFew,
        }
    }
}

/// Whether panels next to a border show more hits than those across it, and from
/// the border on.
fn steps(own: &[usize], other: &[usize], hits: &[bool]) -> bool {
    let near = |panels: &[usize]| Tally::of(panels.iter().take(BESIDE).map(|&i| hits[i]));
    let (inside, outside) = (near(own), near(other));
    if inside.exposed == 0 || inside.at_least_of(inside + outside) > LEVEL {
        return false;
    }
    let rate = Tally::of(own.iter().map(|&i| hits[i])).rate();
    let before_hit = own.iter().take_while(|&&i| !hits[i]).count();
    (1.0 - rate).powf(before_hit as f64) > BEGINS_LATER
}

/// The lots in which the hits gather beyond exposure, if the rest is
/// unremarkable: smallest hypergeometric tail × lots ≤ 0.01, that lot left out
/// and again while more than two lots remain.
fn gathered(counts: &[Tally], background: f64) -> Option<(Vec<usize>, f64)> {
    let mut left: Vec<usize> = (0..counts.len())
        .filter(|&l| counts[l].exposed > 0)
        .collect();
    let mut gone = Vec::new();
    let mut smallest = 1.0_f64;
    while left.len() > 2 || (gone.is_empty() && left.len() == 2) {
        let (p, at) = most_gathered(&left, counts)?;
        if p > LEVEL {
            break;
        }
        smallest = smallest.min(p);
        gone.push(left.remove(at));
    }
    let unremarkable = sum(&left, counts).at_least(background) > LEVEL;
    (!gone.is_empty() && unremarkable).then_some((gone, smallest))
}

/// The smallest tail times the number of lots, and its position in `left`.
fn most_gathered(left: &[usize], counts: &[Tally]) -> Option<(f64, usize)> {
    let all = sum(left, counts);
    left.iter()
        .enumerate()
        .map(|(at, &l)| {
            let tail = counts[l].at_least_of(all);
            ((tail * left.len() as f64).min(1.0), at)
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))
}

/// The chance of the hits left by background if the lots clear the repeat:
/// at least three lots hit; without the two most-hit lots still two hits or
/// more, improbable as background; and rates alike over the lots (χ²).
/// Otherwise the first of these that fails.
pub(crate) fn hits_clear(counts: &[Tally], background: f64) -> Result<f64, LotsLack> {
    let lots: Vec<Tally> = counts.iter().copied().filter(|c| c.exposed > 0).collect();
    if lots.iter().filter(|c| c.hits > 0).count() < LEAST_LOTS_HIT {
        return Err(LotsLack::LotsHit);
    }
    let rate = lots.iter().copied().sum::<Tally>().rate();
    let statistic: f64 = lots
        .iter()
        .map(|c| {
            let m = c.exposed as f64;
            (c.hits as f64 - m * rate).powi(2) / (m * rate * (1.0 - rate)).max(f64::MIN_POSITIVE)
        })
        .sum();
    let alike = rate >= 1.0 || chi_squared::upper(statistic, (lots.len() - 1) as f64) > LEVEL;
    let rest = without_two(&lots);
    let p = rest.at_least(background);
    if rest.hits < 2 || p > CLEARS {
        return Err(LotsLack::RestNotClear(rest));
    }
    if alike { Ok(p) } else { Err(LotsLack::Uneven) }
}

/// The same for votes, each for or against by chance: with three lots or more, the
/// votes must lean the same way without the two lots with most.
pub(crate) fn votes_clear(counts: &[Tally], even: f64) -> Result<f64, LotsLack> {
    let rest = without_two(counts);
    let p = rest.at_least(even);
    if counts.len() >= LEAST_LOTS_HIT && p <= LEVEL {
        Ok(p)
    } else if counts.iter().filter(|c| c.hits > 0).count() < LEAST_LOTS_HIT {
        Err(LotsLack::LotsHit)
    } else {
        Err(LotsLack::RestNotClear(rest))
    }
}

/// What the two most-hit lots leave.
fn without_two(counts: &[Tally]) -> Tally {
    let mut lots = counts.to_vec();
    lots.sort_by_key(|c| std::cmp::Reverse((c.hits, c.exposed)));
    lots.iter().skip(2).copied().sum()
}

fn sum(lots: &[usize], counts: &[Tally]) -> Tally {
    lots.iter().map(|&l| counts[l]).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn tens(hits: [usize; 4]) -> Vec<Tally> {
        hits.map(|hits| Tally { exposed: 10, hits }).to_vec()
    }

    fn first_p(counts: &[Tally]) -> f64 {
        let all: Vec<usize> = (0..counts.len()).collect();
        most_gathered(&all, counts).unwrap().0
    }

    #[test]
    fn tails_by_lot_agree_with_an_independent_slow_reference_implementation() {
        let one = tens([0, 9, 0, 0]);
        assert_relative_eq!(first_p(&one), 1.4628497601e-7, max_relative = 1e-9);
        assert!(matches!(
            judge(&one, &one, 0.015, hits_clear),
            LotEvidence::Gathered { lots, .. } if lots == [1]
        ));
        let two = tens([0, 7, 8, 0]);
        assert_relative_eq!(first_p(&two), 0.0097143983, max_relative = 1e-8);
        assert_relative_eq!(first_p(&tens([2, 3, 1, 2])), 1.0);
    }

    #[test]
    fn few_hits_in_the_other_lots_do_not_clear() {
        let counts = tens([2, 3, 1, 2]);
        assert_eq!(
            judge(&counts, &counts, 0.015, hits_clear),
            LotEvidence::Open {
                lots_hit: 4,
                lots: 4,
                lack: LotsLack::RestNotClear(Tally {
                    hits: 3,
                    exposed: 20
                }),
            }
        );
    }

    #[test]
    fn a_lot_that_came_once_has_not_met_its_time() {
        let gathered = |codes: &[usize], hits: &[usize], per_day: usize| {
            let known: Vec<Option<usize>> = codes.iter().map(|c| Some(*c)).collect();
            let hits: Vec<bool> = (0..codes.len()).map(|i| hits.contains(&i)).collect();
            let days: Vec<Option<i64>> = (0..codes.len())
                .map(|i| i64::try_from(i / per_day).ok())
                .collect();
            let lots = vec![2];
            let evidence = LotEvidence::Gathered {
                lots,
                p_value: 1e-6,
            };
            let found = evidence.against_time(&known, &hits, &days);
            matches!(found, LotEvidence::Gathered { .. })
        };
        let of =
            |lots: &[usize]| -> Vec<usize> { lots.iter().flat_map(|lot| [*lot; 12]).collect() };
        let all: Vec<usize> = (12..24).collect();
        assert!(!gathered(&of(&[0, 1, 2]), &all, 100), "at the end");
        assert!(!gathered(&of(&[2, 0, 1]), &all, 100), "at the beginning");
        assert!(gathered(&of(&[2, 0, 2]), &all, 100), "came back");
        // Hits that begin and end with it …
        assert!(gathered(&of(&[0, 2, 1]), &all, 100));
        // … with the day, after it, before it.
        assert!(!gathered(&of(&[0, 2, 1]), &all, 12));
        assert!(!gathered(
            &of(&[0, 2, 1]),
            &(18..24).collect::<Vec<_>>(),
            100
        ));
        assert!(!gathered(
            &of(&[0, 2, 1]),
            &(6..24).collect::<Vec<_>>(),
            100
        ));
    }

    #[test]
    fn what_clearing_lacks_is_told_apart() {
        let lack =
            |counts: &[Tally], background| match judge(counts, counts, background, hits_clear) {
                LotEvidence::Open { lack, .. } => lack,
                other => panic!("{other:?}"),
            };
        assert_eq!(lack(&tens([1, 2, 0, 0]), 0.015), LotsLack::LotsHit);
        // Every lot beyond chance, one of them far beyond the others.
        let uneven = tens([10, 3, 3, 3]);
        assert_eq!(lack(&uneven, 0.01), LotsLack::Uneven);
    }

    #[test]
    fn steady_hits_in_all_lots_clear() {
        let counts = tens([5, 4, 6, 5]);
        assert!(matches!(
            judge(&counts, &counts, 0.015, hits_clear),
            LotEvidence::Cleared { lots_hit: 4, .. }
        ));
    }

    #[test]
    fn one_lot_and_no_lot_say_nothing() {
        let one = [Tally {
            exposed: 30,
            hits: 12,
        }];
        assert_eq!(judge(&one, &one, 0.01, hits_clear), LotEvidence::OneLot);
        assert_eq!(judge(&[], &[], 0.01, hits_clear), LotEvidence::NotRecorded);
    }

    #[test]
    fn hits_on_every_panel_are_alike_over_lots() {
        let counts = tens([10, 10, 10, 10]);
        assert!(matches!(
            judge(&counts, &counts, 0.01, hits_clear),
            LotEvidence::Cleared { .. }
        ));
    }
}
