//! Who may make panels differ in their slopes, beside the panels: a head that was
//! moved or drifts, two heads or nests that nobody wrote down, panels turned without
//! a word, a nest, a gauge. Warp is each panel's own: it follows none of these.

use std::collections::BTreeMap;

use super::Group;
use super::fixed_part::FixedPart;
use super::meeting::gauge_and_nest;
use super::panel_fit::SLOPES;
use super::terms::slope_values;
use crate::causes::Rival;
use crate::duel::in_order as in_first_order;
use crate::stats::distributions::{f_ratio, normal};

/// Level of each question: there are four for every machine, and warp that happens to
/// look so is told as open.
const ASKED: f64 = 0.003;
/// Panels from which a question can be asked at all.
const LEAST: usize = 12;
/// Share of the variance that two values explain beyond which there are two states:
/// a normal law gives 2/π = .64, a uniform one .75, both a little more by chance.
const TWO_STATES: f64 = 0.88;
/// Lots from which their order in time can be told.
const LOTS: usize = 6;
/// Order in time is excluded for lots at this level.
const NO_ORDER: f64 = 0.05;

/// What the differences follow that is none of the panels' own.
#[derive(Debug, Clone, PartialEq)]
pub enum DifferBy {
    /// Panels next to each other in time are alike, lots or not.
    Time,
    /// They lie about two values with little between; panels about the rarer one.
    TwoStates {
        /// How many panels.
        panels: usize,
        /// Whether any lay was recorded.
        lay_recorded: bool,
    },
    /// They differ between the levels of one column, not within them.
    Column(Rival),
}

impl DifferBy {
    /// Who is open then.
    #[must_use]
    pub fn rival(&self) -> Rival {
        match self {
            DifferBy::Time => Rival::Step,
            DifferBy::TwoStates {
                lay_recorded: true, ..
            } => Rival::Machine,
            DifferBy::TwoStates { .. } => Rival::Lay,
            DifferBy::Column(rival) => rival.clone(),
        }
    }
}

/// What the differences in slopes follow, along each axis on which panels differ:
/// beyond inspectors and nests, or only with theirs.
pub(super) fn follows(
    group: &Group,
    fixed: &FixedPart,
    (beyond, with): ([bool; 2], [bool; 2]),
) -> Vec<DifferBy> {
    let mut out: Vec<DifferBy> = Vec::new();
    for axis in 0..2 {
        let slopes = Slopes::new(group, fixed, axis);
        if slopes.rows.len() < LEAST {
            continue;
        }
        if beyond[axis] {
            let laid = about_means(&slopes.laid, &slopes.lays_and_gauges);
            if follow_time(&laid, slopes.rows.iter().map(|&at| group.lots[at])) {
                out.push(DifferBy::Time);
            }
            let own = about_means(&slopes.own, &slopes.gauges);
            if let Some((panels, cut)) = two_states(&own)
                && !slopes.incoming(group, &own, cut)
            {
                let lay_recorded = group.lay_recorded;
                out.push(DifferBy::TwoStates {
                    panels,
                    lay_recorded,
                });
            }
        } else if with[axis] {
            let laid = about_means(&slopes.laid, &slopes.lays);
            for (column, rival) in [(3, Rival::Inspector), (4, Rival::Fixture)] {
                if slopes.follow(group, &laid, column) {
                    out.push(DifferBy::Column(rival));
                }
            }
        }
    }
    let mut seen: Vec<Rival> = Vec::new();
    out.retain(|f| {
        let new = !seen.contains(&f.rival());
        seen.push(f.rival());
        new
    });
    out
}

/// Whether the panels' own slopes along an axis differ between inspectors: a gauge
/// that leans makes a taper on the panels that it measured.
pub(super) fn gauges_lean(group: &Group, fixed: &FixedPart, axis: usize) -> bool {
    let slopes = Slopes::new(group, fixed, axis);
    slopes.rows.len() >= LEAST && slopes.follow(group, &slopes.own, 3)
}

/// The slopes of one axis on the panels that have them, in time order.
struct Slopes {
    /// Positions among the fits.
    rows: Vec<usize>,
    /// As they lay.
    laid: Vec<f64>,
    /// As the panel's own, the machine's taken off.
    own: Vec<f64>,
    /// The lay of each.
    lays: Vec<usize>,
    /// Inspector and nest of each, numbered, and the same with the lay.
    gauges: Vec<usize>,
    lays_and_gauges: Vec<usize>,
}

