//! The number of successes in independent trials with unequal chances.

use statrs::function::beta::beta_reg;

/// Smallest tail probability reported.
pub const SMALLEST_TAIL: f64 = 1e-300;

/// P(at least `k` successes) of independent trials with the given chances.
///
/// f\[0\] = 1; each chance p moves f\[m\] ← f\[m\](1−p) + f\[m−1\]p, the top
/// state k absorbing. Nothing is subtracted from a sum, so tiny tails keep
/// their relative accuracy; below 1e-300 that value is returned. O(trials × k).
///
/// `chances` lie in 0..=1. `k` = 0 gives 1; more successes than trials give
/// the smallest tail.
#[must_use]
pub fn poisson_binomial_tail(chances: &[f64], k: usize) -> f64 {
    if k == 0 {
        return 1.0;
    }
    let mut state = vec![0.0; k + 1];
    state[0] = 1.0;
    for (done, &p) in chances.iter().enumerate() {
        state[k] += state[k - 1] * p;
        for m in (1..k.min(done + 2)).rev() {
            state[m] = state[m] * (1.0 - p) + state[m - 1] * p;
        }
        state[0] *= 1.0 - p;
    }
    state[k].clamp(SMALLEST_TAIL, 1.0)
}

/// P(at least `k` successes) for every `k` from 0 to `most`, as
/// [`poisson_binomial_tail`] gives each, at the cost of one.
#[must_use]
pub fn poisson_binomial_tails(chances: &[f64], most: usize) -> Vec<f64> {
    let mut state = vec![0.0; most + 1];
    state[0] = 1.0;
    if most > 0 {
        for (done, &p) in chances.iter().enumerate() {
            state[most] += state[most - 1] * p;
            for m in (1..most.min(done + 2)).rev() {
                state[m] = state[m] * (1.0 - p) + state[m - 1] * p;
            }
            state[0] *= 1.0 - p;
        }
    }
    for k in (0..most).rev() {
        state[k] += state[k + 1];
    }
    for tail in &mut state {
        *tail = tail.clamp(SMALLEST_TAIL, 1.0);
    }
    state[0] = 1.0;
    state
}

/// P(at least `k` of `trials`) of equal trials with chance `chance`, by the
/// regularised incomplete beta function; 1e-300 at least.
///
/// With `chance` = mean/trials it bounds the tail of unequal chances with the
/// same mean from above, where k ≥ mean + 1 (Hoeffding 1956, Annals of
/// Mathematical Statistics 27, 713–721).
#[must_use]
pub fn binomial_tail(trials: usize, chance: f64, k: usize) -> f64 {
    if k == 0 || chance >= 1.0 && k <= trials {
        return 1.0;
    }
    if k > trials || chance <= 0.0 {
        return SMALLEST_TAIL;
    }
    let tail = beta_reg(k as f64, (trials - k + 1) as f64, chance);
    tail.clamp(SMALLEST_TAIL, 1.0)
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
