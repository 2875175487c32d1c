//! Shares of panels beyond a limit: the log-normal spread of lots, days and
//! panels around a mean that is itself estimated.
//!
//! A share p lies at a quantile μ + zσ of ln removal. Its interval follows from
//! that of the quantile at every z: the distances of μ's limits and of z times
//! σ's limits from their estimates, added by squares on either side (Zou &
//! Donner 2008, Stat. Med. 27, 1693; Graybill & Wang 1980, J. Am. Stat. Assoc.
//! 75, 869, for σ²). The limits of σ lie further above than below it, the more
//! so the fewer lots or days there are: a symmetric error would promise a window
//! that is too wide.

use super::model::Model;
use super::result::Estimate;
use crate::stats::Interval;
use crate::stats::distributions::normal;
use crate::stats::modified_large_sample::{MeanSquare, variance_interval};
use crate::stats::root::of_monotone;

/// Smallest SD on the log scale that panels are believed to have.
const LEAST_SD: f64 = 0.01;
/// Quantiles beyond ± this many SDs are not looked for.
const FAR: f64 = 40.0;

/// How ln removal of panels spreads at one setting.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Spread {
    /// Mean of ln removal.
    pub(super) centre: f64,
    /// Its interval; none where it cannot be told.
    pub(super) centre_ci: Option<Interval>,
    /// SD over panels of all lots and days.
    pub(super) sd: f64,
    /// Limits of the SD.
    pub(super) sd_limits: (f64, f64),
}

/// SD of ln removal over panels of all lots and days, with its limits.
///
/// Every variance between groups is a difference of mean squares: that of the
/// groups, with one degree of freedom less than groups, and the panels' own.
pub(super) fn over_panels(model: &Model) -> (f64, (f64, f64)) {
    let fit = &model.fit;
    let rows = model.frame.used().len() as f64;
    let mut own = (1.0 - fit.mix).max(0.0);
    let mut terms = Vec::new();
    for (shared, ratio) in model.frame.shared.iter().zip(&fit.ratios) {
        let groups = model.frame.groupings.iter().find(|g| g.unit == shared.unit);
        let count = groups.map_or(2.0, |g| g.groups.count as f64);
        let size = rows / count;
        terms.push(MeanSquare {
            factor: 1.0 / size,
            value: fit.scale * (1.0 + size * ratio),
            dof: (count - 1.0).max(1.0),
        });
        own -= 1.0 / size;
    }
    terms.push(MeanSquare {
        factor: own,
        value: fit.scale,
        dof: (rows - fit.p as f64).max(1.0),
    });
    let variance = fit.shared_variance() + fit.scale * (1.0 - fit.mix).max(0.0);
    let limits = variance_interval(&terms, model.level);
    let sd = variance.sqrt().max(LEAST_SD);
    (
        sd,
        limits.map_or((sd, sd), |l| (l.low.sqrt().min(sd), l.high.sqrt().max(sd))),
    )
}

impl Spread {
    /// Share of panels above (or below) a limit of ln removal, 0..1.
    pub(super) fn beyond(&self, limit: f64, above: bool) -> Estimate {
        let share = if above { normal::upper } else { normal::lower };
        let at = (limit - self.centre) / self.sd;
        // z at which the quantile's upper, or lower, limit meets the limit.
        let meets = |ci: Interval, upper: bool| {
            let room = if upper {
                ci.high - self.centre
            } else {
                self.centre - ci.low
            };
            let (low, high) = (self.sd - self.sd_limits.0, self.sd_limits.1 - self.sd);
            let quantile = |z: f64| {
                let wide = if upper == (z > 0.0) { high } else { low };
                let half = room.hypot(z * wide);
                self.centre + z * self.sd + if upper { half } else { -half } - limit
            };
            of_monotone(quantile, at, 1.0, FAR)
        };
        let ci = self.centre_ci.map(|ci| {
            let z = [
                meets(ci, true).unwrap_or(-FAR),
                meets(ci, false).unwrap_or(FAR),
            ];
            let (a, b) = (share(z[0]), share(z[1]));
            Interval {
                low: a.min(b),
                high: a.max(b),
                level: ci.level,
            }
        });
        Estimate {
            estimate: share(at),
            ci,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// With a centre that is known, the share's limits are those of the scatter.
    #[test]
    fn a_scatter_that_may_be_larger_widens_the_share_upwards() {
        let spread = Spread {
            centre: 0.0,
            centre_ci: Some(Interval {
                low: 0.0,
                high: 0.0,
                level: 0.95,
            }),
            sd: 0.2,
            sd_limits: (0.16, 0.4),
        };
        for (limit, above) in [(0.4, true), (-0.4, false)] {
            let share = spread.beyond(limit, above);
            let ci = share.ci.unwrap();
            let wanted = [2.5, 2.0, 1.0].map(normal::upper);
            for (got, wanted) in [ci.low, share.estimate, ci.high].into_iter().zip(wanted) {
                assert!((got / wanted - 1.0).abs() < 1e-9, "{got} {wanted}");
            }
        }
    }
}
