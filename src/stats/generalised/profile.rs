//! Profile-likelihood intervals.

use super::fit::{Generalised, Model, generalised};
use crate::stats::{
    Interval, StatsError,
    distributions::{f_ratio, student_t},
    linear::{Design, INTERCEPT},
    root,
};

/// Profile-likelihood interval for the coefficient of `column` (index in the
/// design): the values whose deviance, with the others refitted, exceeds the
/// least by no more than dispersion × the quantile. Better than the Wald
/// interval in small samples; a limit is infinite where the likelihood never
/// falls far enough.
///
/// # Errors
///
/// As [`generalised`]; [`StatsError::Empty`] if the column has no coefficient.
pub fn profile_interval(
    design: &Design,
    response: &[f64],
    model: &Model<'_>,
    fit: &Generalised,
    column: usize,
) -> Result<Interval, StatsError> {
    let name = &design.columns()[column].name;
    let Some(coefficient) = fit.coefficient(name) else {
        return Err(StatsError::Empty {
            what: "coefficients of that column",
        });
    };
    let quantile = if coefficient.dof.is_finite() {
        f_ratio::upper_quantile(1.0 - model.level, 1.0, coefficient.dof)
    } else {
        student_t::two_sided_quantile(model.level, f64::INFINITY).powi(2)
    };
    let bound = fit.deviance + fit.dispersion * quantile;
    let mut rest = Design::through_zero(design.rows());
    for (index, other) in design.columns().iter().enumerate() {
        let aliased = fit.aliased.iter().any(|alias| alias.column == index);
        if index != column && !aliased {
            let name = if other.name == INTERCEPT {
                "constant"
            } else {
                &other.name
            };
            rest = rest.number(name, &other.values)?;
        }
    }
    let excess = |value: f64| -> f64 {
        let fixed: Vec<f64> = design.columns()[column]
            .values
            .iter()
            .enumerate()
            .map(|(i, x)| x * value + model.offset.map_or(0.0, |offset| offset[i]))
            .collect();
        let model = Model {
            offset: Some(&fixed),
            ..*model
        };
        generalised(&rest, response, &model)
            .map_or(f64::INFINITY, |fit| fit.deviance - bound)
            .min(1e300)
    };
    let limit = |direction: f64| -> f64 {
        let step = coefficient.std_error.clamp(1e-8, 10.0);
        let mut reach = step;
        while reach < 400.0 * step.max(1.0) {
            let at = coefficient.estimate + direction * reach;
            let high = excess(at);
            if high > 0.0 {
                let start = (coefficient.estimate, fit.deviance - bound);
                return root::between(excess, start, (at, high));
            }
            reach *= 2.0;
        }
        direction * f64::INFINITY
    };
    Ok(Interval {
        low: limit(-1.0),
        high: limit(1.0),
        level: model.level,
    })
}
