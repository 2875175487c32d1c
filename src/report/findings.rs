//! All results of a run side by side, as `findings.json` and the pages need them.

use serde::Serialize;

use std::collections::BTreeMap;
use std::path::Path;

use super::findings_json;
use super::ranking::number_worst_first;
use crate::causes::{self, Causes, Finding};
use crate::change::{self, ChangeError, Changes, Week, Weekly};
use crate::life::{self, Actions, Done, Lives, Past, Seen, Standing};
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

/// What a report is asked beside its records.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Asked {
    /// The last report.
    pub past: Option<Past>,
    /// What was done.
    pub actions: Actions,
    /// The week reported; later panels are not in the records.
    pub week: Option<Week>,
}

/// Runs every analysis that the records carry.
#[must_use]
pub fn find<'a>(records: &'a Records, site: &Site) -> Findings<'a> {
    let mut findings = analysed(records, site);
    findings.lives = life::without_previous(records, &findings.causes);
    findings
}

/// The same for what is asked: against the last report, with what was done, for
/// one week.
///
/// # Errors
///
/// [`ChangeError::Nothing`] if no inspected panel was sanded in the week.
pub fn find_asked<'a>(
    records: &'a Records,
    site: &Site,
    asked: &Asked,
) -> Result<Findings<'a>, ChangeError> {
    let mut findings = analysed(records, site);
    if asked.week.is_some() {
        findings.weekly = change::weekly(records, &site.analysis, asked.week)?;
    }
    // A week without an earlier report is held against the weeks before it.
    let before = asked.week.filter(|_| asked.past.is_none());
    let before = before.and_then(|week| report_before(records, site, week));
    findings.lives = match asked.past.as_ref().or(before.as_ref()) {
        Some(past) => life::follow(past, records, &mut findings.causes),
        None => life::without_previous(records, &findings.causes),
    };
    if let Some(week) = asked.week {
        findings.in_week = life::seen_in(&findings.causes.findings, records, |panel| {
            change::week_of(panel) == Some(week)
        });
    }
    findings.standings = (findings.causes.findings.iter())
        .filter_map(|f| Some((f.id.clone(), asked.actions.standing(f)?)))
        .collect();
    findings.actions = life::judge_actions(
        &asked.actions,
        records,
        &findings.causes.findings,
        &findings.lives,
        site,
    );
    Ok(findings)
}

/// What a report on the weeks before this one would have remembered.
fn report_before(records: &Records, site: &Site, week: Week) -> Option<Past> {
    let earlier = change::kept(records.clone(), |_, panel| {
        change::week_of(panel).is_some_and(|own| own < week)
    });
    if earlier.panels.is_empty() {
        return None;
    }
    let causes = caused(&earlier, site);
    let lives = life::without_previous(&earlier, &causes);
    let findings = Findings {
        lives,
        ..bare(&earlier, causes, site)
    };
    let text = findings_json(&findings, &(&site.report).into());
    Past::parse(&text, Path::new("findings.json")).ok()
}

fn caused(records: &Records, site: &Site) -> Causes {
    let mut causes = causes::find(
        records,
        &causes::Settings {
            alpha: site.analysis.alpha,
            film_left_min_um: site.recipe.film_left_min_um.unwrap_or(0.0),
        },
    );
    number_worst_first(&mut causes, site);
    causes
}

/// Findings with nothing but causes.
fn bare<'a>(records: &'a Records, causes: Causes, site: &Site) -> Findings<'a> {
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

fn analysed<'a>(records: &'a Records, site: &Site) -> Findings<'a> {
    let analysis = &site.analysis;
    let causes = caused(records, site);
    let removal = removal::fit(
        records,
        &removal::Settings::from_site(site),
        &removal::Held::from_causes(&causes),
    );
    let changes = change::recipe_changes(records, &change::Settings::from(analysis));
    Findings {
        removal,
        changes,
        weekly: Weekly {
            charts: change::control_charts(records, analysis, None),
            ..Weekly::default()
        },
        ..bare(records, causes, site)
    }
}
