//! Which new finding may be an earlier one: of a machine that has another name
//! now, or a place that moved.

use super::past::{Past, Remembered};
use super::place::Place;
use super::{Life, State};
use crate::causes::Finding;
use crate::records::Records;

/// A place that is gone and one that begins then, in one stream, may be the same
/// thing moved if they are no farther apart, mm: about what a clamp, a stop or a
/// hose is shifted by when somebody works on it (common practice).
const MOVED_MM: f64 = 60.0;
/// Share of its hits, 0..1, that a finding which begins now has on the panels
/// since.
const BEGINS: f64 = 0.9;

/// A new finding and the earlier one that it may be.
#[derive(Debug, Clone, PartialEq)]
pub struct Twin {
    /// Id of the new finding.
    pub new: String,
    /// Id of the earlier one.
    pub old: String,
    /// Why it may be.
    pub why: Why,
}

/// Why two findings may be one.
#[derive(Debug, Clone, PartialEq)]
pub enum Why {
    /// Same place and kind; the earlier machine has no panel since, the other
    /// had none before.
    Machine {
        /// The earlier one's machine.
        before: String,
    },
    /// One is gone where the other begins, so far away, mm.
    Moved {
        /// Distance, mm.
        mm: f64,
    },
}

/// Whether a new finding may be an old one; `life` is the old one's and `fresh`
/// says which panels were sanded since the last report.
pub(super) fn twin(
    (old, life): (&Remembered, &Life),
    new: &Finding,
    past: &Past,
    records: &Records,
    fresh: &[bool],
    days: f64,
) -> Option<Why> {
    if old.defect != new.defect || old.head != new.head {
        return None;
    }
    let hits = &new.evidence.hits;
    let since = hits.iter().filter(|hit| fresh[hit.panel]).count();
    if (since as f64) < BEGINS * hits.len() as f64 {
        return None;
    }
    let place = Place::of(old, days)?;
    if old.machine == new.machine {
        let apart = place.apart(new)?;
        return (life.life == Some(State::Gone) && apart <= MOVED_MM)
            .then_some(Why::Moved { mm: apart });
    }
    let sanded = |machine: &Option<String>, wanted: bool| {
        let mut panels = records.panels.iter().zip(fresh);
        panels.any(|(panel, fresh)| {
            panel.machine.as_deref() == machine.as_deref() && *fresh == wanted
        })
    };
    let renamed = !sanded(&old.machine, true)
        && !sanded(&new.machine, false)
        && !past.machines.contains(&new.machine)
        && place.touches(new);
    let before = old.machine.clone().filter(|_| renamed)?;
    Some(Why::Machine { before })
}
