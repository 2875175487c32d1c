//! From the risk models to the causes of streams.

use super::result::{Factor, Removal, StreamRisk};
use crate::causes::{Cause, Causes, Followed, NextCheck, Reason};

/// Calls streams whose rate moves with the recipe, and in which nothing sits at
/// a fixed place, the recipe's.
///
/// A stream with any finding keeps its cause, whatever its rate does: a place
/// comes before a rate. `alpha` is the chance that a report on records without
/// any effect of the recipe calls a stream the recipe's.
pub fn follow_recipe(removal: &Removal, alpha: f64, causes: &mut Causes) {
    let placed: Vec<usize> = causes
        .findings
        .iter()
        .filter_map(|f| f.evidence.stream)
        .collect();
    for (index, stream) in causes.streams.iter_mut().enumerate() {
        if placed.contains(&index) || stream.cause == Cause::Machine {
            continue;
        }
        let risk = removal.streams.iter().find(|r| {
            r.machine == stream.machine && r.head == stream.head && r.defect == stream.defect
        });
        let Some(risk) = risk.filter(|r| r.p_adjusted <= alpha) else {
            continue;
        };
        stream.cause = Cause::Recipe;
        stream.reasons.retain(|r| {
            !matches!(
                r,
                Reason::RateFollowsFactors { .. } | Reason::FactorNotExcluded { .. }
            )
        });
        let factors = followed(risk);
        if stream.next_check == NextCheck::None
            && let Some(first) = factors.first()
        {
            stream.next_check = NextCheck::TryFactor {
                factor: first.clone(),
            };
        }
        stream.reasons.insert(
            0,
            Reason::RateFollowsFactors {
                factors,
                runs: risk.runs,
                p_adjusted: risk.p_adjusted,
            },
        );
    }
}

fn followed(risk: &StreamRisk) -> Vec<Followed> {
    let mut all: Vec<Followed> = Vec::new();
    for factor in &risk.factors {
        let columns = match factor {
            Factor::Feed => vec![Followed::Feed],
            Factor::Passes => vec![Followed::Passes],
            Factor::Exposure => vec![Followed::Feed, Followed::Passes],
            Factor::Force => vec![Followed::Force],
            Factor::Grit | Factor::Grain => vec![Followed::Grit],
            Factor::AbrasiveAge | Factor::FreshAbrasive => vec![Followed::AbrasiveAge],
            Factor::Recipe => vec![Followed::Recipe],
            Factor::Part => vec![Followed::Part],
            Factor::Site(name) => vec![Followed::Factor(name.clone())],
            Factor::Cell => Vec::new(),
        };
        for column in columns {
            if !all.contains(&column) {
                all.push(column);
            }
        }
    }
    all
}
