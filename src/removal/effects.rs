//! Effect curves of the removal model with the panels they rest on.

use super::coding::{Coding, FRESH_UP_TO};
use super::inference::Inference;
use super::lever::Bench;
use super::model::{Model, Observed};
use super::result::{Effect, EffectPoint, Factor};
use super::setting::{Setting, Value, level, number};

/// Settings on a curve.
const POINTS: usize = 25;
/// Panels drawn at most; beyond, every k-th.
const PANELS: usize = 500;

/// One effect per factor of the recipe that has coefficients of its own.
pub(super) fn effects(bench: &Bench<'_>, observed: &Observed<'_>) -> Vec<Effect> {
    let Some((model, judge)) = &bench.depth else {
        return Vec::new();
    };
    let mut found = Vec::new();
    for block in &model.frame.design.blocks {
        let Some(coding) = block.coding() else {
            continue;
        };
        let factor = &block.factors[0];
        let shown: &[Factor] = match factor {
            Factor::FreshAbrasive => &[],
            allowed_for if allowed_for.is_allowed_for() => &[],
            // Exposure is moved by either.
            Factor::Exposure => &[Factor::Feed, Factor::Passes],
            Factor::Grain => &[Factor::Grit],
            _ => std::slice::from_ref(factor),
        };
        for factor in shown {
            let effect = match (factor, coding) {
                (Factor::Grit, _) | (_, Coding::Levels { .. }) => {
                    levels(bench, model, judge, factor, observed)
                }
                _ => curve(bench, model, judge, factor, observed, coding),
            };
            found.extend(effect);
        }
    }
    found
}

fn curve(
    bench: &Bench<'_>,
    model: &Model,
    judge: &Inference<'_>,
    factor: &Factor,
    observed: &Observed<'_>,
    coding: &Coding,
) -> Option<Effect> {
    let (low, high) = bench.range(factor)?;
    let power = matches!(coding, Coding::Log { .. } | Coding::Exposure { .. });
    let at = bench.factors.position(factor)?;
    let curve = values(factor, power, (low, high))
        .map(|value| {
            let mean = model.mean(judge, &bench.with(factor, Value::Number(value)));
            EffectPoint {
                at: value,
                removed_um: mean.estimate,
                ci: mean.ci,
            }
        })
        .collect();
    let data = adjusted(model, observed, |s| {
        Some((number(&s[at])?, bench.with(factor, s[at].clone()?)))
    });
    Some(Effect {
        factor: factor.clone(),
        curve,
        levels: Vec::new(),
        power,
        data,
        present: bench.value(factor),
    })
}

/// Settings along a curve, evenly spaced on its scale; the step from fresh to
/// run-in abrasive is a step.
fn values(factor: &Factor, power: bool, (low, high): (f64, f64)) -> impl Iterator<Item = f64> {
    let stepped = *factor == Factor::AbrasiveAge && low < FRESH_UP_TO && high > FRESH_UP_TO;
    let start = if stepped { FRESH_UP_TO + 1e-6 } else { low };
    let before = stepped.then_some([low, FRESH_UP_TO]).into_iter().flatten();
    before.chain((0..POINTS).map(move |i| {
        let share = i as f64 / (POINTS - 1) as f64;
        if power {
            (start.ln() + share * (high / start).ln()).exp()
        } else {
            start + share * (high - start)
        }
    }))
}

fn levels(
    bench: &Bench<'_>,
    model: &Model,
    judge: &Inference<'_>,
    factor: &Factor,
    observed: &Observed<'_>,
) -> Option<Effect> {
    let at = bench.factors.position(factor)?;
    let grain = bench.factors.position(&Factor::Grain);
    let mut names: Vec<(f64, String)> = Vec::new();
    for &i in model.frame.used() {
        let s = observed.setting(i);
        let Some(name) = level(&s[at]) else { continue };
        if !names.iter().any(|n| n.1 == name) {
            // Coarse grits first; other levels keep the order of first use.
            let size = grain
                .and_then(|g| number(&s[g]))
                .filter(|_| *factor == Factor::Grit);
            names.push((-size.unwrap_or(0.0), name.to_owned()));
        }
    }
    names.sort_by(|a, b| a.0.total_cmp(&b.0));
    let to = |name: &str| {
        if *factor == Factor::Grit {
            bench.with_grit(name)
        } else {
            bench.with(factor, Value::Level(name.into()))
        }
    };
    let estimates = names
        .iter()
        .map(|(_, name)| (name.clone(), model.mean(judge, &to(name))))
        .collect();
    let data = adjusted(model, observed, |s| {
        let name = level(&s[at])?;
        let index = names.iter().position(|n| n.1 == name)?;
        Some((index as f64, to(name)))
    });
    Some(Effect {
        factor: factor.clone(),
        curve: Vec::new(),
        levels: estimates,
        power: false,
        data,
        present: None,
    })
}

/// Each panel's removal, moved along the model to the present setting of all
/// factors but one and to the mean lot.
fn adjusted(
    model: &Model,
    observed: &Observed<'_>,
    place: impl Fn(&Setting) -> Option<(f64, Setting)>,
) -> Vec<(f64, f64)> {
    let every = model.frame.used().len().div_ceil(PANELS).max(1);
    let shift = model.shift;
    model
        .frame
        .used()
        .iter()
        .enumerate()
        .step_by(every)
        .filter_map(|(i, &row)| {
            let (x, setting) = place(observed.setting(row))?;
            let eta: f64 = model
                .frame
                .design
                .encode(&setting)
                .iter()
                .zip(&model.fit.beta)
                .map(|(x, b)| x * b)
                .sum();
            let measured = observed.response[row];
            Some((x, (eta + shift).exp() * measured / model.fit.fitted[i]))
        })
        .collect()
}
