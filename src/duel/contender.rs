//! Who may have made it.

use std::sync::Arc;

use super::stretches::in_order;

/// A number with more values than this is compared by classes.
const MOST_CLASSES: usize = 6;

/// What panels were given.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Given {
    /// One of so many levels; none where not recorded.
    Levels(Arc<[Option<usize>]>, usize),
    /// A number; none where not recorded.
    Scores(Arc<[Option<f64>]>),
}

/// The way in which a response goes with what was given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Toward {
    /// Up with it.
    Rises,
    /// Down with it.
    Falls,
    /// Either way.
    Either,
}

/// Who may have made it: what each panel was given, and how it was given out.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Contender {
    /// What panels were given.
    pub given: Given,
    /// Number of what was given at once: a stretch at one setting, a lot.
    pub units: Arc<[usize]>,
    /// Panels are compared within these only: a machine, an abrasive's life.
    pub blocks: Arc<[usize]>,
    /// The way that is known beforehand; levels are accused of showing more.
    pub toward: Toward,
    /// Whether a level of too few units may be judged by its panels against
    /// their neighbours in time.
    pub by_neighbours: bool,
}

/// A contender as it stands accused: one level of it, or its numbers.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Suspect {
    /// 1 for panels of the level and 0 for others, or the numbers; none for
    /// panels that are not compared.
    pub given: Arc<[Option<f64>]>,
    /// See [`Contender::units`].
    pub units: Arc<[usize]>,
    /// See [`Contender::blocks`].
    pub blocks: Arc<[usize]>,
    /// The way it is accused of.
    pub toward: Toward,
    /// Units are neighbours in time, which are alike without any cause: they
    /// count for less by their serial correlation.
    pub serial: bool,
}

impl Contender {
    /// Classes for strata: its levels, or its numbers (by shares of the panels
    /// where there are many); what was not recorded is a class of its own.
    pub(crate) fn classes(&self) -> Vec<usize> {
        match &self.given {
            Given::Levels(of, count) => of.iter().map(|l| l.unwrap_or(*count)).collect(),
            Given::Scores(scores) => {
                let mut known: Vec<f64> = scores.iter().flatten().copied().collect();
                known.sort_by(f64::total_cmp);
                let mut distinct = known.clone();
                distinct.dedup();
                let bounds: Vec<f64> = if distinct.len() <= MOST_CLASSES {
                    distinct
                } else {
                    let cut = |k: usize| known[k * known.len() / MOST_CLASSES];
                    (0..MOST_CLASSES).map(cut).collect()
                };
                let class = |v: f64| bounds.partition_point(|b| *b <= v);
                in_order(scores.iter().map(|s| s.map(class)))
            }
        }
    }

    /// The contender accused: of two levels, of a level against all others, or
    /// of its numbers (`level` is not looked at).
    pub(crate) fn accuse(&self, level: usize) -> Suspect {
        let (given, toward) = match &self.given {
            Given::Levels(of, _) => {
                let inside = |l: &usize| f64::from(u8::from(*l == level));
                let given = of.iter().map(|l| l.as_ref().map(inside)).collect();
                (given, self.toward)
            }
            Given::Scores(scores) => (scores.clone(), self.toward),
        };
        Suspect {
            given,
            units: self.units.clone(),
            blocks: self.blocks.clone(),
            toward,
            serial: false,
        }
    }

    /// Numbers that take two values, as the higher of them against the lower.
    pub(crate) fn as_two_levels(&self) -> Option<Suspect> {
        let Given::Scores(scores) = &self.given else {
            return None;
        };
        let known = || scores.iter().flatten().copied();
        let (low, high) = known().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
            (low.min(v), high.max(v))
        });
        if low >= high || known().any(|v| v != low && v != high) {
            return None;
        }
        let mut suspect = self.accuse(0);
        let is_high = |v: &Option<f64>| v.map(|v| f64::from(u8::from(v == high)));
        suspect.given = scores.iter().map(is_high).collect();
        Some(suspect)
    }

    /// Leaves panels of a level out of all further comparisons.
    pub(crate) fn without(&self, level: usize) -> Self {
        let mut rest = self.clone();
        if let Given::Levels(of, _) = &mut rest.given {
            *of = of.iter().map(|l| l.filter(|l| *l != level)).collect();
        }
        rest
    }
}

impl Suspect {
    /// Panels of the level accused (rows).
    pub(crate) fn inside(&self) -> Vec<usize> {
        (0..self.given.len())
            .filter(|&at| self.given[at] == Some(1.0))
            .collect()
    }

    /// The level against its neighbours in time: every stretch of it with as
    /// many panels on either side, panel by panel; and the two sides apart, before
    /// the stretches and after them.
    pub(crate) fn against_neighbours(&self) -> (Suspect, [Suspect; 2]) {
        let n = self.given.len();
        let mut both = vec![None; n];
        let mut sides = [vec![None; n], vec![None; n]];
        let mut window = vec![0; n];
        let mut rows: Vec<usize> = (0..n).filter(|&at| self.given[at].is_some()).collect();
        rows.sort_by_key(|&at| (self.blocks[at], at));
        let mut next = 0;
        for block in rows.chunk_by(|&a, &b| self.blocks[a] == self.blocks[b]) {
            let inside = |i: usize| self.given[block[i]] == Some(1.0);
            let mut from = 0;
            while from < block.len() {
                if !inside(from) {
                    from += 1;
                    continue;
                }
                let to = (from..block.len()).find(|&i| !inside(i));
                let to = to.unwrap_or(block.len());
                let length = (to - from).max(LEAST_BESIDE);
                let before = (from.saturating_sub(length)..from).filter(|&i| !inside(i));
                let after = (to..(to + length).min(block.len())).filter(|&i| !inside(i));
                next += 1;
                for (side, beside) in [before.collect::<Vec<_>>(), after.collect()]
                    .iter()
                    .enumerate()
                {
                    if beside.is_empty() {
                        continue;
                    }
                    for i in beside.iter().copied().chain(from..to) {
                        let at = block[i];
                        both[at] = self.given[at];
                        sides[side][at] = self.given[at];
                        window[at] = next;
                    }
                }
                from = to;
            }
        }
        let (own, windows): (Arc<[usize]>, Arc<[usize]>) = ((0..n).collect(), window.into());
        let suspect = |given: Vec<Option<f64>>| Suspect {
            given: given.into(),
            units: Arc::clone(&own),
            blocks: Arc::clone(&windows),
            toward: self.toward,
            serial: true,
        };
        let [before, after] = sides;
        (suspect(both), [suspect(before), suspect(after)])
    }
}

/// Panels at least on either side of a short stretch.
const LEAST_BESIDE: usize = 8;
