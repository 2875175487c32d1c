//! Does a kind of defect follow the abrasive's age? Machines pooled, abrasive
//! lives as units.
//!
//! ln(1 + marks) within each life (the life's mean taken out) on the age, on
//! "fresh" (lowest fifth of ages) and on "worn" (highest fifth). Panels of one
//! life are not independent, nor are those of one lot, which may meet the same
//! ages again and again: lives are the clusters, lots as well where recorded,
//! also with what lots and lives share taken out, and the largest p counts (bias-reduced, Bell and McCaffrey 2002); of two or three
//! lots the means are taken out. Pooling machines wins back the power that single
//! machines with few lives don't have.

use std::collections::{BTreeMap, BTreeSet};

use super::LevelCount;
use super::rate_follows::centred;
use super::rates::StreamCounts;
use super::reason::AbrasiveEnd;
use super::shared_noise::{basis, own_noise};
use crate::stats::cluster_robust::{fit, gather};
use crate::stats::mixed::Grouping;

/// Lives, and lots, needed.
const LEAST_CLUSTERS: usize = 4;
/// Share of a slope that single clusters may decide by themselves.
const CARRIED_ALONE: f64 = 0.05;

/// Questions asked: slope, fresh end, worn end.
const QUESTIONS: usize = 3;

/// How a rate follows the age.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct AgeEffect {
    /// The end with the higher rate.
    pub end: AbrasiveEnd,
    /// Lives compared.
    pub lives: usize,
    /// Machines and heads pooled.
    pub machines: usize,
    /// Rate in the fifth of ages at that end over the rate of the rest.
    pub ratio: Option<f64>,
    /// Two-sided p, adjusted for the questions asked.
    pub p_value: f64,
}

/// What the ages say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct AgeEvidence {
    /// The strongest of the questions; none if too few lives.
    pub effect: Option<AgeEffect>,
    /// Whether a twofold effect between fresh and worn is not excluded.
    pub twofold_open: bool,
}

/// One panel with an age.
#[derive(Debug, Clone, Copy)]
struct Aged {
    life: usize,
    lot: Option<usize>,
    /// Share of the machine's ages below this one, 0..1.
    rank: f64,
    marks: f64,
    area_m2: f64,
}

