//! What became of one finding on the panels since the last report.

use jiff::civil::Date;

use super::judge::{Answer, Known, judge, undecided};
use super::measure::{Subject, day};
use super::past::{Past, Remembered, is_rate};
use super::remember::{lowest, usual_at_place};
use super::twins::twin;
use super::{Life, Look, Seen, State, Twin};
use crate::causes::{Causes, Finding, UNEVEN_REMOVAL, surfaces};
use crate::change::kept;
use crate::records::Records;

/// Chance below which so few hits at a place are unlikely, 0..1.
pub(super) const UNLIKELY: f64 = 0.05;
/// The same for a rate without a place: panels of a day or lot resemble each
/// other, so fewer count than there are.
const UNLIKELY_RATE: f64 = 0.005;
/// A rate is not called fewer or gone unless it has at least halved, for the
/// same reason.
const HALVED: f64 = 0.5;
/// A place is gone only if it is not seen within so many times its reach.
const AROUND: f64 = 2.0;
/// Confidence of the intervals of slopes.
const INTERVAL: f64 = 0.95;

/// The panels since the last report.
pub(super) struct Since<'a> {
    past: &'a Past,
    all: Vec<&'a Remembered>,
    records: &'a Records,
    days: f64,
    fresh: Vec<bool>,
    /// The records without the marks of this report's findings.
    free: Records,
}

impl<'a> Since<'a> {
    pub(super) fn new(past: &'a Past, records: &'a Records, causes: &Causes, days: f64) -> Self {
        let fresh = (records.panels.iter()).map(|panel| {
            let after = |until| panel.sanded_at.is_some_and(|at| at.instant > until);
            past.until.is_none_or(after)
        });
        Self {
            past,
            all: past.findings.iter().collect(),
            records,
            days,
            fresh: fresh.collect(),
            free: without_members(records, causes),
        }
    }

    /// The life of a remembered finding; `now` is the same one as this report
    /// finds it, with what it knows for the next.
    pub(super) fn life(&self, old: &Remembered, now: Option<(&Finding, Look)>) -> Life {
        let (found, own) = now.unzip();
        let fresh = self.fresh_for(old);
        let subject = Subject::new(old, &self.all, self.days).also(found);
        let mut seen = subject.count(self.records, |k| fresh[k]);
        let can_show = subject.can_show(self.records, |k| fresh[k]);
        let look = old.looked.unwrap_or_default();
        let low = (look.rate_low)
            .or(old.hit_rate_ci.map(|ci| ci.0))
            .or(old.hit_rate.map(|h| h / 2.0))
            .filter(|h| *h > 0.0 && *h < 1.0);
        let usual = look.usual.unwrap_or_else(|| usual_at_place(old));
        let elsewhere = subject.outside(self.records, |k| fresh[k]);
        let elsewhere = elsewhere.filter(|_| look.usual.is_some());
        let others = elsewhere.map(|seen| seen.and(look.waiting_elsewhere.unwrap_or_default()));
        let known = Known {
            low,
            usual: others.map_or(usual, |others| others.share()),
            others,
            others_then: usual,
            before: look.rate_before,
            unlikely: if subject.placed() {
                UNLIKELY
            } else {
                UNLIKELY_RATE
            },
            was_gone: old.life == Some(State::Gone),
        };
        let all_seen = seen.and(look.waiting.unwrap_or_default());
        let mut answer = if old.defect == UNEVEN_REMOVAL {
            self.slope(old, &fresh)
        } else {
            self.answer(old, &subject, &known, &all_seen, found.is_some())
        };
        // The others' marks may be too few for it to go on, and never show that it does.
        if !can_show && answer.state != State::Gone {
            answer = Answer::of(if known.was_gone {
                State::Gone
            } else {
                State::CannotTell
            });
            seen = Seen::default();
        }
        // What this report finds anew on the panels since alone is told by that.
        if !answer.told && found.is_some_and(|finding| all_of(&finding.evidence.exposed, &fresh)) {
            answer = Answer::of(State::GoesOn);
        }
        let end = found.filter(|_| answer.state == State::CannotTell);
        let end = end.and_then(ended);
        if let Some(confidence) = end {
            answer = Answer::sure(State::Gone, confidence);
        }
        let gone = answer.state == State::Gone;
        let own_seen = found.and_then(|finding| last_seen(finding, self.records));
        let (rate_low, usual, carried) = match (answer.state, own) {
            // While it may still be there, it is looked for at its old rate.
            (State::Gone, _) => (low, Some(usual), look.carried),
            _ if !answer.told => (low, Some(usual), look.carried),
            (State::Fewer, _) | (_, None) => (lowest(&seen), Some(known.usual), look.carried),
            (_, Some(own)) => (own.rate_low, own.usual, own.carried),
        };
        Life {
            life: Some(answer.state),
            since_report: (old.since_report.clone()).or_else(|| self.past.report.clone()),
            last_seen: if gone && end.is_none() {
                old.last_seen.or(own_seen)
            } else {
                seen.last.max(own_seen).or(old.last_seen)
            },
            reports_gone: if gone { old.reports_gone + 1 } else { 0 },
            looked: Look {
                hits: seen.hits,
                panels: seen.panels,
                confidence: answer.confidence,
                panels_missing: answer.panels_missing,
                open: !answer.told && !subject.placed() && is_rate(&old.kind),
                rate_low,
                usual,
                waiting: Some(all_seen).filter(|s| !answer.told && s.panels > 0),
                waiting_elsewhere: others.filter(|_| !answer.told),
                elsewhere,
                carried,
                rate_before: match answer.state {
                    _ if !answer.told => look.rate_before,
                    State::Fewer => look.rate_before.or(low),
                    State::Gone => look.rate_before,
                    _ => None,
                },
            },
        }
    }

