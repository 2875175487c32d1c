//! A report as it is asked for: against the last one, with what was done, for
//! one week.

use std::path::Path;

use super::findings::{analysed, bare, caused, stretches};
use super::{Findings, findings_json};
use crate::change::{self, ChangeError, Week};
use crate::life::{self, Actions, Past};
use crate::records::Records;
use crate::site::Site;

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

/// What a run is busy with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    /// Repeats: so many of so many streams are through.
    Repeats(usize, usize),
    /// Who makes what was found.
    Causes,
    /// The recipe's model and advice.
    Recipe,
    /// Changes, charts over time, and what became of findings.
    Changes,
}

impl Stage {
    /// In a word.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Repeats(..) => "repeats",
            Self::Causes => "causes",
            Self::Recipe => "recipe",
            Self::Changes => "changes",
        }
    }
}

/// Runs every analysis, against the last report, with what was done, for one
/// week; `told` of each stage as it begins, of streams from several threads.
///
/// # Errors
///
/// [`ChangeError::Nothing`] if no inspected panel was sanded in the week.
pub fn find_asked<'a>(
    records: &'a Records,
    site: &Site,
    asked: &Asked,
    told: &(dyn Fn(Stage) + Sync),
) -> Result<Findings<'a>, ChangeError> {
    let mut findings = analysed(records, site, told);
    // A week without an earlier report is held against the weeks before it.
    let before = asked.week.filter(|_| asked.past.is_none());
    let before = before.and_then(|week| report_before(records, site, week));
    findings.lives = match asked.past.as_ref().or(before.as_ref()) {
        Some(past) => life::follow(past, records, &mut findings.causes),
        None => life::without_previous(records, &findings.causes),
    };
    let stretches = stretches(records, &findings.causes);
    findings.weekly = change::weekly(records, &site.analysis, asked.week, &stretches)?;
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
    let causes = caused(&earlier, site, &|_| ());
    let lives = life::without_previous(&earlier, &causes);
    let findings = Findings {
        lives,
        ..bare(&earlier, causes, site)
    };
    let text = findings_json(&findings, &(&site.report).into());
    Past::parse(&text, Path::new("findings.json")).ok()
}
