//! How often a finding was seen on a set of panels.

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::past::Remembered;
use super::place::Place;
use crate::records::{Panel, Records};

/// How often a finding was seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Seen {
    /// Panels that show it.
    pub hits: usize,
    /// Panels that could.
    pub panels: usize,
    /// Day on which the last panel that shows it was sanded.
    #[serde(skip)]
    pub last: Option<Date>,
}

impl Seen {
    /// Both together.
    pub(super) fn and(self, other: Seen) -> Seen {
        Seen {
            hits: self.hits + other.hits,
            panels: self.panels + other.panels,
            last: self.last.max(other.last),
        }
    }
}

/// What to count: the marks of one stream at a place, or on the panels of some
/// levels of a column, or all of them.
#[derive(Debug, Clone)]
pub(super) struct Subject<'a> {
    old: &'a Remembered,
    place: Option<Place>,
    /// Places of other findings of the stream: their marks are not its own.
    others: Vec<Place>,
}

impl<'a> Subject<'a> {
    /// Of a finding among all that are remembered, `days` days later.
    pub(super) fn new(old: &'a Remembered, all: &'a [&Remembered], days: f64) -> Self {
        let place = Place::of(old, days);
        let others = if place.is_some() {
            Vec::new()
        } else {
            (all.iter())
                .filter(|o| o.id != old.id && o.same_stream(old))
                .filter_map(|o| Place::of(o, days))
                .collect()
        };
        Self { old, place, others }
    }

    /// Whether it is looked for at a place.
    pub(super) fn placed(&self) -> bool {
        self.place.is_some()
    }

    /// Counts over the panels that `counts` lets in, by index. Where none of
    /// them is of the named levels (the lot is used up, the recipe was
    /// replaced), all panels of the stream count instead.
    pub(super) fn count(&self, records: &Records, counts: impl Fn(usize) -> bool) -> Seen {
        let of = |named: bool| -> Vec<bool> {
            (records.panels.iter().enumerate())
                .map(|(k, panel)| {
                    panel.inspected
                        && self.old.of_cell(panel)
                        && counts(k)
                        && self.place.as_ref().is_none_or(|place| place.on(panel))
                        && (!named || self.of_levels(panel))
                })
                .collect()
        };
        let mut covered = of(true);
        if !covered.contains(&true) {
            covered = of(false);
        }
        self.among(records, &covered)
    }

    /// Counts over the stream's panels outside the named levels; none where no
    /// level is named or all panels are of them.
    pub(super) fn outside(&self, records: &Records) -> Option<Seen> {
        if self.old.levels.is_empty() || self.place.is_some() {
            return None;
        }
        let covered: Vec<bool> = (records.panels.iter())
            .map(|panel| panel.inspected && self.old.of_cell(panel) && !self.of_levels(panel))
            .collect();
        Some(self.among(records, &covered)).filter(|seen| seen.panels > 0)
    }

    fn among(&self, records: &Records, covered: &[bool]) -> Seen {
        let kind = (records.defect_names.iter()).position(|n| n.name == self.old.defect);
        let mut hit = vec![false; records.panels.len()];
        for defect in &records.defects {
            if Some(defect.name) == kind && covered[defect.panel] {
                let panel = &records.panels[defect.panel];
                let own = match (&self.place, defect.place) {
                    (Some(place), Some(at)) => place.holds(panel, at),
                    (Some(_), None) => false,
                    (None, Some(at)) => !self.others.iter().any(|o| o.holds(panel, at)),
                    (None, None) => true,
                };
                hit[defect.panel] |= own;
            }
        }
        let last = (hit.iter().zip(&records.panels))
            .filter(|(hit, _)| **hit)
            .filter_map(|(_, panel)| day(panel))
            .max();
        Seen {
            hits: hit.iter().filter(|h| **h).count(),
            panels: covered.iter().filter(|c| **c).count(),
            last,
        }
    }

    fn of_levels(&self, panel: &Panel) -> bool {
        if self.old.levels.is_empty() {
            return true;
        }
        let Some(rival) = self.old.rival.as_deref() else {
            return true;
        };
        let own = match rival {
            "lot" => panel.lot.as_deref(),
            "supplier" => panel.supplier.as_deref(),
            "part" => panel.part.as_deref(),
            "recipe" => panel.recipe.as_deref(),
            "fixture" => panel.fixture.as_deref(),
            "inspector" => panel.inspector.as_deref(),
            "abrasive_id" => panel.abrasive_id.as_deref(),
            "grit" => panel.grit.as_ref().map(|g| g.label.as_str()),
            // The machine and the head are the stream; the rest are numbers or times.
            _ => return true,
        };
        own.is_some_and(|own| self.old.levels.iter().any(|level| level == own))
    }
}

/// The day on which a panel was sanded, else inspected.
pub(super) fn day(panel: &Panel) -> Option<Date> {
    (panel.sanded_at.or(panel.inspected_at)).map(|at| at.local.date())
}
