//! Counts that spread more than single independent marks: Poisson or negative
//! binomial by mean and variance.

use crate::stats::distributions::{beta, gamma, normal};

/// Up to this factor the tails of the two laws are within 3e-5 of each other, and the
/// negative binomial's size is so large that its own lose digits.
const POISSON: f64 = 1.0 + 1e-6;

/// Mean of a count and the factor by which its variance exceeds the mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct CountLaw {
    /// Mean, > 0.
    pub mean: f64,
    /// Variance over mean; up to 1, and a millionth more, the Poisson distribution
    /// is meant.
    pub factor: f64,
}

impl CountLaw {
    /// P(X ≤ k).
    ///
    /// Negative binomial with size s = mean/(factor − 1): I_p(s, k+1) with
    /// p = 1/factor (Johnson, Kemp & Kotz 2005, Univariate Discrete
    /// Distributions, 5.31); Poisson: upper tail of the gamma with shape k+1.
    pub(crate) fn at_most(&self, k: f64) -> f64 {
        if k < 0.0 {
            return 0.0;
        }
        if self.factor <= POISSON {
            return gamma::upper(k + 1.0, self.mean);
        }
        let size = self.mean / (self.factor - 1.0);
        beta::lower(size, k + 1.0, 1.0 / self.factor)
    }

    /// P(X ≥ k).
    pub(crate) fn at_least(&self, k: f64) -> f64 {
        if k <= 0.0 {
            return 1.0;
        }
        if self.factor <= POISSON {
            return gamma::lower(k, self.mean);
        }
        let size = self.mean / (self.factor - 1.0);
        beta::lower(k, size, 1.0 - 1.0 / self.factor)
    }

    /// The lowest count below which and the highest above which at most
    /// `tail` lies, each; the lowest may be 0, below which nothing is.
    pub(crate) fn limits(&self, tail: f64) -> (f64, f64) {
        let spread = (self.mean * self.factor.max(1.0)).sqrt();
        let high = first_true(self.mean.floor(), spread, |k| {
            self.at_least(k + 1.0) <= tail
        });
        // the largest count such that fewer are rare
        let low = if self.at_most(0.0) > tail {
            0.0
        } else {
            first_true(0.0, spread, |k| self.at_most(k) > tail)
        };
        (low, high)
    }

    /// Chances of a count inside the limits with a score below 0 and above 0.
    pub(crate) fn sides(&self, low: f64, high: f64) -> (f64, f64) {
        // the score changes sign at the median
        let median = first_true(0.0, self.mean.sqrt(), |k| self.at_most(k) >= 0.5);
        let first_above = if self.score(median) > 0.0 {
            median
        } else {
            median + 1.0
        };
        let below = self.at_most(first_above - 1.0) - self.at_most(low - 1.0);
        let above = self.at_least(first_above) - self.at_least(high + 1.0);
        (below.max(0.0), above.max(0.0))
    }

    /// Mean distance E|X − Y| of two independent counts: 2·Σ F(k)·(1 − F(k)); in
    /// steps of a fifteenth of the standard deviation where that is above 1.
    pub(crate) fn mean_range(&self) -> f64 {
        let spread = (self.mean * self.factor.max(1.0)).sqrt();
        let step = (spread / 15.0).floor().max(1.0);
        let none = self.none();
        if step == 1.0 && none > 1e-250 {
            return self.mean_range_from(none);
        }
        let mut k = (self.mean - 12.0 * spread).floor().max(0.0);
        let mut sum = 0.0;
        loop {
            let above = self.at_least(k + 1.0);
            sum += (1.0 - above) * above;
            if k > self.mean && above < 1e-10 {
                return 2.0 * step * sum;
            }
            k += step;
        }
    }

    /// P(X = 0) to all digits, for the sum that starts from it.
    fn none(&self) -> f64 {
        let beyond = self.factor - 1.0;
        let rate = if self.factor <= POISSON {
            1.0
        } else {
            beyond.ln_1p() / beyond
        };
        (-self.mean * rate).exp()
    }

    /// The same count by count, from the chance of `none`: each chance is the one
    /// before times mean/(k+1), or (size + k)/(k + 1)·(1 − 1/factor).
    fn mean_range_from(&self, none: f64) -> f64 {
        let poisson = self.factor <= POISSON;
        let size = self.mean / (self.factor - 1.0);
        let (mut k, mut chance, mut up_to) = (0.0, none, none);
        let mut sum = 0.0;
        loop {
            sum += up_to * (1.0 - up_to).max(0.0);
            // not what is left above: rounding may leave more than that for ever
            if k > self.mean && chance < 1e-13 {
                return 2.0 * sum;
            }
            chance *= if poisson {
                self.mean / (k + 1.0)
            } else {
                (size + k) / (k + 1.0) * (1.0 - 1.0 / self.factor)
            };
            up_to += chance;
            k += 1.0;
        }
    }

