//! Defects against the recipe, in words.

use super::{factor, range};
use crate::causes::Cause;
use crate::charts::NumberStyle;
use crate::removal::{Risk, Risked};
use crate::report::story::RecipeWord;
use crate::report::words::causes;
use crate::report::words::counting::{count_panels, listed};
use crate::site::DefectClass;

/// What a risk is about.
pub fn risked(of: &Risked) -> String {
    match of {
        Risked::Class(class) => match class {
            DefectClass::Over => "all: too much removed".into(),
            DefectClass::Under => "all: too little removed".into(),
            DefectClass::Surface => "all: marks of the abrasive".into(),
            DefectClass::Incoming => "all: came with the part".into(),
        },
        Risked::Defect(name) => name.clone(),
    }
}

/// What moves a risk, in a cell, as far as the account of who makes it goes.
pub fn movers(risk: &Risk, word: &RecipeWord, numbers: &NumberStyle) -> String {
    let found = shown_movers(risk, numbers);
    match word {
        RecipeWord::Others(..) => String::new(),
        RecipeWord::Follows(ids) if found.is_empty() => {
            format!("{}{}", causes::consistent_with(Cause::Recipe), see(ids))
        }
        RecipeWord::Follows(ids) => format!("{}{}", listed(&found, usize::MAX), see(ids)),
        RecipeWord::Open if found.is_empty() => "nothing shown".into(),
        RecipeWord::Open => format!(
            "goes along with {}; who makes it is not known yet",
            listed(&found, usize::MAX)
        ),
    }
}

/// The risks that others than the recipe make, in a sentence; none without any.
pub fn others(risks: &[(&Risk, RecipeWord)], numbers: &NumberStyle) -> Option<String> {
    let told = |(risk, word): &(&Risk, RecipeWord)| match word {
        RecipeWord::Others(cause, ids) => Some(format!(
            "{} ({}: {}{})",
            risked(&risk.of),
            count_panels(risk.panels_hit, numbers),
            causes::cause(*cause),
            see(ids).replace(": ", ", ")
        )),
        _ => None,
    };
    let all: Vec<String> = risks.iter().filter_map(told).collect();
    (!all.is_empty()).then(|| format!("Not the recipe’s: {}.", listed(&all, usize::MAX)))
}

/// ": see F2".
fn see(ids: &[String]) -> String {
    if ids.is_empty() {
        String::new()
    } else {
        format!(": see {}", listed(ids, 3))
    }
}

fn shown_movers(risk: &Risk, numbers: &NumberStyle) -> Vec<String> {
    let terms = risk.terms.len().max(1) as f64;
    (risk.terms.iter())
        .filter(|t| t.p_value.is_some_and(|p| p * terms <= 0.05))
        .map(|t| match (t.exponent, &t.level, t.ratio) {
            (Some(e), _, _) => {
                format!(
                    "{} (exponent {}, {})",
                    factor(&t.factor),
                    numbers.fixed(e, 1),
                    range(t.ci, |v| numbers.fixed(v, 1))
                )
            }
            (None, Some(level), Some(r)) => {
                format!("{} {level} (× {})", factor(&t.factor), numbers.fixed(r, 1))
            }
            (None, None, Some(r)) => format!("{} (× {})", factor(&t.factor), numbers.fixed(r, 1)),
            _ => factor(&t.factor),
        })
        .collect()
}

/// Heads of the table of defects.
pub const RISK_COLUMNS: &[(&str, bool)] = &[
    ("Defect", false),
    ("Panels hit", true),
    ("Its rate moves with", false),
];
