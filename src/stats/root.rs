//! Roots of monotone functions, by bracketing.

/// Grows a bracket from `start` by doubling steps until `f` changes sign, then
/// finds the root inside it.
///
/// `f` must be monotone (either direction). Returns `None` if no sign change
/// lies within `start ± limit`.
pub(crate) fn of_monotone(
    f: impl Fn(f64) -> f64,
    start: f64,
    step: f64,
    limit: f64,
) -> Option<f64> {
    let at_start = f(start);
    if at_start == 0.0 {
        return Some(start);
    }
    let (mut below, mut above) = ((start, at_start), (start, at_start));
    let mut reach = step;
    while reach <= limit * 2.0 {
        let width = reach.min(limit);
        let low = (start - width, f(start - width));
        if crosses(low.1, below.1) {
            return Some(between(&f, low, below));
        }
        below = low;
        let high = (start + width, f(start + width));
        if crosses(high.1, above.1) {
            return Some(between(&f, above, high));
        }
        above = high;
        reach *= 2.0;
    }
    None
}

fn crosses(one: f64, other: f64) -> bool {
    one == 0.0 || other == 0.0 || (one < 0.0) != (other < 0.0)
}

/// Root of `f` between two points at which its signs differ, to about two
/// units in the last place.
///
/// Chandrupatla (1997), Advances in Engineering Software 28, 145–149: inverse
/// quadratic interpolation where it is safe, bisection elsewhere.
pub(crate) fn between(f: impl Fn(f64) -> f64, low: (f64, f64), high: (f64, f64)) -> f64 {
    let ((mut newest, mut f_newest), (mut opposite, mut f_opposite)) = (high, low);
    let mut share: f64 = 0.5;
    for _ in 0..300 {
        let (best, f_best) = if f_newest.abs() < f_opposite.abs() {
            (newest, f_newest)
        } else {
            (opposite, f_opposite)
        };
        let width = (opposite - newest).abs();
        let tolerance = 2.0 * f64::EPSILON * best.abs() + f64::MIN_POSITIVE;
        if f_best == 0.0 || width <= 2.0 * tolerance {
            return best;
        }
        let smallest_share = tolerance / width;
        let x = newest + share.clamp(smallest_share, 1.0 - smallest_share) * (opposite - newest);
        let f_x = f(x);
        let (oldest, f_oldest);
        if (f_x < 0.0) == (f_newest < 0.0) {
            (oldest, f_oldest) = (newest, f_newest);
        } else {
            (oldest, f_oldest) = (opposite, f_opposite);
            (opposite, f_opposite) = (newest, f_newest);
        }
        (newest, f_newest) = (x, f_x);
        let xi = (newest - opposite) / (oldest - opposite);
        let phi = (f_newest - f_opposite) / (f_oldest - f_opposite);
        let quadratic_is_safe = phi * phi < xi && (1.0 - phi) * (1.0 - phi) < 1.0 - xi;
        share = if quadratic_is_safe {
            f_newest / (f_opposite - f_newest) * f_oldest / (f_opposite - f_oldest)
                + (oldest - newest) / (opposite - newest) * f_newest / (f_oldest - f_newest)
                    * f_opposite
                    / (f_oldest - f_opposite)
        } else {
            0.5
        };
        if !share.is_finite() {
            share = 0.5;
        }
    }
    0.5 * (newest + opposite)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_the_root_of_rising_and_falling_functions() {
        let cube = of_monotone(|x| x * x * x - 2.0, 0.0, 1.0, 1e9).unwrap();
        assert!((cube - 2.0_f64.cbrt()).abs() < 1e-15);
        let exponential = of_monotone(|x| (-x).exp() - 1e-200, 0.0, 1.0, 1e9).unwrap();
        assert!((exponential - 200.0 * 10.0_f64.ln()).abs() < 1e-10);
    }

    #[test]
    fn says_so_when_there_is_no_root() {
        assert_eq!(of_monotone(|x| x.exp(), 0.0, 1.0, 100.0), None);
    }
}
