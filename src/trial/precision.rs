//! How well a recipe trial will know its factors.

use serde::Serialize;

use super::factor::{Factor, Settings};
use super::order::Point;
use super::terms::{Model, columns_of, information, row};
use crate::stats::distributions::{noncentral_t, student_t};
use crate::stats::matrix::pseudo_inverse;

/// SD of ln removal between panels at one setting where none is given (common
/// practice, no source): about a tenth of the removal.
pub(super) const USUAL_SCATTER: f64 = 0.1;

/// Up to this age the report takes an abrasive for fresh.
const FRESH_UP_TO: f64 = 2.0;

/// Level of the intervals.
const LEVEL: f64 = 0.95;

/// Chance to show what is said to be seen.
const POWER: f64 = 0.8;

/// How well a factor will be known.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Precision {
    /// The factor.
    pub factor: String,
    /// Half width of the interval of ln (removal at its high setting over that at
    /// its low one), at 95 %.
    pub half_width_ln: f64,
    /// Half width of the interval of its exponent, for numbers above 0.
    pub half_width_exponent: Option<f64>,
    /// The ratio of removal between its ends that is shown with a chance of 80 %.
    pub shown_ratio: f64,
    /// Degrees of freedom.
    pub dof: f64,
    /// Whether it is told from stretches, so that all this is the best case.
    pub at_best: bool,
}

/// Half widths for each factor: t·σ·√c of the difference between its ends, where
/// σ²·(X'X)⁻¹ is the variance of the coefficients. Empty where no run is left over.
///
/// A factor given in stretches has the stretches' degrees of freedom; the scatter
/// between stretches is not known before, so that it is a best case.
pub(super) fn precision(
    factors: &[Factor],
    points: &[Point],
    model: &Model,
    reach: f64,
    hard: Option<usize>,
    scatter: Option<f64>,
) -> Vec<Precision> {
    let scatter = scatter.unwrap_or(USUAL_SCATTER);
    let lots = points.iter().map(|p| p.lot).max().unwrap_or(0);
    let ages = hard.map(|at| ages(points, at));
    let rows: Vec<Vec<f64>> = points
        .iter()
        .enumerate()
        .map(|(i, point)| {
            let mut row = row(factors, &point.coded, *model);
            row.extend((1..=lots).map(|lot| f64::from(u8::from(point.lot == lot))));
            // A fresh abrasive a stretch: the report allows for its age.
            row.extend(ages.iter().flat_map(|ages| {
                let fresh = f64::from(u8::from(ages[i] <= FRESH_UP_TO));
                [ages[i], fresh]
            }));
            row
        })
        .collect();
    let width = rows.first().map_or(0, Vec::len);
    let Some(inverse) = pseudo_inverse(&information(rows.iter(), width)) else {
        return Vec::new();
    };
    let rest = points.len() as f64 - width as f64;
    let stretches = |at: usize| {
        let changed = |w: &[Point]| w[0].coded[at] != w[1].coded[at] || w[0].lot != w[1].lot;
        points.windows(2).filter(|w| changed(w)).count() as f64 + 1.0
    };
    let of = |(at, (factor, (start, wide))): (usize, (&Factor, (usize, usize)))| {
        let at_best = hard == Some(at);
        let dof = if at_best {
            stretches(at) - wide as f64 - lots as f64 - 1.0
        } else {
            rest
        };
        // Numbers and two levels: from −reach to reach. More levels: the widest
        // difference from the mean of all.
        let far = if factor.levels() == 2 {
            2.0 * reach
        } else {
            1.0
        };
        let variance = (start..start + wide)
            .map(|c| inverse[(c, c)])
            .fold(0.0, f64::max);
        let error = scatter * far * variance.sqrt();
        if dof < 1.0 || error <= 0.0 {
            return None;
        }
        let t = student_t::two_sided_quantile(LEVEL, dof);
        let half_width_ln = t * error;
        let ends = match factor.settings {
            Settings::Between(low, high) if low > 0.0 => Some((high / low).ln()),
            _ => None,
        };
        Some(Precision {
            factor: factor.name.clone(),
            half_width_ln,
            half_width_exponent: ends.map(|e| half_width_ln / e),
            shown_ratio: (error * shift(t, dof)).exp(),
            dof,
            at_best,
        })
    };
    (factors.iter().zip(columns_of(factors)).enumerate())
        .filter_map(of)
        .collect()
}

/// Panels sanded on each panel's abrasive, which changes with the factor at `hard` and
/// with the lot.
fn ages(points: &[Point], hard: usize) -> Vec<f64> {
    let same = |a: &Point, b: &Point| a.lot == b.lot && a.coded[hard] == b.coded[hard];
    let stretches = points.chunk_by(same);
    stretches
        .flat_map(|stretch| (0..stretch.len()).map(|age| age as f64))
        .collect()
}

/// The shift at which a noncentral t passes `t` with the wanted chance.
fn shift(t: f64, dof: f64) -> f64 {
    let (mut low, mut high) = (0.0, 4.0 * t + 10.0);
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if noncentral_t::upper_tail(t, dof, middle) < POWER {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::distributions::student_t;
    use approx::assert_relative_eq;

    fn factor(name: &str) -> Factor {
        Factor {
            name: name.into(),
            settings: Settings::Between(80.0, 160.0),
        }
    }

    /// A full two-level design of three factors, twice: the difference between the ends
    /// of a factor has the error 2σ/√16 (Box, Hunter & Hunter 1978, ch. 10).
    #[test]
    fn an_effect_of_a_two_level_design_has_twice_the_error_of_the_mean() {
        let factors = ["feed_mm_s", "passes", "force_n"].map(factor);
        let sign = |i: usize, k: usize| if i >> k & 1 == 1 { 1.0 } else { -1.0 };
        let points: Vec<Point> = (0..16)
            .map(|i| Point {
                coded: (0..3).map(|k| sign(i, k)).collect(),
                lot: 0,
                centre: false,
            })
            .collect();
        let found = precision(&factors, &points, &Model::Single, 1.0, None, Some(0.1));
        assert_eq!(found.len(), 3);
        let t = student_t::two_sided_quantile(0.95, 12.0);
        for of in &found {
            assert_eq!(of.dof, 12.0);
            assert_relative_eq!(of.half_width_ln, t * 2.0 * 0.1 / 4.0, max_relative = 1e-9);
            let exponent = of.half_width_ln / 2.0_f64.ln();
            assert_relative_eq!(
                of.half_width_exponent.unwrap(),
                exponent,
                max_relative = 1e-12
            );
        }
    }

    /// Three lots of four stretches: twelve means less the mean, two lots and the
    /// factor leave eight.
    #[test]
    fn a_factor_given_in_stretches_has_the_degrees_of_freedom_of_its_stretches() {
        let factors = [factor("feed_mm_s")];
        let points: Vec<Point> = (0..96)
            .map(|i| Point {
                coded: vec![if i / 8 % 2 == 0 { 1.0 } else { -1.0 }],
                lot: i / 32,
                centre: false,
            })
            .collect();
        let found = precision(&factors, &points, &Model::Single, 1.0, Some(0), None);
        assert_eq!((found[0].dof, found[0].at_best), (8.0, true));
    }
}
