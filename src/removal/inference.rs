//! Intervals that count how often a factor was really set.
//!
//! Two ways to judge a contrast of coefficients, of which the wider counts: the
//! mixed model's own, by Kenward and Roger; and cluster-robust ones by stretches of one setting and,
//! where the contrast moves mainly between them, by days and lots. The robust ones
//! use the bias-reduced sandwich and degrees of freedom of Bell & McCaffrey
//! (2002), Survey Methodology 28, 169, in the form of Pustejovsky & Tipton
//! (2018), J. Bus. Econ. Stat. 36, 672, on the whitened rows of the mixed model:
//! whitened by less than what panels share, clusters that cross lots would not be
//! independent. Counts add what few panels hit take from both.
//! A level set in one stretch only leaves no trace of that stretch's own error, so no
//! cluster-robust error; the mixed model's takes it from the other stretches.
//! A factor set on four days thus gets an interval of four days, not of four
//! hundred panels.

use super::result::Unit;
use crate::stats::Interval;
use crate::stats::cluster_robust::{self, ClusterRobust, gather};
use crate::stats::contrast::Contrast;
use crate::stats::matrix::{apply, dot, quadratic};
use crate::stats::mixed::{Fit, Grouping};

/// Panels that may share what the model does not know, by what they share.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Shared {
    pub(super) unit: Unit,
    pub(super) groups: Grouping,
}

/// An estimate on the log scale with the widest of its intervals.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Judged {
    pub(super) estimate: f64,
    pub(super) std_error: Option<f64>,
    pub(super) dof: Option<f64>,
    pub(super) ci: Option<Interval>,
    pub(super) p_value: Option<f64>,
    pub(super) unit: Unit,
}

/// Share of a contrast's movement between clusters above which the clusters
/// count as its units.
const MAINLY_BETWEEN: f64 = 0.5;
/// Share of a contrast that single clusters may decide.
const MOSTLY_SHARED: f64 = 0.05;

struct Prepared {
    unit: Unit,
    robust: ClusterRobust,
    /// Rows of every cluster and Σ x of their whitened rows.
    rows: Vec<(f64, Vec<f64>)>,
}

impl Prepared {
    fn new(fit: &Fit, shared: &Shared) -> Option<Self> {
        let (p, groups) = (fit.p, &shared.groups);
        let clusters = gather(
            &fit.white_x,
            p,
            &fit.white_residual,
            &groups.of,
            groups.count,
        );
        let mut rows = vec![(0.0, vec![0.0; p]); groups.count];
        for (&g, row) in groups.of.iter().zip(fit.white_x.chunks_exact(p)) {
            rows[g].0 += 1.0;
            for (sum, x) in rows[g].1.iter_mut().zip(row) {
                *sum += x;
            }
        }
        Some(Self {
            unit: shared.unit,
            robust: cluster_robust::fit(&clusters, &[], p)?,
            rows,
        })
    }

    /// Share of the contrast's movement that lies between clusters, 0..1.
    fn between(&self, k: &[f64], total: f64) -> f64 {
        let filled = self.rows.iter().filter(|(rows, _)| *rows > 0.0);
        let sum: f64 = filled.map(|(rows, sum)| dot(k, sum).powi(2) / rows).sum();
        if total > 0.0 { sum / total } else { 0.0 }
    }
}

/// The judge of a fit's contrasts.
pub(super) struct Inference<'a> {
    fit: &'a Fit,
    level: f64,
    prepared: Vec<Prepared>,
}

impl<'a> Inference<'a> {
    /// Prepares the sums per cluster.
    pub(super) fn new(fit: &'a Fit, groupings: &[Shared], level: f64) -> Self {
        let several = groupings.iter().filter(|g| g.groups.count >= 2);
        Self {
            fit,
            level,
            prepared: several.filter_map(|g| Prepared::new(fit, g)).collect(),
        }
    }