impl Slopes {
    fn new(group: &Group, fixed: &FixedPart, axis: usize) -> Self {
        let has = |at: &usize| group.fits[*at].shape.has(SLOPES[axis]);
        let rows: Vec<usize> = (0..group.fits.len()).filter(has).collect();
        let each = |of: &dyn Fn(usize) -> f64| rows.iter().map(|&at| of(at)).collect();
        let lay = |at: usize| usize::from(group.fits[at].lay.degrees() / 90);
        let gauge = |at: usize| gauge_and_nest(&group.company[at]);
        Self {
            laid: each(&|at| group.fits[at].coefficients[SLOPES[axis]]),
            own: (slope_values(group, fixed, axis).iter())
                .map(|v| v.value)
                .collect(),
            lays: rows.iter().map(|&at| lay(at)).collect(),
            gauges: in_first_order(rows.iter().map(|&at| gauge(at))),
            lays_and_gauges: in_first_order(rows.iter().map(|&at| (lay(at), gauge(at)))),
            rows,
        }
    }

    /// Whether every lot, part number or supplier is in one of two states: then they
    /// came so.
    fn incoming(&self, group: &Group, values: &[f64], cut: f64) -> bool {
        (0..3).any(|column| {
            let mut levels: BTreeMap<usize, [usize; 2]> = BTreeMap::new();
            for (&at, value) in self.rows.iter().zip(values) {
                let Some(level) = group.company[at].levels[column] else {
                    return false;
                };
                levels.entry(level).or_default()[usize::from(*value > cut)] += 1;
            }
            let pure = |[a, b]: &[usize; 2]| 10 * a.max(b) >= 9 * (a + b);
            let both = [0, 1].map(|s| levels.values().any(|l| 2 * l[s] > l[0] + l[1]));
            both == [true; 2] && levels.values().all(pure)
        })
    }

    /// Whether values differ between the levels of a column, known for all panels.
    fn follow(&self, group: &Group, values: &[f64], column: usize) -> bool {
        let level = |at: &usize| group.company[*at].levels[column];
        let levels: Option<Vec<usize>> = self.rows.iter().map(level).collect();
        levels.is_some_and(|levels| follow_levels(values, &levels))
    }
}

/// Values about the mean of their level.
fn about_means(values: &[f64], levels: &[usize]) -> Vec<f64> {
    let mut sums: BTreeMap<usize, (f64, f64)> = BTreeMap::new();
    for (value, level) in values.iter().zip(levels) {
        let sum = sums.entry(*level).or_default();
        sum.0 += value;
        sum.1 += 1.0;
    }
    let mean = |level: &usize| sums[level].0 / sums[level].1;
    (values.iter().zip(levels))
        .map(|(value, level)| value - mean(level))
        .collect()
}

/// Chance that neighbours are so alike without any order: von Neumann's ratio of the
/// mean square successive difference to the variance (von Neumann 1941, Annals of
/// Mathematical Statistics 12, 367–395), by its normal limit.
fn in_order(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    if values.len() < 4 || squares <= 0.0 {
        return 1.0;
    }
    let steps: f64 = values.windows(2).map(|w| (w[1] - w[0]).powi(2)).sum();
    let ratio = steps / squares;
    normal::upper((2.0 - ratio) / (4.0 * (n - 2.0) / (n * n - 1.0)).sqrt())
}

/// Whether values, in time order, are alike among neighbours and lots alone do not
/// make them so: within lots there is an order, or among them, or too few are known.
pub(crate) fn follow_time(values: &[f64], lots: impl Iterator<Item = Option<usize>>) -> bool {
    if in_order(values) > ASKED {
        return false;
    }
    let Some(lots) = lots.collect::<Option<Vec<usize>>>() else {
        return true;
    };
    let within = about_means(values, &lots);
    let mut first: Vec<usize> = Vec::new();
    for lot in &lots {
        if !first.contains(lot) {
            first.push(*lot);
        }
    }
    let mean = |lot: &usize| {
        let own = values.iter().zip(&lots).filter(|(_, l)| *l == lot);
        let (sum, count) = own.fold((0.0, 0.0), |s, (v, _)| (s.0 + v, s.1 + 1.0));
        sum / count
    };
    let means: Vec<f64> = first.iter().map(mean).collect();
    means.len() < LOTS || in_order(&within) <= ASKED || in_order(&means) <= NO_ORDER
}

