//! The control chart of defects per area, and a chart for small shifts.

use serde::Serialize;

use super::groups::Groups;
use super::usual::Usual;
use super::week::Week;
use crate::records::Records;
use crate::site::Analysis;
use crate::stats::control_chart::{CountLaw, average_run_length, ewma_run_length, weighted_mean};

/// Chance that a point of a steady process lies outside the limits, both sides
/// together: that of three standard deviations of a normal distribution.
pub const FALSE_ALARM: f64 = 0.0027;

/// Points in a row on one side of the centre that count as a signal.
const RUN: usize = 9;

/// The run rule is used if limits and runs together give a false alarm no more
/// often than every so many points on average.
const FEWEST_POINTS_TO_FALSE_ALARM: f64 = 100.0;

/// Fewest base points and largest mean correlation of neighbours with which it
/// is used: a centre from fewer is off, and alike neighbours lie on one side
/// together, more often than runs of independent points allow for.
const FEWEST_POINTS_FOR_RUNS: usize = 24;
const ALIKE: f64 = 0.1;

/// Weight of the newest point in the chart for small shifts, and its limits in
/// standard deviations (Lucas & Saccucci 1990: a false alarm every 370 points).
const WEIGHT: f64 = 0.2;
const WIDTH: f64 = 2.86;

/// Defects per area over time with the limits that a steady process would keep.
///
/// u chart whose limits hold the count's probability (0.135 % on each side)
/// under a Poisson or, where the points spread more, a negative binomial
/// distribution. How much more is taken from the ranges of neighbouring points,
/// days and lots ([`Usual`]), so that days and lots that differ as they usually
/// do are no signal; few points give wider limits.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ControlChart {
    /// The kind of defect; none = all kinds together.
    pub defect: Option<String>,
    /// What a point holds: `shift` or `day`.
    pub subgroup: &'static str,
    /// Defects per m² over the base; none with too few points.
    pub centre: Option<f64>,
    /// Variance of the counts over that of single independent marks, ≥ 1, mean
    /// over the points.
    pub dispersion: Option<f64>,
    /// Standard deviation of ln rate between days, and between lots, that the
    /// limits allow for beyond that of the points; none where there are too few
    /// to tell.
    pub days_sd: Option<f64>,
    /// See `days_sd`.
    pub lots_sd: Option<f64>,
    /// Points in time order.
    pub points: Vec<ControlPoint>,
    /// Changes of recipe, to be marked.
    pub marks: Vec<Mark>,
    /// The chart for small shifts.
    pub small_shift: Option<SmallShift>,
    /// Chance of a false alarm at a point by the limits, averaged over the
    /// points: below 0.0027 because counts are whole numbers.
    pub false_alarm: Option<f64>,
    /// Average number of points to a false alarm of limits and, where used, runs
    /// together.
    pub points_to_false_alarm: Option<f64>,
    /// Average number of points after which twice the rate is signalled, by the
    /// sooner of limits and weighted mean.
    pub points_to_doubling: Option<f64>,
    /// Whether nine in a row on one side count as a signal: not where this would
    /// come about by itself too often, with few defects, few points or alike
    /// neighbours.
    pub run_rule: bool,
}

/// A shift or day.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ControlPoint {
    /// The day, and the shift's number where shifts are drawn.
    pub label: String,
    /// Its production day.
    pub day: jiff::civil::Date,
    /// Panels inspected.
    pub panels: usize,
    /// Area inspected, m².
    pub area_m2: f64,
    /// Defects.
    pub defects: usize,
    /// Defects per m².
    pub rate: f64,
    /// Limits of the rate for this area; none without limits.
    pub limits: Option<(f64, f64)>,
    /// Whether the limits were taken from it (the weeks before).
    pub base: bool,
    /// What it signals.
    pub signals: Vec<Signal>,
}

/// A rule that a point broke.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Signal {
    /// Above the upper limit.
    Above,
    /// Below the lower limit.
    Below,
    /// The ninth or later in a row on one side of the centre.
    Run,
}

/// A change at a point.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Mark {
    /// Index of the first point that holds a panel on the new recipe.
    pub point: usize,
    /// The new recipe.
    pub label: String,
}

/// Exponentially weighted mean of the points' normal scores, see
/// [`weighted_mean`]; its limits allow for days and lots that points share.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SmallShift {
    /// λ.
    pub weight: f64,
    /// L.
    pub width: f64,
    /// Average number of points to a false alarm.
    pub points_to_false_alarm: f64,
    /// The weighted mean at each point.
    pub values: Vec<f64>,
    /// Its limit there (both signs).
    pub limits: Vec<f64>,
    /// First point outside, if any.
    pub first_signal: Option<usize>,
}

/// One chart for all kinds together, then one per kind in the order of the
/// names. With a week, limits come from the points before it and later points
/// are left out; without, from all points. Panels without a time are left out;
/// no time at all gives no chart.
#[must_use]
pub fn control_charts(
    records: &Records,
    analysis: &Analysis,
    week: Option<Week>,
) -> Vec<ControlChart> {
    let groups = Groups::new(records, analysis, week);
    if groups.is_empty() {
        return Vec::new();
    }
    let false_shift = ewma_run_length(WEIGHT, WIDTH, 0.0);
    let kinds = (0..records.defect_names.len()).map(Some);
    std::iter::once(None)
        .chain(kinds)
        .map(|kind| groups.chart(records, kind, false_shift))
        .collect()
}

