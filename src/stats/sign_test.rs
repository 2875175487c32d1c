//! The exact sign test.

use super::{Interval, StatsError, TailRule, proportion};

/// Exact test of as many pluses as minuses; ties are left out beforehand.
#[derive(Debug, Clone, PartialEq)]
pub struct SignTest {
    /// Share of pluses among pluses and minuses, 0..1.
    pub estimate: f64,
    /// Clopper–Pearson interval for that share.
    pub ci: Interval,
    /// P(as many pluses or more | even chance).
    pub p_greater: f64,
    /// P(as few pluses or fewer | even chance).
    pub p_less: f64,
    /// Two-sided p-value: twice the smaller tail, at most 1.
    pub p_value: f64,
}

/// Sign test of `pluses` against `minuses`.
///
/// Source: Arbuthnott (1710); Conover (1999), Practical Nonparametric
/// Statistics, section 3.4.
///
/// # Errors
///
/// [`StatsError::Empty`] with neither, [`StatsError::Share`] for a bad level.
pub fn sign_test(pluses: u64, minuses: u64, level: f64) -> Result<SignTest, StatsError> {
    let trials = pluses + minuses;
    let ci = proportion::clopper_pearson(pluses, trials, level)?;
    let test = proportion::proportion_test(pluses, trials, 0.5, TailRule::Central)?;
    Ok(SignTest {
        estimate: test.estimate,
        ci,
        p_greater: test.p_greater,
        p_less: test.p_less,
        p_value: test.p_value,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn swapping_the_signs_swaps_the_tails() {
        let one = sign_test(14, 3, 0.95).unwrap();
        let other = sign_test(3, 14, 0.95).unwrap();
        assert!((one.p_value - other.p_value).abs() < 1e-15);
        assert!((one.p_greater - other.p_less).abs() < 1e-15);
        assert!(sign_test(0, 0, 0.95).is_err());
    }
}
