//! The removal model: panel means of removal against the recipe.

use std::sync::Arc;

use rayon::prelude::*;

use super::coding::Coding;
use super::design::Recipe;
use super::doubts::Note;
use super::inference::two_sided;
use super::model::{Frame, Model, Observed, Refused, unit_of};
use super::result::{Factor, Interaction};
use super::setting::{Factors, Setting, common_scale};
use crate::records::{Panel, Records};

/// The removal model with what was decided on the way.
#[derive(Debug, Clone)]
pub(super) struct Depth {
    pub(super) model: Model,
    pub(super) recipe: Recipe,
    pub(super) interactions: Vec<Interaction>,
}

/// Panels on which removal was measured, in time order.
#[derive(Debug, Default)]
pub(super) struct Measured {
    panels: Vec<usize>,
    means: Vec<f64>,
    readings: Vec<f64>,
}

/// Gathers the readings of removal by panel.
pub(super) fn measured(records: &Records) -> Measured {
    let mut sums = vec![(0.0, 0.0); records.panels.len()];
    for reading in &records.readings {
        if let Some(removed) = reading.removed_um {
            sums[reading.panel].0 += removed;
            sums[reading.panel].1 += 1.0;
        }
    }
    let mut measured = Measured::default();
    for (panel, (sum, count)) in sums.into_iter().enumerate() {
        if count > 0.0 {
            measured.panels.push(panel);
            measured.means.push(sum / count);
            measured.readings.push(count);
        }
    }
    measured
}

/// Panel means of removal; `settings` of all panels.
pub(super) fn observe<'a>(measured: &'a Measured, settings: &'a [Setting]) -> Observed<'a> {
    Observed {
        panels: &measured.panels,
        settings,
        response: measured.means.clone(),
        readings: measured.readings.clone(),
        offset: vec![0.0; measured.panels.len()],
    }
}

/// Grain size is a number only if so many grits of one scale were used.
const GRITS_FOR_A_SIZE: usize = 3;
/// Half lives tried for the abrasive's decay, as shares of the oldest age.
const HALF_LIVES: [f64; 4] = [0.5, 0.25, 0.125, 0.0625];
/// Shortest half life, panels; below, the fresh abrasive's own term says it.
const SHORTEST_HALF_LIFE: f64 = 3.0;
/// A decay with a plateau must be better than an even one by so much in
/// −2 ln likelihood (χ² with one degree of freedom at 1 %).
const PLATEAU: f64 = 6.63;
/// Level at which grit categories are kept against grain size.
const GRAIN_MISFIT: f64 = 0.05;
/// Level for interactions, over all pairs looked at.
const INTERACTION: f64 = 0.01;
/// Rows that an interaction needs beyond the coefficients.
const INTERACTION_ROWS: usize = 20;

/// Fits the removal model.
pub(super) fn fit(
    records: &Records,
    factors: &Factors,
    observed: &Observed<'_>,
    level: f64,
) -> Result<Depth, Refused> {
    let fit = |recipe: Recipe| {
        let frame = Frame::new(records, factors, observed.panels, observed.settings, recipe)?;
        Model::fit(&Arc::new(frame), observed, level)
    };
    let mut recipe = Recipe::default();
    let mut model = fit(recipe)?;
    if grain_is_a_number(records, observed, &model) {
        let by_size = Recipe {
            grain: true,
            ..recipe
        };
        if let Ok(sized) = fit(by_size)
            && sized.frame.design.block_of(&Factor::Grain).is_some()
            && !misfits(&sized, &model, factors, observed)
        {
            recipe = by_size;
            model = sized;
        }
    }
    if let Some(age) = model.frame.design.block_of(&Factor::AbrasiveAge)
        && let Some(Coding::Decay { oldest, .. }) = model.frame.design.blocks[age].coding()
    {
        let half_lives = HALF_LIVES.map(|share| share * oldest);
        let curved: Vec<(Recipe, Model)> = (half_lives.par_iter())
            .filter(|half_life| **half_life >= SHORTEST_HALF_LIFE)
            .filter_map(|half_life| {
                let curved = Recipe {
                    rate: std::f64::consts::LN_2 / half_life,
                    ..recipe
                };
                Some((curved, fit(curved).ok()?))
            })
            .collect();
        let even = model.fit.deviance;
        for (curved, candidate) in curved {
            if candidate.fit.deviance < even - PLATEAU
                && candidate.fit.deviance < model.fit.deviance
            {
                recipe = curved;
                model = candidate;
            }
        }
    }
    let (model, interactions) = with_interactions(model, observed);
    Ok(Depth {
        model,
        recipe,
        interactions,
    })
}

