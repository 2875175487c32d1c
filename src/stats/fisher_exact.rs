//! Fisher's exact test of a two-by-two table.

use super::{
    Interval, StatsError, TailRule, distributions::hypergeometric::Draw, error::open_share, root,
    tail_rule::UnimodalCounts,
};

/// Hits and misses in two groups.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TwoByTwo {
    /// Hits in the first group.
    pub first_hits: u64,
    /// Misses in the first group.
    pub first_misses: u64,
    /// Hits in the second group.
    pub second_hits: u64,
    /// Misses in the second group.
    pub second_misses: u64,
}

impl TwoByTwo {
    /// The first group as a draw from all, hits being marked.
    pub(crate) fn draw(self) -> Draw {
        let drawn = self.first_hits + self.first_misses;
        Draw {
            size: drawn + self.second_hits + self.second_misses,
            marked: self.first_hits + self.second_hits,
            drawn,
        }
    }
}

/// Odds ratio of a two-by-two table, first over second group, with all margins
/// held fixed.
///
/// Source: Fisher (1935), JRSS 98, 39–82; interval by Cornfield (1956) from the
/// noncentral hypergeometric distribution.
#[derive(Debug, Clone, PartialEq)]
pub struct FisherExact {
    /// Conditional maximum-likelihood odds ratio; 0 or ∞ if the table is as
    /// extreme as its margins allow, `None` if they allow one table only.
    pub estimate: Option<f64>,
    /// Exact interval (each tail (1 − level)/2), 0..∞ if the margins allow one
    /// table only. Agrees with the p-value of [`TailRule::Central`].
    pub ci: Interval,
    /// P(as many first hits or more | no difference).
    pub p_greater: f64,
    /// P(as few first hits or fewer | no difference).
    pub p_less: f64,
    /// Two-sided p-value by `rule`.
    pub p_value: f64,
    /// How the two sides were added.
    pub rule: TailRule,
}

/// Fisher's exact test with interval.
///
/// # Errors
///
/// [`StatsError::Empty`] for an empty table, [`StatsError::Share`] for the level.
pub fn fisher_exact(
    table: TwoByTwo,
    level: f64,
    rule: TailRule,
) -> Result<FisherExact, StatsError> {
    open_share("level", level)?;
    let draw = table.draw();
    if draw.size == 0 {
        return Err(StatsError::Empty {
            what: "observations in the table",
        });
    }
    let weighted = Noncentral::new(draw);
    let observed = table.first_hits;
    let ln_tail = ((1.0 - level) / 2.0).ln();
    let (least, most) = (draw.least(), draw.most());
    let low = if observed == least {
        0.0
    } else {
        let excess = |x: f64| weighted.ln_at_least(observed, x) - ln_tail;
        root::of_monotone(excess, 0.0, 1.0, 700.0).map_or(0.0, f64::exp)
    };
    let high = if observed == most {
        f64::INFINITY
    } else {
        let excess = |x: f64| weighted.ln_at_most(observed, x) - ln_tail;
        root::of_monotone(excess, 0.0, 1.0, 700.0).map_or(f64::INFINITY, f64::exp)
    };
    let estimate = if least == most {
        None
    } else if observed == least {
        Some(0.0)
    } else if observed == most {
        Some(f64::INFINITY)
    } else {
        let excess = |x: f64| weighted.mean(x) - observed as f64;
        root::of_monotone(excess, 0.0, 1.0, 700.0).map(f64::exp)
    };
    Ok(FisherExact {
        estimate,
        ci: Interval { low, high, level },
        p_greater: draw.at_least(observed),
        p_less: draw.at_most(observed),
        p_value: draw.p_two_sided(observed, rule),
        rule,
    })
}

impl UnimodalCounts for Draw {
    fn least(&self) -> u64 {
        Draw::least(*self)
    }
    fn most(&self) -> Option<u64> {
        Some(Draw::most(*self))
    }
    fn ln_probability(&self, k: u64) -> f64 {
        Draw::ln_probability(*self, k)
    }
    fn ln_at_least(&self, k: u64) -> f64 {
        Draw::ln_at_least(*self, k)
    }
    fn ln_at_most(&self, k: u64) -> f64 {
        Draw::ln_at_most(*self, k)
    }
}

