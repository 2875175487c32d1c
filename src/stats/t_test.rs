//! Means compared: two samples, pairs; and variances by their ratio.

use super::{
    Interval, StatsError,
    distributions::{f_ratio, student_t},
    error::open_share,
    summary::summary,
};

/// How the standard error of a difference of means was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum TMethod {
    /// Each sample has its own variance; Welch (1947), Biometrika 34, 28–35.
    Welch,
    /// One variance for both samples.
    Pooled,
    /// Differences within pairs.
    Paired,
}

/// A difference of means with its t test.
#[derive(Debug, Clone, PartialEq)]
pub struct TTest {
    /// Mean of the first sample minus mean of the second.
    pub estimate: f64,
    /// Its standard error, > 0.
    pub std_error: f64,
    /// estimate ± t·std_error.
    pub ci: Interval,
    /// estimate / std_error.
    pub statistic: f64,
    /// Degrees of freedom.
    pub dof: f64,
    /// Two-sided p-value of equal means.
    pub p_value: f64,
    /// How the standard error was made.
    pub method: TMethod,
}

fn t_test(
    estimate: f64,
    std_error: f64,
    dof: f64,
    level: f64,
    method: TMethod,
) -> Result<TTest, StatsError> {
    if std_error <= 0.0 {
        return Err(StatsError::Empty {
            what: "scatter in the values",
        });
    }
    let half = student_t::two_sided_quantile(level, dof) * std_error;
    let statistic = estimate / std_error;
    Ok(TTest {
        estimate,
        std_error,
        ci: Interval {
            low: estimate - half,
            high: estimate + half,
            level,
        },
        statistic,
        dof,
        p_value: student_t::two_sided_p(statistic, dof),
        method,
    })
}

/// Mean and variance of a sample of two values or more.
fn moments(values: &[f64]) -> Result<(f64, f64, f64), StatsError> {
    let got = summary(values)?;
    let sd = got.sd.ok_or(StatsError::TooFew { got: 1, needed: 2 })?;
    Ok((got.n as f64, got.mean, sd * sd))
}

/// Welch's test: two samples with variances of their own.
///
/// # Errors
///
/// [`StatsError::TooFew`] below two values a sample, [`StatsError::NotFinite`],
/// [`StatsError::Empty`] if nothing scatters, [`StatsError::Share`] for the level.
pub fn welch_t(first: &[f64], second: &[f64], level: f64) -> Result<TTest, StatsError> {
    open_share("level", level)?;
    let ((n1, mean1, var1), (n2, mean2, var2)) = (moments(first)?, moments(second)?);
    let (part1, part2) = (var1 / n1, var2 / n2);
    let dof = (part1 + part2).powi(2) / (part1 * part1 / (n1 - 1.0) + part2 * part2 / (n2 - 1.0));
    t_test(
        mean1 - mean2,
        (part1 + part2).sqrt(),
        dof,
        level,
        TMethod::Welch,
    )
}

/// Two samples with one common variance.
///
/// # Errors
///
/// As [`welch_t`].
pub fn pooled_t(first: &[f64], second: &[f64], level: f64) -> Result<TTest, StatsError> {
    open_share("level", level)?;
    let ((n1, mean1, var1), (n2, mean2, var2)) = (moments(first)?, moments(second)?);
    let dof = n1 + n2 - 2.0;
    let variance = ((n1 - 1.0) * var1 + (n2 - 1.0) * var2) / dof;
    t_test(
        mean1 - mean2,
        (variance * (1.0 / n1 + 1.0 / n2)).sqrt(),
        dof,
        level,
        TMethod::Pooled,
    )
}

/// Pairs: `first[i]` against `second[i]`.
///
/// # Errors
///
/// As [`welch_t`]; [`StatsError::Length`] for unequal lengths.
pub fn paired_t(first: &[f64], second: &[f64], level: f64) -> Result<TTest, StatsError> {
    open_share("level", level)?;
    if first.len() != second.len() {
        return Err(StatsError::Length {
            name: "second",
            got: second.len(),
            expected: first.len(),
        });
    }
    let differences: Vec<f64> = first.iter().zip(second).map(|(a, b)| a - b).collect();
    let (n, mean, variance) = moments(&differences)?;
    t_test(mean, (variance / n).sqrt(), n - 1.0, level, TMethod::Paired)
}

/// Ratio of two variances with its F test; sensitive to tails that are not
/// normal.
#[derive(Debug, Clone, PartialEq)]
pub struct VarianceRatio {
    /// s₁²/s₂².
    pub estimate: f64,
    /// Interval for the ratio of the true variances.
    pub ci: Interval,
    /// n₁ − 1 and n₂ − 1.
    pub dof: (f64, f64),
    /// P(F ≥ estimate) for equal variances.
    pub p_greater: f64,
    /// Twice the smaller tail, at most 1; agrees with `ci`.
    pub p_value: f64,
}

/// Compares the variances of two samples.
///
/// # Errors
///
/// As [`welch_t`].
pub fn variance_ratio(
    first: &[f64],
    second: &[f64],
    level: f64,
) -> Result<VarianceRatio, StatsError> {
    open_share("level", level)?;
    let ((n1, _, var1), (n2, _, var2)) = (moments(first)?, moments(second)?);
    if var1 <= 0.0 || var2 <= 0.0 {
        return Err(StatsError::Empty {
            what: "scatter in one of the samples",
        });
    }
    let (estimate, dof) = (var1 / var2, (n1 - 1.0, n2 - 1.0));
    let tail = (1.0 - level) / 2.0;
    let tails = f_ratio::tails(estimate, dof.0, dof.1);
    Ok(VarianceRatio {
        estimate,
        ci: Interval {
            low: estimate / f_ratio::upper_quantile(tail, dof.0, dof.1),
            high: estimate / f_ratio::quantile(tail, dof.0, dof.1),
            level,
        },
        dof,
        p_greater: tails.upper(),
        p_value: (2.0 * tails.upper().min(tails.lower())).min(1.0),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_sizes_and_variances_make_welch_and_pooled_the_same() {
        let (a, b) = ([1.0, 2.0, 4.0], [3.0, 4.0, 6.0]);
        let (welch, pooled) = (
            welch_t(&a, &b, 0.95).unwrap(),
            pooled_t(&a, &b, 0.95).unwrap(),
        );
        assert!((welch.dof - pooled.dof).abs() < 1e-12);
        assert!((welch.p_value - pooled.p_value).abs() < 1e-12);
    }

    #[test]
    fn values_that_do_not_scatter_are_refused() {
        let error = welch_t(&[1.0, 1.0], &[2.0, 2.0], 0.95).unwrap_err();
        assert_eq!(error.to_string(), "no scatter in the values");
        assert!(paired_t(&[1.0, 2.0], &[1.0], 0.95).is_err());
    }

    #[test]
    fn the_variance_ratio_inverts_when_the_samples_swap() {
        let (a, b) = ([1.0, 2.0, 4.0, 9.0], [3.0, 4.0, 6.0]);
        let (one, other) = (
            variance_ratio(&a, &b, 0.9).unwrap(),
            variance_ratio(&b, &a, 0.9).unwrap(),
        );
        assert!((one.ci.low * other.ci.high - 1.0).abs() < 1e-9);
        assert!((one.p_value - other.p_value).abs() < 1e-12);
    }
}
