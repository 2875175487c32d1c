//! The whole analysis in order.

use super::advice;
use super::coding::Coding;
use super::depth::{self, Depth};
use super::design::Recipe;
use super::diagnostics;
use super::doubts::Note;
use super::effects;
use super::inference::Inference;
use super::lever::Bench;
use super::model::exponentiate;
use super::result::{Factor, Removal, Wear};
use super::risk::{self, Risks};
use super::setting::Factors;
use super::settings::{Held, Settings};
use super::window;
use crate::records::Records;

/// Fewer panels with readings make no removal model.
const LEAST_PANELS: usize = 5;

/// Fits removal and defect rates against the recipe and derives windows and
/// advice; none where the records hold neither readings nor a factor that varies.
#[must_use]
pub fn fit(records: &Records, settings: &Settings, held: &Held) -> Option<Removal> {
    let factors = Factors::of(records);
    let mut removal = Removal {
        held: held.obstacles.clone(),
        ..Removal::default()
    };
    let panel_settings = factors.settings(records);
    let measured = depth::measured(records);
    let observed = depth::observe(&measured, &panel_settings);
    let mut depth = None;
    if observed.panels.len() >= LEAST_PANELS {
        removal.notes.extend(depth::data_notes(records, &observed));
        match depth::fit(records, &factors, &observed, settings.level) {
            Ok(found) => {
                describe(&mut removal, records, &factors, &observed, &found);
                depth = Some(found);
            }
            Err(refused) => {
                removal.aliases = refused.aliases;
                removal.notes.extend(refused.notes);
                removal.notes.push(refused.why);
            }
        }
    } else if !observed.panels.is_empty() {
        removal.notes.push(Note::TooFewPanels {
            panels: observed.panels.len(),
            needed: LEAST_PANELS,
        });
    }
    let recipe = depth.as_ref().map_or_else(Recipe::default, |d| d.recipe);
    let risks = risk::fit_all(records, &factors, &panel_settings, recipe, settings.level);
    add_risks(&mut removal, &risks);
    let model = depth.as_ref().map(|d| &d.model);
    if (model.is_some() || !risks.models.is_empty())
        && let Some(bench) = Bench::new(records, &factors, &panel_settings, settings, model, &risks)
    {
        removal.effects = effects::effects(&bench, &observed);
        removal.windows = window::windows(&bench);
        if removal.held.is_empty() {
            let (advice, note) = advice::advise(&bench);
            for window in &mut removal.windows {
                let own = advice.iter().find(|a| a.factor == window.lever);
                window.advised = own.and_then(|a| a.to);
            }
            removal.advice = advice;
            removal.notes.extend(note);
        }
    }
    removal.inseparable = removal.aliases.iter().map(|a| a.factors.clone()).collect();
    let empty = depth.is_none() && observed.panels.is_empty() && removal.risks.is_empty();
    (!empty).then_some(removal)
}

/// Risks, and from them what the removal model could not say.
fn add_risks(removal: &mut Removal, risks: &Risks) {
    removal.risks.clone_from(&risks.risks);
    if removal.aliases.is_empty() {
        removal.aliases.clone_from(&risks.aliases);
    }
}

fn describe(
    removal: &mut Removal,
    records: &Records,
    factors: &Factors,
    observed: &super::model::Observed<'_>,
    depth: &Depth,
) {
    let model = &depth.model;
    let judge = model.inference();
    removal.model = Some("ln removed_um");
    removal.terms = model.terms(&judge);
    removal.aliases = model.together(&judge, factors, observed.settings);
    removal.interactions = depth.interactions.clone();
    removal.wear = wear(depth, &judge);
    let found = diagnostics::diagnose(records, observed, model, &judge, &removal.terms);
    removal
        .notes
        .extend(model.frame.design.notes.iter().cloned());
    removal.notes.extend(diagnostics::notes(
        records,
        &removal.terms,
        &found,
        model.level,
    ));
    removal.diagnostics = Some(found);
}

fn wear(depth: &Depth, judge: &Inference<'_>) -> Option<Wear> {
    let model = &depth.model;
    let design = &model.frame.design;
    let block = design.block_of(&Factor::AbrasiveAge)?;
    let Some(Coding::Decay { rate, oldest, .. }) = design.blocks[block].coding() else {
        return None;
    };
    let ratio = |factor: &Factor, block: usize| {
        exponentiate(&model.column(judge, design.column(block), factor), 0.0)
    };
    let aged = ratio(&Factor::AbrasiveAge, block);
    let fresh = design
        .block_of(&Factor::FreshAbrasive)
        .map(|b| ratio(&Factor::FreshAbrasive, b));
    Some(Wear {
        half_life_panels: (*rate > 0.0).then(|| std::f64::consts::LN_2 / rate),
        oldest: *oldest,
        ratio: aged.estimate,
        ratio_ci: aged.ci,
        fresh_ratio: fresh.map(|f| f.estimate),
        fresh_ci: fresh.and_then(|f| f.ci),
    })
}
