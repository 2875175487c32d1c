//! The distribution of a standardised score whose scatter comes from panels and
//! from a few larger units.

use crate::stats::distributions::{normal, student_t};

/// From so many degrees of freedom on the normal distribution is as good as t.
const NEARLY_NORMAL: f64 = 60.0;

/// Factors up to this multiple of each other are taken as one.
const ALIKE: f64 = 1.15;

/// Standard deviations looked at besides 0: from a hundredth of the usual one to
/// three times it.
pub(super) const SPREADS: usize = 18;

/// The score's variance is that of single independent marks times `panels`
/// (panels' own scatter) times a factor ≥ 1 for what larger units add. That
/// factor is not known but weighed: a mixture of t distributions of different
/// width, one for every factor that the records leave possible.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Law {
    /// Factor of the panels' scatter, ≥ 1 for counts.
    pub panels: f64,
    /// Its degrees of freedom.
    pub degrees: f64,
    /// Factor that larger units add, ascending, and its weight; weights sum to 1.
    pub factors: Vec<(f64, f64)>,
}

/// What the scatter between a few larger units says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Between {
    /// Scatter between the units relative to single independent marks.
    pub factor: f64,
    /// Its degrees of freedom.
    pub degrees: f64,
    /// Variance that a standard deviation of 1 in ln rate between units would
    /// add, relative to single independent marks.
    pub leverage: f64,
    /// Usual standard deviation of ln rate between such units.
    pub usual: f64,
}

impl Law {
    /// Scatter of panels alone.
    pub(super) fn of_panels(panels: f64, degrees: f64) -> Self {
        Self {
            panels,
            degrees,
            factors: vec![(1.0, 1.0)],
        }
    }

    /// With units whose scatter was seen to be `between.factor`.
    ///
    /// The units' own standard deviation s has a half-normal prior of the usual
    /// size; the seen scatter is χ² with its degrees of freedom around what s
    /// implies. Units that scatter no more than their panels do thus cost
    /// little, and a few units do not pass for proof that units are alike.
    /// (Weakly informative priors for a spread known from few units: Gelman
    /// 2006, Bayesian Analysis 1, 515–534.)
    pub(super) fn with_units(panels: f64, degrees: f64, between: &Between) -> Self {
        let factors = spreads(between.usual)
            .map(|(sd, prior)| {
                let factor = 1.0 + sd * sd * between.leverage / panels;
                let seen = between.factor / (panels * factor);
                let ln = prior - 0.5 * between.degrees * (factor.ln() + seen);
                (factor, ln)
            })
            .collect();
        Self::weighed(panels, degrees, factors)
    }

    /// From factors and their ln weights, in any unit.
    pub(super) fn weighed(panels: f64, degrees: f64, mut factors: Vec<(f64, f64)>) -> Self {
        let most = factors
            .iter()
            .map(|f| f.1)
            .fold(f64::NEG_INFINITY, f64::max);
        for f in &mut factors {
            f.1 = (f.1 - most).exp();
        }
        // what weighs next to nothing, and what is next to the same, costs time only
        factors.retain(|f| f.1 > 1e-4);
        factors.sort_by(|x, y| x.0.total_cmp(&y.0));
        let sum: f64 = factors.iter().map(|f| f.1).sum();
        let mut merged: Vec<(f64, f64)> = Vec::new();
        let mut from = 0.0;
        for (factor, weight) in factors {
            match merged.last_mut() {
                Some(last) if factor <= ALIKE * from => {
                    last.0 = (last.0 * last.1 + factor * weight) / (last.1 + weight);
                    last.1 += weight;
                }
                _ => {
                    merged.push((factor, weight));
                    from = factor;
                }
            }
        }
        for f in &mut merged {
            f.1 /= sum;
        }
        Self {
            panels,
            degrees,
            factors: merged,
        }
    }

    fn dof(&self) -> Option<f64> {
        (self.degrees < NEARLY_NORMAL).then_some(self.degrees)
    }

    /// Two-sided p-value of a score that lies `distance` standard deviations of
    /// single independent marks from 0.
    pub(super) fn two_sided_p(&self, distance: f64) -> f64 {
        let p = |factor: f64| {
            let t = distance / (self.panels * factor).sqrt();
            match self.dof() {
                Some(dof) => student_t::two_sided_p(t, dof),
                None => normal::two_sided_p(t),
            }
        };
        self.factors.iter().map(|&(f, w)| w * p(f)).sum()
    }

