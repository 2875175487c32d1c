//! From the last report's findings to this one's: numbers, lives, and what is
//! remembered.

use std::collections::BTreeMap;

use jiff::civil::Date;
use serde::Serialize;
use serde_json::{Map, Value, json};

use super::beside::{Carried, moved, worse_side};
use super::judge::{Answer, Known, judge};
use super::measure::{Subject, day};
use super::past::{Past, Remembered};
use super::recognise::{code, recognise};
use super::{Seen, State};
use crate::causes::{Causes, Finding, Surface, UNEVEN_REMOVAL, surfaces};
use crate::change::{Week, kept as kept_records};
use crate::records::{Panel, Records};
use crate::stats::proportion::clopper_pearson;

/// A gone finding is remembered for so many reports.
pub const KEPT_REPORTS: usize = 12;
/// Chance below which so few hits at a place are unlikely, 0..1.
const UNLIKELY: f64 = 0.05;
/// The same for a rate without a place: panels of a day or lot resemble each
/// other, so fewer count than there are.
const UNLIKELY_RATE: f64 = 0.005;
/// A rate is not called fewer or gone unless it has at least halved, for the
/// same reason.
const HALVED: f64 = 0.5;
/// A place is gone only if it is not seen within so many times its reach.
const AROUND: f64 = 2.0;
/// What chance puts at a place where the last report does not say.
const USUAL: f64 = 0.01;

/// The life of a finding of this report.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Life {
    /// What became of it; none where there is no earlier report to tell.
    pub life: Option<State>,
    /// The report that first held it.
    pub since_report: Option<String>,
    /// Day of the last panel that shows it.
    pub last_seen: Option<Date>,
    /// In how many reports in a row it has been gone.
    pub reports_gone: usize,
    /// How often it was looked for since the last report, and what that tells.
    pub looked: Look,
}

/// How often a finding was looked for, and what that tells.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Look {
    /// Panels that show it since the last report.
    pub hits: usize,
    /// Panels that could show it since the last report.
    pub panels: usize,
    /// Confidence, 0..1, in its being gone or fewer.
    pub confidence: Option<f64>,
    /// Further panels without a hit that would tell.
    pub panels_missing: Option<usize>,
    /// Lowest rate, 0..1, at which it may have hit panels when last known.
    pub rate_low: Option<f64>,
    /// Rate, 0..1, at which panels show such marks without it.
    pub usual: Option<f64>,
    /// What was seen in reports in a row that could not tell.
    pub waiting: Option<Seen>,
    /// The others since the last report, for a rate that is told against theirs.
    pub elsewhere: Option<Seen>,
    /// Which panels carry the rate, where its levels do not say.
    pub carried: Option<Carried>,
    /// For what became fewer: its lowest rate, 0..1, before that.
    pub rate_before: Option<f64>,
}

/// A finding that this report only remembers.
#[derive(Debug, Clone, PartialEq)]
pub struct Kept {
    /// Its id.
    pub id: String,
    /// Machine.
    pub machine: Option<String>,
    /// Head.
    pub head: Option<String>,
    /// Kind of defect.
    pub defect: String,
    /// The cause that it was given, as `findings.json` writes it.
    pub cause: String,
    /// Kind of finding, as `findings.json` writes it.
    pub kind: String,
    /// Share of panels hit when it was last found, 0..1.
    pub hit_rate: Option<f64>,
    /// Its life.
    pub life: Life,
    /// Its fields in the report that found it last.
    pub fields: Map<String, Value>,
}

/// The lives of all findings.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Lives {
    /// Name of this report: the week of its last panel.
    pub report: Option<String>,
    /// Name of the last report; none without one.
    pub previous: Option<String>,
    /// Lives of this report's findings, by id.
    pub of: BTreeMap<String, Life>,
    /// Findings of earlier reports that this one does not hold.
    pub kept: Vec<Kept>,
    /// The highest number ever given.
    pub last_number: usize,
}

impl Lives {
    /// What became of a finding.
    #[must_use]
    pub fn state(&self, id: &str) -> Option<State> {
        self.of.get(id).and_then(|life| life.life)
    }

