//! From the last report's findings to this one's: numbers and lives.

use std::collections::BTreeMap;

use super::measure::day;
use super::past::{Past, Remembered};
use super::recognise::recognise;
use super::remember::{reference, remembered};
use super::since::{Since, ended, last_seen};
use super::{Kept, Life, Lives, Look, State, Twin};
use crate::causes::{Causes, Finding};
use crate::change::Week;
use crate::records::Records;

/// A gone finding is remembered for so many reports.
const KEPT_REPORTS: usize = 12;
/// Days between two reports where the records have no times.
const A_WEEK: f64 = 7.0;

/// The name of a report: the week of its last panel.
fn report_name(records: &Records) -> Option<String> {
    let last = records.panels.iter().filter_map(day).max()?;
    Some(Week::of(last).to_string())
}

/// The lives without an earlier report: only what has ended is known.
#[must_use]
pub fn without_previous(records: &Records, causes: &Causes) -> Lives {
    let now = remembered(&causes.findings);
    let report = report_name(records);
    let life = |finding: &Finding| {
        let look = reference(finding, &now, records);
        first_life(finding, None, look, report.clone(), records)
    };
    Lives {
        of: (causes.findings.iter())
            .map(|finding| (finding.id.clone(), life(finding)))
            .collect(),
        report,
        previous: None,
        kept: Vec::new(),
        twins: Vec::new(),
        last_number: causes.findings.len(),
    }
}

/// The life of a finding that no earlier report holds: gone if it ended, else as
/// given.
fn first_life(
    finding: &Finding,
    else_: Option<State>,
    look: Look,
    report: Option<String>,
    records: &Records,
) -> Life {
    let confidence = ended(finding);
    Life {
        life: confidence.map(|_| State::Gone).or(else_),
        since_report: report,
        last_seen: last_seen(finding, records),
        reports_gone: 0,
        looked: Look { confidence, ..look },
    }
}

/// Gives this report's findings the numbers of the last one's and says what
/// became of each.
#[must_use]
pub fn follow(past: &Past, records: &Records, causes: &mut Causes) -> Lives {
    let mut times = records.panels.iter().filter_map(|p| p.sanded_at);
    let days = match (past.until, times.next_back()) {
        (Some(until), Some(newest)) => {
            newest.instant.duration_since(until).as_hours() as f64 / 24.0
        }
        _ => A_WEEK,
    };
    let match_of = recognise(&past.findings, &causes.findings, records, days);
    let last_number = renumber(past, causes, &match_of);
    let since = Since::new(past, records, causes, days);
    let now = remembered(&causes.findings);
    let report = report_name(records);
    let life = |finding: &Finding, old: Option<usize>| {
        let look = reference(finding, &now, records);
        match old {
            None => first_life(finding, Some(State::New), look, report.clone(), records),
            Some(old) => since.life(&past.findings[old], Some((finding, look))),
        }
    };
    let of: BTreeMap<String, Life> = (causes.findings.iter().zip(&match_of))
        .map(|(finding, old)| (finding.id.clone(), life(finding, *old)))
        .collect();
    let kept: Vec<Kept> = (past.findings.iter().enumerate())
        .filter(|(old, _)| !match_of.contains(&Some(*old)))
        .map(|(_, old)| Kept {
            finding: old.clone(),
            life: since.life(old, None),
        })
        .filter(|kept| kept.life.reports_gone <= KEPT_REPORTS)
        .collect();
    let mut twins: Vec<Twin> = Vec::new();
    let new = causes.findings.iter().zip(&match_of);
    for finding in new.filter(|(_, old)| old.is_none()).map(|(f, _)| f) {
        let free = |old: &&Remembered| twins.iter().all(|t| t.old != old.id);
        let lives = |old| Some((old, life_of(old, &of, &kept)?));
        let twin = (past.findings.iter().filter(free).filter_map(lives))
            .find_map(|(old, life)| since.twin(old, life, finding));
        twins.extend(twin);
    }
    Lives {
        report,
        previous: past.report.clone().or_else(|| Some(String::new())),
        of,
        kept,
        twins,
        last_number,
    }
}

/// The life of an old finding, whether this report holds it or not.
fn life_of<'a>(
    old: &Remembered,
    of: &'a BTreeMap<String, Life>,
    kept: &'a [Kept],
) -> Option<&'a Life> {
    let kept = kept.iter().find(|k| k.finding.id == old.id);
    of.get(&old.id).or(kept.map(|k| &k.life))
}

/// Old numbers for what is recognised, new ones for the rest; gives the highest
/// number ever given.
fn renumber(past: &Past, causes: &mut Causes, match_of: &[Option<usize>]) -> usize {
    let mut last = past.last_number;
    let ids = match_of.iter().map(|matched| match matched {
        Some(o) => past.findings[*o].id.clone(),
        None => {
            last += 1;
            format!("F{last}")
        }
    });
    let ids: Vec<String> = ids.collect();
    rename(causes, ids);
    last
}

/// Gives findings new ids, in their order, also where streams speak of them.
pub(crate) fn rename(causes: &mut Causes, ids: impl IntoIterator<Item = String>) {
    let mut names = BTreeMap::new();
    for (finding, id) in causes.findings.iter_mut().zip(ids) {
        names.insert(std::mem::replace(&mut finding.id, id.clone()), id);
    }
    for share in causes.streams.iter_mut().flat_map(|s| &mut s.causes) {
        if let Some(id) = names.get(&share.finding) {
            share.finding.clone_from(id);
        }
    }
}
