//! Whether what was done about findings helped.

use serde::Serialize;

use super::judge::{Known, judge};
use super::measure::{Subject, day};
use super::past::Remembered;
use super::remember::lowest;
use super::since::UNLIKELY;
use super::{Action, Actions, Lives, Seen, State};
use crate::causes::Finding;
use crate::change::{self, Pick, Selection, Sides, Verdict};
use crate::records::{DefectName, Records};
use crate::site::Site;
use crate::stats::multiplicity::holm;
use crate::stats::stratified::{Count, RateStratum, exact_rate_ratio};

/// What came of an action.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ActionAnswer {
    /// It is gone since.
    Gone,
    /// On fewer panels since.
    Fewer,
    /// On more panels since.
    More,
    /// No difference, and half as many would have shown: it did not help.
    NoDifference,
    /// Too few panels since.
    TooFewPanels,
    /// Something else changed on the same day.
    NotIdentifiable,
    /// It is about nothing that these records hold.
    Unknown,
}

/// An action and what came of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Done {
    /// The action.
    #[serde(flatten)]
    pub action: Action,
    /// The findings of this report that it is about.
    pub about: Vec<String>,
    /// Panels before: up to the day before, from the last action on.
    pub before: Seen,
    /// Panels after: from the day after on, up to the next action.
    pub after: Seen,
    /// Share of panels hit, after over before.
    pub ratio: Option<f64>,
    /// Its 95 % interval; an infinite limit is `null`.
    pub ratio_ci: Option<(f64, f64)>,
    /// Adjusted for all actions (Holm 1979).
    pub p_adjusted: Option<f64>,
    /// Confidence in its being gone, 0..1.
    pub confidence: Option<f64>,
    /// Further panels without a hit that would tell.
    pub panels_missing: Option<usize>,
    /// Cost of the panels that would have been hit since, had it gone on; in
    /// the site's unit, where it has a cost and the finding is gone or fewer.
    pub saved: Option<f64>,
    /// What came of it.
    pub answer: ActionAnswer,
}

/// What chance puts at a place, 0..1.
const USUAL: f64 = 0.005;

/// Tests every action: panels hit after against before.
///
/// The day itself counts on neither side: nobody knows at what hour it was
/// done. A finding with a place is tested by its panels hit (two rates, exact);
/// one without by the comparison of days, which allows for days and lots that
/// differ.
#[must_use]
pub fn judge_actions(
    actions: &Actions,
    records: &Records,
    findings: &[Finding],
    lives: &Lives,
    site: &Site,
) -> Vec<Done> {
    let kept = lives.kept.iter().map(|k| k.finding.clone());
    let known: Vec<Remembered> = (findings.iter())
        .filter_map(Remembered::of)
        .chain(kept)
        .collect();
    let all: Vec<&Remembered> = known.iter().collect();
    let mut done: Vec<(Done, Option<f64>)> = (actions.actions.iter())
        .map(|action| one(action, actions, records, &all, site))
        .collect();
    let tested: Vec<f64> = done.iter().filter_map(|d| d.1).collect();
    let mut adjusted = holm(&tested).into_iter();
    for (one, p) in &mut done {
        if p.is_some() {
            one.p_adjusted = adjusted.next();
        }
        conclude(one, site);
    }
    done.into_iter().map(|(one, _)| one).collect()
}

fn one(
    action: &Action,
    actions: &Actions,
    records: &Records,
    all: &[&Remembered],
    site: &Site,
) -> (Done, Option<f64>) {
    let about: Vec<&Remembered> = (all.iter().copied())
        .filter(|f| action.is_about(&f.id, f.machine.as_deref(), &f.defect))
        .collect();
    let mut out = Done {
        action: action.clone(),
        about: about.iter().map(|f| f.id.clone()).collect(),
        before: Seen::default(),
        after: Seen::default(),
        ratio: None,
        ratio_ci: None,
        p_adjusted: None,
        confidence: None,
        panels_missing: None,
        saved: None,
        answer: ActionAnswer::Unknown,
    };
    // A row without a number stands for the stream, whatever was found in it.
    let stream = Remembered {
        machine: action.machine.clone(),
        defect: action.defect.clone().unwrap_or_default(),
        ..Remembered::default()
    };
    let subject = match (&action.finding, about.first()) {
        (Some(_), Some(finding)) => {
            out.action.machine.clone_from(&finding.machine);
            out.action.defect = Some(finding.defect.clone());
            Subject::new(finding, all, 0.0)
        }
        (Some(_), None) => return (out, None),
        (None, _) => {
            let recorded = |d: &DefectName| d.name.eq_ignore_ascii_case(&stream.defect);
            if !records.defect_names.iter().any(recorded) {
                return (out, None);
            }
            Subject::new(&stream, &[], 0.0)
        }
    };
    let same = |other: &&Action| {
        (&other.finding, &other.machine, &other.defect)
            == (&action.finding, &action.machine, &action.defect)
    };
    let dates = || actions.actions.iter().filter(same).map(|a| a.date);
    let earlier = dates().filter(|d| *d < action.date).max();
    let later = dates().filter(|d| *d > action.date).min();
    let on = |k: usize| day(&records.panels[k]);
    out.before = subject.count(records, |k| {
        on(k).is_some_and(|d| d < action.date && earlier.is_none_or(|e| d > e))
    });
    out.after = subject.count(records, |k| {
        on(k).is_some_and(|d| d > action.date && later.is_none_or(|l| d < l))
    });
    out.answer = ActionAnswer::TooFewPanels;
    let p = if subject.placed() {
        exact(&mut out)
    } else {
        by_days(&mut out, records, site)
    };
    let known = Known {
        low: lowest(&out.before),
        usual: if subject.placed() { USUAL } else { 0.0 },
        unlikely: UNLIKELY,
        ..Known::default()
    };
    let answer = judge(&known, &out.after);
    if answer.state == State::Gone {
        out.confidence = answer.confidence;
    }
    out.panels_missing = answer.panels_missing;
    (out, p)
}

