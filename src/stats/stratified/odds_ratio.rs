//! One odds ratio common to all strata of two-by-two tables.

use super::convolution::ExactSum;
use crate::stats::{
    Interval, StatsError, TailRule,
    distributions::{chi_squared, normal},
    error::open_share,
    fisher_exact::TwoByTwo,
};

/// Mantel–Haenszel odds ratio, first group over second.
///
/// ψ̂ = Σ ad/n ÷ Σ bc/n. Source: Mantel & Haenszel (1959), JNCI 22, 719–748;
/// variance of ln ψ̂ by Robins, Breslow & Greenland (1986), Biometrics 42,
/// 311–323, good with few large and with many small strata.
#[derive(Debug, Clone, PartialEq)]
pub struct MantelHaenszelOddsRatio {
    /// ψ̂.
    pub estimate: f64,
    /// Standard error of ln ψ̂.
    pub ln_std_error: f64,
    /// ψ̂·exp(±z·ln_std_error).
    pub ci: Interval,
    /// Chi-squared statistic of ψ = 1 with 1 degree of freedom, without
    /// continuity correction.
    pub statistic: f64,
    /// Its p-value.
    pub p_value: f64,
    /// The same with the continuity correction of ½.
    pub corrected_statistic: f64,
    /// Its p-value.
    pub corrected_p_value: f64,
}

struct Cells {
    a: f64,
    b: f64,
    c: f64,
    d: f64,
    n: f64,
}

fn cells(table: TwoByTwo) -> Cells {
    let [a, b, c, d] = [
        table.first_hits,
        table.first_misses,
        table.second_hits,
        table.second_misses,
    ]
    .map(|x| x as f64);
    Cells {
        a,
        b,
        c,
        d,
        n: a + b + c + d,
    }
}

/// Mantel–Haenszel odds ratio with its chi-squared test.
///
/// # Errors
///
/// [`StatsError::Share`] for the level, [`StatsError::Empty`] if no stratum
/// holds a contrast in one of the directions.
pub fn mantel_haenszel_odds_ratio(
    strata: &[TwoByTwo],
    level: f64,
) -> Result<MantelHaenszelOddsRatio, StatsError> {
    open_share("level", level)?;
    let strata: Vec<Cells> = strata
        .iter()
        .map(|&table| cells(table))
        .filter(|t| t.n > 1.0)
        .collect();
    let sum = |term: &dyn Fn(&Cells) -> f64| strata.iter().map(term).sum::<f64>();
    let r = |t: &Cells| t.a * t.d / t.n;
    let s = |t: &Cells| t.b * t.c / t.n;
    let p = |t: &Cells| (t.a + t.d) / t.n;
    let q = |t: &Cells| (t.b + t.c) / t.n;
    let (sum_r, sum_s) = (sum(&r), sum(&s));
    if sum_r <= 0.0 || sum_s <= 0.0 {
        return Err(StatsError::Empty {
            what: "contrasts in one of the directions",
        });
    }
    let variance = sum(&|t| p(t) * r(t)) / (2.0 * sum_r * sum_r)
        + sum(&|t| p(t) * s(t) + q(t) * r(t)) / (2.0 * sum_r * sum_s)
        + sum(&|t| q(t) * s(t)) / (2.0 * sum_s * sum_s);
    let estimate = sum_r / sum_s;
    let half = normal::two_sided_quantile(level) * variance.sqrt();
    let excess = sum(&|t| t.a - (t.a + t.b) * (t.a + t.c) / t.n).abs();
    let spread =
        sum(&|t| (t.a + t.b) * (t.c + t.d) * (t.a + t.c) * (t.b + t.d) / (t.n * t.n * (t.n - 1.0)));
    let statistic = excess * excess / spread;
    let corrected_statistic = (excess - excess.min(0.5)).powi(2) / spread;
    Ok(MantelHaenszelOddsRatio {
        estimate,
        ln_std_error: variance.sqrt(),
        ci: Interval {
            low: estimate * (-half).exp(),
            high: estimate * half.exp(),
            level,
        },
        statistic,
        p_value: chi_squared::tails(statistic, 1.0).upper(),
        corrected_statistic,
        corrected_p_value: chi_squared::tails(corrected_statistic, 1.0).upper(),
    })
}

