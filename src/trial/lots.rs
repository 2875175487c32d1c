//! Lots that a trial is run on.

use std::str::FromStr;

use super::TrialError;
use super::factor::Value;

/// Lots of a trial.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Lots {
    /// So many, to be filled in.
    Count(usize),
    /// These.
    Named(Vec<String>),
}

impl FromStr for Lots {
    type Err = TrialError;

    fn from_str(text: &str) -> Result<Self, TrialError> {
        if let Ok(count) = text.trim().parse() {
            return if count == 0 {
                Err(TrialError::NoPanels)
            } else {
                Ok(Self::Count(count))
            };
        }
        let names: Vec<String> = text.split(',').map(|n| n.trim().to_owned()).collect();
        if names.iter().any(String::is_empty) {
            return Err(TrialError::NoPanels);
        }
        for (at, name) in names.iter().enumerate() {
            if names[..at].contains(name) {
                return Err(TrialError::Twice { name: name.clone() });
            }
        }
        Ok(Self::Named(names))
    }
}

impl Lots {
    /// How many.
    #[must_use]
    pub fn count(&self) -> usize {
        match self {
            Self::Count(count) => *count,
            Self::Named(names) => names.len(),
        }
    }

    pub(super) fn is_named(&self) -> bool {
        matches!(self, Self::Named(_))
    }

    /// The name of one, where it has one.
    pub(super) fn name(&self, at: usize) -> Option<Value> {
        match self {
            Self::Count(_) => None,
            Self::Named(names) => names.get(at).cloned().map(Value::Text),
        }
    }
}
