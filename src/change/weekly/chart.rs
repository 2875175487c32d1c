//! The control chart of defects per area, and a chart for small shifts.

use serde::Serialize;

use super::week::Week;
use crate::records::{Panel, Records};
use crate::site::{Analysis, Subgroup};
use crate::stats::control_chart::{
    CountLaw, average_run_length, ewma_run_length, rate_std_error, weighted_mean,
};

/// Chance that a point of a steady process lies outside the limits, both sides
/// together: that of three standard deviations of a normal distribution.
pub const FALSE_ALARM: f64 = 0.0027;

/// Points in a row on one side of the centre that count as a signal.
const RUN: usize = 9;

/// The run rule is used if limits and runs together give a false alarm no more
/// often than every so many points on average.
const FEWEST_POINTS_TO_FALSE_ALARM: f64 = 100.0;

/// Weight of the newest point in the chart for small shifts, and its limits in
/// standard deviations (Lucas & Saccucci 1990: a false alarm every 370 points).
const WEIGHT: f64 = 0.2;
const WIDTH: f64 = 2.86;

/// Fewest points that limits can be drawn from.
const FEWEST_POINTS: usize = 8;

/// Mean moving range of two independent standard normal values, 2/√π.
const MEAN_RANGE: f64 = std::f64::consts::FRAC_2_SQRT_PI;

/// Defects per area over time with the limits that a steady process would keep.
///
/// u chart whose limits hold the count's probability (0.135 % on each side)
/// under a Poisson or, where the points spread more, a negative binomial
/// distribution. How much more is taken from the moving ranges of the
/// standardised points (Laney 2002, Quality Engineering 14, 531–537) and the
/// uncertainty of the centre is added, so few points give wider limits. The
/// scatter between lots thus widens the limits: a lot that differs from the
/// last one is not flagged for that alone.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ControlChart {
    /// The kind of defect; none = all kinds together.
    pub defect: Option<String>,
    /// What a point holds: `shift` or `day`.
    pub subgroup: &'static str,
    /// Defects per m² over the base; none with too few points.
    pub centre: Option<f64>,
    /// Variance of the counts over that of single independent marks, ≥ 1.
    pub dispersion: Option<f64>,
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
    /// Whether nine in a row on one side count as a signal: not with so few
    /// defects that this would come about by itself too often.
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
/// [`weighted_mean`].
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
    if groups.labels.is_empty() {
        return Vec::new();
    }
    let all = vec![1.0; records.defect_names.len()];
    let small_shift_run = ewma_run_length(WEIGHT, WIDTH, 0.0);
    let mut charts = vec![groups.chart(records, None, &all)];
    for (k, name) in records.defect_names.iter().enumerate() {
        let mut only = vec![0.0; records.defect_names.len()];
        only[k] = 1.0;
        charts.push(groups.chart(records, Some(name.name.clone()), &only));
    }
    for chart in &mut charts {
        chart.draw_limits(small_shift_run);
    }
    charts
}

/// The subgroups of the panels.
struct Groups {
    subgroup: &'static str,
    labels: Vec<(String, jiff::civil::Date)>,
    base: Vec<bool>,
    panels: Vec<usize>,
    areas: Vec<f64>,
    marks: Vec<Mark>,
    /// Group of every panel; none where it is in none.
    of_panel: Vec<Option<usize>>,
    has_week: bool,
}

impl Groups {
    fn new(records: &Records, analysis: &Analysis, week: Option<Week>) -> Self {
        let key = |panel: &Panel| {
            let at = panel.sanded_at.filter(|_| panel.inspected)?;
            let own = Week::of(at.local.date());
            if week.is_some_and(|w| own > w) {
                return None;
            }
            let shift = at.shift(analysis.day_start, analysis.shift_hours);
            let number = match analysis.subgroup {
                Subgroup::Shift => shift.number,
                Subgroup::Day => 0,
            };
            Some((shift.day, number, week == Some(own)))
        };
        let keys: Vec<_> = records.panels.iter().map(key).collect();
        let order: std::collections::BTreeSet<_> =
            keys.iter().flatten().map(|(d, n, _)| (*d, *n)).collect();
        let index: std::collections::BTreeMap<_, usize> = order
            .into_iter()
            .enumerate()
            .map(|(k, key)| (key, k))
            .collect();
        let count = index.len();
        let mut groups = Self {
            subgroup: match analysis.subgroup {
                Subgroup::Shift => "shift",
                Subgroup::Day => "day",
            },
            labels: index
                .keys()
                .map(|(day, number)| match analysis.subgroup {
                    Subgroup::Shift => (format!("{day} shift {number}"), *day),
                    Subgroup::Day => (day.to_string(), *day),
                })
                .collect(),
            base: vec![true; count],
            panels: vec![0; count],
            areas: vec![0.0; count],
            marks: Vec::new(),
            of_panel: Vec::with_capacity(keys.len()),
            has_week: week.is_some(),
        };
        let mut last = std::collections::BTreeMap::new();
        for (panel, key) in records.panels.iter().zip(&keys) {
            let group = key.and_then(|(day, number, _)| index.get(&(day, number)).copied());
            groups.of_panel.push(group);
            let (Some(group), Some((_, _, in_week))) = (group, key) else {
                continue;
            };
            groups.panels[group] += 1;
            groups.areas[group] += panel.area_m2();
            if *in_week {
                groups.base[group] = false;
            }
            let recipe = panel.recipe.as_deref();
            let before = last.insert((&panel.machine, &panel.head), recipe);
            if let (Some(recipe), Some(Some(before))) = (recipe, before)
                && before != recipe
            {
                let mark = Mark {
                    point: group,
                    label: recipe.to_owned(),
                };
                if !groups.marks.contains(&mark) {
                    groups.marks.push(mark);
                }
            }
        }
        groups
    }

