//! Intervals for sums and differences of mean squares: variance components.

use super::Interval;
use super::distributions::{chi_squared, f_ratio};

/// One mean square of a variance component: with `dof` degrees of freedom and
/// counted `factor` times, which may be negative.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct MeanSquare {
    /// What it counts for; < 0 where it is taken off.
    pub factor: f64,
    /// The mean square, ≥ 0.
    pub value: f64,
    /// Its degrees of freedom, > 0.
    pub dof: f64,
}

/// Interval for the sum γ = Σ factor·E(mean square), from independent mean
/// squares that are chi-squared over their degrees of freedom.
///
/// The modified large-sample method: exact when only one mean square counts,
/// close to nominal otherwise, for mean squares counted for and against.
/// Limits below zero are zero, as for a variance.
///
/// Source: Graybill & Wang (1980), J. Am. Stat. Assoc. 75, 869–873; with
/// differences Ting, Burdick, Graybill, Jeyaratnam & Lu (1990), J. Stat. Comput.
/// Simul. 35, 135–143; both in Burdick & Graybill (1992), Confidence Intervals
/// on Variance Components, §3.2 and §3.3.
#[must_use]
pub(crate) fn variance_interval(terms: &[MeanSquare], level: f64) -> Option<Interval> {
    let usable = |t: &&MeanSquare| t.factor != 0.0 && t.value.is_finite() && t.dof > 0.0;
    let terms: Vec<&MeanSquare> = terms.iter().filter(usable).collect();
    let (plus, minus): (Vec<_>, Vec<_>) = terms.iter().partition(|t| t.factor > 0.0);
    if plus.is_empty() {
        return None;
    }
    let tail = (1.0 - level) / 2.0;
    let estimate: f64 = terms.iter().map(|t| t.factor * t.value).sum();
    let low = estimate - below(&plus, &minus, tail).max(0.0).sqrt();
    let high = estimate + above(&plus, &minus, tail).max(0.0).sqrt();
    Some(Interval {
        low: low.max(0.0),
        high: high.max(0.0),
        level,
    })
}

/// 1 − 1/F with the upper `tail` of F(dof, ∞).
fn shrink(dof: f64, tail: f64) -> f64 {
    1.0 - dof / chi_squared::upper_quantile(tail, dof)
}

/// 1/F − 1 with the lower `tail` of F(dof, ∞).
fn stretch(dof: f64, tail: f64) -> f64 {
    dof / chi_squared::quantile(tail, dof) - 1.0
}

fn below(plus: &[&&MeanSquare], minus: &[&&MeanSquare], tail: f64) -> f64 {
    let mut sum = 0.0;
    for (i, p) in plus.iter().enumerate() {
        let size = p.factor * p.value;
        let g = shrink(p.dof, tail);
        sum += (g * size).powi(2);
        for m in minus {
            let f = f_ratio::upper_quantile(tail, p.dof, m.dof);
            let h = stretch(m.dof, tail);
            let both = ((f - 1.0).powi(2) - (g * f).powi(2) - h * h) / f;
            sum += both * size * -m.factor * m.value;
        }
        for other in &plus[i + 1..] {
            let total = p.dof + other.dof;
            let g_other = shrink(other.dof, tail);
            let both = shrink(total, tail).powi(2) * total * total / (p.dof * other.dof)
                - g * g * p.dof / other.dof
                - g_other * g_other * other.dof / p.dof;
            sum += both / (plus.len() as f64 - 1.0) * size * other.factor * other.value;
        }
    }
    for m in minus {
        sum += (stretch(m.dof, tail) * m.factor * m.value).powi(2);
    }
    sum
}

fn above(plus: &[&&MeanSquare], minus: &[&&MeanSquare], tail: f64) -> f64 {
    let mut sum = 0.0;
    for p in plus {
        let size = p.factor * p.value;
        let h = stretch(p.dof, tail);
        sum += (h * size).powi(2);
        for m in minus {
            let f = f_ratio::quantile(tail, p.dof, m.dof);
            let g = shrink(m.dof, tail);
            let both = ((1.0 - f).powi(2) - (h * f).powi(2) - g * g) / f;
            sum += both * size * -m.factor * m.value;
        }
    }
    for m in minus {
        sum += (shrink(m.dof, tail) * m.factor * m.value).powi(2);
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn one_mean_square_gives_the_chi_squared_interval() {
        let only = MeanSquare {
            factor: 1.0,
            value: 2.0,
            dof: 10.0,
        };
        let ci = variance_interval(&[only], 0.95).unwrap();
        // 10·2/20.483177 and 10·2/3.246973, chi-squared table, 10 degrees of freedom.
        assert_relative_eq!(ci.low, 20.0 / 20.483_177_350_807_4, max_relative = 1e-9);
        assert_relative_eq!(ci.high, 20.0 / 3.246_972_780_236_8, max_relative = 1e-9);
    }

    #[test]
    fn a_component_that_is_all_noise_starts_at_zero() {
        let terms = [
            MeanSquare {
                factor: 0.25,
                value: 1.0,
                dof: 7.0,
            },
            MeanSquare {
                factor: -0.25,
                value: 1.1,
                dof: 16.0,
            },
        ];
        let ci = variance_interval(&terms, 0.95).unwrap();
        assert_eq!(ci.low, 0.0);
        assert!(ci.high > 0.1);
    }
}
