//! How often a finding was seen on a set of panels.

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::beside::{Carried, carries};
use super::past::{Remembered, is_rate};
use super::place::Place;
use crate::causes::Finding;
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
    /// Share of panels hit, 0..1 and neither: with half a panel more on either
    /// side.
    pub(super) fn share(&self) -> f64 {
        (self.hits as f64 + 0.5) / (self.panels as f64 + 1.0)
    }

    /// Both together.
    pub(super) fn and(self, other: Seen) -> Seen {
        Seen {
            hits: self.hits + other.hits,
            panels: self.panels + other.panels,
            last: self.last.max(other.last),
        }
    }
}

/// What to count: the marks of one stream at a place, or on the panels that
/// carry a rate, or on all of them.
#[derive(Debug, Clone)]
pub(super) struct Subject<'a> {
    old: &'a Remembered,
    place: Option<Place>,
    /// Places of other findings of the stream: their marks are not its own.
    others: Vec<Place>,
    /// Which panels carry a rate, where its levels do not say.
    carried: Option<Carried>,
    /// The same finding as this report holds it: a place that moves is where
    /// this report found it too.
    now: Option<&'a Finding>,
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
        Self {
            old,
            place,
            others,
            carried: old.looked.and_then(|l| l.carried),
            now: None,
        }
    }

    /// The same, counted too where this report finds it.
    pub(super) fn also(mut self, now: Option<&'a Finding>) -> Self {
        self.now = now.filter(|_| self.place.is_some());
        self
    }

    /// The same where panels of this kind carry the rate.
    pub(super) fn carried_by(mut self, carried: Option<Carried>) -> Self {
        self.carried = carried;
        self
    }

    /// The same place, looked for `factor` times as far around.
    pub(super) fn around(mut self, factor: f64) -> Self {
        self.place = self.place.map(|place| place.wider(factor));
        self
    }

    /// Whether it is looked for at a place.
    pub(super) fn placed(&self) -> bool {
        self.place.is_some()
    }

    /// Counts over the panels that `counts` lets in, by index. Where none of
    /// them carries the rate (the lot is used up, the recipe was replaced), all
    /// panels of the stream count instead.
    pub(super) fn count(&self, records: &Records, counts: impl Fn(usize) -> bool) -> Seen {
        let mut own = self.covered(records, &counts, |told| {
            told.unwrap_or(self.carried.is_none())
        });
        if !own.contains(&true) {
            own = self.covered(records, &counts, |_| true);
        }
        if let Some(now) = self.now {
            let exposed = now.evidence.exposed.iter();
            exposed.for_each(|&panel| own[panel] |= counts(panel));
        }
        self.among(records, &own)
    }

    /// Whether marks on the panels that `counts` lets in can show that it goes on: of a
    /// rate only those on panels that are known to carry it.
    pub(super) fn can_show(&self, records: &Records, counts: impl Fn(usize) -> bool) -> bool {
        let of_all = self.old.rival.is_none() || !is_rate(&self.old.kind);
        let own = self.covered(records, &counts, |told| told == Some(true) || of_all);
        own.contains(&true)
    }

    /// The panels of its cell that `counts` lets in and `named` does, told whether
    /// they carry the rate.
    fn covered(
        &self,
        records: &Records,
        counts: &impl Fn(usize) -> bool,
        named: impl Fn(Option<bool>) -> bool,
    ) -> Vec<bool> {
        (records.panels.iter().enumerate())
            .map(|(k, panel)| {
                panel.inspected
                    && self.old.of_cell(panel)
                    && counts(k)
                    && self.place.as_ref().is_none_or(|place| place.on(panel))
                    && named(self.carries(panel))
            })
            .collect()
    }

    /// Counts over the panels that `counts` lets in and that do not carry the
    /// rate; none where nothing tells panels apart, or only one side has any.
    pub(super) fn outside(
        &self,
        records: &Records,
        counts: impl Fn(usize) -> bool,
    ) -> Option<Seen> {
        if self.place.is_some() {
            return None;
        }
        let of_cells = matches!(self.old.rival.as_deref(), Some("machine" | "head"));
        let side = |wanted: bool| -> Vec<bool> {
            (records.panels.iter().enumerate())
                .map(|(k, panel)| {
                    panel.inspected
                        && (of_cells || self.old.of_cell(panel))
                        && counts(k)
                        && self.carries(panel) == Some(wanted)
                })
                .collect()
        };
        let others = side(false);
        (others.contains(&true) && side(true).contains(&true)).then(|| self.among(records, &others))
    }

    fn carries(&self, panel: &Panel) -> Option<bool> {
        carries(self.old, self.carried, panel)
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
        for found in self.now.iter().flat_map(|now| &now.evidence.hits) {
            hit[found.panel] |= covered[found.panel];
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
}

/// The day on which a panel was sanded, else inspected.
pub(super) fn day(panel: &Panel) -> Option<Date> {
    (panel.sanded_at.or(panel.inspected_at)).map(|at| at.local.date())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A rate of lot B is shown by panels of lot B alone; a place by any panel.
    #[test]
    fn a_rate_shows_on_the_panels_that_carry_it_alone() {
        let lot = |name: &str| Panel {
            lot: Some(name.into()),
            inspected: true,
            ..Panel::default()
        };
        let records = Records {
            panels: vec![lot("A"), lot("B")],
            ..Records::default()
        };
        let of = |kind: &str| Remembered {
            kind: kind.into(),
            rival: Some("lot".into()),
            levels: vec!["B".into()],
            ..Remembered::default()
        };
        let shows = |old: &Remembered, on: usize| {
            Subject::new(old, &[], 0.0).can_show(&records, |panel| panel == on)
        };
        let (rate, other) = (of("rate"), of("spot"));
        assert_eq!([0, 1].map(|on| shows(&rate, on)), [false, true]);
        assert_eq!([0, 1].map(|on| shows(&other, on)), [true, true]);
        let unnamed = Remembered {
            rival: None,
            levels: Vec::new(),
            ..rate
        };
        assert!(shows(&unnamed, 0), "nothing tells panels apart");
    }
}