    /// Judges c'β. The groupings `always` count in any case, the others where
    /// the contrast moves mainly between their clusters.
    pub(super) fn judge(&self, c: &[f64], always: &[Unit]) -> Judged {
        let fit = self.fit;
        let estimate = dot(c, &fit.beta);
        let k = apply(&fit.unscaled, c);
        let total = quadratic(&fit.unscaled, c);
        let mut widest = fit.contrast(c).and_then(|own| self.few_hits(own));
        let mut unit = Unit::Mixed;
        let mut p_value = widest.map(|w| w.p_value());
        for group in &self.prepared {
            if !always.contains(&group.unit) && group.between(&k, total) < MAINLY_BETWEEN {
                continue;
            }
            let robust = group
                .robust
                .contrast_with(c, MOSTLY_SHARED)
                .and_then(|own| self.few_hits(Contrast { estimate, ..own }));
            match (robust, widest) {
                (Some(robust), Some(model)) => {
                    p_value = p_value.map(|old| old.max(robust.p_value()));
                    if robust.half_width(self.level) > model.half_width(self.level) {
                        widest = Some(robust);
                        unit = group.unit;
                    }
                }
                // One cluster decides alone; lots, days and stretches are random
                // effects of the model itself, whose judgement stays. Lives are not.
                (None, Some(_)) if group.unit != Unit::Life => {}
                _ => {
                    return Judged {
                        estimate,
                        std_error: None,
                        dof: None,
                        ci: None,
                        p_value: None,
                        unit: group.unit,
                    };
                }
            }
        }
        Judged {
            estimate,
            std_error: widest.map(|w| w.std_error),
            dof: widest.map(|w| w.dof),
            ci: widest.map(|w| w.interval(self.level)),
            p_value,
            unit,
        }
    }

    /// Widens the judgement of counts: their coefficients rest on the panels hit,
    /// and both kinds of standard error are too small where these are few. By the
    /// jackknife's factor 1 / (1 − h) (MacKinnon & White 1985, J. Econometrics 29,
    /// 305) at the mean leverage h of a panel hit; none where there are no more
    /// of them than coefficients.
    fn few_hits(&self, own: Contrast) -> Option<Contrast> {
        let Some(hit) = self.fit.hit else {
            return Some(own);
        };
        let free = hit as f64 - self.fit.p as f64;
        (free >= 1.0).then(|| Contrast {
            std_error: own.std_error * hit as f64 / free,
            dof: own.dof.min(free),
            ..own
        })
    }

    /// The change of every coefficient when a cluster of the grouping of that
    /// unit is left out; one entry per cluster.
    pub(super) fn left_out(&self, unit: Unit) -> Vec<Option<Vec<f64>>> {
        let group = self.prepared.iter().find(|g| g.unit == unit);
        group.map_or_else(Vec::new, |g| g.robust.left_out())
    }
}

