//! What the rate of a kind of defect follows, all its machines together.
//!
//! Every contender is asked whether the rate follows it at its share of the
//! level of whom it blames; who is shown duels every recorded rival that blames
//! somebody else, and time. Named is who stands in all duels.

mod claims;
mod control;
mod findings;
mod inspected;
mod least;
mod met;
mod quiet;

pub(crate) use findings::{about_rate, by_age, rate_findings};
pub(crate) use quiet::Quiet;

use std::collections::BTreeMap;
use std::sync::Arc;

use rayon::prelude::*;

use super::Remainder;
use crate::causes::rivals::{Recorded, Rows, StepFound, of_class, recorded, step};
use crate::causes::{Cause, Rival};
use crate::duel::{
    Bound, Contender, Given, Meeting, Response, Shown, Suspect, Toward, bound, in_order,
    levels_differ, meet, shown,
};
use crate::records::Records;
use claims::Alone;
use least::{Accused, WORTH_NAMING};

/// Nobody is named on fewer panels with marks.
const LEAST_HIT: usize = 5;

/// From this p on a rival shows nothing itself.
const SHOWS_NOTHING: f64 = 0.1;

/// Levels of one contender that are named at most.
const MOST_NAMED: usize = 8;

/// A step is looked for at this share of the level, and reckoned with from here.
const STEP_POSSIBLE: f64 = 0.1;

/// Twofold.
const TWOFOLD: f64 = 2.0;

/// A contender that the rate follows.
#[derive(Debug, Clone)]
pub(crate) struct Claim {
    /// Who.
    pub rival: Rival,
    /// Its levels; empty for numbers.
    pub levels: Vec<String>,
    /// Whether the rate rises with its numbers.
    pub rises: bool,
    /// Rows of the levels; all for numbers.
    pub inside: Vec<usize>,
    /// As it stands accused.
    pub suspect: Suspect,
    /// Adjusted for the report.
    pub p_adjusted: f64,
    /// Units compared.
    pub units: usize,
    /// Rate of the levels over the rest, or over the range of its numbers.
    pub bound: Option<Bound>,
    /// Rivals that it met and beat.
    pub beaten: Vec<Rival>,
    /// Rivals that it did not meet or beat.
    pub open: Vec<(Rival, Vec<String>)>,
    /// What blames the same and cannot be told from it.
    pub beside: Vec<(Rival, Vec<String>)>,
    /// Panels that would settle it.
    pub panels: usize,
}

impl Claim {
    /// Whom it blames; nobody while rivals are open.
    pub(crate) fn cause(&self) -> Cause {
        if self.open.is_empty() {
            self.rival.cause()
        } else {
            Cause::Undecided
        }
    }
}

/// What is known about the rate of one kind of defect.
pub(crate) struct Account {
    /// Its streams.
    pub streams: Vec<usize>,
    /// Panels, indices into `Records::panels`.
    pub panels: Vec<usize>,
    /// Who is shown, the strongest first; those without open rivals are named.
    pub claims: Vec<Claim>,
    /// Everyone else who might, lots, suppliers and part numbers left out.
    pub quiet: Vec<Quiet>,
}

