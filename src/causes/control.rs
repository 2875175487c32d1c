//! The control: another machine or head that ran the same lots.
//!
//! Within each lot the panels are taken as exchangeable between the machines
//! unless a machine makes the repeat; so, given each lot's hits, the hits on
//! this machine are a sum of independent hypergeometric counts. One lot gives
//! Fisher's exact test. A lot that only one of them ran adds nothing.

use std::collections::{BTreeMap, BTreeSet};

use super::tails::{binomial_at_least, hypergeometric};

/// Level at which the difference counts.
const LEVEL: f64 = 0.01;

/// The control's hits must be at least this probable as background.
const UNREMARKABLE: f64 = 0.05;

/// One lot on this machine and on the control.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Stratum {
    /// Hits on this machine.
    pub hits: usize,
    /// Panels exposed on this machine.
    pub exposed: usize,
    /// Hits at the same place on the control.
    pub control_hits: usize,
    /// Panels exposed on the control.
    pub control_exposed: usize,
}

/// What the control says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Control {
    /// Lots that both ran.
    pub lots: usize,
    /// Sums over those lots.
    pub sums: Stratum,
    /// One-sided exact p: this machine has more hits, given each lot's.
    pub p_value: f64,
    /// Chance of the control's hits, or more, by background.
    pub control_by_chance: f64,
}

impl Control {
    /// Whether the control clears the part: a difference, and nothing
    /// remarkable there.
    pub(super) fn clears(&self) -> bool {
        self.p_value <= LEVEL && self.control_by_chance > UNREMARKABLE
    }

    /// Whether the control shows the same repeat at the same place.
    pub(super) fn shows_it_too(&self) -> bool {
        self.control_by_chance <= 0.001 && self.p_value > UNREMARKABLE
    }
}

/// Compares lot by lot and inspector by inspector; none if no lot ran on both.
pub(super) fn compare_lots(
    strata: BTreeMap<(&str, Option<&str>), Stratum>,
    background: f64,
) -> Option<Control> {
    let lots: BTreeSet<&str> = strata
        .iter()
        .filter(|(_, s)| s.exposed > 0 && s.control_exposed > 0)
        .map(|((lot, _), _)| *lot)
        .collect();
    let strata: Vec<Stratum> = strata.into_values().collect();
    Some(Control {
        lots: lots.len(),
        ..compare(&strata, background)?
    })
}

/// Compares stratum by stratum; none if none ran on both.
fn compare(strata: &[Stratum], background: f64) -> Option<Control> {
    let both: Vec<Stratum> = strata
        .iter()
        .copied()
        .filter(|s| s.exposed > 0 && s.control_exposed > 0)
        .collect();
    if both.is_empty() {
        return None;
    }
    let mut sums = Stratum {
        hits: 0,
        exposed: 0,
        control_hits: 0,
        control_exposed: 0,
    };
    let mut chances = vec![1.0];
    for s in &both {
        sums.hits += s.hits;
        sums.exposed += s.exposed;
        sums.control_hits += s.control_hits;
        sums.control_exposed += s.control_exposed;
        chances = convolve(&chances, &hits_of(s));
    }
    let p_value = chances[sums.hits..].iter().sum::<f64>().min(1.0);
    Some(Control {
        lots: both.len(),
        sums,
        p_value,
        control_by_chance: binomial_at_least(sums.control_hits, sums.control_exposed, background),
    })
}

/// Chances of 0, 1, … hits on this machine, given the lot's hits.
fn hits_of(s: &Stratum) -> Vec<f64> {
    let total = s.exposed + s.control_exposed;
    let marked = s.hits + s.control_hits;
    let high = marked.min(s.exposed);
    (0..=high)
        .map(|j| hypergeometric(j, total, marked, s.exposed))
        .collect()
}

/// Chances of the sum of two independent counts.
pub(super) fn convolve(a: &[f64], b: &[f64]) -> Vec<f64> {
    let mut out = vec![0.0; a.len() + b.len() - 1];
    for (i, x) in a.iter().enumerate() {
        for (j, y) in b.iter().enumerate() {
            out[i + j] += x * y;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn lot(hits: usize, exposed: usize, control_hits: usize, control_exposed: usize) -> Stratum {
        Stratum {
            hits,
            exposed,
            control_hits,
            control_exposed,
        }
    }

    #[test]
    fn one_lot_is_fishers_exact_test() {
        // Exact integers: C(54,14)/C(60,20).
        let control = compare(&[lot(6, 20, 0, 40)], 0.02).unwrap();
        assert_relative_eq!(control.p_value, 7.742111774841173e-4, max_relative = 1e-12);
        assert!(control.clears());
    }

    #[test]
    fn two_lots_multiply_where_the_control_has_none() {
        // Both lots have all hits here: the chances of the extremes multiply.
        let one = compare(&[lot(3, 10, 0, 10)], 0.01).unwrap().p_value;
        let two = compare(&[lot(3, 10, 0, 10), lot(3, 10, 0, 10)], 0.01).unwrap();
        assert_relative_eq!(two.p_value, one * one, max_relative = 1e-12);
    }

    #[test]
    fn a_bad_lot_that_mostly_ran_here_is_no_contrast() {
        // Pooled, 36 of 45 against 1 of 41 would convict; lot by lot it does not.
        let control = compare(&[lot(36, 40, 1, 1), lot(0, 5, 0, 40)], 0.01).unwrap();
        assert!(control.p_value > 0.5);
        assert!(!control.clears());
    }

    #[test]
    fn a_control_that_shows_the_same_does_not_clear() {
        let control = compare(&[lot(10, 20, 9, 20)], 0.01).unwrap();
        assert!(!control.clears() && control.shows_it_too());
    }

    #[test]
    fn without_a_common_lot_there_is_no_control() {
        assert_eq!(compare(&[lot(5, 10, 0, 0), lot(0, 0, 0, 10)], 0.01), None);
    }
}
