//! Who makes it, and how sure that is.

use crate::causes::{Cause, Certainty};

/// The cause as a word of the report.
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
pub fn consistent_with(cause: Cause) -> &'static str {
    match cause {
        Cause::Machine => "consistent with the machine",
        Cause::Recipe => "consistent with the recipe",
        Cause::Part => "consistent with the incoming part",
        Cause::Inspection => "consistent with the inspection itself",
        Cause::Undecided => "not yet to be told apart",
    }
}

/// How sure, as a word.
pub fn sure(certainty: Certainty) -> &'static str {
    match certainty {
        Certainty::Sure => "sure",
        Certainty::Likely => "likely",
        Certainty::CannotTell => "can’t tell yet",
    }
}
