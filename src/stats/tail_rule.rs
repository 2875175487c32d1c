//! What counts as "at least as extreme" in a two-sided exact test.

/// The rule by which an exact test of a count adds up its two sides.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum TailRule {
    /// Twice the smaller tail, at most 1. Agrees with the exact (Clopper–Pearson
    /// type) interval: p < α just when the 1 − α interval leaves the value out.
    Central,
    /// As central, with half of the observed outcome's probability. Less
    /// cautious: its true error rate can exceed the nominal one slightly.
    /// Agrees with the mid-p interval.
    MidP,
    /// Total probability of all outcomes that are no more likely than the
    /// observed one. Has no interval of its own here: the exact central one is
    /// given, so close to the threshold the two can disagree.
    MinimumLikelihood,
}

/// Outcomes whose probabilities agree to this (log) size count as ties; a sum
/// of floating-point logs can't be trusted further.
const TIE: f64 = 1e-7;

/// A distribution on the counts `least..=most` whose terms rise to one peak and
/// fall again.
pub(crate) trait UnimodalCounts {
    fn least(&self) -> u64;
    /// `None` if there is no end.
    fn most(&self) -> Option<u64>;
    fn ln_probability(&self, k: u64) -> f64;
    fn ln_at_least(&self, k: u64) -> f64;
    fn ln_at_most(&self, k: u64) -> f64;

    /// One-sided p-value of `observed` or more.
    fn p_greater(&self, observed: u64) -> f64 {
        self.ln_at_least(observed).exp()
    }

    /// One-sided p-value of `observed` or fewer.
    fn p_less(&self, observed: u64) -> f64 {
        self.ln_at_most(observed).exp()
    }

    /// Two-sided p-value of `observed` by `rule`.
    fn p_two_sided(&self, observed: u64, rule: TailRule) -> f64 {
        let (less, greater) = (self.p_less(observed), self.p_greater(observed));
        match rule {
            TailRule::Central => (2.0 * less.min(greater)).min(1.0),
            TailRule::MidP => {
                let half = 0.5 * self.ln_probability(observed).exp();
                (2.0 * (less - half).min(greater - half)).clamp(0.0, 1.0)
            }
            TailRule::MinimumLikelihood => self.p_no_likelier(observed),
        }
    }

    /// P(outcomes no likelier than `observed`), by bisection for the first
    /// such outcome on the other side of the peak.
    fn p_no_likelier(&self, observed: u64) -> f64 {
        let bound = self.ln_probability(observed) + TIE;
        let no_likelier = |k: u64| self.ln_probability(k) <= bound;
        let rises_at = |k: u64| self.ln_probability(k + 1) > self.ln_probability(k) + TIE;
        let is_last = self.most() == Some(observed);
        let before_the_peak = !is_last && rises_at(observed);
        let after_the_peak = observed > self.least() && !rises_at(observed - 1);
        if before_the_peak {
            let far = match self.most() {
                Some(most) => most,
                None => {
                    let mut far = observed.max(1) * 2 + 16;
                    while !no_likelier(far) || rises_at(far) {
                        far *= 2;
                    }
                    far
                }
            };
            // Past the peak, "no likelier" turns true once and stays.
            let past = |k: u64| no_likelier(k) && k > observed && !rises_at(k - 1);
            let first = first_true(observed + 1, far + 1, past);
            let other = if first > far {
                f64::NEG_INFINITY
            } else {
                self.ln_at_least(first)
            };
            (self.p_less(observed) + other.exp()).min(1.0)
        } else if after_the_peak {
            let falls_at = |k: u64| self.ln_probability(k + 1) < self.ln_probability(k) - TIE;
            let short_of = |k: u64| !no_likelier(k) || falls_at(k);
            let first = first_true(self.least(), observed, short_of);
            let other = if first == self.least() {
                f64::NEG_INFINITY
            } else {
                self.ln_at_most(first - 1)
            };
            (self.p_greater(observed) + other.exp()).min(1.0)
        } else {
            1.0
        }
    }
}

/// The first k in `low..high` at which a condition that turns true once holds,
/// `high` if none.
fn first_true(mut low: u64, mut high: u64, condition: impl Fn(u64) -> bool) -> u64 {
    while low < high {
        let middle = low + (high - low) / 2;
        if condition(middle) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    low
}