/// The accounts of all kinds of defect.
pub(crate) fn accounts(records: &Records, streams: &[Remainder<'_>], alpha: f64) -> Vec<Account> {
    let mut kinds: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (at, stream) in streams.iter().enumerate() {
        kinds.entry(stream.data.name).or_default().push(at);
    }
    let inspected = (records.panels.iter().enumerate()).filter(|(_, p)| p.inspected);
    let panels: Arc<[usize]> = inspected.map(|(i, _)| i).collect();
    let rows = Rows {
        records,
        panels: &panels,
    };
    let (cells, contenders) = (rows.cells(), recorded(&rows));
    let tables: Vec<(usize, Table<'_>)> = (kinds.par_iter())
        .map(|(name, members)| {
            let class = records.defect_names[*name].class;
            let contenders = of_class(&contenders, class);
            let at = (Arc::clone(&panels), Arc::clone(&cells), contenders);
            (*name, Table::of(records, streams, members, at))
        })
        .collect();
    let kinds = tables.len();
    let all: Vec<&Table<'_>> = tables.iter().map(|(_, t)| t).collect();
    let level = Level {
        report: alpha,
        own: alpha / kinds as f64,
    };
    (tables.par_iter().enumerate())
        .map(|(at, (_, table))| table.account((at, &all), level))
        .collect()
}

/// A share of the report's level.
#[derive(Debug, Clone, Copy)]
struct Level {
    report: f64,
    own: f64,
}

impl Level {
    fn shared(self, by: usize) -> Self {
        Self {
            own: self.own / by.max(1) as f64,
            ..self
        }
    }

    /// p for the whole report.
    fn adjusted(self, p: f64) -> f64 {
        (p * self.report / self.own).min(1.0)
    }
}

/// Panels, marks and contenders of a kind of defect.
struct Table<'a> {
    streams: Vec<usize>,
    records: &'a Records,
    panels: Arc<[usize]>,
    marks: Vec<f64>,
    areas: Vec<f64>,
    cells: Arc<[usize]>,
    responses: Vec<Response>,
    contenders: Vec<Recorded>,
}

impl<'a> Table<'a> {
    /// Cells without one mark of the kind count too: as none at all.
    fn of(
        records: &'a Records,
        streams: &[Remainder<'a>],
        members: &[usize],
        (panels, cells, contenders): (Arc<[usize]>, Arc<[usize]>, Vec<Recorded>),
    ) -> Table<'a> {
        let mut marks = vec![0.0; panels.len()];
        for stream in members.iter().map(|&m| &streams[m]) {
            for (panel, own) in stream.data.panels.iter().zip(&stream.marks) {
                if let Ok(row) = panels.binary_search(panel) {
                    marks[row] = *own;
                }
            }
        }
        let areas: Vec<f64> = panels
            .iter()
            .map(|&i| records.panels[i].area_m2())
            .collect();
        Table {
            streams: members.to_vec(),
            records,
            cells,
            contenders,
            responses: Response::rates(&marks, &areas),
            panels,
            marks,
            areas,
        }
    }

    fn account(&self, others: (usize, &[&Table<'_>]), level: Level) -> Account {
        let alone = self.alone();
        let step = alone.step.as_ref();
        let mut claims = Vec::new();
        for (at, recorded) in self.contenders.iter().enumerate() {
            if recorded.rival.is_met_only() {
                continue;
            }
            let share = level.shared(self.asked_beside(&recorded.rival));
            claims.extend(self.claims_of(at, &alone, share, others));
        }
        if let Some(step) = step.filter(|s| s.p_value <= level.own) {
            claims.extend(self.step_claim(step, level));
        }
        let claims = self.settled(claims, level);
        let quiet = self.quiet(&claims, step);
        Account {
            streams: self.streams.clone(),
            panels: self.panels.to_vec(),
            claims,
            quiet,
        }
    }

    /// Asks every contender alone.
    fn alone(&self) -> Alone {
        let batches = in_order((0..self.panels.len()).map(|at| {
            let lot = &self.records.panels[self.panels[at]].lot;
            (lot.as_deref(), at / 10)
        }));
        let mut alone = Alone {
            step: step(&self.responses[0], &self.cells, &batches),
            ..Alone::default()
        };
        for Recorded {
            rival, contender, ..
        } in &self.contenders
        {
            let shown = (!rival.is_met_only())
                .then(|| shown(&self.responses, contender))
                .flatten();
            let quiet = if rival.is_met_by_all() {
                let p = levels_differ(&self.responses[0], contender);
                *rival != Rival::Day && p.is_some_and(|p| p > SHOWS_NOTHING)
            } else {
                let nothing = |s: &Shown| s.could_show && s.p_value > SHOWS_NOTHING;
                shown.as_ref().is_some_and(nothing)
            };
            alone.shown.push(shown);
            alone.quiet.push(quiet);
        }
        alone
    }

    /// Contenders that blame the same.
    fn asked_beside(&self, rival: &Rival) -> usize {
        let cause = rival.cause();
        let same = |c: &&Recorded| c.rival.cause() == cause && !c.rival.is_met_only();
        self.contenders.iter().filter(same).count().max(1)
    }

    /// The levels of another contender that go with the accused panels.
    fn levels_with(&self, other: &Recorded, inside: &[usize]) -> Vec<String> {
        let Given::Levels(of, count) = &other.contender.given else {
            return Vec::new();
        };
        if inside.len() == self.panels.len() || other.levels.is_empty() {
            return Vec::new();
        }
        let mut panels = vec![0_usize; *count];
        for level in inside.iter().filter_map(|&at| of[at]) {
            panels[level] += 1;
        }
        let most = panels.iter().copied().max().unwrap_or(0).max(1);
        (0..*count)
            .filter(|&l| 2 * panels[l] >= most)
            .filter_map(|l| other.levels.get(l).cloned())
            .take(MOST_NAMED)
            .collect()
    }

    /// The rate steps at one moment, and what else changed there.
    fn step_claim(&self, step: &StepFound, level: Level) -> Option<Claim> {
        let given: Vec<Option<f64>> = step.sides.iter().map(|s| Some(*s as f64)).collect();
        let suspect = Suspect {
            given: given.into(),
            units: (0..self.panels.len()).collect(),
            blocks: self.cells.clone(),
            toward: Toward::Either,
            serial: true,
        };
        let bound = bound(&self.marks, &self.areas, &suspect)?;
        let rises = bound.ratio > 1.0;
        if bound.ratio.max(1.0 / bound.ratio) < WORTH_NAMING
            || !self.enough(&suspect, Accused::level(rises))
        {
            return None;
        }
        let mut open = Vec::new();
        for other in &self.contenders {
            if other.rival.is_met_by_all() || other.rival.is_told_only() {
                continue;
            }
            if meet(&self.responses, &suspect, &other.contender.classes()) == Meeting::Never
                || goes_with(&step.sides, &other.contender.classes())
            {
                let inside = suspect.inside();
                open.push((other.rival.clone(), self.levels_with(other, &inside)));
            }
        }
        Some(Claim {
            rival: Rival::Step,
            levels: Vec::new(),
            rises,
            inside: if rises {
                suspect.inside()
            } else {
                (0..step.at).collect()
            },
            p_adjusted: level.adjusted(step.p_value),
            units: self.panels.len(),
            bound: Some(bound),
            beaten: Vec::new(),
            panels: 0,
            open,
            beside: Vec::new(),
            suspect,
        })
    }

    /// Claims that stay beside each other: of one party the clearest and what it
    /// leaves, of those with open rivals what the named ones leave.
    fn settled(&self, mut claims: Vec<Claim>, level: Level) -> Vec<Claim> {
        let nobody = |c: &Claim| c.rival.cause() == Cause::Undecided;
        claims.sort_by(|a, b| {
            let key = |c: &Claim| (nobody(c), !c.open.is_empty());
            (key(a).cmp(&key(b))).then(a.p_adjusted.total_cmp(&b.p_adjusted))
        });
        let mut kept: Vec<Claim> = Vec::new();
        for claim in claims {
            let stays = kept.iter().all(|k| {
                let same = k.rival.cause() == claim.rival.cause();
                let open = !claim.open.is_empty() || nobody(&claim);
                if !same && !open {
                    return true;
                }
                // What the one before leaves.
                match meet(&self.responses, &claim.suspect, &classes_of(&k.suspect)) {
                    Meeting::Inside(f) => f.p_value <= level.own,
                    _ => false,
                }
            });
            if stays {
                kept.push(claim);
            }
        }
        kept
    }
}

/// What an accused contender gave, as classes.
fn classes_of(suspect: &Suspect) -> Vec<usize> {
    let scores = Contender {
        given: Given::Scores(suspect.given.clone()),
        units: suspect.units.clone(),
        blocks: suspect.blocks.clone(),
        toward: suspect.toward,
        by_neighbours: false,
    };
    scores.classes()
}

/// Whether nine tenths of the panels on either side have classes that the other
/// side hardly has.
fn goes_with(sides: &[usize], classes: &[usize]) -> bool {
    let count = classes.iter().max().map_or(0, |m| m + 1);
    let mut of = vec![[0_usize; 2]; count];
    for (side, class) in sides.iter().zip(classes) {
        of[*class][*side] += 1;
    }
    let apart: usize = of.iter().map(|c| c[0].max(c[1])).sum();
    let one: usize = of.iter().map(|c| c[0].min(c[1])).sum();
    apart > 0 && 10 * one < sides.len()
}

#[cfg(test)]
mod made {
    use super::*;

    /// A table of all panels with so many marks each, and who is recorded.
    pub(super) fn table(records: &Records, marks: Vec<f64>) -> Table<'_> {
        let panels: Vec<usize> = (0..records.panels.len()).collect();
        let rows = Rows {
            records,
            panels: &panels,
        };
        let areas: Vec<f64> = records.panels.iter().map(|p| p.area_m2()).collect();
        Table {
            streams: Vec::new(),
            records,
            cells: rows.cells(),
            contenders: recorded(&rows),
            responses: Response::rates(&marks, &areas),
            panels: panels.into(),
            marks,
            areas,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::{Moment, Panel};

    /// Panels every half an hour, twelve a day, as `fill` leaves them.
    fn panels(count: usize, fill: impl Fn(usize, &mut Panel)) -> Records {
        let panel = |i: usize| {
            let minutes = i64::try_from(1440 * (i / 12) + 30 * (i % 12)).unwrap();
            let local = jiff::civil::date(2031, 3, 3).at(6, 0, 0, 0);
            let local = local + jiff::Span::new().minutes(minutes);
            let instant = jiff::tz::TimeZone::UTC.to_timestamp(local).unwrap();
            let mut panel = Panel {
                sanded_at: Some(Moment { instant, local }),
                length_mm: 1000.0,
                width_mm: 1000.0,
                inspected: true,
                ..Panel::default()
            };
            fill(i, &mut panel);
            panel
        };
        Records {
            panels: (0..count).map(panel).collect(),
            ..Records::default()
        }
    }

    /// The claim against a rival, where these panels have a mark.
    fn claim(records: &Records, rival: &Rival, marked: impl Fn(usize) -> bool) -> Claim {
        let marks = (0..records.panels.len()).map(|i| f64::from(u8::from(marked(i))));
        let table = made::table(records, marks.collect());
        let level = Level {
            report: 0.05,
            own: 0.05,
        };
        let at = table.contenders.iter().position(|c| c.rival == *rival);
        let own = table.claims_of(at.unwrap(), &table.alone(), level, (0, &[&table]));
        own.unwrap()
    }

    fn open(claim: &Claim) -> Vec<&Rival> {
        claim.open.iter().map(|o| &o.0).collect()
    }

    #[test]
    fn a_machine_is_named_only_where_lots_are_recorded() {
        let of = |lots: bool| {
            panels(240, |i, panel| {
                panel.machine = Some(["M1", "M2"][i % 2].into());
                panel.lot = lots.then(|| format!("L{}", i / 4 % 8).into());
            })
        };
        let marked = |i: usize| i.is_multiple_of(2) && !i.is_multiple_of(3) || i.is_multiple_of(17);
        let without = claim(&of(false), &Rival::Machine, marked);
        assert!(open(&without).contains(&&Rival::Lot), "{without:#?}");
        let with = claim(&of(true), &Rival::Machine, marked);
        assert!(!open(&with).contains(&&Rival::Lot), "{with:#?}");
    }

    /// Of three lots each, two suppliers can be dealt out in 20 ways, of six each in
    /// 924: only these show by exchanges who made it.
    #[test]
    fn a_supplier_of_few_lots_is_told_apart_and_not_named() {
        let of = |lots: usize| {
            let records = panels(240, |i, panel| {
                let lot = i / 4 % lots;
                panel.machine = Some("M1".into());
                panel.supplier = Some(["S1", "S2"][lot % 2].into());
                panel.lot = Some(format!("L{lot}").into());
            });
            claim(&records, &Rival::Supplier, |i| {
                (i / 4 % lots).is_multiple_of(2) && i % 5 > 1 || i.is_multiple_of(19)
            })
        };
        let (few, many) = (of(6), of(12));
        assert!(open(&few).contains(&&Rival::Lot), "{few:#?}");
        assert!(!open(&many).contains(&&Rival::Lot), "{many:#?}");
    }

    /// M1 sands faster from half-way on and its marks come with it, M2 goes on as it was.
    #[test]
    fn machines_that_kept_the_setting_clear_the_time_only_if_they_show_no_step() {
        let records = panels(240, |i, panel| {
            panel.machine = Some(["M1", "M2"][i % 2].into());
            let faster = i % 2 == 0 && i >= 120;
            panel.feed_mm_s = Some(if faster { 150.0 } else { 100.0 });
            panel.lot = Some(format!("L{}", i / 4 % 8).into());
        });
        let alone = |i: usize| {
            i.is_multiple_of(2) && i >= 120 && !i.is_multiple_of(5) || i.is_multiple_of(23)
        };
        let own = claim(&records, &Rival::Feed, alone);
        assert!(!open(&own).contains(&&Rival::Step), "{own:#?}");
        // A step of M2 by less than half of M1's is a step all the same.
        let both = |i: usize| alone(i) || i % 2 == 1 && i >= 120 && i.is_multiple_of(3);
        let time = claim(&records, &Rival::Feed, both);
        assert!(open(&time).contains(&&Rival::Step), "{time:#?}");
    }
}
