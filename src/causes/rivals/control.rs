//! The control: another machine or head that ran the same lots.
//!
//! Panels of one lot, part number, size and inspector are taken as exchangeable
//! between the machines unless a machine makes the repeat; so, given the hits on
//! each such group, the hits on this machine are a sum of independent
//! hypergeometric counts. One group gives Fisher's exact test. A group that only
//! one of them ran adds nothing: a design that only this machine sands, or a
//! station that only looks at this machine's panels, would stand in for it. A
//! control must also write down marks elsewhere, and other kinds, at a
//! comparable rate: where nothing is written, nothing is cleared.

use std::collections::BTreeMap;

use super::alike::Alike;
use crate::causes::tails::hypergeometric;
use crate::causes::{Reason, Tally};
use crate::records::Panel;

/// Level at which the difference counts.
const LEVEL: f64 = 0.01;

/// The control's hits must be at least this probable as background.
const UNREMARKABLE: f64 = 0.05;

/// Which machine a panel was sanded on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum On {
    /// The machine that shows the repeat.
    This,
    /// Another.
    Control,
}

/// What was written down of an exposed panel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Written {
    /// Whether it shows the repeat.
    pub hit: bool,
    /// Marks of the same kind elsewhere on it.
    pub elsewhere: usize,
    /// Marks of all other kinds on it.
    pub other_kinds: usize,
}

/// A panel in its group.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Entry {
    on: On,
    written: Written,
    /// When it was sanded, seconds since 1970.
    at: Option<i64>,
}

/// Groups of panels that stand in for each other, on this machine and on the
/// control.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Strata<'a>(BTreeMap<Alike<'a>, Vec<Entry>>);

impl<'a> Strata<'a> {
    /// Counts an exposed panel; one without a lot stands in for none.
    pub(crate) fn count(&mut self, panel: &'a Panel, on: On, written: Written) {
        if panel.lot.is_none() {
            return;
        }
        self.0.entry(Alike::of(panel)).or_default().push(Entry {
            on,
            written,
            at: panel.sanded_at.map(|at| at.instant.as_second()),
        });
    }

    /// Compares group by group; none if no group ran on both at a time.
    pub(crate) fn compare(&self, background: f64) -> Option<Control> {
        let mut lots: Vec<Option<&str>> = Vec::new();
        let mut strata: Vec<Stratum> = Vec::new();
        for (alike, entries) in &self.0 {
            let stratum = Stratum::of(entries);
            if stratum.here.tally.exposed > 0 && stratum.there.tally.exposed > 0 {
                lots.push(alike.lot);
                strata.push(stratum);
            }
        }
        lots.dedup();
        compare(&strata, lots.len(), background)
    }
}

/// The stretch of time in which both machines ran the group: one that took the
/// top of a pallet says nothing about its bottom. None where times are missing.
fn both_ran(entries: &[Entry]) -> Option<(i64, i64)> {
    let span = |on: On| {
        let times = entries.iter().filter(|e| e.on == on);
        times
            .map(|e| e.at.map(|at| (at, at)))
            .reduce(|a, b| a.zip(b).map(|(a, b)| (a.0.min(b.0), a.1.max(b.1))))?
    };
    let (here, there) = (span(On::This)?, span(On::Control)?);
    // the panel before and the one after the other's still lay beside it
    let step = |s: (i64, i64), on: On| {
        let n = entries.iter().filter(|e| e.on == on).count() as i64;
        (s.1 - s.0) / n.max(1)
    };
    let slack = step(here, On::This).max(step(there, On::Control));
    Some((here.0.max(there.0) - slack, here.1.min(there.1) + slack))
}

/// One group on this machine and on the control.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
struct Stratum {
    /// On this machine.
    here: Side,
    /// At the same place on the control.
    there: Side,
}

/// One side of a group.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
struct Side {
    tally: Tally,
    /// Marks elsewhere and of other kinds.
    rest: [usize; 2],
}

impl Stratum {
    fn of(entries: &[Entry]) -> Self {
        let both = both_ran(entries);
        let mut stratum = Self::default();
        for e in entries {
            if let (Some((first, last)), Some(at)) = (both, e.at)
                && !(first..=last).contains(&at)
            {
                continue;
            }
            let side = match e.on {
                On::This => &mut stratum.here,
                On::Control => &mut stratum.there,
            };
            side.tally.count(e.written.hit);
            side.rest[0] += e.written.elsewhere;
            side.rest[1] += e.written.other_kinds;
        }
        stratum
    }
}

/// Marks that the control must be expected to show before it can be said to
/// record too few.
const EXPECTED_MARKS: f64 = 5.0;

/// Share of the expected marks that a control must show to record alike.
const RECORDS_ALIKE: f64 = 0.5;

