//! Does a stream's rate follow recipe factors? No place needed.
//!
//! Response ln(1 + marks of a panel), with panel area, time, machine and
//! abrasive age as covariates and what panels of a lot or of a machine's day
//! share taken out. Settings are exchanged among the units they were given to:
//! runs of one setting, or lots where the setting goes with the lot. Machines are pooled per kind of defect as well, for streams that
//! lean the same way. Whether a twofold effect is left open is told by
//! bias-reduced cluster-robust intervals over runs (Bell and McCaffrey 2002).

use std::collections::BTreeMap;

use super::exchange::exchanged;
use super::rates::StreamCounts;
use super::reason::Rival;
use super::repeat::coded;
use super::shared_noise::{basis, own_noise};
use crate::records::{FactorValue, Panel};
use crate::stats::cluster_robust::{fit, gather};
use crate::stats::mixed::Grouping;

/// Clusters that a test between them needs.
const LEAST_CLUSTERS: usize = 4;
/// Share of a slope that single clusters may decide by themselves.
const CARRIED_ALONE: f64 = 0.05;

/// Panels that a test needs.
const LEAST_PANELS: usize = 12;

/// A factor with more levels than this in words is not tested.
const MOST_LEVELS: usize = 6;

/// What a factor does to the rate.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct FactorEffect {
    /// Which.
    pub factor: Rival,
    /// p of no effect, not adjusted for factors.
    pub p_value: f64,
    /// Level, for a factor in words.
    level: Option<String>,
    /// Sign of the effect, where units give one.
    rises: Option<bool>,
    /// Runs of one setting, or lots, that were compared.
    pub units: usize,
    /// Whether a twofold effect over the factor's range is not excluded.
    pub twofold_open: bool,
}

/// One column of factor values per panel.
struct Column {
    factor: Rival,
    level: Option<String>,
    values: Vec<f64>,
}

/// Effects of all factors that vary, smallest p first.
pub(super) fn factor_effects(stream: &StreamCounts<'_>) -> Vec<FactorEffect> {
    let n = stream.panels.len();
    let columns = columns(stream);
    if n < LEAST_PANELS || columns.is_empty() {
        // Too few panels exclude nothing.
        return columns
            .into_iter()
            .map(|c| FactorEffect {
                factor: c.factor,
                p_value: 1.0,
                level: c.level,
                rises: None,
                units: 0,
                twofold_open: true,
            })
            .collect();
    }
    let y: Vec<f64> = stream.marks.iter().map(|m| m.ln_1p()).collect();
    let lots = stream.codes(|p| p.lot.as_deref().map(String::from));
    let cells = cells(stream);
    let days = days_of_cells(stream, &cells);
    let covariates = covariates(stream, &cells);
    let basis = basis(&covariates, n);
    let shared: Vec<&[usize]> = [&lots, &days]
        .into_iter()
        .filter_map(|g| g.as_deref())
        .collect();
    let own = own_noise(&y, &basis, &shared);
    let mut effects: Vec<FactorEffect> = columns
        .iter()
        .map(|column| {
            let settings: Vec<&Column> = columns
                .iter()
                .filter(|c| c.factor == column.factor)
                .collect();
            let run_of = run_numbers(&settings, &cells);
            let over = |units: &[usize]| exchanged(&own, &column.values, &basis, units, &cells);
            let judged = match lots_of_settings(&column.values, lots.as_deref(), &run_of) {
                Some(lots) => over(&in_order(lots)),
                None => over(&run_of),
            };
            let interval = test(&y, &column.values, &covariates, &run_of);
            FactorEffect {
                factor: column.factor.clone(),
                p_value: judged.map_or(1.0, |j| j.p_value),
                level: column.level.clone(),
                rises: judged.map(|j| j.rises),
                units: judged.map_or(0, |j| j.units),
                twofold_open: interval.is_none_or(|t| t.allows_twofold(&y, &column.values)),
            }
        })
        .collect();
    effects.sort_by(|a, b| a.p_value.total_cmp(&b.p_value));
    effects
}

/// A factor's coefficient.
struct Test {
    low: f64,
    high: f64,
}

impl Test {
    /// Whether the interval leaves room for an effect of twofold marks between
    /// the factor's low and high values (tenth and ninetieth percentile).
    fn allows_twofold(&self, y: &[f64], x: &[f64]) -> bool {
        let mut sorted = x.to_vec();
        sorted.sort_by(f64::total_cmp);
        let at = |share: f64| sorted[((sorted.len() - 1) as f64 * share).round() as usize];
        let mut range = at(0.9) - at(0.1);
        if range <= 0.0 {
            range = at(1.0) - at(0.0);
        }
        let marks = y.iter().map(|v| v.exp_m1());
        let twofold = marks.map(|m| (2.0 * m).ln_1p() - m.ln_1p()).sum::<f64>() / y.len() as f64;
        self.low * range < -twofold || self.high * range > twofold
    }
}