    /// Whether a finding ended or is gone.
    #[must_use]
    pub fn gone(&self, id: &str) -> bool {
        self.state(id) == Some(State::Gone)
    }
}

/// The name of a report: the week of its last panel.
fn report_name(records: &Records) -> Option<String> {
    let last = records.panels.iter().filter_map(day).max()?;
    Some(Week::of(last).to_string())
}

/// The lives without an earlier report: only what has ended is known.
#[must_use]
pub fn without_previous(records: &Records, causes: &Causes) -> Lives {
    let report = report_name(records);
    let all = remembered(&causes.findings);
    let of = (causes.findings.iter())
        .map(|finding| {
            let gone = ended(finding);
            let life = Life {
                life: gone.map(|_| State::Gone),
                since_report: report.clone(),
                last_seen: last_seen(finding, records),
                reports_gone: 0,
                looked: Look {
                    confidence: gone,
                    ..reference(finding, &all, records)
                },
            };
            (finding.id.clone(), life)
        })
        .collect();
    Lives {
        report,
        previous: None,
        of,
        kept: Vec::new(),
        last_number: causes.findings.len(),
    }
}

/// How often each finding was seen on the panels before those of a stretch, and
/// on these, by id.
#[must_use]
pub fn seen_in(
    findings: &[Finding],
    records: &Records,
    inside: impl Fn(&Panel) -> bool,
) -> BTreeMap<String, [Seen; 2]> {
    let all = remembered(findings);
    let refs: Vec<&Remembered> = all.iter().collect();
    (all.iter().zip(findings))
        .map(|(own, finding)| {
            let hits = &finding.evidence.hits;
            let seen = |within: bool| {
                let counts = |k: usize| inside(&records.panels[k]) == within;
                // Its own panels where the analysis names them.
                if hits.is_empty() {
                    let exposed = &finding.evidence.exposed;
                    return Subject::new(own, &refs, 0.0).count(records, |k| {
                        counts(k) && (exposed.is_empty() || exposed.binary_search(&k).is_ok())
                    });
                }
                Seen {
                    hits: hits.iter().filter(|h| counts(h.panel)).count(),
                    panels: (finding.evidence.exposed.iter())
                        .filter(|&&p| counts(p))
                        .count(),
                    last: None,
                }
            };
            (own.id.clone(), [seen(false), seen(true)])
        })
        .collect()
}

/// Gives this report's findings the numbers of the last one's and says what
/// became of each.
#[must_use]
pub fn follow(past: &Past, records: &Records, causes: &mut Causes) -> Lives {
    let newest = records
        .panels
        .iter()
        .filter_map(|p| p.sanded_at)
        .next_back();
    let days = match (past.until, newest) {
        (Some(until), Some(newest)) => {
            newest.instant.duration_since(until).as_hours() as f64 / 24.0
        }
        _ => 7.0,
    };
    let match_of = recognise(&past.findings, &causes.findings, records, days);
    let last_number = renumber(past, causes, &match_of);
    let since = Since {
        past,
        records,
        days,
        fresh: records_since(past, records),
        free: without_members(records, causes),
    };
    let all: Vec<&Remembered> = past.findings.iter().collect();
    let now = remembered(&causes.findings);
    let report = report_name(records);

    let mut of = BTreeMap::new();
    for (finding, matched) in causes.findings.iter().zip(&match_of) {
        let own = reference(finding, &now, records);
        let life = match matched.map(|o| &past.findings[o]) {
            None => Life {
                life: Some(if ended(finding).is_some() {
                    State::Gone
                } else {
                    State::New
                }),
                since_report: report.clone(),
                last_seen: last_seen(finding, records),
                reports_gone: 0,
                looked: Look {
                    confidence: ended(finding),
                    ..own
                },
            },
            Some(old) => since.life(old, &all, Some((finding, own))),
        };
        of.insert(finding.id.clone(), life);
    }
    let mut kept = Vec::new();
    for (o, old) in past.findings.iter().enumerate() {
        if match_of.contains(&Some(o)) {
            continue;
        }
        let life = since.life(old, &all, None);
        if life.reports_gone > KEPT_REPORTS {
            continue;
        }
        kept.push(Kept {
            id: old.id.clone(),
            machine: old.machine.clone(),
            head: old.head.clone(),
            defect: old.defect.clone(),
            cause: old.cause.clone(),
            kind: old.kind.clone(),
            hit_rate: old.hit_rate,
            life,
            fields: old.fields.clone(),
        });
    }
    Lives {
        report,
        previous: past.report.clone().or_else(|| Some(String::new())),
        of,
        kept,
        last_number,
    }
}