fn grain_is_a_number(records: &Records, observed: &Observed<'_>, model: &Model) -> bool {
    let panels = || observed.panels.iter().map(|&p| &records.panels[p]);
    let levels = model
        .frame
        .design
        .block_of(&Factor::Grit)
        .and_then(|b| model.frame.design.blocks[b].coding())
        .map_or(0, |c| c.width() + 1);
    let sized = |p: &Panel| p.grit.as_ref().is_none_or(|g| g.grain_um.is_some());
    levels >= GRITS_FOR_A_SIZE && common_scale(panels()).is_some() && panels().all(sized)
}

/// Whether the grits' own levels depart from a power of grain size: the largest
/// departure, judged with the levels' errors, over all levels.
fn misfits(sized: &Model, levels: &Model, factors: &Factors, observed: &Observed<'_>) -> bool {
    let (Some(grit), Some(grain)) = (
        levels.frame.design.block_of(&Factor::Grit),
        sized.frame.design.block_of(&Factor::Grain),
    ) else {
        return true;
    };
    let Some(Coding::Levels { at, levels: names }) = levels.frame.design.blocks[grit].coding()
    else {
        return true;
    };
    let Some(size_at) = factors.position(&Factor::Grain) else {
        return true;
    };
    let slope = sized.fit.beta[sized.frame.design.column(grain)];
    let size_of = |name: &str| {
        observed.panels.iter().find_map(|&p| {
            let s = &observed.settings[p];
            (super::setting::level(&s[*at]) == Some(name))
                .then(|| super::setting::number(&s[size_at]))
                .flatten()
        })
    };
    let Some(base) = size_of(&names[0]) else {
        return true;
    };
    let judge = levels.inference();
    let tested = names.len() - 1;
    (0..tested).any(|k| {
        let judged = levels.column(&judge, levels.frame.design.column(grit) + k, &Factor::Grit);
        let (Some(size), Some(se), Some(dof)) =
            (size_of(&names[k + 1]), judged.std_error, judged.dof)
        else {
            return false;
        };
        let departure = judged.estimate - slope * (size / base).ln();
        two_sided(departure, se, dof) * (tested as f64) < GRAIN_MISFIT
    })
}

/// Tries every pair of recipe factors and keeps the pairs, at most two, whose
/// effects clearly depend on each other.
fn with_interactions(model: Model, observed: &Observed<'_>) -> (Model, Vec<Interaction>) {
    let frame = model.frame.clone();
    let fit = |products: &[(usize, usize)]| {
        let frame = frame.with_products(observed.settings, products);
        Model::fit(&Arc::new(frame), observed, model.level)
    };
    let blocks = &frame.design.blocks;
    let own: Vec<usize> = (0..blocks.len())
        .filter(|&b| {
            !blocks[b].is_joint()
                && !blocks[b].factors[0].is_allowed_for()
                && !matches!(blocks[b].factors[0], Factor::FreshAbrasive | Factor::Recipe)
        })
        .collect();
    let mut pairs = Vec::new();
    for (i, &a) in own.iter().enumerate() {
        for &b in &own[i + 1..] {
            for ca in 0..blocks[a].width() {
                for cb in 0..blocks[b].width() {
                    let columns = (frame.design.column(a) + ca, frame.design.column(b) + cb);
                    pairs.push((columns, a, b, cb));
                }
            }
        }
    }
    if frame.used().len() < frame.design.width() + INTERACTION_ROWS {
        return (model, Vec::new());
    }
    let tests = pairs.len() as f64;
    let mut found = Vec::new();
    for &(columns, a, b, cb) in &pairs {
        // The model's own p-value is the smallest of those that are judged by.
        if model.fit.added(columns, &frame.x) * tests > INTERACTION {
            continue;
        }
        let Ok(with) = fit(&[columns]) else { continue };
        let judge = with.inference();
        // Both factors must have been set often enough to speak of a pair.
        let judged = with.column(&judge, with.frame.design.width() - 1, &blocks[a].factors[0]);
        let also = with.column(&judge, with.frame.design.width() - 1, &blocks[b].factors[0]);
        let p = match (judged.p_value, also.p_value) {
            (Some(x), Some(y)) => (x.max(y) * tests).min(1.0),
            _ => continue,
        };
        if p > INTERACTION {
            continue;
        }
        let level = match blocks[b].coding() {
            Some(Coding::Levels { levels, .. }) => levels.get(cb + 1).cloned(),
            _ => None,
        };
        found.push((
            columns,
            Interaction {
                factors: [blocks[a].factors[0].clone(), blocks[b].factors[0].clone()],
                level,
                estimate: judged.estimate,
                ci: if unit_of(&blocks[a].factors[0]) == unit_of(&blocks[b].factors[0]) {
                    judged.ci
                } else {
                    wider(&judged, &also)
                },
                p_adjusted: p,
            },
        ));
    }
    found.sort_by(|a, b| a.1.p_adjusted.total_cmp(&b.1.p_adjusted));
    found.truncate(2);
    let columns: Vec<(usize, usize)> = found.iter().map(|f| f.0).collect();
    if columns.is_empty() {
        return (model, Vec::new());
    }
    match fit(&columns) {
        Ok(with) => (with, found.into_iter().map(|f| f.1).collect()),
        Err(_) => (model, Vec::new()),
    }
}

