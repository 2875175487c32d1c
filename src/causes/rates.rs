//! A stream's rate by supplier and part number: no place needed.
//!
//! Lot against lot: panels of one lot are not independent, and a supplier with
//! one bad lot is not a bad supplier. Lots themselves: `lot_rates`.

use std::collections::BTreeMap;

use super::RateByLevel;
use super::ranks::Count;
use super::reason::{Reason, Rival};
use super::repeat::coded;
use crate::records::{Panel, Records};
use crate::stats::Interval;
use crate::stats::distributions::student_t;

/// A smaller ratio is not worth naming.
pub(super) const WORTH_NAMING: f64 = 1.5;

/// Lots that a supplier, and its rest, need.
const LEAST_LOTS: usize = 2;

/// The marks of a stream panel by panel, those of its findings taken out.
#[derive(Debug, Clone, Copy)]
pub(super) struct StreamCounts<'a> {
    /// The records.
    pub records: &'a Records,
    /// Inspected panels in time order, indices into `Records::panels`.
    pub panels: &'a [usize],
    /// Marks on each of them.
    pub marks: &'a [f64],
}

/// A level whose rate stands out.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct StandsOut {
    /// Which column.
    pub column: Rival,
    /// Its numbers.
    pub rate: RateByLevel,
    /// Panels of the level (positions in the stream).
    pub inside: Vec<usize>,
    /// Reasons that go with it.
    pub reasons: Vec<Reason>,
    /// Whether a recipe setting or the abrasive's age that went with it explains
    /// it as well.
    pub moved_with_others: bool,
}

impl<'a> StreamCounts<'a> {
    /// The panel at a position.
    pub(super) fn panel(&self, at: usize) -> &'a Panel {
        &self.records.panels[self.panels[at]]
    }

    /// A level per panel.
    pub(super) fn levels(&self, value: impl Fn(&Panel) -> Option<String>) -> Vec<Option<String>> {
        (0..self.panels.len())
            .map(|at| value(self.panel(at)))
            .collect()
    }

    /// Levels as numbers where at least two are recorded, on nine panels of ten
    /// or more; panels without one share a number of their own.
    pub(super) fn codes(&self, value: impl Fn(&Panel) -> Option<String>) -> Option<Vec<usize>> {
        let (codes, names) = coded(&self.levels(value));
        let known = codes.iter().flatten().count();
        (names.len() >= 2 && 10 * known >= 9 * codes.len())
            .then(|| codes.iter().map(|c| c.unwrap_or(names.len())).collect())
    }

    /// A panel's marks as the tests count them.
    pub(super) fn count(&self, at: usize, inside: bool, stratum: usize) -> Count {
        Count {
            marks: self.marks[at],
            area_m2: self.panel(at).area_m2(),
            inside,
            stratum,
        }
    }
}

/// Suppliers or part numbers whose lots carry more marks than other lots:
/// Welch's test on the lots' log rates.
pub(super) fn by_group(
    stream: &StreamCounts<'_>,
    column: Rival,
    alpha: f64,
    streams: usize,
) -> Vec<StandsOut> {
    let value = |p: &Panel| match column {
        Rival::Supplier => p.supplier.as_deref().map(String::from),
        _ => p.part.as_deref().map(String::from),
    };
    let (group_of, names) = coded(&stream.levels(value));
    let (lot_of, _) = coded(&stream.levels(|p| p.lot.as_deref().map(String::from)));
    let mut lots: BTreeMap<(usize, usize), (f64, f64)> = BTreeMap::new();
    for at in 0..stream.panels.len() {
        if let (Some(group), Some(lot)) = (group_of[at], lot_of[at]) {
            let cell = lots.entry((group, lot)).or_default();
            cell.0 += stream.marks[at];
            cell.1 += stream.panel(at).area_m2();
        }
    }
    let tests = names.len() * streams;
    let mut out: Vec<StandsOut> = (0..names.len())
        .filter_map(|group| {
            let rates = |inside: bool| -> Vec<f64> {
                lots.iter()
                    .filter(|((g, _), _)| (*g == group) == inside)
                    .map(|(_, (marks, area))| ((marks + 0.5) / area).ln())
                    .collect()
            };
            let test = welch(&rates(true), &rates(false))?;
            let ratio = test.difference.exp();
            let p_adjusted = (test.p_value * tests as f64).min(1.0);
            let found = p_adjusted <= alpha && ratio >= WORTH_NAMING;
            let inside: Vec<usize> = (0..stream.panels.len())
                .filter(|&at| group_of[at] == Some(group))
                .collect();
            found.then(|| StandsOut {
                column: column.clone(),
                reasons: vec![Reason::RateHigher {
                    column: column.clone(),
                    level: names[group].clone(),
                    panels: inside.len(),
                    ratio,
                    ratio_ci: (test.ci.low.exp(), test.ci.high.exp()),
                    units: Rival::Lot,
                    machines: 1,
                }],
                rate: RateByLevel {
                    column: match column {
                        Rival::Supplier => "supplier".into(),
                        _ => "part".into(),
                    },
                    level: names[group].clone(),
                    panels: inside.len(),
                    defects: inside.iter().map(|&at| stream.marks[at]).sum::<f64>() as usize,
                    ratio,
                    ratio_ci: Interval {
                        low: test.ci.low.exp(),
                        high: test.ci.high.exp(),
                        level: test.ci.level,
                    },
                    p_adjusted,
                },
                inside,
                moved_with_others: false,
            })
        })
        .collect();
    out.sort_by(|a, b| a.rate.p_adjusted.total_cmp(&b.rate.p_adjusted));
    out
}