/// What the control says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Control {
    /// Lots that both ran.
    pub lots: usize,
    /// On this machine, over those groups.
    pub here: Tally,
    /// On the control.
    pub there: Tally,
    /// One-sided exact p: this machine has more hits, given each group's.
    pub p_value: f64,
    /// Chance of the control's hits, or more, by background.
    pub control_by_chance: f64,
    /// Whether the control writes down marks elsewhere, and other kinds, as this
    /// machine's panels lead to expect; false where too few are expected to tell.
    pub records_alike: bool,
}

impl Control {
    /// Whether the control clears the part: a difference, nothing remarkable
    /// there, and a control that would have written it down.
    pub(crate) fn clears(&self) -> bool {
        self.differs() && self.records_alike
    }

    /// Whether it is rarer there, whoever is to blame for that.
    pub(crate) fn differs(&self) -> bool {
        self.p_value <= LEVEL && self.control_by_chance > UNREMARKABLE
    }

    /// The reason that it clears the part.
    pub(crate) fn clearing(&self) -> Reason {
        Reason::ControlClears {
            lots: self.lots,
            here: self.here,
            there: self.there,
            p_value: self.p_value,
        }
    }

    /// Whether the control shows the same repeat at the same place: more than
    /// background, and as often as here or at least half as often. Of machines that
    /// show what the parts bring, one always shows it most.
    pub(crate) fn shows_it_too(&self) -> bool {
        self.control_by_chance <= 0.001 && !self.far_less_there()
    }

    /// Whether it is rarer there by more than chance, and less than half as often.
    fn far_less_there(&self) -> bool {
        let here = self.here.hits * self.there.exposed;
        let there = self.there.hits * self.here.exposed;
        self.p_value <= LEVEL && 2 * there < here
    }
}

fn compare(both: &[Stratum], lots: usize, background: f64) -> Option<Control> {
    if both.is_empty() {
        return None;
    }
    let (mut here, mut there) = (Tally::default(), Tally::default());
    let (mut expected, mut seen) = ([0.0; 2], [0; 2]);
    let mut chances = vec![1.0];
    for s in both {
        here = here + s.here.tally;
        there = there + s.there.tally;
        // each group's own rate: the machines' shares of groups differ
        let share = s.there.tally.exposed as f64 / s.here.tally.exposed as f64;
        for kind in 0..2 {
            expected[kind] += s.here.rest[kind] as f64 * share;
            seen[kind] += s.there.rest[kind];
        }
        chances = convolve(&chances, &hits_of(s));
    }
    let told: Vec<bool> = (0..2)
        .filter(|&kind| expected[kind] >= EXPECTED_MARKS)
        .map(|kind| seen[kind] as f64 >= RECORDS_ALIKE * expected[kind])
        .collect();
    Some(Control {
        lots,
        here,
        there,
        p_value: chances[here.hits..].iter().sum::<f64>().min(1.0),
        control_by_chance: there.at_least(background),
        records_alike: !told.is_empty() && told.iter().all(|alike| *alike),
    })
}

/// Chances of 0, 1, … hits on this machine, given the group's hits.
fn hits_of(s: &Stratum) -> Vec<f64> {
    let (here, all) = (s.here.tally, s.here.tally + s.there.tally);
    (0..=all.hits.min(here.exposed))
        .map(|j| hypergeometric(j, all.exposed, all.hits, here.exposed))
        .collect()
}