/// Old numbers for what is recognised, new ones for the rest; gives the highest
/// number ever given.
fn renumber(past: &Past, causes: &mut Causes, match_of: &[Option<usize>]) -> usize {
    let mut last = past.last_number;
    let mut names = BTreeMap::new();
    for (finding, matched) in causes.findings.iter_mut().zip(match_of) {
        let id = match matched {
            Some(o) => past.findings[*o].id.clone(),
            None => {
                last += 1;
                format!("F{last}")
            }
        };
        names.insert(std::mem::replace(&mut finding.id, id.clone()), id);
    }
    rename(causes, &names);
    last
}

/// Puts new ids where streams speak of findings.
pub(crate) fn rename(causes: &mut Causes, names: &BTreeMap<String, String>) {
    let shares = causes.streams.iter_mut().flat_map(|s| &mut s.causes);
    for share in shares {
        if let Some(id) = names.get(&share.finding) {
            share.finding.clone_from(id);
        }
    }
}

/// The panels since the last report.
struct Since<'a> {
    past: &'a Past,
    records: &'a Records,
    days: f64,
    fresh: Vec<bool>,
    /// The records without the marks of this report's findings.
    free: Records,
}

impl Since<'_> {
    /// The life of a remembered finding; `now` is the same one as this report
    /// finds it, with what it knows for the next.
    fn life(&self, old: &Remembered, all: &[&Remembered], now: Option<(&Finding, Look)>) -> Life {
        let fresh = self.fresh_for(old);
        let subject =
            Subject::new(old, all, self.days).also(now.as_ref().map(|(finding, _)| *finding));
        let seen = subject.count(self.records, |k| fresh[k]);
        let elsewhere = subject.outside(self.records, |k| fresh[k]);
        let waited = old.looked.and_then(|l| l.waiting).unwrap_or_default();
        let low = (old.looked.and_then(|l| l.rate_low))
            .or(old.hit_rate_ci.map(|ci| ci.0))
            .or(old.hit_rate.map(|h| h / 2.0))
            .filter(|h| *h > 0.0 && *h < 1.0);
        let known_usual = old.looked.and_then(|l| l.usual);
        let usual = known_usual.unwrap_or_else(|| usual_at_place(old));
        let before = old.looked.and_then(|l| l.rate_before);
        // The others may have changed as well: a rate is what it is beside theirs.
        let others = elsewhere.filter(|_| known_usual.is_some());
        let now_of = |rate: f64| others.map_or(rate, |others| moved(rate, usual, &others));
        let known = Known {
            low: low.map(now_of),
            usual: others.map_or(usual, |others| others.share()),
            others,
            before: before.map(now_of),
            unlikely: if subject.placed() {
                UNLIKELY
            } else {
                UNLIKELY_RATE
            },
            was_gone: old.life == Some(State::Gone),
        };
        let measured = subject.placed() || is_rate(&old.kind);
        let mut answer = if old.defect == UNEVEN_REMOVAL {
            self.slope(old, &fresh)
        } else {
            judge(&known, &seen.and(waited))
        };
        if !measured && old.defect != UNEVEN_REMOVAL {
            answer = unmeasured(answer, now.is_some());
        }
        if !subject.placed() && matches!(answer.state, State::Gone | State::Fewer) {
            answer = halved(answer, &known, &seen.and(waited));
        }
        if now.is_none() && answer.state == State::Gone && self.is_near(&subject, &known, &fresh) {
            answer = Answer {
                state: State::CannotTell,
                confidence: None,
                panels_missing: None,
            };
        }
        let mut gone_by_end = false;
        if let Some((finding, _)) = &now
            && answer.state == State::CannotTell
            && let Some(confidence) = ended(finding)
        {
            gone_by_end = true;
            answer = Answer {
                state: State::Gone,
                confidence: Some(confidence),
                panels_missing: None,
            };
        }
        let gone = answer.state == State::Gone;
        let open = answer.state == State::CannotTell;
        let own_seen = now.as_ref().and_then(|(f, _)| last_seen(f, self.records));
        let last_seen = if gone && !gone_by_end {
            old.last_seen.or(own_seen)
        } else {
            seen.last.max(own_seen).or(old.last_seen)
        };
        let (carried, usual_now) = (old.looked.and_then(|l| l.carried), known.usual);
        let again = |own: Option<&Look>| match (answer.state, own) {
            // While it may still be there, it is looked for at its old rate.
            (State::Gone | State::CannotTell, _) => (low, Some(usual), carried),
            (State::Fewer, _) | (_, None) => (lowest(&seen), Some(usual_now), carried),
            (_, Some(own)) => (own.rate_low, own.usual, own.carried),
        };
        let (rate_low, usual, carried) = again(now.as_ref().map(|(_, look)| look));
        let rate_before = match answer.state {
            State::Fewer => before.or(low),
            State::Gone | State::CannotTell => before,
            _ => None,
        };
        Life {
            life: Some(answer.state),
            since_report: old
                .since_report
                .clone()
                .or_else(|| self.past.report.clone()),
            last_seen,
            reports_gone: if gone { old.reports_gone + 1 } else { 0 },
            looked: Look {
                hits: seen.hits,
                panels: seen.panels,
                confidence: answer.confidence,
                panels_missing: answer.panels_missing,
                rate_low,
                usual,
                waiting: open.then(|| seen.and(waited)).filter(|s| s.panels > 0),
                elsewhere: others,
                carried,
                rate_before,
            },
        }
    }

    /// Whether a place that seems gone may have moved a little: marks around it
    /// that belong to no finding of this report are more than chance puts there.
    fn is_near(&self, subject: &Subject<'_>, known: &Known, fresh: &[bool]) -> bool {
        if !subject.placed() {
            return false;
        }
        let around = Known {
            usual: (AROUND * AROUND * known.usual).min(1.0),
            was_gone: false,
            ..*known
        };
        let seen = subject
            .clone()
            .around(AROUND)
            .count(&self.free, |k| fresh[k]);
        judge(&around, &seen).state != State::Gone
    }

    /// Panels since the last report; where neither report has times, those
    /// after the last panel that showed the finding.
    fn fresh_for(&self, old: &Remembered) -> Vec<bool> {
        if self.past.until.is_some() {
            return self.fresh.clone();
        }
        let last = (old.last_panel.as_deref())
            .and_then(|id| self.records.panels.iter().position(|p| p.id == id));
        (0..self.records.panels.len())
            .map(|k| last.is_none_or(|last| k > last))
            .collect()
    }

    /// Slopes of removal are measured again on the panels since: gone if the
    /// interval holds zero and leaves out half of what it was.
    fn slope(&self, old: &Remembered, fresh: &[bool]) -> Answer {
        let answer = |state, confidence| Answer {
            state,
            confidence,
            panels_missing: None,
        };
        let was_gone = old.life == Some(State::Gone);
        let stays = if was_gone {
            State::Gone
        } else {
            State::CannotTell
        };
        let cell = |m: &Option<String>, h: &Option<String>| (m, h) == (&old.machine, &old.head);
        let then = (self.past.surface.iter()).find(|s| cell(&s.machine, &s.head));
        let records = kept_records(self.records.clone(), |k, _: &Panel| fresh[k]);
        // The level only decides verdicts, which are not used here.
        let measured = surfaces(&records, 0.01);
        let now = (measured.iter()).find(|s| cell(&s.machine, &s.head));
        let (Some(then), Some(now)) = (then, now) else {
            return answer(stays, None);
        };
        let slopes = axes(now);
        let of = [then.slope_x, then.slope_y].map(|s| s.and_then(|s| s.machine).unwrap_or(0.0));
        let axis = usize::from(of[1].abs() > of[0].abs());
        let (before, Some(ci)) = (of[axis], slopes[axis]) else {
            return answer(stays, None);
        };
        let holds_zero = ci.0 <= 0.0 && ci.1 >= 0.0;
        let leaves_out_half = if before > 0.0 {
            ci.1 < before / 2.0
        } else {
            ci.0 > before / 2.0
        };
        match (was_gone, holds_zero, leaves_out_half) {
            (false, true, true) => answer(State::Gone, Some(0.95)),
            (false, false, true) => answer(State::Fewer, Some(0.95)),
            (false, false, false) => answer(State::GoesOn, None),
            (true, false, false) => answer(State::Back, None),
            _ => answer(stays, None),
        }
    }
}

