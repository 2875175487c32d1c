//! The number of successes in independent trials with unequal chances.

use super::distributions::binomial;

/// Smallest tail probability reported.
pub const SMALLEST_TAIL: f64 = 1e-300;

/// P(at least `k` successes) of independent trials with the given chances.
///
/// Nothing is subtracted from a sum, so tiny tails keep their relative accuracy;
/// below 1e-300 that value is returned. O(different chances × k²), at most
/// O(trials × k).
///
/// `chances` lie in 0..=1. `k` = 0 gives 1; more successes than trials give
/// the smallest tail.
#[must_use]
pub fn poisson_binomial_tail(chances: &[f64], k: usize) -> f64 {
    states(chances, k)[k].clamp(SMALLEST_TAIL, 1.0)
}

/// P(at least `k` successes) for every `k` from 0 to `most`, as
/// [`poisson_binomial_tail`] gives each, at the cost of one.
#[must_use]
pub fn poisson_binomial_tails(chances: &[f64], most: usize) -> Vec<f64> {
    let mut state = states(chances, most);
    for k in (0..most).rev() {
        state[k] += state[k + 1];
    }
    for tail in &mut state {
        *tail = tail.clamp(SMALLEST_TAIL, 1.0);
    }
    state[0] = 1.0;
    state
}

/// P(k successes) for k < `most`, and last P(at least `most`).
///
/// f\[0\] = 1; each chance p moves f\[m\] ← f\[m\](1−p) + f\[m−1\]p, the top state
/// absorbing; n equal chances do so at once by their binomial probabilities.
fn states(chances: &[f64], most: usize) -> Vec<f64> {
    let mut state = vec![0.0; most + 1];
    state[0] = 1.0;
    if most == 0 {
        return state;
    }
    let mut groups: Vec<(f64, usize)> = Vec::new();
    let mut done = 0;
    for &p in chances {
        match groups.iter().position(|g| g.0 == p) {
            Some(at) => groups[at].1 += 1,
            None if groups.len() < MOST_GROUPS => groups.push((p, 1)),
            None => add_one(&mut state, p, &mut done),
        }
    }
    for (p, trials) in groups {
        if trials <= most || !add_equal(&mut state, p, trials) {
            for _ in 0..trials {
                add_one(&mut state, p, &mut done);
            }
        } else {
            done += trials;
        }
    }
    state
}

/// So many different chances are counted; further ones are taken one by one.
const MOST_GROUPS: usize = 24;

fn add_one(state: &mut [f64], p: f64, done: &mut usize) {
    let most = state.len() - 1;
    state[most] += state[most - 1] * p;
    for m in (1..most.min(*done + 2)).rev() {
        state[m] = state[m] * (1.0 - p) + state[m - 1] * p;
    }
    state[0] *= 1.0 - p;
    *done += 1;
}

/// Adds `trials` equal chances; false, and nothing is changed, where the chance of
/// no success among them is too small for a double.
fn add_equal(state: &mut [f64], p: f64, trials: usize) -> bool {
    let most = state.len() - 1;
    let none = trials as f64 * (-p).ln_1p();
    if none < -600.0 {
        return false;
    }
    let odds = p / (1.0 - p);
    let mut of = vec![none.exp()];
    let mut largest: f64 = of[0];
    for k in 1..=trials {
        let next = of[k - 1] * odds * (trials - k + 1) as f64 / k as f64;
        if k > most && next < 1e-17 * largest && next < of[k - 1] {
            break;
        }
        largest = if k < most { 0.0 } else { largest.max(next) };
        of.push(next);
    }
    let mut tail = of.clone();
    for k in (0..tail.len() - 1).rev() {
        tail[k] += tail[k + 1];
    }
    let at = |of: &[f64], k: usize| of.get(k).copied().unwrap_or(0.0);
    let beyond = (0..most).map(|i| state[i] * at(&tail, most - i));
    state[most] += beyond.sum::<f64>();
    for k in (0..most).rev() {
        state[k] = (0..=k).map(|j| at(&of, j) * state[k - j]).sum();
    }
    true
}

/// P(at least `k` of `trials`) of equal trials with chance `chance`; 1e-300 at least.
///
/// With `chance` = mean/trials it bounds the tail of unequal chances with the
/// same mean from above, where k ≥ mean + 1 (Hoeffding 1956, Annals of
/// Mathematical Statistics 27, 713–721).
#[must_use]
pub fn binomial_tail(trials: usize, chance: f64, k: usize) -> f64 {
    binomial::at_least(k as u64, trials as u64, chance).clamp(SMALLEST_TAIL, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn small_cases_by_hand() {
        // 0.1·0.2·0.7 + 0.1·0.8·0.3 + 0.9·0.2·0.3 + 0.1·0.2·0.3
        let tail = poisson_binomial_tail(&[0.1, 0.2, 0.3], 2);
        assert_relative_eq!(tail, 0.098, max_relative = 1e-12);
        let tiny = poisson_binomial_tail(&[1e-20; 5], 5);
        assert_relative_eq!(tiny, 1e-100, max_relative = 1e-12);
        assert_eq!(poisson_binomial_tail(&[0.3], 0), 1.0);
        assert_eq!(poisson_binomial_tail(&[0.3], 2), SMALLEST_TAIL);
        assert_eq!(poisson_binomial_tail(&[1.0, 1.0, 0.5], 2), 1.0);
    }

    #[test]
    fn all_tails_at_once_are_those_one_by_one() {
        let chances = [0.1, 0.2, 0.3, 1e-9, 0.7];
        let tails = poisson_binomial_tails(&chances, 7);
        assert_eq!(tails.len(), 8);
        for (k, tail) in tails.iter().enumerate() {
            let alone = poisson_binomial_tail(&chances, k);
            assert_relative_eq!(*tail, alone, max_relative = 1e-12);
        }
        assert_eq!(poisson_binomial_tails(&[0.5], 0), [1.0]);
        assert_eq!(poisson_binomial_tails(&[], 2)[1], SMALLEST_TAIL);
    }

    #[test]
    fn chances_taken_together_give_what_they_give_one_by_one() {
        let few = [0.001, 0.02, 0.3, 0.0, 1.0];
        let equal = (0..900).map(|i| few[if i % 450 == 7 { 4 } else { i % 4 }]);
        let chances: Vec<f64> = equal.filter(|p| *p < 0.3 || *p == 1.0).collect();
        for most in [1, 3, 12, 40] {
            let mut state = vec![0.0; most + 1];
            state[0] = 1.0;
            let mut done = 0;
            for &p in &chances {
                add_one(&mut state, p, &mut done);
            }
            for (k, one_by_one) in state.iter().enumerate() {
                let together = states(&chances, most)[k];
                assert_relative_eq!(together, *one_by_one, max_relative = 1e-10);
            }
        }
    }

    #[test]
    fn equal_chances_give_the_binomial_tail() {
        for (trials, chance, k) in [(20, 0.015, 3), (300, 0.02, 15), (50, 0.5, 40)] {
            assert_relative_eq!(
                poisson_binomial_tail(&vec![chance; trials], k),
                binomial_tail(trials, chance, k),
                max_relative = 1e-10
            );
        }
    }

    #[test]
    fn hoeffding_bounds_unequal_chances() {
        let chances: Vec<f64> = (0..60).map(|i| 0.004 * f64::from(i % 11)).collect();
        let mean: f64 = chances.iter().sum();
        for k in (mean.ceil() as usize + 1)..12 {
            let exact = poisson_binomial_tail(&chances, k);
            assert!(exact <= binomial_tail(60, mean / 60.0, k) * (1.0 + 1e-12));
        }
    }
}