fn wider(
    a: &super::inference::Judged,
    b: &super::inference::Judged,
) -> Option<crate::stats::Interval> {
    let (x, y) = (a.ci?, b.ci?);
    Some(if x.high - x.low >= y.high - y.low {
        x
    } else {
        y
    })
}

/// Doubts about the panels that the removal model rests on.
pub(super) fn data_notes(records: &Records, observed: &Observed<'_>) -> Vec<Note> {
    let mut notes = Vec::new();
    let low = observed.response.iter().filter(|m| **m <= 0.0).count();
    if low > 0 {
        notes.push(Note::NonPositiveMeans { panels: low });
    }
    notes.extend(recipe_notes(records, observed.panels));
    notes
}

/// Doubts about the recipe columns of the panels.
pub(super) fn recipe_notes(records: &Records, panels: &[usize]) -> Vec<Note> {
    let mut notes = Vec::new();
    let panels = || panels.iter().map(|&p| &records.panels[p]);
    let odd = panels()
        .filter(|p| p.passes.is_some_and(|n| n.fract() != 0.0))
        .count();
    if odd > 0 {
        notes.push(Note::PassesNotWhole { panels: odd });
    }
    let labels: std::collections::BTreeSet<String> = panels()
        .filter_map(|p| p.grit.as_ref())
        .filter(|g| g.scale.is_none())
        .map(|g| g.label.clone())
        .collect();
    if !labels.is_empty() {
        notes.push(Note::GritWithoutScale {
            labels: labels.into_iter().collect(),
        });
    }
    let lots: std::collections::BTreeSet<&str> =
        panels().filter_map(|p| p.lot.as_deref()).collect();
    if lots.len() == 1 {
        notes.push(Note::OneLot);
    }
    notes
}

#[cfg(test)]
mod tests {
    use super::super::inference::Judged;
    use super::super::result::Unit;
    use super::*;
    use crate::records::{Panel, Reading};
    use crate::stats::Interval;

    /// Panels as `fill` leaves them, each with a reading of what `removed` says, ln µm.
    fn fitted(
        panels: usize,
        fill: impl Fn(usize, &mut Panel),
        removed: impl Fn(usize) -> f64,
    ) -> Depth {
        let mut records = Records::default();
        for i in 0..panels {
            let mut panel = Panel {
                length_mm: 1000.0,
                width_mm: 600.0,
                ..Panel::default()
            };
            fill(i, &mut panel);
            records.panels.push(panel);
            records.readings.push(Reading {
                panel: i,
                place: None,
                removed_um: Some(removed(i).exp()),
                film_um: None,
            });
        }
        let factors = Factors::of(&records);
        let settings = factors.settings(&records);
        let measured = measured(&records);
        let observed = observe(&measured, &settings);
        fit(&records, &factors, &observed, 0.95).unwrap()
    }

