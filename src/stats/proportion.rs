//! One proportion: its exact interval.

use super::{Interval, StatsError, distributions::beta, error::open_share};

/// The exact interval of a share of `hits` among `trials`: never covers less
/// than its level.
/// Source: Clopper & Pearson (1934), Biometrika 26, 404–413.
///
/// # Errors
///
/// [`StatsError::Empty`] without trials, [`StatsError::Range`] for more hits
/// than trials, [`StatsError::Share`] for a level outside 0..1.
pub(crate) fn clopper_pearson(hits: u64, trials: u64, level: f64) -> Result<Interval, StatsError> {
    checked(hits, trials)?;
    open_share("level", level)?;
    let (low, high) = clopper_pearson_limits(hits, trials, level);
    Ok(Interval { low, high, level })
}

fn checked(hits: u64, trials: u64) -> Result<(), StatsError> {
    if trials == 0 {
        return Err(StatsError::Empty { what: "trials" });
    }
    if hits > trials {
        return Err(StatsError::Range {
            name: "hits",
            value: hits as f64,
            must: "must not exceed the trials",
        });
    }
    Ok(())
}

fn clopper_pearson_limits(hits: u64, trials: u64, level: f64) -> (f64, f64) {
    let tail = (1.0 - level) / 2.0;
    let (k, rest) = (hits as f64, (trials - hits) as f64);
    let low = if hits == 0 {
        0.0
    } else {
        beta::quantile(k, rest + 1.0, tail)
    };
    let high = if hits == trials {
        1.0
    } else {
        beta::upper_quantile(k + 1.0, rest, tail)
    };
    (low, high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::distributions::binomial;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn the_interval_mirrors_when_hits_and_misses_swap(n in 1_u64..200, k in 0_u64..200) {
            let k = k.min(n);
            let one = clopper_pearson(k, n, 0.9).unwrap();
            let other = clopper_pearson(n - k, n, 0.9).unwrap();
            prop_assert!((one.low + other.high - 1.0).abs() < 1e-10);
            prop_assert!(one.low <= k as f64 / n as f64 && k as f64 / n as f64 <= one.high);
        }

        #[test]
        fn a_limit_is_where_the_smaller_tail_is_half_of_what_is_left(n in 1_u64..100, k in 1_u64..100) {
            prop_assume!(k < n);
            let ci = clopper_pearson(k, n, 0.95).unwrap();
            prop_assert!((binomial::at_least(k, n, ci.low) - 0.025).abs() < 1e-9);
            prop_assert!((binomial::at_most(k, n, ci.high) - 0.025).abs() < 1e-9);
        }
    }

    #[test]
    fn refuses_what_cannot_be_a_proportion() {
        assert_eq!(
            clopper_pearson(1, 0, 0.95),
            Err(StatsError::Empty { what: "trials" })
        );
        assert_eq!(
            clopper_pearson(3, 2, 0.95).unwrap_err().to_string(),
            "hits is 3: must not exceed the trials"
        );
        assert_eq!(
            clopper_pearson(1, 2, 1.0).unwrap_err().to_string(),
            "level is 1, and must lie between 0 and 1"
        );
    }
}
