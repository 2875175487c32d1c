//! Least-squares lines.

use crate::stats::distributions::student_t;

/// A least-squares line through (time, value).
pub(super) struct Line {
    pub slope: f64,
    pub mean_time: f64,
    pub mean_value: f64,
    pub time_squares: f64,
    /// Residual sum of squares.
    pub residual: f64,
}

impl Line {
    pub(super) fn through(at: &[(f64, f64)]) -> Option<Self> {
        let n = at.len() as f64;
        let mean_time = at.iter().map(|a| a.0).sum::<f64>() / n;
        let mean_value = at.iter().map(|a| a.1).sum::<f64>() / n;
        let time_squares: f64 = at.iter().map(|a| (a.0 - mean_time).powi(2)).sum();
        if at.len() < 3 || time_squares <= 0.0 {
            return None;
        }
        let products: f64 = at
            .iter()
            .map(|a| (a.0 - mean_time) * (a.1 - mean_value))
            .sum();
        let slope = products / time_squares;
        let residual = at
            .iter()
            .map(|a| (a.1 - mean_value - slope * (a.0 - mean_time)).powi(2))
            .sum();
        Some(Self {
            slope,
            mean_time,
            mean_value,
            time_squares,
            residual,
        })
    }
}

/// Two-sided p of the slope in the least-squares line of (time, value).
pub(super) fn slope_p(at: &[(f64, f64)]) -> Option<f64> {
    let line = Line::through(at)?;
    let dof = at.len() as f64 - 2.0;
    let error = (line.residual / dof / line.time_squares).sqrt();
    if dof < 1.0 {
        return None;
    }
    if error <= 0.0 {
        return Some(if line.slope == 0.0 { 1.0 } else { 0.0 });
    }
    Some(student_t::two_sided_p(line.slope / error, dof))
}
