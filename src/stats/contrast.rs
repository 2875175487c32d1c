//! A combination of coefficients, judged by Student's t.

use super::Interval;
use super::distributions::student_t;

/// A combination of coefficients with what is known of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Contrast {
    pub(crate) estimate: f64,
    pub(crate) std_error: f64,
    pub(crate) dof: f64,
}

impl Contrast {
    /// Half the width of the two-sided interval.
    pub(crate) fn half_width(&self, level: f64) -> f64 {
        self.std_error * student_t::two_sided_quantile(level, self.dof)
    }

    /// Two-sided interval.
    pub(crate) fn interval(&self, level: f64) -> Interval {
        let half = self.half_width(level);
        Interval {
            low: self.estimate - half,
            high: self.estimate + half,
            level,
        }
    }

    /// Two-sided p-value against zero; 0 where the data leave no scatter at all
    /// and the estimate is not zero.
    pub(crate) fn p_value(&self) -> f64 {
        if self.estimate == 0.0 {
            1.0
        } else if self.std_error > 0.0 {
            student_t::two_sided_p(self.estimate / self.std_error, self.dof)
        } else {
            0.0
        }
    }
}
