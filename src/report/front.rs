//! What page one and the terminal speak of: all panels, or those of the week.

use std::collections::BTreeSet;

use super::words::finding::Speech;
use super::{Findings, words};
use crate::causes::Finding;
use crate::change::{kept, week_of};
use crate::charts::NumberStyle;
use crate::life::{Kept, Life, State};
use crate::records::{InputCounts, almost_one};

/// The findings and counts of page one.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Front<'a> {
    all: &'a Findings<'a>,
    /// Findings that need somebody, the worst first, with their counts of the
    /// week where one is reported.
    worst: Vec<Finding>,
    /// Counts of all panels, or of the week.
    pub input: InputCounts,
}

impl<'a> Front<'a> {
    /// Of all results.
    pub(crate) fn new(all: &'a Findings<'a>) -> Self {
        let mut worst: Vec<Finding> = all.worst_first().into_iter().cloned().collect();
        let mut input = all.records.input;
        if let Some(week) = all.weekly.week {
            for finding in &mut worst {
                // Readings are not counted by panels marked.
                if let Some([_, seen]) = all.in_week.get(&finding.id)
                    && finding.evidence.surface.is_none()
                {
                    finding.panels_hit = seen.hits;
                    finding.panels_exposed = seen.panels;
                }
                // What is still seen, be it on fewer panels, has not ended.
                let state = all.lives.state(&finding.id);
                if matches!(state, Some(State::GoesOn | State::Fewer | State::Back)) {
                    finding.end_panel = None;
                }
            }
            // What is found for the first time in panels of earlier weeks only
            // is no news of this one, nor is what no panel of it could show.
            worst.retain(|finding| {
                let new = all.lives.state(&finding.id) == Some(State::New);
                let could = finding.panels_exposed > 0 && !new;
                finding.panels_hit > 0 || could || finding.evidence.surface.is_some()
            });
            input = kept(all.records.clone(), |_, panel| week_of(panel) == Some(week)).input;
        }
        Self { all, worst, input }
    }

    /// The findings, worst first.
    pub(crate) fn worst_first(&self) -> Vec<&Finding> {
        self.worst.iter().collect()
    }

    /// How many panels, of the week where one is reported, show any of the
    /// findings: a mark at a place, or for a rate any mark of the kind on the
    /// panels that it is about.
    pub(crate) fn panels_shown(&self) -> usize {
        let records = self.all.records;
        let mut placed = vec![false; records.defects.len()];
        for &member in (self.all.causes.findings.iter()).flat_map(|f| &f.evidence.members) {
            placed[member] = true;
        }
        let mut shown = vec![false; records.panels.len()];
        for finding in &self.worst {
            let evidence = &finding.evidence;
            for hit in &evidence.hits {
                shown[hit.panel] = true;
            }
            if !evidence.hits.is_empty() {
                continue;
            }
            let about: BTreeSet<usize> = evidence.exposed.iter().copied().collect();
            for (index, defect) in records.defects.iter().enumerate() {
                let own = records.defect_names[defect.name].name == finding.defect;
                shown[defect.panel] |= own && !placed[index] && about.contains(&defect.panel);
            }
        }
        let week = self.all.weekly.week;
        (shown.iter().zip(&records.panels))
            .filter(|(shown, panel)| **shown && (week.is_none() || week_of(panel) == week))
            .count()
    }

