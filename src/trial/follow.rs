//! An earlier plan that a new one follows up.

use std::path::Path;

use serde_json::Value as Json;

use super::TrialError;
use super::factor::{Factor, Settings};
use super::two_level::{Fraction, Word, word};

/// What a follow-up needs of an earlier plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Earlier {
    pub(super) factors: Vec<Factor>,
    pub(super) fraction: Fraction,
}

impl Earlier {
    /// Reads the `plan.json` of a folder.
    ///
    /// # Errors
    ///
    /// [`TrialError::NotAPlan`] if there is none of a two-level trial.
    pub fn load(folder: &Path) -> Result<Self, TrialError> {
        let path = folder.join("plan.json");
        let not = |why: &str| TrialError::NotAPlan {
            path: path.display().to_string(),
            why: why.to_owned(),
        };
        let text = std::fs::read(&path).map_err(|error| not(&error.to_string()))?;
        let json: Json = serde_json::from_slice(&text).map_err(|error| not(&error.to_string()))?;
        let design = &json["recipe"];
        let fields = design["factors"].as_array();
        if design["shape"] != "two-level" {
            return Err(not("its runs are not two-level"));
        }
        if design["reversed"].as_array().is_some_and(|r| !r.is_empty()) {
            return Err(not("it is a follow-up itself"));
        }
        let factors: Option<Vec<Factor>> =
            fields.and_then(|fields| fields.iter().map(factor).collect());
        let factors = factors.ok_or_else(|| not("it has no factors"))?;
        let generators: Option<Vec<Word>> = design["generators"].as_array().and_then(|all| {
            let one = |g: &Json| word(g.as_str()?.split_once('=')?.1);
            all.iter().map(one).collect()
        });
        let generators = generators.ok_or_else(|| not("it has no generators"))?;
        let basic = factors.len().checked_sub(generators.len());
        let fraction = Fraction {
            factors: factors.len(),
            basic: basic
                .filter(|b| (1..=7).contains(b))
                .ok_or_else(|| not("too many factors"))?,
            generators,
        };
        Ok(Self { factors, fraction })
    }

    /// The effect that a user names: a factor, or two parted by a comma.
    pub(super) fn effect(&self, text: &str) -> Result<Word, TrialError> {
        let names: Vec<&str> = text.split(',').map(str::trim).collect();
        let mut effect = 0;
        for name in &names {
            let at = self.factors.iter().position(|f| f.name == *name);
            let at = at.ok_or_else(|| TrialError::NoSuchEffect {
                effect: text.to_owned(),
                why: format!("{name} is no factor of that plan"),
            })?;
            effect |= 1 << at;
        }
        if names.len() > 2 {
            return Err(TrialError::NoSuchEffect {
                effect: text.to_owned(),
                why: "more than two factors".to_owned(),
            });
        }
        Ok(effect)
    }
}

fn factor(json: &Json) -> Option<Factor> {
    let name = json["name"].as_str()?.to_owned();
    let levels = json["levels"].as_array()?.iter();
    let levels: Vec<String> = levels
        .filter_map(|l| l.as_str().map(str::to_owned))
        .collect();
    let settings = if levels.is_empty() {
        Settings::Between(json["low"].as_f64()?, json["high"].as_f64()?)
    } else {
        Settings::Named(levels)
    };
    Some(Factor { name, settings })
}