    /// The earlier finding as what a new one may be.
    pub(super) fn twin(&self, old: &Remembered, life: &Life, new: &Finding) -> Option<Twin> {
        let why = twin(
            (old, life),
            new,
            self.past,
            self.records,
            &self.fresh,
            self.days,
        )?;
        Some(Twin {
            new: new.id.clone(),
            old: old.id.clone(),
            why,
        })
    }

    /// What became of a finding that is counted, panel by panel; whether this
    /// report found it too.
    fn answer(
        &self,
        old: &Remembered,
        subject: &Subject<'_>,
        known: &Known,
        seen: &Seen,
        found: bool,
    ) -> Answer {
        let mut answer = judge(known, seen);
        if !subject.placed() {
            if !is_rate(&old.kind) {
                answer = unmeasured(answer, found);
            } else if !answer.told {
                return undecided(known, seen, old.life);
            }
            if matches!(answer.state, State::Gone | State::Fewer) {
                answer = halved(answer, known, seen);
            }
        } else if !found && answer.state == State::Gone && self.is_near(old, subject, known) {
            answer = Answer::of(State::CannotTell);
        }
        answer
    }

    /// Whether a place that seems gone may have moved a little: marks around it
    /// that belong to no finding of this report are more than chance puts there.
    fn is_near(&self, old: &Remembered, subject: &Subject<'_>, known: &Known) -> bool {
        let around = Known {
            usual: (AROUND * AROUND * known.usual).min(1.0),
            was_gone: false,
            ..*known
        };
        let fresh = self.fresh_for(old);
        let subject = subject.clone().around(AROUND);
        judge(&around, &subject.count(&self.free, |k| fresh[k])).state != State::Gone
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
        let was_gone = old.life == Some(State::Gone);
        let stays = Answer::of(if was_gone {
            State::Gone
        } else {
            State::CannotTell
        });
        let cell = |m: &Option<String>, h: &Option<String>| (m, h) == (&old.machine, &old.head);
        let then = (self.past.surface.iter()).find(|s| cell(&s.machine, &s.head));
        let records = kept(self.records.clone(), |k, _| fresh[k]);
        // The level only decides verdicts, which are not used here.
        let measured = surfaces(&records, 0.01);
        let now = (measured.iter()).find(|s| cell(&s.machine, &s.head));
        let (Some(then), Some(now)) = (then, now) else {
            return stays;
        };
        let of = [then.slope_x, then.slope_y].map(|s| s.and_then(|s| s.machine).unwrap_or(0.0));
        let axis = usize::from(of[1].abs() > of[0].abs());
        let slopes = [&now.slope_x, &now.slope_y].map(|slope| slope.machine_ci);
        let (before, Some(ci)) = (of[axis], slopes[axis]) else {
            return stays;
        };
        let holds_zero = ci.low <= 0.0 && ci.high >= 0.0;
        let leaves_out_half = if before > 0.0 {
            ci.high < before / 2.0
        } else {
            ci.low > before / 2.0
        };
        match (was_gone, holds_zero, leaves_out_half) {
            (false, true, true) => Answer::sure(State::Gone, INTERVAL),
            (false, false, true) => Answer::sure(State::Fewer, INTERVAL),
            (false, false, false) => Answer::of(State::GoesOn),
            (true, false, false) => Answer::of(State::Back),
            _ => stays,
        }
    }
}