impl ControlChart {
    /// The points, without limits.
    pub(super) fn new(
        defect: Option<String>,
        subgroup: &'static str,
        points: Vec<ControlPoint>,
        marks: Vec<Mark>,
    ) -> Self {
        Self {
            defect,
            subgroup,
            centre: None,
            dispersion: None,
            days_sd: None,
            lots_sd: None,
            points,
            marks,
            small_shift: None,
            false_alarm: None,
            points_to_false_alarm: None,
            points_to_doubling: None,
            run_rule: false,
        }
    }

    /// Centre, limits, signals and the small-shift chart, which gives a false alarm
    /// every `false_shift` points.
    pub(super) fn draw_limits(&mut self, usual: &Usual<'_>, false_shift: f64) {
        let count = self.points.len() as f64;
        let base = self.points.iter().filter(|p| p.base).count();
        let likeness = usual.likeness(&self.points);
        let mut sides = [0.0; 2];
        let mut doubled = Doubled::default();
        let mut scores = Vec::with_capacity(self.points.len());
        let mut run = (0.0, 0usize);
        let mut runs = Vec::with_capacity(self.points.len());
        let mut factors = 0.0;
        for (k, point) in self.points.iter_mut().enumerate() {
            let mean = usual.centre * point.area_m2;
            let factor = usual.factor(k, point);
            let wide = CountLaw {
                mean,
                factor: usual.factor_of_limits(k, point),
            };
            let (low, high) = wide.limits(FALSE_ALARM / 2.0);
            let (below, above) = wide.sides(low, high);
            sides[0] += below;
            sides[1] += above;
            point.limits = Some((low / point.area_m2, high / point.area_m2));
            let seen = point.defects as f64;
            if seen > high {
                point.signals.push(Signal::Above);
            }
            if seen < low {
                point.signals.push(Signal::Below);
            }
            // halves of the distribution, not of the rate: with few defects
            // most points of a steady process lie below the mean
            let law = CountLaw { mean, factor };
            let score = law.score(seen);
            let side = score.signum();
            run = if side == run.0 {
                (side, run.1 + 1)
            } else {
                (side, 1)
            };
            runs.push(run.1 >= RUN);
            scores.push(score);
            factors += factor;
            doubled.add(&law, high);
        }
        let [down, up] = sides.map(|s| s / count);
        let alarm = 1.0 - up - down;
        let with_runs = average_run_length(up, down, RUN);
        // with few defects nearly every steady point lies on one side, and so
        // they do where the centre is hardly known or neighbours are alike
        self.run_rule = with_runs >= FEWEST_POINTS_TO_FALSE_ALARM
            && base >= FEWEST_POINTS_FOR_RUNS
            && likeness < ALIKE;
        for (point, long) in self.points.iter_mut().zip(runs) {
            if self.run_rule && long {
                point.signals.push(Signal::Run);
            }
        }
        self.centre = Some(usual.centre);
        self.dispersion = Some(factors / count);
        self.days_sd = usual.days_sd;
        self.lots_sd = usual.lots_sd;
        self.false_alarm = Some(alarm);
        self.points_to_false_alarm = if self.run_rule {
            Some(with_runs)
        } else {
            Some(1.0 / alarm).filter(|n| n.is_finite())
        };
        let sd = usual.weighted_sd(&self.points, WEIGHT);
        let settled = sd.last().copied().unwrap_or(1.0) / (WEIGHT / (2.0 - WEIGHT)).sqrt();
        self.points_to_doubling = Some(doubled.points(count, settled));
        self.small_shift = Some(small_shift(&scores, &sd, false_shift));
    }
}

/// What the chart would make of twice the rate.
#[derive(Default)]
struct Doubled {
    /// Sums over the points: chance to lie above the limit, and score.
    beyond: f64,
    score: f64,
}

impl Doubled {
    fn add(&mut self, law: &CountLaw, high: f64) {
        let twice = CountLaw {
            mean: 2.0 * law.mean,
            factor: 1.0 + 2.0 * (law.factor - 1.0),
        };
        self.beyond += twice.at_least(high + 1.0);
        self.score += law.score(2.0 * law.mean);
    }

    /// Points until the sooner of the two charts signals, on average; `settled`
    /// is the weighted mean's standard deviation over that of independent scores.
    fn points(&self, count: f64, settled: f64) -> f64 {
        let shift = self.score / count / settled;
        (count / self.beyond).min(ewma_run_length(WEIGHT, WIDTH, shift))
    }
}

fn small_shift(scores: &[f64], sd: &[f64], false_shift: f64) -> SmallShift {
    let values = weighted_mean(scores, 0.0, 1.0, WEIGHT, WIDTH).values;
    let limits: Vec<f64> = sd.iter().map(|sd| WIDTH * sd).collect();
    let mut beyond = values.iter().zip(&limits);
    SmallShift {
        weight: WEIGHT,
        width: WIDTH,
        points_to_false_alarm: false_shift,
        first_signal: beyond.position(|(value, limit)| value.abs() > *limit),
        values,
        limits,
    }
}