/// ln(1 + marks) on a factor and covariates, clusters as given.
fn test(y: &[f64], x: &[f64], covariates: &[Vec<f64>], clusters: &[usize]) -> Option<Test> {
    let mut distinct: Vec<usize> = clusters.to_vec();
    distinct.sort_unstable();
    distinct.dedup();
    if distinct.len() < LEAST_CLUSTERS {
        return None;
    }
    let columns = || covariates.iter().map(Vec::as_slice).chain([x]);
    let p = 1 + columns().count();
    let rows: Vec<f64> = (0..y.len())
        .flat_map(|i| [1.0].into_iter().chain(columns().map(move |c| c[i])))
        .collect();
    let groups = Grouping::by_key(clusters);
    let robust = fit(&gather(&rows, p, y, &groups.of, groups.count), &[], p)?;
    let mut factor = vec![0.0; p];
    factor[p - 1] = 1.0;
    let found = robust.contrast_with(&factor, CARRIED_ALONE)?.interval(0.95);
    Some(Test {
        low: found.low,
        high: found.high,
    })
}

/// Values with the mean of their group taken out.
pub(super) fn centred(values: &[f64], groups: &[usize]) -> Vec<f64> {
    let count = groups.iter().max().map_or(0, |m| m + 1);
    let mut sums = vec![(0.0, 0.0); count];
    for (v, g) in values.iter().zip(groups) {
        sums[*g].0 += v;
        sums[*g].1 += 1.0;
    }
    values
        .iter()
        .zip(groups)
        .map(|(v, g)| v - sums[*g].0 / sums[*g].1)
        .collect()
}

/// ln area where sizes differ, time (position in the order of panels), the
/// abrasive's age, and what sets the machines apart.
fn covariates(stream: &StreamCounts<'_>, cells: &[usize]) -> Vec<Vec<f64>> {
    let n = stream.panels.len();
    let mut found = vec![(0..n).map(|i| i as f64 / n as f64).collect()];
    let area: Vec<f64> = (0..n).map(|i| stream.panel(i).area_m2().ln()).collect();
    if area.iter().any(|a| (a - area[0]).abs() > 1e-6) {
        found.push(area);
    }
    let ages: Option<Vec<f64>> = (0..n).map(|i| stream.panel(i).abrasive_age).collect();
    if let Some(ages) = ages.filter(|a| a.iter().any(|age| *age != a[0])) {
        found.push(ages);
    }
    let count = cells.iter().max().map_or(0, |m| m + 1);
    found.extend((1..count).map(|cell| {
        let own = cells.iter().map(|c| f64::from(u8::from(*c == cell)));
        own.collect()
    }));
    found
}

/// The days of every machine as numbers, where days are recorded.
fn days_of_cells(stream: &StreamCounts<'_>, cells: &[usize]) -> Option<Vec<usize>> {
    let days = stream.codes(|p| p.sanded_at.map(|m| m.local.date().to_string()))?;
    let count = cells.iter().max().map_or(1, |m| m + 1);
    let pairs = days.iter().zip(cells).map(|(day, cell)| day * count + cell);
    Some(in_order(&pairs.collect::<Vec<usize>>()))
}

/// Groups numbered by their first panels.
fn in_order(groups: &[usize]) -> Vec<usize> {
    let mut known: BTreeMap<usize, usize> = BTreeMap::new();
    groups
        .iter()
        .map(|g| {
            let next = known.len();
            *known.entry(*g).or_insert(next)
        })
        .collect()
}

/// A setting goes with the lot if lots hold so much of its variance.
const WITH_LOTS: f64 = 0.9;

/// More lots than this for every run of one setting, and the setting was given
/// to runs of several lots.
const LOTS_OF_A_RUN: f64 = 1.5;

/// The lots, where each was given a setting of its own.
fn lots_of_settings<'a>(
    x: &[f64],
    lots: Option<&'a [usize]>,
    run_of: &[usize],
) -> Option<&'a [usize]> {
    let lots = lots?;
    let mean = x.iter().sum::<f64>() / x.len() as f64;
    let all: f64 = x.iter().map(|v| (v - mean).powi(2)).sum();
    let within: f64 = centred(x, lots).iter().map(|v| v * v).sum();
    let count = |of: &[usize]| of.iter().max().map_or(0, |m| m + 1) as f64;
    let own = within <= (1.0 - WITH_LOTS) * all && count(lots) <= LOTS_OF_A_RUN * count(run_of);
    own.then_some(lots)
}