    /// The chart of the kinds with weight 1.
    fn chart(&self, records: &Records, defect: Option<String>, kinds: &[f64]) -> ControlChart {
        let mut defects = vec![0.0; self.labels.len()];
        for defect in &records.defects {
            if let Some(group) = self.of_panel[defect.panel] {
                defects[group] += kinds[defect.name];
            }
        }
        let points = self
            .labels
            .iter()
            .enumerate()
            .map(|(k, (label, day))| ControlPoint {
                label: label.clone(),
                day: *day,
                panels: self.panels[k],
                area_m2: self.areas[k],
                defects: defects[k] as usize,
                rate: defects[k] / self.areas[k],
                limits: None,
                base: self.base[k] || !self.has_week,
                signals: Vec::new(),
            })
            .collect();
        ControlChart {
            defect,
            subgroup: self.subgroup,
            centre: None,
            dispersion: None,
            points,
            marks: self.marks.clone(),
            small_shift: None,
            false_alarm: None,
            points_to_false_alarm: None,
            run_rule: false,
        }
    }
}

impl ControlChart {
    /// Centre, limits, signals and the small-shift chart, from the base points.
    fn draw_limits(&mut self, small_shift_run: f64) {
        let base: Vec<&ControlPoint> = self.points.iter().filter(|p| p.base).collect();
        let area: f64 = base.iter().map(|p| p.area_m2).sum();
        let defects: f64 = base.iter().map(|p| p.defects as f64).sum();
        if base.len() < FEWEST_POINTS || defects <= 0.0 {
            return;
        }
        let centre = defects / area;
        let dispersion = dispersion(&base, centre);
        self.centre = Some(centre);
        self.dispersion = Some(dispersion);
        let mut sides = [0.0; 2];
        let mut scores = Vec::with_capacity(self.points.len());
        let mut run = (0.0, 0usize);
        let mut runs = Vec::with_capacity(self.points.len());
        for point in &mut self.points {
            let mean = centre * point.area_m2;
            // a base point is part of its own centre; a later one is compared
            // with a centre that is itself uncertain
            let law = CountLaw {
                mean,
                factor: if point.base {
                    dispersion
                } else {
                    dispersion * (1.0 + point.area_m2 / area)
                },
            };
            let (low, high) = law.limits(FALSE_ALARM / 2.0);
            point.limits = Some((low / point.area_m2, high / point.area_m2));
            let (below, above) = law.sides(low, high);
            sides[0] += below;
            sides[1] += above;
            let count = point.defects as f64;
            if count > high {
                point.signals.push(Signal::Above);
            }
            if count < low {
                point.signals.push(Signal::Below);
            }
            // halves of the distribution, not of the rate: with few defects
            // most points of a steady process lie below the mean
            let score = law.score(count);
            let side = score.signum();
            run = if side == run.0 {
                (side, run.1 + 1)
            } else {
                (side, 1)
            };
            runs.push(run.1 >= RUN);
            scores.push(score);
        }
        let [down, up] = sides.map(|s| s / self.points.len() as f64);
        let alarm = 1.0 - up - down;
        let with_runs = average_run_length(up, down, RUN);
        // with few defects nearly every steady point lies on one side
        self.run_rule = with_runs >= FEWEST_POINTS_TO_FALSE_ALARM;
        for (point, long) in self.points.iter_mut().zip(runs) {
            if self.run_rule && long {
                point.signals.push(Signal::Run);
            }
        }
        self.false_alarm = Some(alarm);
        self.points_to_false_alarm = if self.run_rule {
            Some(with_runs)
        } else {
            Some(1.0 / alarm).filter(|n| n.is_finite())
        };
        self.small_shift = Some(small_shift(&scores, small_shift_run));
    }
}

/// Variance over mean from the moving ranges of the standardised points, at
/// least 1.
fn dispersion(base: &[&ControlPoint], centre: f64) -> f64 {
    let z: Vec<f64> = base
        .iter()
        .map(|p| (p.rate - centre) / rate_std_error(centre, p.area_m2))
        .collect();
    let ranges: f64 = z.windows(2).map(|w| (w[1] - w[0]).abs()).sum();
    let sigma = ranges / (z.len() - 1) as f64 / MEAN_RANGE;
    (sigma * sigma).max(1.0)
}

fn small_shift(scores: &[f64], points_to_false_alarm: f64) -> SmallShift {
    let chart = weighted_mean(scores, 0.0, 1.0, WEIGHT, WIDTH);
    SmallShift {
        weight: WEIGHT,
        width: WIDTH,
        points_to_false_alarm,
        values: chart.values,
        limits: chart.limits,
        first_signal: chart.first_signal,
    }
}