/// First hits given the margins, when the odds ratio is not one.
struct Noncentral {
    least: u64,
    /// ln of the central weights of `least..=most`, up to a constant.
    ln_weights: Vec<f64>,
}

impl Noncentral {
    fn new(draw: Draw) -> Noncentral {
        let (least, most) = (draw.least(), draw.most());
        // Ratios of neighbours, summed: no large log-gammas to subtract.
        let mut ln_weights = vec![0.0];
        let mut sum = 0.0;
        for k in least..most {
            sum += draw.step(k).ln();
            ln_weights.push(sum);
        }
        Noncentral { least, ln_weights }
    }

    /// Weights at ln odds ratio `x`, the largest being one, with their index.
    fn weights(&self, x: f64) -> Vec<f64> {
        let tilted = |(i, ln_weight): (usize, &f64)| ln_weight + i as f64 * x;
        let largest = self
            .ln_weights
            .iter()
            .enumerate()
            .map(tilted)
            .fold(f64::NEG_INFINITY, f64::max);
        self.ln_weights
            .iter()
            .enumerate()
            .map(|pair| (tilted(pair) - largest).exp())
            .collect()
    }

    fn ln_at_least(&self, observed: u64, x: f64) -> f64 {
        let weights = self.weights(x);
        let from = (observed - self.least) as usize;
        let upper: f64 = weights.iter().skip(from).sum();
        (upper / weights.iter().sum::<f64>()).max(1e-300).ln()
    }

    fn ln_at_most(&self, observed: u64, x: f64) -> f64 {
        let weights = self.weights(x);
        let to = (observed - self.least) as usize + 1;
        let lower: f64 = weights.iter().take(to).sum();
        (lower / weights.iter().sum::<f64>()).max(1e-300).ln()
    }

    fn mean(&self, x: f64) -> f64 {
        let weights = self.weights(x);
        let first_moment: f64 = weights
            .iter()
            .enumerate()
            .map(|(i, weight)| i as f64 * weight)
            .sum();
        self.least as f64 + first_moment / weights.iter().sum::<f64>()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn table(a: u64, b: u64, c: u64, d: u64) -> TwoByTwo {
        TwoByTwo {
            first_hits: a,
            first_misses: b,
            second_hits: c,
            second_misses: d,
        }
    }

    proptest! {
        #[test]
        fn swapping_the_groups_inverts_the_odds_ratio(a in 0_u64..20, b in 0_u64..20, c in 0_u64..20, d in 0_u64..20) {
            prop_assume!(a + b + c + d > 0);
            let one = fisher_exact(table(a, b, c, d), 0.95, TailRule::MinimumLikelihood).unwrap();
            let other = fisher_exact(table(c, d, a, b), 0.95, TailRule::MinimumLikelihood).unwrap();
            prop_assert!((one.p_value - other.p_value).abs() < 1e-10);
            prop_assert!((one.p_greater - other.p_less).abs() < 1e-12);
            if one.ci.low > 0.0 {
                prop_assert!((one.ci.low * other.ci.high - 1.0).abs() < 1e-7);
            }
        }

        #[test]
        fn the_central_rule_agrees_with_the_interval(a in 0_u64..12, b in 0_u64..12, c in 0_u64..12, d in 0_u64..12) {
            prop_assume!(a + b + c + d > 0);
            let result = fisher_exact(table(a, b, c, d), 0.9, TailRule::Central).unwrap();
            prop_assume!((result.p_value - 0.1).abs() > 1e-6);
            prop_assert_eq!(result.p_value < 0.1, result.ci.low > 1.0 || result.ci.high < 1.0);
        }
    }

    #[test]
    fn margins_that_allow_one_table_say_nothing() {
        let result = fisher_exact(table(0, 5, 0, 7), 0.95, TailRule::Central).unwrap();
        assert_eq!(result.estimate, None);
        assert_eq!(
            (result.ci.low, result.ci.high, result.p_value),
            (0.0, f64::INFINITY, 1.0)
        );
    }
}
