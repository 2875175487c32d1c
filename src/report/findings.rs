//! All results of a run side by side, as `findings.json` and the pages need them.

use serde::Serialize;

use std::collections::BTreeMap;

use super::asked::Stage;
use super::ranking::number_worst_first;
use crate::causes::{self, Causes, ChangePoint, Finding, Reason};
use crate::change::{self, Bound, Changes, Stretch, Weekly};
use crate::life::{self, Done, Lives, Seen, Standing};
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
    /// Control charts, and the week against the weeks before.
    pub weekly: Weekly,
    /// What became of findings since the last report.
    pub lives: Lives,
    /// What was done and what came of it, by date.
    pub actions: Vec<Done>,
    /// How the site stands to findings, by id; none where it says nothing.
    pub standings: BTreeMap<String, Standing>,
    /// How often each finding was seen in the week reported and before it, by
    /// id; empty without a week.
    pub in_week: BTreeMap<String, [Seen; 2]>,
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
    /// The findings that need somebody, the worst first: not those that are
    /// gone, nor those that the site knows or accepts.
    #[must_use]
    pub fn worst_first(&self) -> Vec<&Finding> {
        let needs = |f: &&Finding| !self.lives.gone(&f.id) && !self.is_below(f);
        self.causes.findings.iter().filter(needs).collect()
    }

    /// The findings that ended or are gone and that these records still hold.
    #[must_use]
    pub fn gone(&self) -> Vec<&Finding> {
        let gone = |f: &&Finding| self.lives.gone(&f.id);
        self.causes.findings.iter().filter(gone).collect()
    }

    /// The findings that the site knows or accepts.
    #[must_use]
    pub fn below_the_line(&self) -> Vec<&Finding> {
        let below = |f: &&Finding| self.is_below(f) && !self.lives.gone(&f.id);
        self.causes.findings.iter().filter(below).collect()
    }

    fn is_below(&self, finding: &Finding) -> bool {
        matches!(
            self.standings.get(&finding.id),
            Some(Standing::Known | Standing::Accepted)
        )
    }

    /// Every doubt: those of reading first, then those of the analyses.
    pub fn warnings(&self) -> impl Iterator<Item = &Warning> {
        self.records.warnings.iter().chain(&self.causes.warnings)
    }
}

/// Runs every analysis that the records carry.
#[must_use]
pub fn find<'a>(records: &'a Records, site: &Site) -> Findings<'a> {
    let mut findings = analysed(records, site, &|_| ());
    findings.lives = life::without_previous(records, &findings.causes);
    let stretches = stretches(records, &findings.causes);
    findings.weekly.charts = change::control_charts(records, &site.analysis, None, &stretches);
    findings
}

/// Who makes what, numbered worst first.
pub(super) fn caused(records: &Records, site: &Site, told: &(dyn Fn(Stage) + Sync)) -> Causes {
    let through = |done: usize, of: usize| {
        told(Stage::Repeats(done, of));
        if done == of {
            told(Stage::Causes);
        }
    };
    let mut causes = causes::find_telling(
        records,
        &causes::Settings {
            alpha: site.analysis.alpha,
            film_left_min_um: site.recipe.film_left_min_um.unwrap_or(0.0),
        },
        &through,
    );
    number_worst_first(&mut causes, site);
    causes
}

/// Over which time findings run, for the control charts.
pub(super) fn stretches(records: &Records, causes: &Causes) -> Vec<Stretch> {
    let step = |finding: &Finding| {
        let panel = finding.reasons.iter().find_map(|reason| match reason {
            Reason::RateSteps { panel, .. } => Some(panel),
            _ => None,
        })?;
        let panel = records.panels.iter().position(|p| p.id == *panel)?;
        Some(Bound {
            panel,
            outermost: panel,
        })
    };
    let of = |finding: &Finding| {
        let bound = |at: &ChangePoint, outermost| Bound {
            panel: at.panel,
            outermost,
        };
        let evidence = &finding.evidence;
        Stretch {
            finding: finding.id.clone(),
            machine: finding.machine.clone(),
            head: finding.head.clone(),
            defect: finding.defect.clone(),
            onset: (evidence.onset.as_ref())
                .map(|at| bound(at, at.earliest))
                .or_else(|| step(finding)),
            end: evidence.end.as_ref().map(|at| bound(at, at.latest)),
        }
    };
    causes.findings.iter().map(of).collect()
}

/// Findings with nothing but causes.
pub(super) fn bare<'a>(records: &'a Records, causes: Causes, site: &Site) -> Findings<'a> {
    let analysis = &site.analysis;
    Findings {
        records,
        causes,
        removal: None,
        changes: Changes::default(),
        weekly: Weekly::default(),
        lives: Lives::default(),
        actions: Vec::new(),
        standings: BTreeMap::new(),
        in_week: BTreeMap::new(),
        levels: Levels {
            alpha: analysis.alpha,
            confidence: analysis.confidence,
            seed: analysis.seed,
        },
    }
}

/// All results but the lives and, since their marks carry the findings' numbers,
/// the control charts.
pub(super) fn analysed<'a>(
    records: &'a Records,
    site: &Site,
    told: &(dyn Fn(Stage) + Sync),
) -> Findings<'a> {
    let analysis = &site.analysis;
    let causes = caused(records, site, told);
    told(Stage::Recipe);
    let removal = removal::fit(
        records,
        &removal::Settings::from_site(site),
        &removal::Held::from_causes(&causes),
    );
    told(Stage::Changes);
    let changes = change::recipe_changes(records, &change::Settings::from(analysis));
    Findings {
        removal,
        changes,
        ..bare(records, causes, site)
    }
}
