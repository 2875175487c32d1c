//! All results of a run side by side, as `findings.json` and the pages need them.

use serde::Serialize;

use super::ranking::number_worst_first;
use crate::causes::{self, Causes, Finding};
use crate::change::{self, Changes, Weekly};
use crate::records::{Records, Warning};
use crate::removal::{self, Removal};
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
    /// Control charts, the week against the weeks before, and what became of
    /// the last report's findings.
    pub weekly: Weekly,
    /// The levels that the results stand on.
    pub levels: Levels,
}

/// Levels of a run, printed on the method page and in `findings.json`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Levels {
    /// Chance, 0..1, that a report on records without any repeat shows one.
    pub alpha: f64,
    /// Level of the intervals, 0..1.
    pub confidence: f64,
    /// Seed of everything that draws random numbers.
    pub seed: u64,
}

impl Findings<'_> {
    /// The findings in their order: the worst first.
    #[must_use]
    pub fn worst_first(&self) -> Vec<&Finding> {
        self.causes.findings.iter().collect()
    }

    /// Every doubt: those of reading first, then those of the analyses.
    pub fn warnings(&self) -> impl Iterator<Item = &Warning> {
        self.records.warnings.iter().chain(&self.causes.warnings)
    }
}

/// Runs every analysis that the records carry.
#[must_use]
pub fn find<'a>(records: &'a Records, site: &Site) -> Findings<'a> {
    let analysis = &site.analysis;
    let mut causes = causes::find(
        records,
        &causes::Settings {
            alpha: analysis.alpha,
            film_left_min_um: site.recipe.film_left_min_um.unwrap_or(0.0),
        },
    );
    number_worst_first(&mut causes, site);
    let removal = removal::fit(
        records,
        &removal::Settings::from_site(site),
        &removal::Held::from_causes(&causes),
    );
    let changes = change::recipe_changes(records, &change::Settings::from(analysis));
    Findings {
        records,
        causes,
        removal,
        changes,
        weekly: Weekly {
            charts: change::control_charts(records, analysis, None),
            ..Weekly::default()
        },
        levels: Levels {
            alpha: analysis.alpha,
            confidence: analysis.confidence,
            seed: analysis.seed,
        },
    }
}
