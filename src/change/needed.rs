//! How many panels it takes.

use super::Settings;
use super::ratio::{StratifiedRatio, half_width};
use crate::stats::distributions::normal;

/// What a planned comparison rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Plan {
    /// Defects a panel before the change.
    pub marks_a_panel: f64,
    /// Share of the panels after the change.
    pub share_after: f64,
    /// Factor on the variance of single independent marks.
    pub factor: f64,
    /// Units per panel of the scatter that decides (degrees of freedom a panel);
    /// none where the normal distribution is used.
    pub degrees_a_panel: Option<f64>,
}

impl Plan {
    /// Panels on both sides together that show a ratio `settings.ratio_of_interest`
    /// with `settings.power`, tested two-sided at 1 − `level`.
    ///
    /// With λ marks a panel, shares q₀ + q₁ = 1 and N panels the score A − B of
    /// the Mantel–Haenszel comparison has mean (r−1)·λ·N·q₀q₁ and variance
    /// φλN·q₀q₁·(q₀+rq₁) as tested, φλN·q₀q₁·(rq₀+q₁) in truth:
    /// N = φ·(t·√(q₀+rq₁) + z·√(rq₀+q₁))² / (λ·q₀q₁·(1−r)²), iterated for the
    /// degrees of freedom of t. (The score form of Signorini 1991, Biometrika 78,
    /// 446–450, for two groups.)
    pub(super) fn panels(&self, settings: &Settings, level: f64) -> Option<usize> {
        let r = settings.ratio_of_interest;
        let (after, before) = (self.share_after, 1.0 - self.share_after);
        let rate = self.marks_a_panel * after * before * (1.0 - r).powi(2) / self.factor;
        if rate.is_nan() || rate <= 0.0 {
            return None;
        }
        let power = normal::quantile(settings.power);
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
        (needed < 1e9).then(|| needed.ceil() as usize)
    }
}

/// The plan that goes on as the records went.
pub(super) fn going_on(
    fit: &StratifiedRatio,
    defects: [f64; 2],
    panels: [usize; 2],
    ratio: Option<f64>,
) -> Plan {
    let [before, after] = panels.map(|n| n as f64);
    let ratio = ratio.unwrap_or(1.0);
    let all = before + after;
    Plan {
        // both sides together tell the rate before, given the ratio
        marks_a_panel: (defects[0] + defects[1]) / (before + ratio * after),
        share_after: after / all,
        factor: fit.factor(),
        degrees_a_panel: fit.degrees().map(|d| d / all),
    }
}
