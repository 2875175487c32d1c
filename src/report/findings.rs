//! All results of a run side by side, as `findings.json` and the pages need them.

use crate::causes::Causes;
use crate::change::Changes;
use crate::records::Records;
use crate::removal::Removal;
use crate::site::Site;

/// All results of a run.
#[derive(Debug, Clone, PartialEq)]
pub struct Findings<'a> {
    /// What was read.
    pub records: &'a Records,
    /// Who makes what.
    pub causes: Causes,
    /// The recipe; none where no reading or factor allows a model.
    pub removal: Option<Removal>,
    /// Before against after, one per change and kind of defect.
    pub changes: Changes,
}

/// What a run is asked for beside the records.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Options {}

/// Runs every analysis that the records carry.
#[must_use]
pub fn find<'a>(records: &'a Records, _site: &Site, _options: &Options) -> Findings<'a> {
    Findings {
        records,
        causes: Causes::default(),
        removal: None,
        changes: Changes::default(),
    }
}