    /// What this report does not find by itself and still sees, most seen first.
    pub(crate) fn still_seen(&self) -> Vec<&'a Kept> {
        let on = [State::GoesOn, State::Fewer, State::Back];
        let kept = self.all.lives.kept.iter();
        let mut kept: Vec<&Kept> = kept
            .filter(|k| k.life.life.is_some_and(|life| on.contains(&life)))
            .filter(|k| k.life.looked.hits > 0)
            .collect();
        kept.sort_by_key(|k| std::cmp::Reverse(k.life.looked.hits));
        kept
    }

    /// What became of what page one tells, counted; none without an earlier report.
    pub(crate) fn since(&self, numbers: &NumberStyle) -> Option<String> {
        let lives = &self.all.lives;
        let told = |id: &str, life: &Life| {
            life.life != Some(State::New) || self.worst.iter().any(|f| f.id == id)
        };
        let own = (lives.of.iter()).filter(|(id, life)| told(id, life));
        let kept = lives.kept.iter().map(|k| &k.life);
        let all: Vec<&Life> = (own.map(|(_, life)| life).chain(kept))
            .filter(|life| life.reports_gone <= 1)
            .collect();
        words::life::on_page_one(lives.previous.as_deref()?, &all, numbers)
    }

    /// The one sentence on top.
    pub(crate) fn headline(&self, numbers: &NumberStyle) -> String {
        let worst = self.worst_first();
        match self.still_seen().first() {
            Some(kept) if worst.is_empty() => words::life::headline(kept, numbers),
            _ => words::front::headline(&worst, &self.input, numbers),
        }
    }

    /// A finding as page one states it, with what became of it.
    pub(crate) fn statement(&self, finding: &Finding, speech: &Speech<'_>) -> String {
        let life = self.all.lives.of.get(&finding.id);
        let renamed = self.renamed(&finding.defect, Order::Before);
        let mut twins = self.all.lives.twins.iter();
        let twin = twins.find(|twin| twin.new == finding.id);
        format!(
            "{}{}",
            words::life::prefix(life, renamed, twin, speech.numbers),
            words::finding::statement(finding, speech)
        )
    }

    /// A kind of nearly the same name that ends before the first mark of this
    /// one, or begins after its last. A kind that only an earlier report holds
    /// has ended.
    fn renamed(&self, defect: &str, order: Order) -> Option<&'a str> {
        let all = self.all;
        let names = || all.records.defect_names.iter().map(|n| n.name.as_str());
        let marked = |name: &str| {
            let of = names().position(|n| n == name);
            let marks = all
                .records
                .defects
                .iter()
                .filter(move |d| Some(d.name) == of);
            let panels = marks.map(|d| d.panel);
            (panels.clone().min(), panels.max())
        };
        let kept = all.lives.kept.iter().map(|k| k.finding.defect.as_str());
        let follows = |earlier: &str, later: &str| {
            let ((_, last), (first, _)) = (marked(earlier), marked(later));
            first.is_some() && last < first
        };
        (names().chain(kept)).find(|other| {
            almost_one(other, defect)
                && match order {
                    Order::Before => follows(other, defect),
                    Order::Next => follows(defect, other),
                }
        })
    }

    /// What ended or is gone, newest first, as sentences.
    pub(crate) fn news(&self, numbers: &NumberStyle) -> Vec<String> {
        let lives = &self.all.lives;
        let twin = |old: &str| lives.twins.iter().find(|twin| twin.old == old);
        let own = self.all.gone().into_iter().filter_map(|f| {
            let life = lives.of.get(&f.id)?;
            let renamed = self.renamed(&f.defect, Order::Next);
            Some((
                life,
                words::life::news(f, life, renamed, twin(&f.id), numbers),
            ))
        });
        let kept = (lives.kept.iter())
            .filter(|k| k.life.life == Some(State::Gone))
            .map(|k| {
                let renamed = self.renamed(&k.finding.defect, Order::Next);
                (
                    &k.life,
                    words::life::kept_news(k, renamed, twin(&k.finding.id), numbers),
                )
            });
        // What has been gone for a while is no news.
        let mut all: Vec<_> = own
            .chain(kept)
            .filter(|n| n.0.reports_gone <= NEWS)
            .collect();
        all.sort_by_key(|n| std::cmp::Reverse(n.0.last_seen));
        all.into_iter().map(|n| n.1).collect()
    }
}

/// Which of two kinds came first.
#[derive(Debug, Clone, Copy)]
enum Order {
    /// The other one.
    Before,
    /// The one asked about.
    Next,
}

/// Reports in a row that tell of a finding that is gone.
const NEWS: usize = 2;