/// Exact conditional odds ratio common to all strata, all margins held fixed.
///
/// Source: Gart (1970), Biometrika 57, 471–475. With one stratum it is
/// [`crate::stats::fisher_exact`].
#[derive(Debug, Clone, PartialEq)]
pub struct ExactOddsRatio {
    /// Conditional maximum-likelihood ratio; 0 or ∞ at the ends.
    pub estimate: f64,
    /// Interval that follows `rule`, see [`TailRule`].
    pub ci: Interval,
    /// P(as many first hits or more | ψ = 1).
    pub p_greater: f64,
    /// P(as few first hits or fewer | ψ = 1).
    pub p_less: f64,
    /// Two-sided p-value by `rule`.
    pub p_value: f64,
    /// How the two sides were added.
    pub rule: TailRule,
}

/// Exact common odds ratio. Costs of the order of (hits)².
///
/// # Errors
///
/// [`StatsError::Share`] for the level, [`StatsError::Empty`] if the margins of
/// every stratum allow one table only.
pub fn exact_odds_ratio(
    strata: &[TwoByTwo],
    level: f64,
    rule: TailRule,
) -> Result<ExactOddsRatio, StatsError> {
    open_share("level", level)?;
    let mut ln_weights = Vec::with_capacity(strata.len());
    let mut observed = 0;
    for table in strata {
        let draw = table.draw();
        let mut sum = 0.0;
        let mut weights = vec![0.0];
        for k in draw.least()..draw.most() {
            sum += draw.step(k).ln();
            weights.push(sum);
        }
        ln_weights.push(weights);
        observed += (table.first_hits - draw.least()) as usize;
    }
    let result = ExactSum {
        ln_weights,
        observed,
    }
    .infer(0.0, level, rule)?;
    Ok(ExactOddsRatio {
        estimate: result.estimate,
        ci: result.ci,
        p_greater: result.p_greater,
        p_less: result.p_less,
        p_value: result.p_value,
        rule,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::fisher_exact::fisher_exact;

    #[test]
    fn one_stratum_is_fishers_exact_test() {
        let table = TwoByTwo {
            first_hits: 7,
            first_misses: 5,
            second_hits: 2,
            second_misses: 9,
        };
        let plain = fisher_exact(table, 0.95, TailRule::Central).unwrap();
        let got = exact_odds_ratio(&[table], 0.95, TailRule::Central).unwrap();
        assert!((got.estimate / plain.estimate.unwrap() - 1.0).abs() < 1e-9);
        assert!((got.p_value - plain.p_value).abs() < 1e-12);
        assert!((got.ci.high / plain.ci.high - 1.0).abs() < 1e-8);
    }

    #[test]
    fn swapping_the_groups_inverts_the_ratio() {
        let strata = [
            TwoByTwo {
                first_hits: 7,
                first_misses: 5,
                second_hits: 2,
                second_misses: 9,
            },
            TwoByTwo {
                first_hits: 3,
                first_misses: 8,
                second_hits: 4,
                second_misses: 6,
            },
        ];
        let swapped = strata.map(|t| TwoByTwo {
            first_hits: t.second_hits,
            first_misses: t.second_misses,
            second_hits: t.first_hits,
            second_misses: t.first_misses,
        });
        let one = mantel_haenszel_odds_ratio(&strata, 0.95).unwrap();
        let other = mantel_haenszel_odds_ratio(&swapped, 0.95).unwrap();
        assert!((one.estimate * other.estimate - 1.0).abs() < 1e-12);
        assert!((one.statistic - other.statistic).abs() < 1e-12);
    }
}