/// Intervals of the machine's slopes along x and y.
fn axes(surface: &Surface) -> [Option<(f64, f64)>; 2] {
    [&surface.slope_x, &surface.slope_y].map(|e| {
        let ci = e.machine_ci?;
        Some((ci.low, ci.high))
    })
}

/// Sides and bars are not counted panel by panel here: all marks of the kind
/// are, so that only what is rarer than the finding alone was can be gone.
fn unmeasured(answer: Answer, found: bool) -> Answer {
    match answer.state {
        State::Gone | State::Back => answer,
        _ => Answer {
            state: if found {
                State::GoesOn
            } else {
                State::CannotTell
            },
            confidence: None,
            panels_missing: None,
        },
    }
}

/// A rate is gone or fewer only if at least half of it is: of what it is beyond
/// the others', where it is told against theirs.
fn halved(answer: Answer, known: &Known, seen: &Seen) -> Answer {
    let share = seen.hits as f64 / seen.panels.max(1) as f64;
    let Some(low) = known.low.filter(|_| !known.was_gone) else {
        return answer;
    };
    let half = match known.others {
        Some(_) => known.usual + HALVED * (low - known.usual).max(0.0),
        None => HALVED * low.max(known.usual),
    };
    // Down to what is usual is gone even where that is more than half.
    let usual = answer.state == State::Gone && share <= known.usual;
    if share <= half || usual {
        return answer;
    }
    Answer {
        state: State::GoesOn,
        confidence: None,
        panels_missing: None,
    }
}