    /// Half width of an interval of that level, in standard deviations of single
    /// independent marks.
    pub(super) fn half_width(&self, level: f64) -> f64 {
        let one = self.panels.sqrt() * half_width(level, self.dof());
        let outer = |f: fn(f64, f64) -> f64, start: f64| {
            one * self.factors.iter().map(|p| p.0).fold(start, f).sqrt()
        };
        let (mut low, mut high) = (outer(f64::min, f64::INFINITY), outer(f64::max, 1.0));
        let excess = |x: f64| (self.two_sided_p(x) / (1.0 - level)).ln();
        let (mut at_low, mut at_high) = (excess(low), excess(high));
        // false position with halving of a stuck end (Illinois rule)
        for _ in 0..60 {
            if high - low <= 1e-10 * high || at_low <= 0.0 || at_high >= 0.0 {
                break;
            }
            let middle = (low * at_high - high * at_low) / (at_high - at_low);
            let at = excess(middle);
            if at.abs() < 1e-10 {
                return middle;
            }
            if at > 0.0 {
                (low, at_low) = (middle, at);
                at_high *= 0.5;
            } else {
                (high, at_high) = (middle, at);
                at_low *= 0.5;
            }
        }
        high
    }

    /// Mean of the factor that larger units add.
    pub(super) fn mean_factor(&self) -> f64 {
        self.factors.iter().map(|(f, w)| f * w).sum()
    }

    /// Factors at the middles of five equal parts of the weight.
    pub(super) fn fifths(&self) -> [f64; 5] {
        [0.1, 0.3, 0.5, 0.7, 0.9].map(|share| {
            let mut sum = 0.0;
            self.factors
                .iter()
                .find(|(_, w)| {
                    sum += w;
                    sum >= share
                })
                .or(self.factors.last())
                .map_or(1.0, |f| f.0)
        })
    }
}

/// Standard deviations between units with the ln of their half-normal prior
/// weight: evenly spaced in ln, and 0 for all that is smaller.
pub(super) fn spreads(usual: f64) -> impl Iterator<Item = (f64, f64)> {
    let step = (300.0_f64).ln() / (SPREADS - 1) as f64;
    let least = usual / 100.0;
    // the weight of a point is the prior density times the width it stands for
    let none = std::iter::once((0.0, (least * (-0.5 * step).exp()).ln()));
    none.chain((0..SPREADS).map(move |k| {
        let sd = least * (k as f64 * step).exp();
        (sd, (sd * step).ln() - 0.5 * (sd / usual).powi(2))
    }))
}

/// Two-sided quantile of the standard normal or of t: the half width of an
/// interval of that level, in standard errors.
fn half_width(level: f64, degrees: Option<f64>) -> f64 {
    match degrees {
        Some(dof) => student_t::two_sided_quantile(level, dof),
        None => normal::two_sided_quantile(level),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn panels_alone_are_normal_or_t() {
        // 97.5 % quantiles from any table: 1.959964 and 2.228139 (10 df)
        let many = Law::of_panels(4.0, 1000.0);
        assert_relative_eq!(many.half_width(0.95), 2.0 * 1.959_964, max_relative = 1e-6);
        let few = Law::of_panels(1.0, 10.0);
        assert_relative_eq!(few.half_width(0.95), 2.228_139, max_relative = 1e-6);
        assert_relative_eq!(few.two_sided_p(2.228_139), 0.05, max_relative = 1e-5);
    }

    #[test]
    fn test_and_interval_agree_and_wider_units_widen() {
        let law = |factor: f64| {
            let between = Between {
                factor,
                degrees: 10.0,
                leverage: 20.0,
                usual: 0.4,
            };
            Law::with_units(1.0, 200.0, &between)
        };
        let mut last = 1.959;
        for factor in [0.5, 1.0, 2.0, 4.0, 8.0] {
            let law = law(factor);
            let half = law.half_width(0.95);
            assert!(half > last, "{factor}: {half}");
            assert_relative_eq!(law.two_sided_p(half), 0.05, max_relative = 1e-9);
            last = half;
        }
        // days at four times the panels' scatter: about twice as wide as without
        let wide = law(4.0).half_width(0.95);
        assert!((3.4..5.2).contains(&wide), "{wide}");
    }

    #[test]
    fn the_prior_is_half_normal() {
        // ∫ over the grid: weights add up to √(π/2)·usual, mean square 1
        let (mut sum, mut square) = (0.0, 0.0);
        for (sd, ln) in spreads(0.4) {
            sum += ln.exp();
            square += sd * sd * ln.exp();
        }
        assert_relative_eq!(
            sum,
            0.4 * (std::f64::consts::PI / 2.0).sqrt(),
            max_relative = 0.02
        );
        assert_relative_eq!(square / sum, 0.16, max_relative = 0.04);
    }
}