/// Whether values differ between levels by more than chance.
pub(crate) fn follow_levels(values: &[f64], levels: &[usize]) -> bool {
    levels_differ(values, levels) <= ASKED
}

/// Chance of means so far apart, were the levels alike: one-way analysis of variance.
fn levels_differ(values: &[f64], levels: &[usize]) -> f64 {
    let about = about_means(values, levels);
    let within: f64 = about.iter().map(|v| v * v).sum();
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let all: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    let count = levels
        .iter()
        .collect::<std::collections::BTreeSet<_>>()
        .len();
    let (between_dof, within_dof) = (count as f64 - 1.0, values.len() as f64 - count as f64);
    if between_dof < 1.0 || within_dof < 1.0 {
        return 1.0;
    }
    if within <= 0.0 {
        return if all > 0.0 { 0.0 } else { 1.0 };
    }
    let ratio = (all - within).max(0.0) / between_dof / (within / within_dof);
    f_ratio::upper(ratio, between_dof, within_dof)
}

/// Panels about the rarer of two values and what parts them, where the values lie
/// about two.
fn two_states(values: &[f64]) -> Option<(usize, f64)> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    let total: f64 = sorted.iter().sum();
    let mean = total / n as f64;
    let squares: f64 = sorted.iter().map(|v| (v - mean).powi(2)).sum();
    let mut below = 0.0;
    let mut best = (0.0, 0);
    for (at, value) in sorted.iter().enumerate().take(n - 1) {
        below += value;
        let (k, rest) = (at as f64 + 1.0, (n - at - 1) as f64);
        let between =
            k * (below / k - mean).powi(2) + rest * ((total - below) / rest - mean).powi(2);
        if between > best.0 {
            best = (between, at + 1);
        }
    }
    let rarer = best.1.min(n - best.1);
    // A few far-off panels are no state.
    let cut = f64::midpoint(*sorted.get(best.1.max(1) - 1)?, *sorted.get(best.1)?);
    (best.0 >= TWO_STATES * squares && 10 * rarer >= n).then_some((rarer, cut))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_values_are_states_and_a_normal_or_even_law_is_not() {
        let two: Vec<f64> = (0..40)
            .map(|i| f64::from(i % 3 / 2) * 6.0 + f64::from(i % 5) * 0.2)
            .collect();
        assert_eq!(two_states(&two).map(|s| s.0), Some(13));
        let even: Vec<f64> = (0..40).map(f64::from).collect();
        assert_eq!(two_states(&even), None);
        let one_far: Vec<f64> = (0..40)
            .map(|i| if i == 7 { 90.0 } else { 0.1 * f64::from(i) })
            .collect();
        assert_eq!(two_states(&one_far), None);
    }

    #[test]
    fn a_step_in_time_is_an_order_and_a_shuffle_is_none() {
        let step: Vec<f64> = (0..40)
            .map(|i| f64::from(u8::from(i >= 20)) + 0.01 * f64::from(i * 7 % 5))
            .collect();
        assert!(in_order(&step) < 1e-6);
        // Successive differences of ±1: their squares sum to 39, the variance to 10.
        let turns: Vec<f64> = (0..40).map(|i| f64::from(i % 2)).collect();
        assert!(in_order(&turns) > 0.99);
    }

    #[test]
    fn levels_that_differ_agree_with_a_textbook_layout() {
        // Three levels of three: means 2, 3, 7; between 42 on 2, within 6 on 6: F 21.
        let values = [1.0, 2.0, 3.0, 2.0, 3.0, 4.0, 6.0, 7.0, 8.0];
        let levels = [0, 0, 0, 1, 1, 1, 2, 2, 2];
        let p = levels_differ(&values, &levels);
        assert!((p - f_ratio::upper(21.0, 2.0, 6.0)).abs() < 1e-12, "{p}");
    }
}