/// The machine and head of every panel as a number.
fn cells(stream: &StreamCounts<'_>) -> Vec<usize> {
    let mut known: BTreeMap<_, usize> = BTreeMap::new();
    (0..stream.panels.len())
        .map(|at| {
            let panel = stream.panel(at);
            let next = known.len();
            let cell = (panel.machine.as_deref(), panel.head.as_deref());
            *known.entry(cell).or_insert(next)
        })
        .collect()
}

/// Factors that vary: logs of positive numbers, indicators of words.
fn columns(stream: &StreamCounts<'_>) -> Vec<Column> {
    let mut out = Vec::new();
    let mut numeric = |factor: Rival, value: &dyn Fn(&Panel) -> Option<f64>| {
        let values: Vec<Option<f64>> = (0..stream.panels.len())
            .map(|at| value(stream.panel(at)))
            .collect();
        let known: Vec<f64> = values.iter().flatten().copied().collect();
        let varies = known.iter().any(|v| *v != known[0]);
        // A factor missing on some panels: those panels take the mean.
        if varies && 10 * known.len() >= 9 * values.len() {
            let positive = known.iter().all(|v| *v > 0.0);
            let scale = |v: f64| if positive { v.ln() } else { v };
            let mean = known.iter().map(|v| scale(*v)).sum::<f64>() / known.len() as f64;
            out.push(Column {
                factor,
                level: None,
                values: values.iter().map(|v| v.map_or(mean, scale)).collect(),
            });
        }
    };
    numeric(Rival::Feed, &|p| p.feed_mm_s);
    numeric(Rival::Passes, &|p| p.passes);
    numeric(Rival::Force, &|p| p.force_n);
    for (index, name) in stream.records.factor_names.iter().enumerate() {
        numeric(
            Rival::Factor(name.clone()),
            &|p| match p.factors.get(index)? {
                Some(FactorValue::Number(v)) => Some(*v),
                _ => None,
            },
        );
    }
    let mut words = |factor: Rival, value: &dyn Fn(&Panel) -> Option<String>| {
        let (codes, names) = coded(&stream.levels(value));
        if !(2..=MOST_LEVELS).contains(&names.len()) {
            return;
        }
        // Two levels need one indicator, more levels one each.
        let levels = if names.len() == 2 { 1 } else { names.len() };
        for level in 0..levels {
            let values = codes
                .iter()
                .map(|c| f64::from(u8::from(*c == Some(level))))
                .collect();
            out.push(Column {
                factor: factor.clone(),
                level: names.get(level).cloned(),
                values,
            });
        }
    };
    words(Rival::Grit, &|p| p.grit.as_ref().map(|g| g.label.clone()));
    for (index, name) in stream.records.factor_names.iter().enumerate() {
        words(
            Rival::Factor(name.clone()),
            &|p| match p.factors.get(index)? {
                Some(FactorValue::Text(t)) => Some(t.to_string()),
                _ => None,
            },
        );
    }
    if out.is_empty() {
        let mut recipe = |value: &dyn Fn(&Panel) -> Option<String>| {
            let (codes, names) = coded(&stream.levels(value));
            if (2..=MOST_LEVELS).contains(&names.len()) {
                for level in 0..if names.len() == 2 { 1 } else { names.len() } {
                    out.push(Column {
                        factor: Rival::Recipe,
                        level: names.get(level).cloned(),
                        values: codes
                            .iter()
                            .map(|c| f64::from(u8::from(*c == Some(level))))
                            .collect(),
                    });
                }
            }
        };
        recipe(&|p| p.recipe.as_deref().map(String::from));
    }
    out
}

/// A run ends where a number moves further than this many of its standard
/// deviations from the run's first panel: measured values scatter.
const RUN_BREAK: f64 = 0.5;

/// Numbers of runs of one setting of one factor in time order. A machine that
/// goes to a setting that another has gone to since it last changed was set with
/// it: they are one run.
fn run_numbers(columns: &[&Column], cells: &[usize]) -> Vec<usize> {
    let reach: Vec<f64> = columns
        .iter()
        .map(|c| {
            let n = c.values.len() as f64;
            let mean = c.values.iter().sum::<f64>() / n;
            let square: f64 = c.values.iter().map(|v| (v - mean).powi(2)).sum();
            RUN_BREAK * (square / n).sqrt()
        })
        .collect();
    let mut first_of: Vec<usize> = Vec::new();
    let mut under: BTreeMap<usize, usize> = BTreeMap::new();
    let mut out = Vec::with_capacity(cells.len());
    for (at, cell) in cells.iter().enumerate() {
        let goes_on = |run: &usize| {
            let first = first_of[*run];
            let mut pairs = columns.iter().zip(&reach);
            pairs.all(|(c, reach)| (c.values[at] - c.values[first]).abs() <= *reach)
        };
        let last = under.get(cell).copied();
        let run = last.filter(|run| goes_on(run)).or_else(|| {
            let since = under.values().filter(|run| last.is_none_or(|l| **run > l));
            since.copied().find(|run| goes_on(run))
        });
        let run = run.unwrap_or_else(|| {
            first_of.push(at);
            first_of.len() - 1
        });
        under.insert(*cell, run);
        out.push(run);
    }
    out
}

