//! Hypergeometric distribution: marked items in a draw without replacement.

use super::{kernels::ln_binomial_term, tails::ln_complement};

/// A population of `size` items of which `marked` are marked, and `drawn` taken
/// from it at random.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Draw {
    /// Items in all.
    pub size: u64,
    /// Marked items, at most `size`.
    pub marked: u64,
    /// Items drawn, at most `size`.
    pub drawn: u64,
}

impl Draw {
    /// Fewest marked items that the draw can hold.
    pub fn least(self) -> u64 {
        (self.marked + self.drawn).saturating_sub(self.size)
    }

    /// Most marked items that the draw can hold.
    pub fn most(self) -> u64 {
        self.marked.min(self.drawn)
    }

    /// Expected marked items in the draw; 0 for an empty population.
    pub fn mean(self) -> f64 {
        if self.size == 0 {
            0.0
        } else {
            self.marked as f64 * (self.drawn as f64 / self.size as f64)
        }
    }

    /// ln P(X = k), −∞ outside the possible counts.
    pub fn ln_probability(self, k: u64) -> f64 {
        if k < self.least() || k > self.most() {
            return f64::NEG_INFINITY;
        }
        if self.drawn == 0 || self.drawn >= self.size {
            return 0.0;
        }
        let (size, marked, drawn) = (self.size as f64, self.marked as f64, self.drawn as f64);
        let (p, q) = (drawn / size, (size - drawn) / size);
        // Loader (2000): three binomial terms with the same p keep their digits.
        ln_binomial_term(k as f64, marked, p, q)
            + ln_binomial_term(drawn - k as f64, size - marked, p, q)
            - ln_binomial_term(drawn, size, p, q)
    }

    /// ln P(X ≥ k).
    pub fn ln_at_least(self, k: u64) -> f64 {
        if k <= self.least() {
            0.0
        } else if k > self.most() {
            f64::NEG_INFINITY
        } else if k as f64 > self.mean() {
            self.ln_sum_upwards(k)
        } else {
            ln_complement(self.ln_sum_downwards(k - 1))
        }
    }

    /// P(X ≥ k).
    pub fn at_least(self, k: u64) -> f64 {
        self.ln_at_least(k).exp()
    }

    /// ln P(X ≤ k).
    pub fn ln_at_most(self, k: u64) -> f64 {
        if k < self.least() {
            f64::NEG_INFINITY
        } else if k >= self.most() {
            0.0
        } else if k as f64 > self.mean() {
            ln_complement(self.ln_sum_upwards(k + 1))
        } else {
            self.ln_sum_downwards(k)
        }
    }

    /// P(X ≤ k).
    pub fn at_most(self, k: u64) -> f64 {
        self.ln_at_most(k).exp()
    }

    /// P(X = k+1)/P(X = k) within the possible counts.
    pub(crate) fn step(self, k: u64) -> f64 {
        let above = (self.marked - k) as f64 * (self.drawn - k) as f64;
        above / ((k + 1) as f64 * (self.size + k + 1 - self.marked - self.drawn) as f64)
    }

    fn ln_sum_upwards(self, from: u64) -> f64 {
        let (mut sum, mut term) = (1.0, 1.0);
        for k in from..self.most() {
            term *= self.step(k);
            sum += term;
            if term <= sum * f64::EPSILON * 1e-3 {
                break;
            }
        }
        self.ln_probability(from) + f64::ln(sum)
    }

    fn ln_sum_downwards(self, from: u64) -> f64 {
        let (mut sum, mut term) = (1.0, 1.0);
        for k in (self.least()..from).rev() {
            term /= self.step(k);
            sum += term;
            if term <= sum * f64::EPSILON * 1e-3 {
                break;
            }
        }
        self.ln_probability(from) + f64::ln(sum)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    #[test]
    fn one_lot_of_ten_holds_nine_of_nine_hits() {
        // 10·C(30,0)·… by hand: C(10,9)/C(40,9) = 10/273438880.
        let draw = Draw {
            size: 40,
            marked: 9,
            drawn: 10,
        };
        assert_relative_eq!(draw.at_least(9), 10.0 / 273_438_880.0, max_relative = 1e-12);
    }

    proptest! {
        #[test]
        fn tails_meet_and_marked_swaps_with_drawn(size in 1_u64..80, a in 0_u64..80, b in 0_u64..80, k in 0_u64..80) {
            let (marked, drawn) = (a.min(size), b.min(size));
            let draw = Draw { size, marked, drawn };
            let swapped = Draw { size, marked: drawn, drawn: marked };
            prop_assert!((draw.at_most(k) + draw.at_least(k + 1) - 1.0).abs() < 1e-12);
            prop_assert!((draw.at_least(k) - swapped.at_least(k)).abs() < 1e-12);
            let sum: f64 = (k..=size).map(|i| draw.ln_probability(i).exp()).sum();
            prop_assert!((draw.at_least(k) - sum).abs() < 1e-11);
        }
    }
}
