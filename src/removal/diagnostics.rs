//! Diagnostics of the removal model and the doubts they raise.

use std::collections::BTreeMap;

use statrs::distribution::{ContinuousCDF, FisherSnedecor};

use super::doubts::Note;
use super::inference::{Grouping, Inference};
use super::model::{Model, Observed};
use super::result::{Diagnostics, Factor, LackOfFit, LotInfluence, Residual, Term, Unit};
use super::setting::{Setting, Value};
use crate::records::Records;

/// A share explained above this is rare on shop data.
const TOO_GOOD: f64 = 0.99;
/// Neighbours that correlate more than this, and by three standard errors, drift.
const DRIFT: f64 = 0.3;
/// A lot that moves an exponent by more standard errors than this decides it.
const LOT_DECIDES: f64 = 2.0;
/// A panel with more leverage than this, and five times the mean, decides.
const PANEL_DECIDES: f64 = 0.5;
/// Level of the lack-of-fit test.
const MISFIT: f64 = 0.01;
/// Clusters that tell settings apart from scatter.
const REPLICATES: usize = 3;

/// Diagnostics of a removal model.
pub(super) fn diagnose(
    records: &Records,
    observed: &Observed,
    model: &Model,
    judge: &Inference<'_>,
    terms: &[Term],
) -> Diagnostics {
    let fit = &model.fit;
    let residuals: Vec<Residual> = model
        .used
        .iter()
        .enumerate()
        .map(|(i, &row)| {
            let leverage = fit.leverage(i).clamp(0.0, 1.0);
            let spread = (fit.scale * (1.0 - leverage)).sqrt();
            Residual {
                panel: observed.panels[row],
                measured_um: observed.response[row],
                fitted_um: fit.fitted[i],
                standardised: if spread > 0.0 {
                    fit.white_residual[i] / spread
                } else {
                    0.0
                },
                leverage,
            }
        })
        .collect();
    let lots = model.groupings.iter().find(|g| g.unit == Unit::Lot);
    Diagnostics {
        panels: model.used.len(),
        coefficients: fit.p,
        panel_sd: (fit.scale * fit.variance.iter().sum::<f64>() / fit.variance.len() as f64).sqrt(),
        lot_sd: shared_sd(model, Unit::Lot),
        day_sd: shared_sd(model, Unit::Day),
        run_sd: shared_sd(model, Unit::Run),
        r_squared: r_squared(model),
        condition: model.design.condition,
        lack_of_fit: lack_of_fit(observed, model),
        lag_one: lag_one(&residuals),
        lots: lots.map_or_else(Vec::new, |g| influence(records, model, judge, terms, g)),
        residuals,
    }
}

/// Share of the variance on the log scale that the fixed terms explain:
/// variance of the linear predictor over itself plus lots and panels.
fn r_squared(model: &Model) -> f64 {
    let fit = &model.fit;
    let own = fit.fitted.iter().zip(&fit.effects);
    let eta: Vec<f64> = own.map(|(m, effect)| m.ln() - effect).collect();
    let fixed = super::setting::standard_deviation(&eta).powi(2);
    let noise = fit.scale * fit.variance.iter().sum::<f64>() / fit.variance.len() as f64;
    fixed / (fixed + noise + fit.shared_variance())
}

/// SD of the effects of that unit's groups, on the log scale.
fn shared_sd(model: &Model, unit: Unit) -> Option<f64> {
    let at = model.shared.iter().position(|u| *u == unit)?;
    Some((model.fit.scale * model.fit.ratios[at]).sqrt())
}

fn lag_one(residuals: &[Residual]) -> Option<f64> {
    if residuals.len() < 10 {
        return None;
    }
    let mean = residuals.iter().map(|r| r.standardised).sum::<f64>() / residuals.len() as f64;
    let square: f64 = residuals
        .iter()
        .map(|r| (r.standardised - mean).powi(2))
        .sum();
    let product: f64 = residuals
        .windows(2)
        .map(|w| (w[0].standardised - mean) * (w[1].standardised - mean))
        .sum();
    (square > 0.0).then(|| product / square)
}

/// F test of the settings' mean residuals against the scatter of the runs at
/// one setting, so that what panels of a run share is not taken for misfit.
fn lack_of_fit(observed: &Observed, model: &Model) -> Option<LackOfFit> {
    let runs = model.groupings.iter().find(|g| g.unit == Unit::Run)?;
    let mut mean = vec![(0.0, 0.0); runs.count];
    let mut key_of_run: Vec<Option<String>> = vec![None; runs.count];
    for (i, &run) in runs.of.iter().enumerate() {
        mean[run].0 += model.fit.white_residual[i];
        mean[run].1 += 1.0;
        if key_of_run[run].is_none() {
            key_of_run[run] = Some(setting_key(&observed.settings[model.used[i]], model));
        }
    }
    let mut settings: BTreeMap<&str, Vec<(f64, f64)>> = BTreeMap::new();
    for (run, key) in key_of_run.iter().enumerate() {
        if let Some(key) = key {
            settings
                .entry(key)
                .or_default()
                .push((mean[run].0 / mean[run].1, mean[run].1));
        }
    }
    let (mut between, mut within) = (0.0, 0.0);
    for runs in settings.values() {
        let weight: f64 = runs.iter().map(|r| r.1).sum();
        let centre = runs.iter().map(|r| r.0 * r.1).sum::<f64>() / weight;
        between += weight * centre * centre;
        within += runs
            .iter()
            .map(|r| r.1 * (r.0 - centre).powi(2))
            .sum::<f64>();
    }
    let recipe = 1 + model
        .recipe_columns()
        .iter()
        .filter(|(_, f)| !matches!(f, Factor::AbrasiveAge | Factor::FreshAbrasive))
        .count();
    let replicated = settings.values().filter(|r| r.len() > 1).count();
    let extra = settings.len().checked_sub(recipe).filter(|d| *d > 0)?;
    let pure = key_of_run.iter().flatten().count() - settings.len();
    if pure < REPLICATES || within <= 0.0 {
        return None;
    }
    let dof = (extra as f64, pure as f64);
    let statistic = (between / dof.0) / (within / dof.1);
    let p_value = FisherSnedecor::new(dof.0, dof.1).ok()?.sf(statistic);
    Some(LackOfFit {
        replicated,
        statistic,
        dof,
        p_value,
    })
}