    /// Scatter of single panels, without a pattern.
    fn scatter(i: usize) -> f64 {
        0.05 * (((i * 37 + i * i * 11) % 17) as f64 / 8.0 - 1.0)
    }

    /// Feed high on every fourth panel, force on every other fourth, both on four
    /// panels alone, whose removal lies above the product of the two by so much.
    fn with_four(beyond: [f64; 4]) -> Vec<Interaction> {
        let both = |i: usize| (i % 48 == 24).then(|| beyond[i / 48]);
        fitted(
            192,
            |i, panel| {
                let fast = i % 4 == 2 || both(i).is_some();
                let hard = i % 4 == 1 || both(i).is_some();
                panel.feed_mm_s = Some([80.0, 120.0][usize::from(fast)]);
                panel.force_n = Some([20.0, 30.0][usize::from(hard)]);
            },
            |i| 3.0 + both(i).unwrap_or(0.0) + scatter(i),
        )
        .interactions
    }

    /// The first look takes all panels' scatter for that of the four: t = 15 with 188
    /// degrees of freedom. Their own is .2, so t = 2.5 with three, p = .09.
    #[test]
    fn an_interaction_is_judged_by_the_panels_that_it_rests_on() {
        let alike = with_four([0.25; 4]);
        assert_eq!(alike[0].factors, [Factor::Feed, Factor::Force]);
        assert_eq!(with_four([0.45, 0.05, 0.4, 0.1]), []);
    }

    #[test]
    fn of_two_judgements_the_wider_interval_counts() {
        let judged = |half: f64| Judged {
            estimate: 0.0,
            std_error: None,
            dof: None,
            ci: Some(Interval {
                low: -half,
                high: half,
                level: 0.95,
            }),
            p_value: None,
            unit: Unit::Run,
        };
        let high = |a: f64, b: f64| wider(&judged(a), &judged(b)).unwrap().high;
        assert_eq!([high(1.0, 2.0), high(2.0, 1.0)], [2.0, 2.0]);
    }

    /// Lives of forty panels whose removal falls by a share of the way to a plateau.
    fn worn(fall: impl Fn(f64) -> f64) -> f64 {
        fitted(
            200,
            |i, panel| {
                panel.abrasive_age = Some((i % 40) as f64);
                panel.force_n = Some([20.0, 30.0][i / 5 % 2]);
            },
            |i| 3.0 - fall((i % 40) as f64) + scatter(i),
        )
        .recipe
        .rate
    }

    /// Shown alone by 67 of −2 ln likelihood, where 6.63 is asked for; a bend a third as
    /// deep by 4.7.
    #[test]
    fn a_decay_has_a_plateau_only_where_it_is_shown() {
        let bent = |by: f64| worn(|age| by * (1.0 - f64::exp2(-age / 9.75)));
        let half_life = std::f64::consts::LN_2 / bent(0.4);
        assert!((half_life - 9.75).abs() < 1e-9, "{half_life}");
        assert_eq!(bent(0.14), 0.0);
        assert_eq!(worn(|age| 0.01 * age), 0.0);
    }

    /// Five grits of one scale; `off` is how far the middle one departs from the power
    /// of grain size.
    fn grits(off: f64) -> bool {
        fitted(
            200,
            |i, panel| {
                let size = [200.0, 150.0, 100.0, 75.0, 50.0][i / 4 % 5];
                panel.grit = Some(crate::records::Grit {
                    label: format!("P{size}"),
                    scale: Some(crate::columns::GritScale::FepaP),
                    grain_um: Some(size),
                });
            },
            |i| {
                let size: f64 = [200.0, 150.0, 100.0, 75.0, 50.0][i / 4 % 5];
                let middle = f64::from(u8::from(i / 4 % 5 == 2));
                0.4 * size.ln() + off * middle + scatter(i)
            },
        )
        .recipe
        .grain
    }

    #[test]
    fn grain_size_stands_for_grits_that_follow_a_power_of_it() {
        assert!(grits(0.0));
        assert!(!grits(0.3));
    }
}
