//! How many panels it takes.

use super::ratio::{StratifiedRatio, half_width};
use super::{Plan, Settings};
use crate::stats::distributions::normal;

impl Plan {
    /// Panels on both sides together that show the ratio `r` with chance `power`,
    /// tested two-sided at 1 − `level`.
    ///
    /// With λ marks a panel, shares q₀ + q₁ = 1 and N panels the score A − B of
    /// the Mantel–Haenszel comparison has mean (r−1)·λ·N·q₀q₁ and variance
    /// φλN·q₀q₁·(q₀+rq₁) as tested, φλN·q₀q₁·(rq₀+q₁) in truth:
    /// N = φ·(t·√(q₀+rq₁) + z·√(rq₀+q₁))² / (λ·q₀q₁·(1−r)²), iterated for the
    /// degrees of freedom of t. (The score form of Signorini 1991, Biometrika 78,
    /// 446–450, for two groups.)
    #[must_use]
    pub fn panels(&self, r: f64, power: f64, level: f64) -> Option<usize> {
        let (after, before) = (self.share_after, 1.0 - self.share_after);
        let rate = self.marks_a_panel * after * before * (1.0 - r).powi(2) / self.factor;
        if rate.is_nan() || rate <= 0.0 {
            return None;
        }
        let power = normal::quantile(power);
        let panels = |t: f64| {
            (t * (before + r * after).sqrt() + power * (r * before + after).sqrt()).powi(2) / rate
        };
        let mut needed = panels(half_width(level, None));
        if let Some(each) = self.degrees_a_panel {
            // grows with t, which falls with the panels: settles from below
            for _ in 0..30 {
                needed = panels(half_width(level, Some((each * needed).max(1.0))));
            }
        }
        let all = needed / self.share_compared;
        (all < 1e9).then(|| all.ceil() as usize)
    }
}

impl Plan {
    /// Panels on both sides together whose one-sided upper limit at the level
    /// stays below the margin M with the chance of the settings, where the rate
    /// is in truth unchanged.
    ///
    /// ln ratio then has variance φ / (λ·N·q₀q₁), so
    /// N = φ·(t + z)² / (λ·q₀q₁·(ln M)²), iterated for the degrees of freedom of
    /// t. (Farrington & Manning 1990, Statistics in Medicine 9, 1447–1454, treat
    /// the case of proportions; this is its limit for rare marks.)
    #[must_use]
    pub fn panels_no_worse(&self, settings: &Settings) -> Option<usize> {
        let after = self.share_after;
        let rate =
            self.marks_a_panel * after * (1.0 - after) * settings.margin.ln().powi(2) / self.factor;
        if rate.is_nan() || rate <= 0.0 {
            return None;
        }
        // one-sided at the level: the two-sided quantile of twice the miss
        let level = 2.0 * settings.level - 1.0;
        let power = normal::quantile(settings.power);
        let panels = |t: f64| (t + power).powi(2) / rate;
        let mut needed = panels(half_width(level, None));
        if let Some(each) = self.degrees_a_panel {
            for _ in 0..30 {
                needed = panels(half_width(level, Some((each * needed).max(1.0))));
            }
        }
        let all = needed / self.share_compared;
        (all < 1e9).then(|| all.ceil() as usize)
    }
}

/// The plan that goes on as the records went.
pub(super) fn going_on(
    fit: &StratifiedRatio,
    defects: [f64; 2],
    panels: [usize; 2],
    all_panels: usize,
) -> Plan {
    let [before, after] = panels.map(|n| n as f64);
    let ratio = fit.estimate().unwrap_or(1.0);
    let all = before + after;
    Plan {
        // both sides together tell the rate before, given the ratio
        marks_a_panel: (defects[0] + defects[1]) / (before + ratio * after),
        share_after: after / all,
        factor: fit.factor(),
        degrees_a_panel: fit.degrees().map(|d| d / all),
        share_compared: all / all_panels as f64,
    }
}