/// The setting of the model's factors, the abrasive's age aside, as a key.
fn setting_key(setting: &Setting, model: &Model) -> String {
    use std::fmt::Write;
    let mut key = String::new();
    for at in model.design.positions() {
        match &setting[at] {
            Some(Value::Number(v)) => {
                let _ = write!(key, "{v:.4e};");
            }
            Some(Value::Level(name)) => {
                let _ = write!(key, "{name};");
            }
            None => key.push(';'),
        }
    }
    key
}

fn influence(
    records: &Records,
    model: &Model,
    judge: &Inference<'_>,
    terms: &[Term],
    lots: &Grouping,
) -> Vec<LotInfluence> {
    let mut names = vec![(None, 0); lots.count];
    for (&row, &g) in model.used.iter().zip(&lots.of) {
        let panel = model.panels[row];
        names[g].0 = records.panels[panel].lot.as_deref();
        names[g].1 += 1;
    }
    let columns: Vec<(usize, &Term)> = model
        .design
        .blocks
        .iter()
        .enumerate()
        .filter_map(|(b, block)| {
            let factor = &block.factors[0];
            let term = terms
                .iter()
                .find(|t| &t.factor == factor && t.exponent.is_some())?;
            (!block.is_joint()).then(|| (model.design.column(b), term))
        })
        .collect();
    let mut all: Vec<LotInfluence> = judge
        .left_out(Unit::Lot)
        .into_iter()
        .zip(names)
        .filter_map(|(change, (name, panels))| {
            let change = change?;
            let most = columns
                .iter()
                .filter_map(|(c, term)| Some((change[*c] / term.std_error?, &term.factor)))
                .max_by(|a, b| a.0.abs().total_cmp(&b.0.abs()))?;
            Some(LotInfluence {
                lot: name?.to_owned(),
                panels,
                factor: most.1.clone(),
                change: most.0,
            })
        })
        .collect();
    all.sort_by(|a, b| {
        b.change
            .abs()
            .total_cmp(&a.change.abs())
            .then(a.lot.cmp(&b.lot))
    });
    all
}

/// The doubts that terms and diagnostics raise.
pub(super) fn notes(records: &Records, terms: &[Term], found: &Diagnostics) -> Vec<Note> {
    let mut notes = Vec::new();
    for term in terms {
        if term.exponent.is_some() && term.ci.is_none()
            || term.ratio.is_some() && term.ratio_ci.is_none()
        {
            let note = Note::FewSettings {
                factor: term.factor.clone(),
            };
            if !notes.contains(&note) {
                notes.push(note);
            }
        }
        let (Some(exponent), Some(ci)) = (term.exponent, term.ci) else {
            continue;
        };
        // Coarser grain cuts more; the law names no power for it.
        let sign = match term.factor {
            Factor::Grain => Some(1.0),
            _ => term.theory.map(f64::signum),
        };
        let Some(sign) = sign else { continue };
        let wrong = if sign > 0.0 {
            ci.high < 0.0
        } else {
            ci.low > 0.0
        };
        let off = term.theory.is_some_and(|t| t < ci.low || t > ci.high);
        if wrong {
            notes.push(Note::WrongSign {
                factor: term.factor.clone(),
                exponent,
            });
        } else if off {
            notes.push(Note::OffTheory {
                factor: term.factor.clone(),
                exponent,
            });
        }
    }
    if let Some(misfit) = &found.lack_of_fit
        && misfit.p_value < MISFIT
    {
        notes.push(Note::LackOfFit {
            p_value: misfit.p_value,
        });
    }
    if let Some(lag_one) = found.lag_one
        && lag_one > DRIFT
        && lag_one * (found.panels as f64).sqrt() > 3.0
    {
        notes.push(Note::Drift { lag_one });
    }
    if let Some(lot) = found.lots.first()
        && lot.change.abs() > LOT_DECIDES
    {
        notes.push(Note::LotDecides {
            lot: lot.lot.clone(),
            factor: lot.factor.clone(),
            change: lot.change,
        });
    }
    let mean = found.coefficients as f64 / found.panels.max(1) as f64;
    let highest = found
        .residuals
        .iter()
        .max_by(|a, b| a.leverage.total_cmp(&b.leverage));
    if let Some(panel) = highest
        && panel.leverage > PANEL_DECIDES.max(5.0 * mean)
    {
        notes.push(Note::PanelDecides {
            panel: records.panels[panel.panel].id.clone(),
            leverage: panel.leverage,
        });
    }
    if found.r_squared > TOO_GOOD {
        notes.push(Note::TooGood {
            r_squared: found.r_squared,
        });
    }
    notes
}
