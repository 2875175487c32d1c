//! Who shows nothing, and how much of the marks it could have made all the same.

use std::collections::BTreeMap;

use super::{Claim, STEP_POSSIBLE, TWOFOLD, Table};
use crate::causes::rivals::StepFound;
use crate::causes::{Cause, Rival};
use crate::duel::{Bound, Given, Suspect, Toward, bound, in_order, spread};

/// Time accuses nobody, and parts change with it: it speaks against "the marks
/// come with the parts" where it could have made most of them.
const SHARE_OF_TIME: f64 = 0.5;

/// Fewer units than this are bounded by parts of so many panels.
const FEW_UNITS: usize = 8;
const PANELS_OF_A_PART: usize = 5;

/// More levels than this are bounded by their spread.
const MANY_LEVELS: usize = 5;

/// A rival that shows nothing, and what is excluded.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Quiet {
    /// Who.
    pub rival: Rival,
    /// The largest ratio that is not excluded; none if nothing is.
    pub within: Option<f64>,
    /// The largest share of the marks, 0..1, that it could have made beyond what
    /// the others have.
    pub share: f64,
}

impl Quiet {
    /// Of several bounds, whatever leaves most. `by`: the share that a bound leaves.
    fn of(rival: &Rival, bounds: &[Option<Bound>], by: fn(&Bound) -> f64) -> Self {
        let bounds: Option<Vec<Bound>> = bounds.iter().copied().collect();
        let most = |of: fn(&Bound) -> f64, least: f64| {
            (bounds.iter().flatten()).fold(least, |most, b| most.max(of(b)))
        };
        Self {
            rival: rival.clone(),
            within: bounds.as_ref().map(|_| most(Bound::within, 1.0)),
            share: if bounds.is_some() { most(by, 0.0) } else { 1.0 },
        }
    }

    /// Whether it could double the rate; time, whether it could have made most of
    /// the marks by that.
    pub(crate) fn open(&self) -> bool {
        let nobody = self.rival.cause() == Cause::Undecided;
        self.within.is_none_or(|w| w > TWOFOLD) && !(nobody && self.share <= SHARE_OF_TIME)
    }
}

/// The share of marks that numbers leave, or the two sides of a step.
fn either_way(bound: &Bound) -> f64 {
    bound.made_by_more().max(bound.made_by_less())
}

impl Table<'_> {
    /// Everyone who varies and is not shown, with what is excluded.
    pub(super) fn quiet(&self, claims: &[Claim], step: Option<&StepFound>) -> Vec<Quiet> {
        let shown = |rival: &Rival| claims.iter().any(|k| k.rival == *rival);
        let mut out: Vec<Quiet> = (self.contenders.iter())
            .filter(|c| c.rival.cause() != Cause::Part)
            .filter(|c| !c.rival.is_met_by_all() && !c.rival.is_told_only())
            .filter(|c| !shown(&c.rival))
            .filter_map(|c| match &c.contender.given {
                Given::Scores(scores) if is_rare(scores) => None,
                Given::Scores(_) => {
                    // Fewer marks there than on all the day make none of them.
                    let by = match c.rival {
                        Rival::FirstOfDay => Bound::made_by_more,
                        _ => either_way,
                    };
                    let bounds = [self.bounded(&c.contender.accuse(0))];
                    Some(Quiet::of(&c.rival, &bounds, by))
                }
                Given::Levels(of, count) => Some(match counting(of, *count) {
                    Some(levels) => {
                        let accused = |level: usize| self.bounded(&c.contender.accuse(level));
                        let bounds: Vec<_> = levels.into_iter().map(accused).collect();
                        Quiet::of(&c.rival, &bounds, Bound::made_by_more)
                    }
                    None => Quiet {
                        rival: c.rival.clone(),
                        within: spread(&self.marks, &self.areas, of),
                        share: 1.0,
                    },
                }),
            })
            .collect();
        let possible = |s: &&StepFound| s.p_value <= STEP_POSSIBLE && !shown(&Rival::Step);
        out.extend(step.filter(possible).map(|step| {
            let sides = Suspect {
                given: step.sides.iter().map(|s| Some(*s as f64)).collect(),
                units: in_order((0..self.panels.len()).map(|at| at / PANELS_OF_A_PART)).into(),
                blocks: self.cells.clone(),
                toward: Toward::Either,
                serial: false,
            };
            Quiet::of(&Rival::Step, &[self.bounded(&sides)], either_way)
        }));
        out
    }

    /// Bounds of a ratio. What was given out a few times only is bounded by small
    /// parts of it.
    fn bounded(&self, suspect: &Suspect) -> Option<Bound> {
        let mut parts = suspect.clone();
        let mut units = in_order(suspect.units.iter().copied());
        if units.iter().max().is_some_and(|m| m + 1 < FEW_UNITS) {
            let mut seen: BTreeMap<usize, usize> = BTreeMap::new();
            let part = |unit: usize| {
                let before = seen.entry(unit).or_default();
                *before += 1;
                (unit, *before / PANELS_OF_A_PART)
            };
            units = in_order(units.into_iter().map(part));
            parts.units = units.into();
        }
        bound(&self.marks, &self.areas, &parts)
    }
}

/// Levels that are bounded one by one: a level that got a tenth of the panels or
/// less could not make most of the marks. None where there are many.
fn counting(of: &[Option<usize>], count: usize) -> Option<Vec<usize>> {
    let mut panels = vec![0_usize; count];
    for level in of.iter().flatten() {
        panels[*level] += 1;
    }
    let all: usize = panels.iter().sum();
    let counting: Vec<usize> = (0..count).filter(|&l| 10 * panels[l] > all).collect();
    (1..=MANY_LEVELS)
        .contains(&counting.len())
        .then_some(counting)
}

/// Whether a yes that a tenth of the panels or fewer got: it could not make most
/// of the marks.
fn is_rare(scores: &[Option<f64>]) -> bool {
    let known: Vec<f64> = scores.iter().flatten().copied().collect();
    let yes = known.iter().filter(|x| **x == 1.0).count();
    let no = known.iter().filter(|x| **x == 0.0).count();
    yes + no == known.len() && 10 * yes.min(no) <= known.len()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn quiet(rival: Rival, within: f64, share: f64) -> bool {
        let within = Some(within);
        Quiet {
            rival,
            within,
            share,
        }
        .open()
    }

    #[test]
    fn who_could_double_the_rate_is_open_and_time_where_it_could_make_most_marks() {
        assert_eq!(
            [1.9, 2.1].map(|w| quiet(Rival::Machine, w, 0.2)),
            [false, true]
        );
        assert_eq!(
            [0.4, 0.6].map(|s| quiet(Rival::Step, 3.0, s)),
            [false, true]
        );
    }

    #[test]
    fn levels_of_a_tenth_of_the_panels_are_not_bounded_by_themselves() {
        let of = |sizes: &[usize]| {
            let levels = sizes.iter().enumerate();
            let levels: Vec<_> = levels.flat_map(|(l, n)| vec![Some(l); *n]).collect();
            counting(&levels, sizes.len())
        };
        assert_eq!(of(&[15, 3, 2]), Some(vec![0, 1]));
        assert_eq!(of(&[10; 5]), Some(vec![0, 1, 2, 3, 4]));
        assert_eq!(of(&[10; 6]), None, "bounded by their spread");
    }
}
