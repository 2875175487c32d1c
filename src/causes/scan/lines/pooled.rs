//! The number of panels hit at a band when what is expected there is estimated
//! from the ground on either side of it.
//!
//! A panel is hit or not; how likely differs from panel to panel, but of all ways
//! to share out the same expectation the even one makes large counts likeliest
//! (Hoeffding 1956, Annals of Mathematical Statistics 27, 713–721), so the count is
//! taken as binomial. The expectation itself is known from a number of panels with
//! marks beside the band only; given those it has a gamma distribution. Together
//! that is a beta-binomial count, with the beta distribution's mean and variance
//! those of 1 − e^(−expectation ÷ panels). Where bands hit most panels the
//! expectation is of encounters, of which one panel can have several.

use statrs::function::gamma::ln_gamma;

use crate::causes::scan::tail::Tail;
use crate::stats::SMALLEST_TAIL;

/// A tail is summed up until a term adds less than this share.
const NEGLIGIBLE: f64 = 1e-12;

/// Number of panels hit without a repeat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Pooled {
    /// Panels that the band crosses, at least 1.
    pub(crate) panels: f64,
    /// Mean of the expectation, above 0: a panel's mean chance is
    /// 1 − e^(−expected ÷ panels).
    pub(crate) expected: f64,
    /// Shape of its gamma distribution: panels that it rests on, as if all told
    /// alike, and one.
    pub(crate) shape: f64,
}

impl Pooled {
    /// P(at least `hits` of the panels).
    pub(crate) fn tail(&self, hits: usize) -> Tail {
        let k = hits as f64;
        if hits == 0 {
            return Tail::Exact(1.0);
        }
        if k > self.panels {
            return Tail::Beyond(f64::NEG_INFINITY);
        }
        let (a, b) = self.beta();
        let n = self.panels;
        let ln_choose = ln_gamma(n + 1.0) - ln_gamma(k + 1.0) - ln_gamma(n - k + 1.0);
        let ln_beta = |a: f64, b: f64| ln_gamma(a) + ln_gamma(b) - ln_gamma(a + b);
        let first = ln_choose + ln_beta(k + a, n - k + b) - ln_beta(a, b);
        let (mut term, mut sum, mut at) = (1.0, 1.0, k);
        while at < n {
            term *= (n - at) * (at + a) / ((at + 1.0) * (n - at - 1.0 + b));
            sum += term;
            at += 1.0;
            if term < NEGLIGIBLE * sum {
                break;
            }
        }
        let ln = (first + f64::ln(sum)).min(0.0);
        if ln < SMALLEST_TAIL.ln() {
            Tail::Beyond(ln)
        } else {
            Tail::Exact((first.exp() * sum).min(1.0))
        }
    }

    /// P(at least k) for k = `fewest`, …, down to the first of at most `floor`.
    pub(crate) fn tails(&self, fewest: usize, floor: f64) -> Vec<f64> {
        let mut tails = Vec::new();
        for hits in fewest..=self.panels as usize {
            let tail = self.tail(hits).value();
            tails.push(tail);
            if tail <= floor {
                break;
            }
        }
        tails
    }

    /// Whether so many hits could be significant at all.
    pub(crate) fn stands_out(&self, hits: usize) -> bool {
        let excess = hits as f64 - self.expected;
        excess > 0.0 && excess * excess > 4.0 * self.expected.min(self.panels)
    }

    /// Parameters of the beta distribution of a panel's chance.
    fn beta(&self) -> (f64, f64) {
        let one = self.expected / (self.shape * self.panels);
        let ln_miss = -self.shape * one.ln_1p();
        let ln_miss_twice = -self.shape * (2.0 * one).ln_1p();
        let chance = -ln_miss.exp_m1();
        let miss = ln_miss.exp();
        let variance = miss * miss * (ln_miss_twice - 2.0 * ln_miss).exp_m1();
        let weight = (chance * miss / variance - 1.0).max(f64::MIN_POSITIVE);
        (chance * weight, miss * weight)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::binomial_tail;

    /// The binomial tail averaged over the gamma distribution by brute force.
    fn averaged(pooled: &Pooled, hits: usize) -> f64 {
        let scale = pooled.expected / pooled.shape;
        let steps = 4_000;
        let width = 20.0 / f64::from(steps);
        let (mut sum, mut weight) = (0.0, 0.0);
        for i in 0..steps {
            // ln of the gamma variate over its mean
            let t = -12.0 + width * (f64::from(i) + 0.5);
            let value = pooled.expected * t.exp();
            let density = (pooled.shape * (value / scale).ln() - value / scale).exp();
            let chance = -(-value / pooled.panels).exp_m1();
            sum += density * binomial_tail(pooled.panels as usize, chance, hits);
            weight += density;
        }
        sum / weight
    }

    #[test]
    fn the_tail_is_that_of_a_binomial_count_with_an_uncertain_expectation() {
        for (panels, expected, shape) in [
            (100.0, 4.0, 30.0),
            (100.0, 15.0, 60.0),
            (30.0, 1.0, 5.0),
            (400.0, 1.0, 12.0),
        ] {
            let pooled = Pooled {
                panels,
                expected,
                shape,
            };
            for hits in [4, 8, 14, 20] {
                let (got, plain) = (pooled.tail(hits).value(), averaged(&pooled, hits));
                // two matched moments of three: the far tail is near, not exact
                assert!(
                    (got / plain).ln().abs() < 0.35 && (got / plain > 0.95 || plain < 1e-6),
                    "{pooled:?} {hits}: {got} {plain}"
                );
            }
        }
    }

    #[test]
    fn a_well_known_expectation_gives_the_binomial_tail() {
        let pooled = Pooled {
            panels: 200.0,
            expected: 5.0,
            shape: 1e7,
        };
        let chance = -(-5.0_f64 / 200.0).exp_m1();
        for hits in 1..20 {
            let binomial = binomial_tail(200, chance, hits);
            assert!(
                (pooled.tail(hits).value() / binomial - 1.0).abs() < 1e-4,
                "{hits}"
            );
        }
        assert_eq!(pooled.tail(0).value(), 1.0);
        assert_eq!(pooled.tail(201).value(), SMALLEST_TAIL);
    }

    #[test]
    fn tails_fall_down_to_the_floor() {
        let pooled = Pooled {
            panels: 60.0,
            expected: 2.0,
            shape: 8.0,
        };
        let tails = pooled.tails(4, 1e-6);
        assert_eq!(tails[0], pooled.tail(4).value());
        assert!(tails.windows(2).all(|w| w[1] < w[0]));
        let (last, rest) = tails.split_last().unwrap();
        assert!(*last <= 1e-6 && rest.iter().all(|p| *p > 1e-6));
    }
}