    /// Normal score of a count: Φ⁻¹ of the probability below it plus half of
    /// its own.
    pub(crate) fn score(&self, k: f64) -> f64 {
        let below = self.at_most(k - 1.0);
        let above = self.at_least(k + 1.0);
        // from the smaller side, which keeps its digits
        let middle = (1.0 - below - above).max(0.0) / 2.0;
        if below < above {
            normal::quantile((below + middle).clamp(1e-300, 0.5))
        } else {
            -normal::quantile((above + middle).clamp(1e-300, 0.5))
        }
    }
}

/// The first whole number from `from` on for which a monotone condition holds.
fn first_true(from: f64, step: f64, holds: impl Fn(f64) -> bool) -> f64 {
    if holds(from) {
        return from;
    }
    let mut low = from;
    let mut stride = step.ceil().max(1.0);
    let mut high = low + stride;
    while !holds(high) && high < 1e15 {
        low = high;
        stride *= 2.0;
        high += stride;
    }
    while high - low > 1.0 {
        let middle = ((low + high) / 2.0).floor();
        if holds(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    high
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn poisson_and_negative_binomial_agree_with_hand_sums() {
        let poisson = CountLaw {
            mean: 2.0,
            factor: 1.0,
        };
        // e⁻²(1 + 2 + 2) and its complement
        let two = (-2.0f64).exp() * 5.0;
        assert!((poisson.at_most(2.0) - two).abs() < 1e-12);
        assert!((poisson.at_least(3.0) - (1.0 - two)).abs() < 1e-12);
        // size 2, p ½: masses (k+1)/2^(k+2) = ¼, ¼, 3/16, …
        let wide = CountLaw {
            mean: 2.0,
            factor: 2.0,
        };
        assert!((wide.at_most(1.0) - 0.5).abs() < 1e-12);
        assert!((wide.at_least(3.0) - (1.0 - 0.5 - 3.0 / 16.0)).abs() < 1e-12);
    }

    /// 2m·e^(−2m)·(I₀(2m) + I₁(2m)) for Poisson counts (Ramasubban 1958,
    /// Biometrika 45, 549–556); Bessel functions at 2 from any table.
    #[test]
    fn the_mean_range_is_ramasubbans() {
        let range = |mean, factor| CountLaw { mean, factor }.mean_range();
        let one = 2.0 * (-2.0f64).exp() * (2.279_585_302 + 1.590_636_855);
        assert!((range(1.0, 1.0) - one).abs() < 1e-8);
        // a geometric law of mean 1: Σ 2·(1 − 2^(−k−1))·2^(−k−1) = 4/3
        assert!((range(1.0, 2.0) - 4.0 / 3.0).abs() < 1e-9);
        // next to Poisson, where the negative binomial's size is in the millions
        let near = [1.0, 1.000_002, 1.001].map(|factor| range(200.0, factor));
        assert!(near.is_sorted() && near[2] / near[0] < 1.001, "{near:?}");
        // many marks: 2/√π standard deviations
        let many = range(1e6, 4.0) / 2000.0 / std::f64::consts::FRAC_2_SQRT_PI;
        assert!((many - 1.0).abs() < 1e-3, "{many}");
    }

    #[test]
    fn limits_leave_out_no_more_than_asked() {
        for factor in [1.0, 2.5, 8.0] {
            for mean in [0.2, 3.0, 40.0, 900.0] {
                let law = CountLaw { mean, factor };
                let (low, high) = law.limits(0.00135);
                assert!(law.at_least(high + 1.0) <= 0.00135);
                assert!(law.at_least(high) > 0.00135, "{mean} {factor}");
                assert!(law.at_most(low - 1.0) <= 0.00135);
                assert!(low == 0.0 || law.at_most(low) > 0.00135);
            }
        }
    }

    #[test]
    fn scores_grow_with_the_count_and_are_centred() {
        let law = CountLaw {
            mean: 50.0,
            factor: 2.0,
        };
        assert!(law.score(50.0).abs() < 0.2);
        assert!(law.score(0.0) < law.score(30.0) && law.score(30.0) < law.score(90.0));
        assert!(law.score(5000.0).is_finite());
    }
}