/// Evidence over the streams of one kind of defect; none where no age varies.
pub(super) fn age_evidence(streams: &[StreamCounts<'_>]) -> Option<AgeEvidence> {
    let mut panels: Vec<Aged> = Vec::new();
    let mut names: BTreeMap<&str, usize> = BTreeMap::new();
    let (mut lives, mut machines) = (0, 0);
    for stream in streams {
        let own = aged(stream, lives, &mut names);
        if let Some(last) = own.iter().map(|a| a.life).max() {
            lives = last + 1;
            machines += 1;
            panels.extend(own);
        }
    }
    if panels.is_empty() {
        return None;
    }
    let groups: Vec<usize> = panels.iter().map(|a| a.life).collect();
    let lots = lots(&panels, names.len());
    let y: Vec<f64> = panels.iter().map(|a| a.marks.ln_1p()).collect();
    let own = lots.as_deref().map_or_else(Vec::new, |lots| {
        own_noise(&y, &basis(&[], y.len()), &[&groups, lots])
    });
    let question = |x: &dyn Fn(&Aged) -> f64| {
        let x: Vec<f64> = panels.iter().map(x).collect();
        let lots = match &lots {
            None => {
                let (y, x) = (centred(&y, &groups), centred(&x, &groups));
                return slope(&y, &x, &groups);
            }
            // Too few to be units: each part of a life by itself.
            Some(lots) if names.len() < LEAST_CLUSTERS => {
                let parts: Vec<usize> = groups
                    .iter()
                    .zip(lots)
                    .map(|(life, lot)| life * (names.len() + 1) + lot)
                    .collect();
                return slope(&centred(&y, &parts), &centred(&x, &parts), &groups);
            }
            Some(lots) => lots,
        };
        let (y, x) = (centred(&y, &groups), centred(&x, &groups));
        let by_lives = slope(&y, &x, &groups)?;
        // Lots of one life are each other's comparison; they stand by themselves
        // once what lots and lives share is taken out.
        let apart = slope(&own, &x, lots)?;
        let by_lots = slope(&y, &x, lots)?;
        let p_value = by_lots.p_value.max(by_lives.p_value).max(apart.p_value);
        let wider = if by_lots.p_value > by_lives.p_value {
            by_lots
        } else {
            by_lives
        };
        Some(Slope { p_value, ..wider })
    };
    let fresh = |a: &Aged| f64::from(u8::from(a.rank < 0.2));
    let worn = |a: &Aged| f64::from(u8::from(a.rank >= 0.8));
    let asked = [
        (question(&|a| a.rank), AbrasiveEnd::Worn, AbrasiveEnd::Fresh),
        (question(&fresh), AbrasiveEnd::Fresh, AbrasiveEnd::Worn),
        (question(&worn), AbrasiveEnd::Worn, AbrasiveEnd::Fresh),
    ];
    let twofold_open = asked[0].0.as_ref().is_none_or(|slope| {
        let marks = panels.iter().map(|a| a.marks);
        let twofold = marks.map(|m| (2.0 * m).ln_1p() - m.ln_1p()).sum::<f64>() / y.len() as f64;
        // From the middle of the fresh to the middle of the worn fifth.
        0.8 * slope.low < -twofold || 0.8 * slope.high > twofold
    });
    let effect = asked
        .into_iter()
        .filter_map(|(slope, up, down)| {
            let slope = slope?;
            let end = if slope.estimate > 0.0 { up } else { down };
            Some(AgeEffect {
                end,
                lives,
                machines,
                ratio: ratio(&panels, |a| match end {
                    AbrasiveEnd::Fresh => a.rank < 0.2,
                    AbrasiveEnd::Worn => a.rank >= 0.8,
                }),
                p_value: (slope.p_value * QUESTIONS as f64).min(1.0),
            })
        })
        .min_by(|a, b| a.p_value.total_cmp(&b.p_value));
    Some(AgeEvidence {
        effect,
        twofold_open,
    })
}

/// Lots as numbers, where at least two are recorded on nine panels of ten or more;
/// panels without one share a number of their own.
fn lots(panels: &[Aged], names: usize) -> Option<Vec<usize>> {
    let known = panels.iter().filter(|a| a.lot.is_some()).count();
    (names >= 2 && 10 * known >= 9 * panels.len())
        .then(|| panels.iter().map(|a| a.lot.unwrap_or(names)).collect())
}

/// Panels with an age, lives numbered from `next`: a life ends where the age
/// falls or the abrasive changes. Lives of one panel tell nothing.
fn aged<'a>(
    stream: &StreamCounts<'a>,
    next: usize,
    names: &mut BTreeMap<&'a str, usize>,
) -> Vec<Aged> {
    let mut ages: Vec<f64> = Vec::new();
    let mut rows: Vec<(usize, f64, usize, Option<usize>)> = Vec::new();
    let mut life = next;
    let mut before: Option<(f64, Option<&str>)> = None;
    for at in 0..stream.panels.len() {
        let panel = stream.panel(at);
        let Some(age) = panel.abrasive_age else {
            continue;
        };
        let id = panel.abrasive_id.as_deref();
        if before.is_some_and(|(a, b)| age < a || b != id) {
            life += 1;
        }
        before = Some((age, id));
        ages.push(age);
        let lot = panel.lot.as_deref().map(|lot| {
            let next = names.len();
            *names.entry(lot).or_insert(next)
        });
        rows.push((at, age, life, lot));
    }
    ages.sort_by(f64::total_cmp);
    let (Some(first), Some(last)) = (ages.first(), ages.last()) else {
        return Vec::new();
    };
    if first == last {
        return Vec::new();
    }
    let below = |age: f64| ages.partition_point(|a| *a < age) as f64;
    let up_to = |age: f64| ages.partition_point(|a| *a <= age) as f64;
    rows.into_iter()
        .map(|(at, age, life, lot)| Aged {
            life,
            lot,
            rank: (below(age) + up_to(age)) / (2.0 * ages.len() as f64),
            marks: stream.marks[at],
            area_m2: stream.panel(at).area_m2(),
        })
        .collect()
}

/// Hits and exposure in fifths of the ages, for the chart.
pub(super) fn by_age(panels: &[(f64, bool)]) -> Vec<LevelCount> {
    let mut sorted = panels.to_vec();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let n = sorted.len();
    let mut out: Vec<LevelCount> = Vec::new();
    let mut from = 0;
    for fifth in 1..=5 {
        // Equal ages stay together.
        let mut to = (n * fifth / 5).max(from);
        while to > from && to < n && sorted[to].0 == sorted[to - 1].0 {
            to += 1;
        }
        if to == from {
            continue;
        }
        let (low, high) = (sorted[from].0, sorted[to - 1].0);
        out.push(LevelCount {
            level: if low == high {
                format!("{low:.0}")
            } else {
                format!("{low:.0}–{high:.0}")
            },
            exposed: to - from,
            hits: sorted[from..to].iter().filter(|p| p.1).count(),
        });
        from = to;
    }
    out
}