/// Whether all these panels are fresh; all panels where none are named.
fn all_of(panels: &[usize], fresh: &[bool]) -> bool {
    if panels.is_empty() {
        return fresh.iter().all(|f| *f);
    }
    panels.iter().all(|&panel| fresh[panel])
}

/// Sides and bars are not counted panel by panel here: all marks of the kind
/// are, so that only what is rarer than the finding alone was can be gone.
fn unmeasured(answer: Answer, found: bool) -> Answer {
    match answer.state {
        State::Gone | State::Back => answer,
        _ if found => Answer::of(State::GoesOn),
        _ => Answer::of(State::CannotTell),
    }
}

/// A rate is gone or fewer only if at least half of it is: of what it is beyond
/// the others', where it is told against theirs.
fn halved(answer: Answer, known: &Known, seen: &Seen) -> Answer {
    let share = seen.hits as f64 / seen.panels.max(1) as f64;
    let Some(low) = known.low_now().filter(|_| !known.was_gone) else {
        return answer;
    };
    let half = match known.others {
        Some(_) => known.usual + HALVED * (low - known.usual).max(0.0),
        None => HALVED * low.max(known.usual),
    };
    // Down to what is usual is gone even where that is more than half.
    let usual = answer.state == State::Gone && share <= known.usual;
    if share <= half || usual {
        answer
    } else {
        Answer::of(State::GoesOn)
    }
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

/// The confidence with which a finding ended, where its analysis says so: 1 −
/// the chance of so few hits since at the lowest rate it may have had.
pub(super) fn ended(finding: &Finding) -> Option<f64> {
    let (end, evidence) = (finding.evidence.end.as_ref()?, &finding.evidence);
    let after = |panel: usize| panel >= end.panel;
    let seen = Seen {
        hits: evidence.hits.iter().filter(|h| after(h.panel)).count(),
        panels: evidence.exposed.iter().filter(|p| after(**p)).count(),
        last: None,
    };
    let low = finding.hit_rate_ci.map(|ci| ci.low);
    let expected = finding.expected_hits.unwrap_or(0.0);
    let known = Known {
        low: low.filter(|low| *low > 0.0),
        usual: (expected / finding.panels_exposed.max(1) as f64).clamp(0.002, 1.0),
        unlikely: UNLIKELY,
        ..Known::default()
    };
    let answer = judge(&known, &seen);
    answer.confidence.filter(|_| answer.state == State::Gone)
}

/// Day of the last panel that shows a finding.
pub(super) fn last_seen(finding: &Finding, records: &Records) -> Option<Date> {
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