struct Welch {
    difference: f64,
    ci: Interval,
    /// One-sided: the first group is higher.
    p_value: f64,
}

/// Welch's test (1947, Biometrika 34, 28–35) of two means.
fn welch(a: &[f64], b: &[f64]) -> Option<Welch> {
    if a.len() < LEAST_LOTS || b.len() < LEAST_LOTS {
        return None;
    }
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    let variance_of_mean = |v: &[f64]| {
        let m = mean(v);
        let n = v.len() as f64;
        v.iter().map(|x| (x - m).powi(2)).sum::<f64>() / ((n - 1.0) * n)
    };
    let (va, vb) = (variance_of_mean(a), variance_of_mean(b));
    let error = (va + vb).sqrt();
    if error <= 0.0 {
        return None;
    }
    let dof = (va + vb).powi(2) / (va * va / (a.len() - 1) as f64 + vb * vb / (b.len() - 1) as f64);
    let difference = mean(a) - mean(b);
    let half = student_t::two_sided_quantile(0.95, dof) * error;
    Some(Welch {
        difference,
        ci: Interval {
            low: difference - half,
            high: difference + half,
            level: 0.95,
        },
        p_value: student_t::tails(difference / error, dof).upper(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::made_counts::{poisson, records_of_twelve_lots as records};
    use approx::assert_relative_eq;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    #[test]
    fn suppliers_are_compared_lot_by_lot() {
        let records = records(true);
        let panels: Vec<usize> = (0..120).collect();
        let mut rng = ChaCha8Rng::seed_from_u64(7);
        let mut named = [0, 0];
        for (case, count) in named.iter_mut().enumerate() {
            for _ in 0..40 {
                // Lots differ by themselves; in the second case S2 is five times worse.
                let lots: Vec<f64> = (0..12)
                    .map(|l| {
                        let own = 2.0 * (0.5 * (rng.random::<f64>() - 0.5)).exp();
                        own * if case == 1 && l >= 8 { 5.0 } else { 1.0 }
                    })
                    .collect();
                let marks: Vec<f64> = (0..120).map(|i| poisson(lots[i % 12], &mut rng)).collect();
                let stream = StreamCounts {
                    records: &records,
                    panels: &panels,
                    marks: &marks,
                };
                let found = by_group(&stream, Rival::Supplier, 0.01, 1);
                *count += usize::from(found.first().is_some_and(|f| f.rate.level == "S2"));
            }
        }
        // P(Bin(40, 0.01) > 3) < 0.001.
        assert!(named[0] <= 3 && named[1] >= 38, "{named:?}");
    }

    #[test]
    fn welch_agrees_with_a_case_by_hand() {
        // Means 2 and 5, variances 1/3 and 4/3 of the means: t = -3/√(5/3).
        let test = welch(&[1.0, 2.0, 3.0], &[3.0, 5.0, 7.0]).unwrap();
        let dof = (5.0_f64 / 3.0).powi(2) / ((1.0_f64 / 9.0) / 2.0 + (16.0 / 9.0) / 2.0);
        let t = -3.0 / (5.0_f64 / 3.0).sqrt();
        assert_relative_eq!(
            test.p_value,
            student_t::tails(t, dof).upper(),
            max_relative = 1e-12
        );
    }
}
