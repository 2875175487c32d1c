//! Hypergeometric distribution: marked items in a draw without replacement.

use statrs::function::factorial::ln_binomial;

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

    /// ln P(X = k), −∞ outside the possible counts.
    pub fn ln_probability(self, k: u64) -> f64 {
        if k < self.least() || k > self.most() {
            return f64::NEG_INFINITY;
        }
        ln_binomial(self.marked, k) + ln_binomial(self.size - self.marked, self.drawn - k)
            - ln_binomial(self.size, self.drawn)
    }

    /// P(X ≥ k).
    ///
    /// Terms are summed from the nearer end, each from the one before, until they
    /// no longer count; the crate takes every term by itself, to the last one.
    pub fn at_least(self, k: u64) -> f64 {
        if k <= self.least() {
            return 1.0;
        }
        if k > self.most() {
            return 0.0;
        }
        if (k as f64) * (self.size as f64) < self.marked as f64 * self.drawn as f64 {
            let unmarked = Draw {
                marked: self.size - self.marked,
                ..self
            };
            return 1.0 - unmarked.at_least(self.drawn - k + 1);
        }
        let (mut sum, mut term) = (1.0, 1.0);
        for k in k..self.most() {
            term *= self.step(k);
            sum += term;
            if term <= sum * f64::EPSILON * 1e-3 {
                break;
            }
        }
        self.ln_probability(k).exp() * sum
    }

    /// P(X = k+1)/P(X = k) within the possible counts.
    fn step(self, k: u64) -> f64 {
        let above = (self.marked - k) as f64 * (self.drawn - k) as f64;
        above / ((k + 1) as f64 * (self.size + k + 1 - self.marked - self.drawn) as f64)
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
        fn a_tail_is_the_sum_of_its_terms_and_marked_swaps_with_drawn(size in 1_u64..80, a in 0_u64..80, b in 0_u64..80, k in 0_u64..80) {
            let (marked, drawn) = (a.min(size), b.min(size));
            let draw = Draw { size, marked, drawn };
            let swapped = Draw { size, marked: drawn, drawn: marked };
            prop_assert!((draw.at_least(k) - swapped.at_least(k)).abs() < 1e-12);
            let sum: f64 = (k..=size).map(|i| draw.ln_probability(i).exp()).sum();
            prop_assert!((draw.at_least(k) - sum).abs() < 1e-11);
        }
    }
}
