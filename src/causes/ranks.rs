//! A stratified rank test and a rate ratio: do panels of one group carry more
//! marks than the rest, whatever the spread of the counts?
//!
//! Counts of marks are clumped and far from Poisson; ranks only ask that the
//! panels could have changed places. Source: P. van Elteren (1960), On the
//! combination of independent two-sample tests of Wilcoxon, Bulletin of the
//! International Statistical Institute 37, 351–361 (weights 1/(N + 1)).

use crate::stats::Interval;
use crate::stats::distributions::{normal, student_t};

/// A panel's marks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Count {
    /// Marks.
    pub marks: f64,
    /// Area, m², > 0.
    pub area_m2: f64,
    /// Whether it belongs to the group.
    pub inside: bool,
    /// Stratum within which panels are compared.
    pub stratum: usize,
}

/// One-sided p that the group's panels rank higher within strata; none if no
/// stratum holds panels of both.
pub(super) fn rank_test(counts: &[Count]) -> Option<f64> {
    let mut order: Vec<usize> = (0..counts.len()).collect();
    let density = |i: usize| counts[i].marks / counts[i].area_m2;
    order.sort_by(|&a, &b| {
        (counts[a].stratum.cmp(&counts[b].stratum)).then(density(a).total_cmp(&density(b)))
    });
    let (mut sum, mut variance) = (0.0, 0.0_f64);
    for stratum in order.chunk_by(|&a, &b| counts[a].stratum == counts[b].stratum) {
        let n = stratum.len() as f64;
        let (mut m, mut ranks) = (0.0, 0.0);
        let (mut ties, mut before) = (0.0, 0.0);
        for tied in stratum.chunk_by(|&a, &b| density(a) == density(b)) {
            let t = tied.len() as f64;
            let rank = before + (t + 1.0) / 2.0;
            for _ in tied.iter().filter(|&&i| counts[i].inside) {
                m += 1.0;
                ranks += rank;
            }
            ties += t * (t * t - 1.0);
            before += t;
        }
        if m > 0.0 && m < n {
            let weight = 1.0 / (n + 1.0);
            sum += weight * (ranks - m * (n + 1.0) / 2.0);
            variance += weight * weight * m * (n - m) / 12.0 * ((n + 1.0) - ties / (n * (n - 1.0)));
        }
    }
    (variance > 0.0).then(|| normal::upper(sum / variance.sqrt()))
}

/// Rate of the group over the rate of the rest, 95 % interval from the scatter
/// of panels (robust variance of each rate, Welch's degrees of freedom on the
/// log scale). Half a mark is added to both so that an empty group has a ratio.
pub(super) fn rate_ratio(counts: &[Count]) -> Option<(f64, Interval)> {
    let inside = log_rate(counts.iter().filter(|c| c.inside))?;
    let outside = log_rate(counts.iter().filter(|c| !c.inside))?;
    let difference = inside.log_rate - outside.log_rate;
    let (v, w) = (inside.variance, outside.variance);
    let dof = (v + w).powi(2)
        / (v * v / (inside.panels - 1.0) + w * w / (outside.panels - 1.0)).max(f64::MIN_POSITIVE);
    let half = student_t::two_sided_quantile(0.95, dof.max(1.0)) * (v + w).sqrt();
    Some((
        difference.exp(),
        Interval {
            low: (difference - half).exp(),
            high: (difference + half).exp(),
            level: 0.95,
        },
    ))
}

struct LogRate {
    log_rate: f64,
    variance: f64,
    panels: f64,
}

fn log_rate<'a>(counts: impl Iterator<Item = &'a Count> + Clone) -> Option<LogRate> {
    let n = counts.clone().count() as f64;
    if n < 2.0 {
        return None;
    }
    let area: f64 = counts.clone().map(|c| c.area_m2).sum();
    let marks = counts.clone().map(|c| c.marks).sum::<f64>() + 0.5;
    let rate = marks / area;
    let squares: f64 = counts.map(|c| (c.marks - rate * c.area_m2).powi(2)).sum();
    Some(LogRate {
        log_rate: rate.ln(),
        // At least Poisson: a group without scatter is not known exactly.
        variance: (squares / (marks * marks) * n / (n - 1.0)).max(1.0 / marks),
        panels: n,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn counts(inside: &[f64], outside: &[f64], stratum: usize) -> Vec<Count> {
        let of = |marks: &f64, inside: bool| Count {
            marks: *marks,
            area_m2: 1.0,
            inside,
            stratum,
        };
        (inside.iter().map(|m| of(m, true)))
            .chain(outside.iter().map(|m| of(m, false)))
            .collect()
    }

    #[test]
    fn one_stratum_is_wilcoxons_test_by_hand() {
        // Ranks 3, 5, 6 against 1, 2, 4: W = 14, mean 10.5, variance 5.25.
        let p = rank_test(&counts(&[2.0, 4.0, 5.0], &[0.0, 1.0, 3.0], 0)).unwrap();
        let z = 3.5 / 5.25_f64.sqrt();
        assert_relative_eq!(p, normal::upper(z), max_relative = 1e-12);
    }

    #[test]
    fn strata_keep_a_difference_between_settings_out() {
        // All the group's panels ran at a setting with many marks.
        let mut all = counts(&[8.0, 9.0, 10.0, 8.0], &[9.0, 8.0, 10.0, 9.0], 0);
        all.extend(counts(&[], &[0.0, 1.0, 0.0, 1.0, 0.0, 0.0, 1.0, 0.0], 1));
        let stratified = rank_test(&all).unwrap();
        for c in &mut all {
            c.stratum = 0;
        }
        let pooled = rank_test(&all).unwrap();
        assert!(stratified > 0.2 && pooled < 0.05, "{stratified} {pooled}");
        assert_eq!(rank_test(&counts(&[1.0, 2.0], &[], 0)), None);
    }

    #[test]
    fn the_ratio_is_that_of_the_sums() {
        let (ratio, ci) = rate_ratio(&counts(&[4.0, 6.0, 5.0], &[1.0, 2.0, 2.0], 0)).unwrap();
        assert_relative_eq!(ratio, 15.5 / 5.5, max_relative = 1e-12);
        assert!(ci.low < ratio && ratio < ci.high);
    }
}