/// A stream counts towards what all machines show together only if it shows
/// the same by itself at this level, one-sided.
const OWN_LEVEL: f64 = 0.05;

/// Effects on all machines' panels of one kind of defect together.
pub(super) fn pooled_effects(streams: &[StreamCounts<'_>]) -> Vec<FactorEffect> {
    let Some(first) = streams.first() else {
        return Vec::new();
    };
    let mut rows: Vec<(usize, f64)> = streams
        .iter()
        .flat_map(|s| s.panels.iter().copied().zip(s.marks.iter().copied()))
        .collect();
    rows.sort_by_key(|r| r.0);
    let (panels, marks): (Vec<usize>, Vec<f64>) = rows.into_iter().unzip();
    factor_effects(&StreamCounts {
        records: first.records,
        panels: &panels,
        marks: &marks,
    })
}

/// Of a stream alone and its kind pooled over machines, the stronger; both
/// were asked, so both pay twice. `streams` tests will be paid for, pooled ones
/// are only `kinds`.
pub(super) fn strengthened(
    own: Vec<FactorEffect>,
    pooled: &[FactorEffect],
    (streams, kinds): (usize, usize),
) -> Vec<FactorEffect> {
    let mut found: Vec<FactorEffect> = own
        .into_iter()
        .map(|mut effect| {
            let all = pooled.iter().find(|p| {
                p.factor == effect.factor && p.level == effect.level && p.rises == effect.rises
            });
            let leans = effect.rises.is_some() && effect.p_value / 2.0 <= OWN_LEVEL;
            effect.p_value = (2.0 * effect.p_value).min(1.0);
            if let Some(all) = all.filter(|_| leans) {
                let p = 2.0 * all.p_value * kinds as f64 / streams as f64;
                if p < effect.p_value {
                    effect.p_value = p;
                    effect.units = all.units;
                }
            }
            effect
        })
        .collect();
    found.sort_by(|a, b| a.p_value.total_cmp(&b.p_value));
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::made_counts::poisson;
    use crate::records::Records;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    /// 240 panels; feed by run of `run` panels from three values; lots of 20.
    fn records(run: usize, rng: &mut ChaCha8Rng) -> Records {
        let mut feed = 60.0;
        let panels = (0..240)
            .map(|i| {
                if i % run == 0 {
                    feed = [60.0, 90.0, 135.0][rng.random_range(0..3)];
                }
                Panel {
                    length_mm: 500.0,
                    width_mm: 400.0,
                    lot: Some(format!("L{}", i / 20).into()),
                    feed_mm_s: Some(feed),
                    inspected: true,
                    ..Panel::default()
                }
            })
            .collect();
        Records {
            panels,
            ..Records::default()
        }
    }

    /// Share of 100 data sets with p ≤ 0.01: rates with lot effects of sd 0.4,
    /// times (feed/90)^power.
    fn named(run: usize, power: f64, seed: u64) -> usize {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        (0..100)
            .filter(|_| {
                let records = records(run, &mut rng);
                let panels: Vec<usize> = (0..240).collect();
                let lots: Vec<f64> = (0..12)
                    .map(|_| (1.4 * (rng.random::<f64>() - 0.5)).exp())
                    .collect();
                let marks: Vec<f64> = (0..240)
                    .map(|i| {
                        let feed = records.panels[i].feed_mm_s.unwrap_or(90.0);
                        let panel = 2.0 * rng.random::<f64>();
                        poisson(
                            1.5 * lots[i / 20] * panel * (feed / 90.0_f64).powf(power),
                            &mut rng,
                        )
                    })
                    .collect();
                let stream = StreamCounts {
                    records: &records,
                    panels: &panels,
                    marks: &marks,
                };
                factor_effects(&stream)
                    .first()
                    .is_some_and(|e| e.p_value <= 0.01)
            })
            .count()
    }

    #[test]
    fn without_an_effect_no_factor_is_named() {
        for (run, seed) in [(1, 21), (10, 22), (20, 23), (40, 24)] {
            // P(Bin(100, 0.01) > 4) = 0.0034.
            let count = named(run, 0.0, seed);
            assert!(count <= 4, "runs of {run}: {count} of 100");
        }
    }

    #[test]
    fn a_factor_that_doubles_the_rate_is_named() {
        // From 60 to 135 mm/s the rate falls to 0.44.
        for (run, seed, least) in [(1, 31, 85), (10, 32, 65)] {
            let count = named(run, -1.0, seed);
            assert!(count >= least, "runs of {run}: {count} of 100");
        }
    }
}
