//! Who may have made it: the recorded contenders, one file each family. What
//! their levels are, what of them was given out at once, and whom they blame.

mod abrasive;
mod cell;
pub(super) mod contrast;
pub(super) mod control;
pub(super) mod follows;
pub(super) mod frame_duel;
pub(super) mod frames;
mod incoming;
mod inspection;
pub(super) mod inspector;
pub(super) mod lots;
pub(super) mod onset;
pub(super) mod periodic;
mod recipe;
mod time;
pub(super) mod together;

use std::collections::BTreeMap;

use super::{Cause, Rival};
use crate::duel::{Contender, Given, in_order};
use crate::records::{Panel, Records};
use crate::site::DefectClass;

pub(super) use time::{StepFound, step};

/// A level needs so many panels for its contender to vary.
const LEAST_PANELS: usize = 3;

/// Of the panels, so many tenths must have it recorded.
const LEAST_TENTHS_RECORDED: usize = 5;

/// A recorded contender.
#[derive(Debug, Clone)]
pub(super) struct Recorded {
    /// Who.
    pub rival: Rival,
    /// The names of its levels; empty for numbers.
    pub levels: Vec<String>,
    /// How it was given out.
    pub contender: Contender,
}

/// Panels of one response, in time order.
#[derive(Debug, Clone, Copy)]
pub(super) struct Rows<'a> {
    /// The records.
    pub records: &'a Records,
    /// Indices into `Records::panels`.
    pub panels: &'a [usize],
    /// The class of the defect: the trade's law says which way sanding goes.
    pub class: Option<DefectClass>,
}

impl<'a> Rows<'a> {
    fn each<T>(&self, of: impl Fn(&'a Panel) -> T) -> Vec<T> {
        let panels = self.panels.iter().map(|&i| &self.records.panels[i]);
        panels.map(of).collect()
    }

    /// Machine and head of every panel as a number.
    pub(super) fn cells(&self) -> Vec<usize> {
        in_order(self.each(|p| (p.machine.as_deref(), p.head.as_deref())))
    }

    /// The day, where recorded.
    fn days(&self) -> Vec<Option<i64>> {
        self.each(day_of)
    }
}

/// A number for the day on which a panel was sanded, where recorded.
pub(super) fn day_of(panel: &Panel) -> Option<i64> {
    let date = panel.sanded_at?.local.date();
    Some(i64::from(date.year()) * 400 + i64::from(date.day_of_year()))
}

/// All contenders that are recorded and vary.
pub(super) fn recorded(rows: &Rows<'_>) -> Vec<Recorded> {
    let mut all = Vec::new();
    all.extend(cell::contenders(rows));
    all.extend(incoming::contenders(rows));
    all.extend(recipe::contenders(rows));
    all.extend(abrasive::contenders(rows));
    all.extend(inspection::contenders(rows));
    all.extend(time::contenders(rows));
    all.retain(|r| varies(&r.contender));
    all
}

/// Recorded on half of the panels or more, and not the same on all but a few.
fn varies(contender: &Contender) -> bool {
    let (known, commonest) = match &contender.given {
        Given::Levels(of, count) => {
            let mut panels = vec![0_usize; *count];
            for level in of.iter().flatten() {
                panels[*level] += 1;
            }
            (panels.iter().sum::<usize>(), panels.iter().copied().max())
        }
        Given::Scores(scores) => {
            let mut known: Vec<f64> = scores.iter().flatten().copied().collect();
            known.sort_by(f64::total_cmp);
            let most = known.chunk_by(|a, b| a == b).map(<[f64]>::len).max();
            (known.len(), most)
        }
    };
    LEAST_TENTHS_RECORDED * contender.units.len() <= 10 * known
        && known - commonest.unwrap_or(known) >= LEAST_PANELS
}

/// Whom a rival stands for.
pub(super) fn cause_of(rival: &Rival) -> Cause {
    match rival {
        Rival::Machine | Rival::Head | Rival::Fixture => Cause::Machine,
        Rival::Lot | Rival::Supplier | Rival::Part | Rival::Size | Rival::Film | Rival::Panel => {
            Cause::Part
        }
        Rival::Recipe
        | Rival::Feed
        | Rival::Passes
        | Rival::Force
        | Rival::Grit
        | Rival::SandingDone
        | Rival::Removal
        | Rival::AbrasiveAge
        | Rival::AbrasiveId
        | Rival::Factor(_) => Cause::Recipe,
        Rival::Inspector | Rival::Table => Cause::Inspection,
        Rival::Lay
        | Rival::Day
        | Rival::Weekday
        | Rival::Shift
        | Rival::Hour
        | Rival::FirstOfDay
        | Rival::Step
        | Rival::Trend => Cause::Undecided,
    }
}

/// Time, and how panels lay: rivals of everybody and never shown themselves; what
/// goes with them has a name of its own, or none.
pub(super) fn is_met_only(rival: &Rival) -> bool {
    matches!(
        rival,
        Rival::Lay | Rival::Day | Rival::Weekday | Rival::Hour
    )
}

/// The place of every panel in its stretch, counted from 1.
pub(super) fn place_within(stretches: &[usize]) -> Vec<Option<f64>> {
    let mut seen: BTreeMap<usize, usize> = BTreeMap::new();
    let place = |stretch: &usize| {
        let before = seen.entry(*stretch).or_default();
        *before += 1;
        Some(*before as f64)
    };
    stretches.iter().map(place).collect()
}