fn is_rate(kind: &str) -> bool {
    ["rate", "lot", "abrasive", "time", "wandering", "thin-film"].contains(&kind)
}

/// Chance hits at the place, as the last report expected them.
fn usual_at_place(old: &Remembered) -> f64 {
    match (old.expected_hits, old.panels_exposed) {
        (Some(expected), Some(exposed)) if exposed > 0 => {
            (expected / exposed as f64).clamp(0.002, 1.0)
        }
        _ => USUAL,
    }
}

/// Which panels are newer than the last report.
fn records_since(past: &Past, records: &Records) -> Vec<bool> {
    (records.panels.iter())
        .map(|panel| {
            past.until
                .is_none_or(|until| panel.sanded_at.is_some_and(|at| at.instant > until))
        })
        .collect()
}

/// The records without the marks that belong to findings.
fn without_members(records: &Records, causes: &Causes) -> Records {
    let mut belongs = vec![false; records.defects.len()];
    for &member in causes.findings.iter().flat_map(|f| &f.evidence.members) {
        belongs[member] = true;
    }
    let mut free = records.clone();
    let mut at = belongs.iter();
    free.defects
        .retain(|_| !at.next().copied().unwrap_or(false));
    free
}

/// This report's findings as the next one will remember them.
fn remembered(findings: &[Finding]) -> Vec<Remembered> {
    (findings.iter())
        .filter_map(|f| {
            let value = serde_json::to_value(f).ok()?;
            serde_json::from_value(value).ok()
        })
        .collect()
}

