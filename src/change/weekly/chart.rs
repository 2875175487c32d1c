//! The control chart of defects per area, and a chart for small shifts.

use serde::Serialize;

use std::collections::BTreeSet;
use std::ops::Range;

use super::base::Stretch;
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
/// do are no signal; few points give wider limits. They come from a base: points
/// that no finding of the kind, no lasting change of recipe and not the week
/// reported runs through. Points before it belong to another process and are
/// not judged.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ControlChart {
    /// The machine, where recorded.
    pub machine: Option<String>,
    /// The head, where recorded.
    pub head: Option<String>,
    /// The kind of defect.
    pub defect: String,
    /// What a point holds: `shift` or `day`.
    pub subgroup: &'static str,
    /// Index of the first point of the base and of the first after it; none where
    /// no run of points is long enough.
    pub base: Option<(usize, usize)>,
    /// Defects per m² over the base, none of them counted as three; none without a
    /// base.
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
    /// What is known to have changed, to be marked.
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
    /// Limits of the rate for this area; none without limits, and before the base.
    pub limits: Option<(f64, f64)>,
    /// Whether the limits were taken from it.
    pub base: bool,
    /// Whether it is of the week reported.
    pub week: bool,
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
    /// Index of the first point that holds a panel after it.
    pub point: usize,
    /// What changed.
    pub known: Known,
}

/// What is known to have changed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Known {
    /// The recipe, to this one.
    Recipe(String),
    /// This finding set in.
    Onset(String),
    /// This finding ended.
    End(String),
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
    /// The weighted mean at each point from the base's first on.
    pub values: Vec<f64>,
    /// Its limit there (both signs).
    pub limits: Vec<f64>,
    /// Index of the first point whose mean lies outside, if any.
    pub first_signal: Option<usize>,
}

/// One chart per machine, head and kind of defect seen there: those with a signal
/// first, then by their defects. `stretches` say over which time findings run.
/// Points after the week are left out, and panels without a time; no time at all
/// gives no chart.
#[must_use]
pub fn control_charts(
    records: &Records,
    analysis: &Analysis,
    week: Option<Week>,
    stretches: &[Stretch],
) -> Vec<ControlChart> {
    let false_shift = ewma_run_length(WEIGHT, WIDTH, 0.0);
    let cells: BTreeSet<_> = (records.panels.iter())
        .filter(|p| p.inspected)
        .map(|p| (p.machine.as_deref(), p.head.as_deref()))
        .collect();
    let mut charts: Vec<ControlChart> = cells
        .into_iter()
        .map(|cell| Groups::new(records, analysis, week, cell))
        .flat_map(|groups| groups.charts(records, stretches, false_shift))
        .collect();
    charts.sort_by_key(|chart| {
        let silent = chart.first_signal().is_none();
        (silent, std::cmp::Reverse(chart.defects()))
    });
    charts
}

/// Charts that steady processes would give a signal in, on average over reports
/// like this one: the stated chance of limits and runs and that of the weighted
/// mean, over the points judged, summed over the charts. The chance that any chart
/// gives one is no larger.
#[must_use]
pub fn false_signals(charts: &[ControlChart]) -> f64 {
    let chance = |every: Option<f64>, points: usize| {
        every.map_or(0.0, |every| {
            1.0 - (1.0 - 1.0 / every.max(1.0)).powf(points as f64)
        })
    };
    let of = |chart: &ControlChart| {
        let points = chart.points.iter().filter(|p| p.limits.is_some()).count();
        let small = chart.small_shift.as_ref().map(|s| s.points_to_false_alarm);
        chance(chart.points_to_false_alarm, points) + chance(small, points)
    };
    charts.iter().map(of).sum()
}

impl ControlChart {
    /// Index of the first point that signals, by limits, runs or weighted mean.
    #[must_use]
    pub fn first_signal(&self) -> Option<usize> {
        let own = self.points.iter().position(|p| !p.signals.is_empty());
        let small = self.small_shift.as_ref().and_then(|s| s.first_signal);
        own.into_iter().chain(small).min()
    }

    /// Defects over all points.
    #[must_use]
    pub fn defects(&self) -> usize {
        self.points.iter().map(|p| p.defects).sum()
    }

    /// Centre, limits, signals and the small-shift chart, which gives a false alarm
    /// every `false_shift` points, from the first point of the base on.
    pub(super) fn draw_limits(&mut self, usual: &Usual<'_>, base: &Range<usize>, false_shift: f64) {
        let judged = &mut self.points[base.start..];
        let count = judged.len() as f64;
        let likeness = usual.likeness(judged);
        let mut sides = [0.0; 2];
        let mut doubled = Doubled::default();
        let mut scores = Vec::with_capacity(judged.len());
        let mut run = (0.0, 0usize);
        let mut runs = Vec::with_capacity(judged.len());
        let mut factors = 0.0;
        for (k, point) in judged.iter_mut().enumerate() {
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
        // a base that no law fits well has scores off zero; a base without any
        // defect has none to speak of
        if judged[..base.len()].iter().any(|p| p.defects > 0) {
            let usual = scores[..base.len()].iter().sum::<f64>() / base.len() as f64;
            scores.iter_mut().for_each(|score| *score -= usual);
        }
        let [down, up] = sides.map(|s| s / count);
        let alarm = 1.0 - up - down;
        let with_runs = average_run_length(up, down, RUN);
        // with few defects nearly every steady point lies on one side, and so
        // they do where the centre is hardly known or neighbours are alike
        self.run_rule = with_runs >= FEWEST_POINTS_TO_FALSE_ALARM
            && base.len() >= FEWEST_POINTS_FOR_RUNS
            && likeness < ALIKE;
        for (point, long) in judged.iter_mut().zip(runs) {
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
        let sd = usual.weighted_sd(judged, WEIGHT);
        let settled = sd.last().copied().unwrap_or(1.0) / (WEIGHT / (2.0 - WEIGHT)).sqrt();
        self.points_to_doubling = Some(doubled.points(count, settled));
        self.small_shift = Some(small_shift(&scores, &sd, base.start, false_shift));
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

fn small_shift(scores: &[f64], sd: &[f64], first: usize, false_shift: f64) -> SmallShift {
    let values = weighted_mean(scores, 0.0, 1.0, WEIGHT, WIDTH).values;
    let limits: Vec<f64> = sd.iter().map(|sd| WIDTH * sd).collect();
    let mut beyond = values.iter().zip(&limits);
    SmallShift {
        weight: WEIGHT,
        width: WIDTH,
        points_to_false_alarm: false_shift,
        first_signal: beyond
            .position(|(value, limit)| value.abs() > *limit)
            .map(|k| first + k),
        values,
        limits,
    }
}
