//! Diagnostics of the removal model and the doubts they raise.

use std::collections::BTreeMap;

use super::doubts::Note;
use super::inference::{Inference, Shared, two_sided};
use super::model::{Model, Observed};
use super::result::{Diagnostics, Factor, LackOfFit, LotInfluence, Residual, Term, Unit};
use super::setting::{Setting, Value};
use crate::records::Records;
use crate::stats::distributions::f_ratio;
use crate::stats::multiplicity::holm;

/// A share explained above this is rare on shop data.
const TOO_GOOD: f64 = 0.99;
/// Neighbours that correlate more than this, and by three standard errors, drift.
const DRIFT: f64 = 0.15;
/// A lot that moves an exponent by more standard errors than this decides it.
const LOT_DECIDES: f64 = 2.0;
/// A panel with more leverage than this, and five times the mean, decides.
const PANEL_DECIDES: f64 = 0.3;
/// Level of the lack-of-fit test.
const MISFIT: f64 = 0.01;
/// Clusters that tell settings apart from scatter.
const REPLICATES: usize = 3;

/// Diagnostics of a removal model.
pub(super) fn diagnose(
    records: &Records,
    observed: &Observed<'_>,
    model: &Model,
    judge: &Inference<'_>,
    terms: &[Term],
) -> Diagnostics {
    let fit = &model.fit;
    let residuals: Vec<Residual> = model
        .frame
        .used()
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
    let lots = model.frame.groupings.iter().find(|g| g.unit == Unit::Lot);
    Diagnostics {
        panels: model.frame.used().len(),
        coefficients: fit.p,
        panel_sd: (fit.scale * fit.variance.iter().sum::<f64>() / fit.variance.len() as f64).sqrt(),
        lot_sd: shared_sd(model, Unit::Lot),
        day_sd: shared_sd(model, Unit::Day),
        run_sd: shared_sd(model, Unit::Run),
        r_squared: r_squared(model),
        condition: model.frame.design.condition,
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
    let at = model.frame.shared.iter().position(|g| g.unit == unit)?;
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
fn lack_of_fit(observed: &Observed<'_>, model: &Model) -> Option<LackOfFit> {
    let runs = model.frame.groupings.iter().find(|g| g.unit == Unit::Run)?;
    let mut mean = vec![(0.0, 0.0); runs.groups.count];
    let mut key_of_run: Vec<Option<String>> = vec![None; runs.groups.count];
    for (i, &run) in runs.groups.of.iter().enumerate() {
        mean[run].0 += model.fit.white_residual[i];
        mean[run].1 += 1.0;
        if key_of_run[run].is_none() {
            key_of_run[run] = Some(setting_key(observed.setting(model.frame.used()[i]), model));
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
    let p_value = f_ratio::upper(statistic, dof.0, dof.1);
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
    for at in model.frame.design.positions() {
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
    lots: &Shared,
) -> Vec<LotInfluence> {
    let mut names = vec![(None, 0); lots.groups.count];
    for (&row, &g) in model.frame.used().iter().zip(&lots.groups.of) {
        let panel = model.frame.panels[row];
        names[g].0 = records.panels[panel].lot.as_deref();
        names[g].1 += 1;
    }
    let recipe = model.recipe_columns();
    let error_of = |factor: &Factor| {
        let term = terms.iter().find(|t| &t.factor == factor)?;
        term.std_error.filter(|_| term.exponent.is_some())
    };
    let without = judge.left_out(Unit::Lot);
    let mut all: Vec<LotInfluence> = names
        .into_iter()
        .enumerate()
        .filter_map(|(lot, (name, panels))| {
            let alone = recipe
                .iter()
                .find(|(_, f)| moved_in_one(model, f, lots, lot));
            let (factor, change) = match alone {
                Some((_, factor)) => (factor, None),
                None => {
                    let change = without.get(lot)?.as_ref()?;
                    let sized = recipe.iter().filter_map(|(c, factor)| {
                        Some((factor, Some(change[*c] / error_of(factor)?)))
                    });
                    sized.max_by(|a, b| size(a.1).total_cmp(&size(b.1)))?
                }
            };
            Some(LotInfluence {
                lot: name?.to_owned(),
                panels,
                factor: factor.clone(),
                change,
            })
        })
        .collect();
    all.sort_by(|a, b| {
        size(b.change)
            .total_cmp(&size(a.change))
            .then(a.lot.cmp(&b.lot))
    });
    all
}

/// Whether a factor moved on panels of one lot only.
fn moved_in_one(model: &Model, factor: &Factor, lots: &Shared, lot: usize) -> bool {
    let p = model.fit.p;
    let columns = model.recipe_columns().into_iter();
    let mut own = columns.filter(|(_, f)| f == factor).map(|(c, _)| c);
    own.all(|c| {
        let values = || {
            let rows = lots.groups.of.iter().zip(model.frame.x.chunks_exact(p));
            rows.filter(|(g, _)| **g != lot).map(|(_, row)| row[c])
        };
        let first = values().next();
        values().all(|v| Some(v) == first)
    })
}

/// Size of a change; without bound where the lot alone tells the factor.
fn size(change: Option<f64>) -> f64 {
    change.map_or(f64::INFINITY, f64::abs)
}

/// The doubts that terms and diagnostics raise.
pub(super) fn notes(
    records: &Records,
    terms: &[Term],
    found: &Diagnostics,
    level: f64,
) -> Vec<Note> {
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
    }
    notes.extend(against_the_law(terms, level));
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
        && size(lot.change) > LOT_DECIDES
        && !notes.contains(&Note::FewSettings {
            factor: lot.factor.clone(),
        })
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

/// Exponents against the trade's law: of the wrong sign, else off its value.
/// Either is asked of all factors at once, so that chances are Holm's over them.
fn against_the_law(terms: &[Term], level: f64) -> Vec<Note> {
    // Coarser grain cuts more; the law names no power for it.
    let sign = |t: &Term| match t.factor {
        Factor::Grain => Some(1.0),
        _ => t.theory.map(f64::signum),
    };
    let off = |from: f64, t: &Term| {
        let (exponent, std_error) = (t.exponent?, t.std_error?);
        Some(two_sided(exponent - from, std_error, t.dof?))
    };
    let asked = |from: fn(&Term) -> Option<f64>| {
        let found = terms.iter().filter_map(|t| Some((t, off(from(t)?, t)?)));
        let (of, p): (Vec<&Term>, Vec<f64>) = found.unzip();
        let adjusted = holm(&p);
        let kept = of.into_iter().zip(adjusted);
        kept.filter(|(_, p)| *p < 1.0 - level)
            .collect::<Vec<(&Term, f64)>>()
    };
    let no_effect = asked(|t| (t.theory.is_some() || t.factor == Factor::Grain).then_some(0.0));
    let wrong: Vec<(&Term, f64)> = no_effect
        .into_iter()
        .filter(|(t, _)| {
            sign(t)
                .zip(t.exponent)
                .is_some_and(|(sign, e)| sign * e < 0.0)
        })
        .collect();
    let mut notes = Vec::new();
    for (term, _) in &wrong {
        notes.extend(term.exponent.map(|exponent| Note::WrongSign {
            factor: term.factor.clone(),
            exponent,
        }));
    }
    for (term, p_adjusted) in asked(|t| t.theory) {
        if !wrong.iter().any(|(w, _)| w.factor == term.factor) {
            notes.extend(term.exponent.map(|exponent| Note::OffTheory {
                factor: term.factor.clone(),
                exponent,
                p_adjusted,
            }));
        }
    }
    notes
}

#[cfg(test)]
mod tests {
    use super::*;

    /// So many panels that correlate so much with the next, and one lot whose absence
    /// moves the feed's exponent by so many standard errors.
    fn doubts(panels: usize, lag_one: f64, change: f64) -> Vec<Note> {
        let found = Diagnostics {
            panels,
            coefficients: 3,
            panel_sd: 0.1,
            lot_sd: None,
            day_sd: None,
            run_sd: None,
            r_squared: 0.5,
            condition: 2.0,
            lack_of_fit: None,
            lag_one: Some(lag_one),
            lots: vec![LotInfluence {
                lot: "L1".into(),
                panels: 10,
                factor: Factor::Feed,
                change: Some(change),
            }],
            residuals: Vec::new(),
        };
        notes(&Records::default(), &[], &found, 0.95)
    }

    #[test]
    fn a_lot_that_decides_and_neighbours_that_correlate_raise_doubts() {
        assert_eq!(doubts(400, 0.1, 1.9), []);
        let [Note::LotDecides { change, .. }] = doubts(400, 0.1, -2.1)[..] else {
            panic!("{:?}", doubts(400, 0.1, -2.1));
        };
        assert_eq!(change, Some(-2.1));
        // Three standard errors of a correlation are 0.15 of 400 panels, 0.173 of 300.
        assert_eq!(doubts(400, 0.16, 0.0), [Note::Drift { lag_one: 0.16 }]);
        assert_eq!(doubts(300, 0.16, 0.0), []);
    }
}