/// Two-sided p-value of a Student t statistic.
pub(super) fn two_sided(estimate: f64, std_error: f64, dof: f64) -> f64 {
    Contrast {
        estimate,
        std_error,
        dof,
    }
    .p_value()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::mixed::{Problem, Response, Variances};
    use approx::assert_relative_eq;

    /// Levels A, B, A, C, A in five stretches of eight panels: two columns, and an
    /// interval of two degrees of freedom, five stretches less three means.
    fn judged(unit: Unit) -> Judged {
        let stretch = |i: usize| i / 8;
        let shift = [0.0, 0.3, 0.1, -0.2, -0.1];
        let rows = 40;
        let x: Vec<f64> = (0..rows)
            .flat_map(|i| {
                let is = |s: usize| f64::from(u8::from(stretch(i) == s));
                [1.0, is(1), is(3)]
            })
            .collect();
        let y: Vec<f64> = (0..rows)
            .map(|i| {
                let scatter = ((i * 37 + i * i * 11) % 17) as f64 / 17.0 - 0.5;
                20.0 * f64::exp(shift[stretch(i)] + 0.1 * scatter)
            })
            .collect();
        let (zeros, ones): (Vec<f64>, Vec<f64>) = y.iter().map(|_| (0.0, 1.0)).unzip();
        let groups = Grouping::by_key((0..rows).map(stretch));
        let fit = Problem {
            x: &x,
            p: 3,
            y: &y,
            offset: &zeros,
            response: Response::Means { readings: &ones },
            groupings: &[&groups],
            variances: Variances::OffZero,
        }
        .fit()
        .unwrap();
        let shared = [Shared { unit, groups }];
        Inference::new(&fit, &shared, 0.95).judge(&[0.0, 1.0, 0.0], &[unit])
    }

    #[test]
    fn a_level_of_one_stretch_has_the_mixed_models_interval() {
        let judged = judged(Unit::Run);
        assert_eq!(judged.unit, Unit::Mixed);
        assert_relative_eq!(judged.dof.unwrap(), 2.0, max_relative = 0.01);
        let ci = judged.ci.unwrap();
        assert!(ci.low < 0.3 && 0.3 < ci.high, "{ci:?}");
        // stretches at A lie 0.1 apart: an interval of rows would be a tenth of it
        assert!(ci.high - ci.low > 0.5, "{ci:?}");
    }

    #[test]
    fn a_level_of_one_life_has_none_since_lives_are_no_random_effect() {
        assert_eq!(judged(Unit::Life).ci, None);
    }

    /// Two levels by turns on ten days of six panels; days differ by as much as the
    /// levels do, and the model knows of no day.
    #[test]
    fn a_factor_set_by_days_counts_its_days_and_has_the_wider_interval() {
        let day = |i: usize| i / 6;
        let x: Vec<f64> = (0..60).flat_map(|i| [1.0, (day(i) % 2) as f64]).collect();
        let y: Vec<f64> = (0..60)
            .map(|i| {
                let own = [0.2, -0.1, -0.2, 0.3, 0.1, -0.3, 0.0, 0.2, -0.1, -0.1][day(i)];
                20.0 * f64::exp(own + 0.01 * [1.0, -1.0][i % 2])
            })
            .collect();
        let (zeros, ones): (Vec<f64>, Vec<f64>) = y.iter().map(|_| (0.0, 1.0)).unzip();
        let fit = Problem {
            x: &x,
            p: 2,
            y: &y,
            offset: &zeros,
            response: Response::Means { readings: &ones },
            groupings: &[],
            variances: Variances::OffZero,
        }
        .fit()
        .unwrap();
        let days = Shared {
            unit: Unit::Day,
            groups: Grouping::by_key((0..60).map(day)),
        };
        let found = Inference::new(&fit, &[days], 0.95).judge(&[0.0, 1.0], &[Unit::Run]);
        assert_eq!(found.unit, Unit::Day);
        // Five days a level: two means of five, as Welch and Satterthwaite count them.
        assert!((6.0..8.5).contains(&found.dof.unwrap()), "{found:?}");
        let own = fit.contrast(&[0.0, 1.0]).unwrap();
        assert!(found.std_error.unwrap() > 1.5 * own.std_error, "{found:?}");
        assert!(found.p_value.unwrap() > own.p_value(), "{found:?}");
    }

    /// Twelve panels hit and two coefficients: the jackknife's factor is 12/10.
    #[test]
    fn counts_that_rest_on_few_panels_have_wider_intervals() {
        let x: Vec<f64> = (0..60).flat_map(|i| [1.0, (i % 2) as f64]).collect();
        let y: Vec<f64> = (0..60).map(|i| f64::from(u8::from(i % 5 == 0))).collect();
        let fit = Problem {
            x: &x,
            p: 2,
            y: &y,
            offset: &[0.0; 60],
            response: Response::Counts,
            groupings: &[],
            variances: Variances::OffZero,
        }
        .fit()
        .unwrap();
        let own = fit.contrast(&[0.0, 1.0]).unwrap();
        let found = Inference::new(&fit, &[], 0.95).judge(&[0.0, 1.0], &[]);
        assert_relative_eq!(
            found.std_error.unwrap(),
            1.2 * own.std_error,
            max_relative = 1e-12
        );
        assert_eq!(found.dof, Some(10.0));
    }
}