struct Slope {
    estimate: f64,
    p_value: f64,
    low: f64,
    high: f64,
}

fn slope(y: &[f64], x: &[f64], clusters: &[usize]) -> Option<Slope> {
    let informative: BTreeSet<usize> = x
        .iter()
        .zip(clusters)
        .filter(|(x, _)| x.abs() > 1e-9)
        .map(|(_, c)| *c)
        .collect();
    if informative.len() < LEAST_CLUSTERS {
        return None;
    }
    let groups = Grouping::by_key(clusters);
    let robust = fit(&gather(x, 1, y, &groups.of, groups.count), &[], 1)?;
    let found = robust.contrast_with(&[1.0], CARRIED_ALONE)?;
    let ci = found.interval(0.95);
    Some(Slope {
        estimate: found.estimate,
        p_value: found.p_value(),
        low: ci.low,
        high: ci.high,
    })
}

fn ratio(panels: &[Aged], inside: impl Fn(&Aged) -> bool) -> Option<f64> {
    let rate = |own: bool| {
        let chosen = panels.iter().filter(|a| inside(a) == own);
        let (marks, area) = chosen.fold((0.0, 0.0), |s, a| (s.0 + a.marks, s.1 + a.area_m2));
        (area > 0.0).then(|| marks / area)
    };
    let rest = rate(false)?;
    (rest > 0.0).then_some(rate(true)? / rest)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::made_counts::poisson;
    use crate::records::{Panel, Records};
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    /// Two machines of 100 panels each, lives of 18 to 32 panels.
    fn records(rng: &mut ChaCha8Rng) -> Records {
        let mut panels = Vec::new();
        for machine in ["M1", "M2"] {
            let (mut age, mut most) = (0, 25);
            for _ in 0..100 {
                panels.push(Panel {
                    machine: Some(machine.into()),
                    length_mm: 500.0,
                    width_mm: 400.0,
                    abrasive_age: Some(f64::from(age)),
                    inspected: true,
                    ..Panel::default()
                });
                age += 1;
                if age == most {
                    age = 0;
                    most = rng.random_range(18..33);
                }
            }
        }
        Records {
            panels,
            ..Records::default()
        }
    }

    /// Data sets of 100 in which the age is named at 1 %; every life has its
    /// own level.
    fn named(factor: impl Fn(f64) -> f64, seed: u64) -> usize {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        (0..100)
            .filter(|_| {
                let records = records(&mut rng);
                let mut level = 1.0;
                let marks: Vec<f64> = (0..200)
                    .map(|i| {
                        let age = records.panels[i].abrasive_age.unwrap_or(0.0);
                        if age == 0.0 {
                            level = (rng.random::<f64>() - 0.5).exp();
                        }
                        let panel = 2.0 * rng.random::<f64>();
                        poisson(1.5 * level * panel * factor(age), &mut rng)
                    })
                    .collect();
                let ids: Vec<usize> = (0..200).collect();
                let streams: Vec<StreamCounts<'_>> = [0..100, 100..200]
                    .map(|r| StreamCounts {
                        records: &records,
                        panels: &ids[r.clone()],
                        marks: &marks[r],
                    })
                    .to_vec();
                age_evidence(&streams)
                    .and_then(|e| e.effect)
                    .is_some_and(|e| e.p_value <= 0.01)
            })
            .count()
    }

    #[test]
    fn fifths_keep_equal_ages_together() {
        let panels: Vec<(f64, bool)> = (0..30).map(|i| (f64::from(i / 10), i >= 20)).collect();
        let ages = by_age(&panels);
        assert_eq!(ages.len(), 3);
        assert_eq!(
            (ages[2].level.as_str(), ages[2].exposed, ages[2].hits),
            ("2", 10, 10)
        );
        assert_eq!(ages[0].hits, 0);
        assert_eq!(by_age(&[]), []);
    }

    #[test]
    fn the_age_is_named_only_where_it_matters() {
        // P(Bin(100, 0.01) > 4) = 0.0034.
        let null = named(|_| 1.0, 41);
        assert!(null <= 4, "{null} of 100");
        // Three times the rate at the end of a life of 25.
        let wear = named(|age| 1.0 + 2.0 * age / 25.0, 42);
        assert!(wear >= 45, "{wear} of 100");
        // Fresh paper: four times the rate on the first five panels.
        let fresh = named(|age| if age < 5.0 { 4.0 } else { 1.0 }, 43);
        assert!(fresh >= 80, "{fresh} of 100");
    }
}