/// Chances of the sum of two independent counts.
pub(crate) fn convolve(a: &[f64], b: &[f64]) -> Vec<f64> {
    let mut out = vec![0.0; a.len() + b.len() - 1];
    for (i, x) in a.iter().enumerate() {
        for (j, y) in b.iter().enumerate() {
            out[i + j] += x * y;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn panel(lot: usize, part: &str) -> Panel {
        Panel {
            lot: Some(format!("K{lot}").into()),
            part: Some(part.into()),
            ..Panel::default()
        }
    }

    fn written(hit: bool) -> Written {
        Written {
            hit,
            elsewhere: 1,
            other_kinds: 1,
        }
    }

    /// Panels of one part in lots of (hits, exposed) here and on the control.
    fn compared(lots: &[[usize; 4]]) -> Option<Control> {
        compared_above(lots, 0.01)
    }

    /// The same with a background.
    fn compared_above(lots: &[[usize; 4]], background: f64) -> Option<Control> {
        let panels: Vec<Panel> = (0..lots.len()).map(|i| panel(i, "A")).collect();
        let mut strata = Strata::default();
        for (panel, [hits, exposed, control_hits, control_exposed]) in panels.iter().zip(lots) {
            for i in 0..*exposed {
                strata.count(panel, On::This, written(i < *hits));
            }
            for i in 0..*control_exposed {
                strata.count(panel, On::Control, written(i < *control_hits));
            }
        }
        strata.compare(background)
    }

    #[test]
    fn one_lot_is_fishers_exact_test() {
        // Exact integers: C(54,14)/C(60,20).
        let control = compared(&[[6, 20, 0, 40]]).unwrap();
        assert_relative_eq!(control.p_value, 7.742111774841173e-4, max_relative = 1e-12);
        assert!(control.clears());
    }

    #[test]
    fn two_lots_multiply_where_the_control_has_none() {
        // Both lots have all hits here: the chances of the extremes multiply.
        let one = compared(&[[3, 10, 0, 10]]).unwrap().p_value;
        let two = compared(&[[3, 10, 0, 10], [3, 10, 0, 10]]).unwrap();
        assert_relative_eq!(two.p_value, one * one, max_relative = 1e-12);
    }

    #[test]
    fn a_bad_lot_that_mostly_ran_here_is_no_contrast() {
        // Pooled, 36 of 45 against 1 of 41 would convict; lot by lot it does not.
        let control = compared(&[[36, 40, 1, 1], [0, 5, 0, 40]]).unwrap();
        assert!(control.p_value > 0.5);
        assert!(!control.clears());
    }

    #[test]
    fn a_control_that_shows_the_same_does_not_clear() {
        let control = compared(&[[10, 20, 9, 20]]).unwrap();
        assert!(!control.clears() && control.shows_it_too());
        // the one of several machines that happens to show it most
        let control = compared(&[[80, 93, 150, 207]]).unwrap();
        assert!(control.p_value < LEVEL && control.shows_it_too());
        // written in coarse steps, so that chance puts many there anyway
        let control = compared_above(&[[48, 165, 22, 135]], 0.103).unwrap();
        assert!(!control.shows_it_too());
        // a few there, most here: something here adds to it
        let control = compared(&[[60, 93, 12, 207]]).unwrap();
        assert!(!control.clears() && !control.shows_it_too());
    }

    #[test]
    fn without_a_common_lot_there_is_no_control() {
        assert_eq!(compared(&[[5, 10, 0, 0], [0, 0, 0, 10]]), None);
    }

    #[test]
    fn a_design_that_only_this_machine_sands_has_no_control() {
        let (ours, theirs) = (panel(1, "A"), panel(1, "B"));
        let mut strata = Strata::default();
        for i in 0..20 {
            strata.count(&ours, On::This, written(i < 10));
            strata.count(&theirs, On::Control, written(false));
        }
        assert_eq!(strata.compare(0.01), None, "part A may bring the mark");
        for _ in 0..20 {
            strata.count(&ours, On::Control, written(false));
        }
        let control = strata.compare(0.01).unwrap();
        assert!(control.clears());
        assert_eq!((control.lots, control.there.exposed), (1, 20));
    }

    #[test]
    fn a_control_that_writes_little_down_clears_nothing() {
        let panel = panel(1, "A");
        let compared = |there: Written| {
            let mut strata = Strata::default();
            for i in 0..40 {
                strata.count(&panel, On::This, written(i % 3 == 0));
                strata.count(&panel, On::Control, there);
            }
            strata.compare(0.01).unwrap()
        };
        let nothing = Written {
            hit: false,
            elsewhere: 0,
            other_kinds: 0,
        };
        assert!(compared(written(false)).clears());
        for there in [
            nothing,
            Written {
                elsewhere: 1,
                ..nothing
            },
            Written {
                other_kinds: 1,
                ..nothing
            },
        ] {
            let control = compared(there);
            assert!(control.differs() && !control.clears(), "{there:?}");
        }
    }

    #[test]
    fn the_top_of_a_pallet_is_no_control_of_its_bottom() {
        let at = |second: i64| {
            let instant = jiff::Timestamp::from_second(second).unwrap();
            let local = jiff::tz::TimeZone::UTC.to_datetime(instant);
            Panel {
                sanded_at: Some(crate::records::Moment { instant, local }),
                ..panel(1, "A")
            }
        };
        let panels: Vec<Panel> = (0..80).map(|i| at(60 * i)).collect();
        let compare = |control: fn(usize) -> bool| {
            let mut strata = Strata::default();
            for (i, panel) in panels.iter().enumerate() {
                let on = if control(i) { On::Control } else { On::This };
                strata.count(panel, on, written(on == On::This && i % 3 == 0));
            }
            strata.compare(0.01)
        };
        assert!(compare(|i| i % 2 == 1).is_some_and(|c| c.clears()));
        assert!(compare(|i| i >= 40).is_none_or(|c| !c.clears()));
    }
}