/// Panels hit at a place: the exact test of two rates.
fn exact(done: &mut Done) -> Option<f64> {
    let side = |seen: &Seen| Count {
        events: seen.hits as u64,
        exposure: seen.panels as f64,
    };
    let stratum = RateStratum {
        before: side(&done.before),
        after: side(&done.after),
    };
    let ratio = exact_rate_ratio(&[stratum], 0.95).ok()?;
    done.ratio = Some(ratio.estimate).filter(|r| r.is_finite());
    done.ratio_ci = Some((ratio.ci.low, ratio.ci.high));
    Some(ratio.p_value)
}

/// A rate without a place: the comparison of days.
fn by_days(done: &mut Done, records: &Records, site: &Site) -> Option<f64> {
    let only = (done.action.machine.clone())
        .map(|value| Pick {
            column: "machine".into(),
            value,
        })
        .into_iter()
        .collect();
    let selection = Selection {
        sides: Sides::Since(done.action.date),
        only,
        window: change::Window::default(),
        on: Vec::new(),
    };
    let settings = change::Settings::from(&site.analysis);
    let changes = change::compare(records, &selection, &settings).ok()?;
    let defect = done.action.defect.clone()?;
    let change = (changes.comparisons.first()?.changes.iter())
        .find(|c| c.defect.eq_ignore_ascii_case(&defect))?;
    if change.verdict == Verdict::NotIdentifiable {
        done.answer = ActionAnswer::NotIdentifiable;
        return None;
    }
    done.ratio = change.ratio;
    done.ratio_ci = change.ratio_ci.map(|ci| (ci.low, ci.high));
    change.p
}

/// Chance below which a difference is shown, after adjustment.
const SHOWN: f64 = 0.05;

fn conclude(done: &mut Done, site: &Site) {
    if done.answer != ActionAnswer::TooFewPanels {
        return;
    }
    let (Some(p), Some((low, high))) = (done.p_adjusted, done.ratio_ci) else {
        return;
    };
    let fewer = done.ratio.is_some_and(|r| r < 1.0);
    done.answer = if p <= SHOWN && fewer {
        if done.confidence.is_some() {
            ActionAnswer::Gone
        } else {
            ActionAnswer::Fewer
        }
    } else if p <= SHOWN {
        ActionAnswer::More
    } else if low > site.analysis.ratio_of_interest && high.is_finite() {
        ActionAnswer::NoDifference
    } else {
        ActionAnswer::TooFewPanels
    };
    if matches!(done.answer, ActionAnswer::Gone | ActionAnswer::Fewer) {
        let rate = |seen: &Seen| seen.hits as f64 / seen.panels.max(1) as f64;
        let spared = (rate(&done.before) - rate(&done.after)) * done.after.panels as f64;
        done.saved = done
            .action
            .defect
            .as_deref()
            .and_then(|defect| site.defects.cost_of(defect))
            .map(|cost| cost * spared)
            .filter(|saved| *saved > 0.0);
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Action, Standing};
    use super::*;
    use crate::causes::made::{mark, panel, records};
    use crate::records::Moment;

    /// Four panels a day for twelve days, a scratch on each until day 4 and on one of
    /// four after; something was done on day 4 and on day 8.
    fn judged() -> Vec<Done> {
        let day = |d: usize| jiff::civil::date(2031, 3, 1 + i8::try_from(d).unwrap());
        let mut records = records(&[("scratch", None)]);
        for i in 0..48 {
            let local = day(i / 4).at(6, 0, 0, 0);
            let instant = jiff::tz::TimeZone::UTC.to_timestamp(local).unwrap();
            let mut panel = panel(i, 1000.0, 1000.0);
            panel.machine = Some("M1".into());
            panel.sanded_at = Some(Moment { instant, local });
            records.panels.push(panel);
            if i / 4 <= 4 || i % 4 == 0 {
                records.defects.push(mark(i, 0, None));
            }
        }
        let action = |d: usize| Action {
            date: day(d),
            finding: None,
            machine: Some("M1".into()),
            defect: Some("scratch".into()),
            done: "new pad".into(),
            state: Standing::Fixed,
        };
        let actions = Actions {
            actions: [4, 8].map(action).to_vec(),
            ..Actions::default()
        };
        let mut site = Site::default();
        site.defects.cost.insert("scratch".into(), 10.0);
        judge_actions(&actions, &records, &[], &Lives::default(), &site)
    }

    #[test]
    fn an_action_is_tested_from_the_last_one_to_the_next_without_its_own_day() {
        let seen = |s: &Seen| (s.hits, s.panels);
        let done = judged();
        assert_eq!(seen(&done[0].before), (16, 16));
        assert_eq!(seen(&done[0].after), (3, 12), "days 5 to 7");
        assert_eq!(seen(&done[1].before), (3, 12));
        assert_eq!(seen(&done[1].after), (3, 12), "days 9 to 11");
    }
}