/// What the next report has to know to look for a finding.
fn reference(finding: &Finding, all: &[Remembered], records: &Records) -> Look {
    let Some(own) = all.iter().find(|o| o.id == finding.id) else {
        return Look::default();
    };
    let refs: Vec<&Remembered> = all.iter().collect();
    let subject = Subject::new(own, &refs, 0.0);
    if subject.placed() || !is_rate(&code(&finding.kind)) {
        return Look {
            rate_low: finding.hit_rate_ci.map(|ci| ci.low),
            usual: subject.placed().then(|| usual_at_place(own)),
            ..Look::default()
        };
    }
    if own.levels.is_empty()
        && !finding.evidence.exposed.is_empty()
        && let Some(rest) = outside_stretch(finding, own, &subject, records)
    {
        return Look {
            rate_low: finding.hit_rate_ci.map(|ci| ci.low),
            usual: Some(rest.share()),
            ..Look::default()
        };
    }
    let side = worse_side(finding, own, records);
    let of = |carried| {
        let subject = subject.clone().carried_by(carried);
        let outside = subject.outside(records, |_| true);
        (subject.count(records, |_| true), outside, carried)
    };
    let (mut seen, mut outside, mut carried) = of(side);
    // Levels that show less than the others: the others carry it.
    if side.is_none() && outside.is_some_and(|rest| rest.share() > seen.share()) {
        (seen, outside, carried) = of(Some(Carried::Others));
    }
    Look {
        rate_low: lowest(&seen),
        usual: outside.map(|rest| rest.share()),
        carried,
        ..Look::default()
    }
}

/// The stream's panels outside the stretch of a finding that names a time; none
/// where it is all of them.
fn outside_stretch(
    finding: &Finding,
    own: &Remembered,
    subject: &Subject<'_>,
    records: &Records,
) -> Option<Seen> {
    let mut outside: Vec<bool> = (records.panels.iter())
        .map(|panel| panel.inspected && own.of_cell(panel))
        .collect();
    for &panel in &finding.evidence.exposed {
        outside[panel] = false;
    }
    let seen = subject.count(records, |k| outside[k]);
    (seen.panels > 0).then_some(seen)
}

/// The lower limit of a share of panels hit.
fn lowest(seen: &Seen) -> Option<f64> {
    let ci = clopper_pearson(seen.hits as u64, seen.panels as u64, 0.95).ok()?;
    Some(ci.low).filter(|low| *low > 0.0)
}

/// The confidence with which a finding ended, where its analysis says so: 1 −
/// the chance of so few hits since at the lowest rate it may have had.
#[must_use]
pub fn ended(finding: &Finding) -> Option<f64> {
    let end = finding.evidence.end.as_ref()?;
    let after = |panel: usize| panel >= end.panel;
    let seen = Seen {
        hits: (finding.evidence.hits.iter())
            .filter(|h| after(h.panel))
            .count(),
        panels: (finding.evidence.exposed.iter())
            .filter(|&&p| after(p))
            .count(),
        last: None,
    };
    let known = Known {
        low: finding
            .hit_rate_ci
            .map(|ci| ci.low)
            .filter(|low| *low > 0.0),
        usual: (finding.expected_hits.unwrap_or(0.0) / finding.panels_exposed.max(1) as f64)
            .clamp(0.002, 1.0),
        unlikely: UNLIKELY,
        was_gone: false,
        others: None,
        before: None,
    };
    let answer = judge(&known, &seen);
    (answer.state == State::Gone)
        .then_some(answer.confidence)
        .flatten()
}

/// Day of the last panel that shows a finding.
fn last_seen(finding: &Finding, records: &Records) -> Option<Date> {
    let before_end =
        |panel: usize| (finding.evidence.end.as_ref()).is_none_or(|end| panel < end.panel);
    let by_id = || {
        let id = finding.last_panel.as_deref()?;
        records.panels.iter().rev().find(|p| p.id == id)
    };
    (finding.evidence.hits.iter())
        .filter(|hit| before_end(hit.panel))
        .filter_map(|hit| records.panels.get(hit.panel))
        .filter_map(day)
        .max()
        .or_else(|| by_id().and_then(day))
}

impl Life {
    /// The life's fields for `findings.json`.
    #[must_use]
    pub fn fields(&self) -> Map<String, Value> {
        match json!(self) {
            Value::Object(fields) => fields,
            _ => Map::new(),
        }
    }
}
