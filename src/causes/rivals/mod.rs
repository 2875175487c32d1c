//! Who may have made it: the recorded contenders, one file each family. What
//! their levels are, what of them was given out at once, and whom they blame.

mod abrasive;
pub(super) mod alike;
mod cell;
pub(super) mod contrast;
pub(super) mod control;
pub(super) mod follows;
pub(super) mod frame_duel;
pub(super) mod frames;
pub(super) mod goes_with;
mod incoming;
mod inspection;
pub(super) mod inspector;
pub(super) mod lots;
mod mirrored;
mod named;
pub(super) mod onset;
pub(super) mod periodic;
mod recipe;
mod time;
pub(super) mod together;

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::duel::{Contender, Given, Toward, codes, in_order, stretches};
use crate::records::{Panel, Records};
use crate::site::DefectClass;

pub use named::Rival;
pub(crate) use time::time_level;
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

impl Recorded {
    /// Levels whose stretches within a block were given out at once, or whose
    /// panels are compared with their neighbours in time.
    fn in_stretches(rival: Rival, values: &[Option<String>], blocks: Arc<[usize]>) -> Self {
        let (of, levels) = codes(values);
        Self {
            rival,
            contender: Contender {
                units: stretches(&of, &blocks).into(),
                given: Given::Levels(of.into(), levels.len()),
                blocks,
                toward: Toward::Rises,
                by_neighbours: true,
            },
            levels,
        }
    }

    /// The same with other units, which are compared as they are.
    fn in_units(mut self, units: impl Into<Arc<[usize]>>) -> Self {
        self.contender.units = units.into();
        self.contender.by_neighbours = false;
        self
    }

    /// Numbers, compared within blocks, the panels of a unit given one at once.
    fn numbers(
        rival: Rival,
        scores: Vec<Option<f64>>,
        (units, blocks): (Vec<usize>, Arc<[usize]>),
        toward: Toward,
    ) -> Self {
        Self {
            rival,
            levels: Vec::new(),
            contender: Contender {
                given: Given::Scores(scores.into()),
                units: units.into(),
                blocks,
                toward,
                by_neighbours: false,
            },
        }
    }
}

/// Panels, in time order.
#[derive(Debug, Clone, Copy)]
pub(super) struct Rows<'a> {
    /// The records.
    pub records: &'a Records,
    /// Indices into `Records::panels`.
    pub panels: &'a [usize],
}

impl<'a> Rows<'a> {
    fn each<T>(&self, of: impl Fn(&'a Panel) -> T) -> Vec<T> {
        let panels = self.panels.iter().map(|&i| &self.records.panels[i]);
        panels.map(of).collect()
    }

    /// Machine and head of every panel as a number.
    pub(super) fn cells(&self) -> Arc<[usize]> {
        in_order(self.each(|p| (p.machine.as_deref(), p.head.as_deref()))).into()
    }

    /// The day, where recorded.
    fn days(&self) -> Vec<Option<i64>> {
        self.each(day_of)
    }
}

/// A column's text.
fn text(value: &Option<Arc<str>>) -> Option<String> {
    value.as_deref().map(String::from)
}

/// A number for the day on which a panel was sanded, where recorded.
fn day_of(panel: &Panel) -> Option<i64> {
    let date = panel.sanded_at?.local.date();
    Some(i64::from(date.year()) * 400 + i64::from(date.day_of_year()))
}

/// All contenders that are recorded and vary, for kinds of any class.
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

/// The same for one class: the trade's law says which way sanding goes.
pub(super) fn of_class(all: &[Recorded], class: Option<DefectClass>) -> Vec<Recorded> {
    let mut own = all.to_vec();
    for recorded in &mut own {
        if let Some(toward) = recipe::toward(&recorded.rival, class) {
            recorded.contender.toward = toward;
        }
    }
    own
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
