//! Who makes it, and how sure that is.

use crate::causes::{Cause, Finding};

/// The cause as a word of the report.
#[must_use]
pub fn cause(cause: Cause) -> &'static str {
    match cause {
        Cause::Machine => "machine",
        Cause::Recipe => "recipe",
        Cause::Part => "part",
        Cause::Inspection => "inspection",
        Cause::Undecided => "not known yet",
    }
}

/// The cause behind "consistent with".
#[must_use]
pub fn consistent_with(cause: Cause) -> &'static str {
    match cause {
        Cause::Machine => "consistent with the machine",
        Cause::Recipe => "consistent with the recipe",
        Cause::Part => "consistent with the incoming part",
        Cause::Inspection => "consistent with the inspection itself",
        Cause::Undecided => "not yet to be told apart",
    }
}

/// How sure a statement is; the method page gives the numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sureness {
    /// The cause is settled and chance is out of the question.
    Sure,
    /// The cause is settled at the level of the report.
    Likely,
    /// The data cannot tell.
    CannotTell,
}

/// By how much below the level of the report the chance must lie for "sure".
pub const SURE_FACTOR: f64 = 0.1;

/// How sure a finding is: its cause first, then its chance.
#[must_use]
pub fn sureness(finding: &Finding, alpha: f64) -> Sureness {
    match (finding.cause, finding.p_adjusted) {
        (Cause::Undecided, _) => Sureness::CannotTell,
        (_, Some(p)) if p <= SURE_FACTOR * alpha => Sureness::Sure,
        _ => Sureness::Likely,
    }
}

/// How sure, as a word.
#[must_use]
pub fn sure(sureness: Sureness) -> &'static str {
    match sureness {
        Sureness::Sure => "sure",
        Sureness::Likely => "likely",
        Sureness::CannotTell => "can’t tell yet",
    }
}
