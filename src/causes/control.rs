//! The control: another machine or head that ran the same lots.
//!
//! Panels of one lot, part number, size and inspector are taken as exchangeable
//! between the machines unless a machine makes the repeat; so, given the hits on
//! each such group, the hits on this machine are a sum of independent
//! hypergeometric counts. One group gives Fisher's exact test. A group that only
//! one of them ran adds nothing: a design that only this machine sands, or a
//! station that only looks at this machine's panels, would stand in for it.

use std::collections::BTreeMap;

use super::reason::{Reason, Tally};
use super::tails::{binomial_at_least, hypergeometric};
use crate::records::Panel;

/// Level at which the difference counts.
const LEVEL: f64 = 0.01;

/// The control's hits must be at least this probable as background.
const UNREMARKABLE: f64 = 0.05;

/// What panels must have in common to stand in for each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Alike<'a> {
    lot: &'a str,
    part: Option<&'a str>,
    inspector: Option<&'a str>,
    /// Length and width to the millimetre: another size is another design even
    /// where part numbers are not recorded.
    size_mm: (i64, i64),
}

impl<'a> Alike<'a> {
    /// The panel's group; none without a lot.
    pub(super) fn of(panel: &'a Panel) -> Option<Self> {
        Some(Self {
            lot: panel.lot.as_deref()?,
            part: panel.part.as_deref(),
            inspector: panel.inspector.as_deref(),
            size_mm: (
                panel.length_mm.round() as i64,
                panel.width_mm.round() as i64,
            ),
        })
    }
}

/// Groups of panels that stand in for each other, on this machine and on the
/// control.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Strata<'a>(BTreeMap<Alike<'a>, Stratum>);

/// Which machine a panel was sanded on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum On {
    /// The machine that shows the repeat.
    This,
    /// Another.
    Control,
}

impl<'a> Strata<'a> {
    /// Counts an exposed panel; one without a lot stands in for none.
    pub(super) fn count(&mut self, panel: &'a Panel, on: On, hit: bool) {
        let Some(alike) = Alike::of(panel) else {
            return;
        };
        let s = self.0.entry(alike).or_default();
        match on {
            On::This => {
                s.exposed += 1;
                s.hits += usize::from(hit);
            }
            On::Control => {
                s.control_exposed += 1;
                s.control_hits += usize::from(hit);
            }
        }
    }

    /// Compares group by group; none if no group ran on both.
    pub(super) fn compare(&self, background: f64) -> Option<Control> {
        let both = || {
            self.0
                .iter()
                .filter(|(_, s)| s.exposed > 0 && s.control_exposed > 0)
        };
        let mut lots: Vec<&str> = both().map(|(alike, _)| alike.lot).collect();
        lots.dedup();
        let strata: Vec<Stratum> = both().map(|(_, s)| *s).collect();
        compare(&strata, lots.len(), background)
    }
}

/// One group on this machine and on the control.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
struct Stratum {
    /// Hits on this machine.
    hits: usize,
    /// Panels exposed on this machine.
    exposed: usize,
    /// Hits at the same place on the control.
    control_hits: usize,
    /// Panels exposed on the control.
    control_exposed: usize,
}

/// What the control says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Control {
    /// Lots that both ran.
    pub lots: usize,
    /// Hits on this machine, over those groups.
    pub hits: usize,
    /// Panels exposed on this machine.
    pub exposed: usize,
    /// Hits on the control.
    pub control_hits: usize,
    /// Panels exposed on the control.
    pub control_exposed: usize,
    /// One-sided exact p: this machine has more hits, given each group's.
    pub p_value: f64,
    /// Chance of the control's hits, or more, by background.
    pub control_by_chance: f64,
}

impl Control {
    /// Whether the control clears the part: a difference, and nothing
    /// remarkable there.
    pub(super) fn clears(&self) -> bool {
        self.p_value <= LEVEL && self.control_by_chance > UNREMARKABLE
    }

    /// The reason that it clears the part.
    pub(super) fn clearing(&self) -> Reason {
        Reason::ControlClears {
            lots: self.lots,
            here: Tally {
                hits: self.hits,
                exposed: self.exposed,
            },
            there: self.there(),
            p_value: self.p_value,
        }
    }

    /// Hits on the control.
    pub(super) fn there(&self) -> Tally {
        Tally {
            hits: self.control_hits,
            exposed: self.control_exposed,
        }
    }

    /// Whether the control shows the same repeat at the same place: more than
    /// background, and as often as here or at least half as often. Of machines that
    /// show what the parts bring, one always shows it most.
    pub(super) fn shows_it_too(&self) -> bool {
        self.control_by_chance <= 0.001 && !self.far_less_there()
    }

    /// Whether the control may show it too: its hits are remarkable, if only
    /// faintly, and not far fewer than here.
    pub(super) fn may_show_it_too(&self) -> bool {
        self.control_by_chance <= UNREMARKABLE && !self.far_less_there()
    }

    /// Whether it is rarer there by more than chance, and less than half as often.
    fn far_less_there(&self) -> bool {
        let here = self.hits * self.control_exposed;
        let there = self.control_hits * self.exposed;
        self.p_value <= LEVEL && 2 * there < here
    }
}

fn compare(both: &[Stratum], lots: usize, background: f64) -> Option<Control> {
    if both.is_empty() {
        return None;
    }
    let mut sums = Stratum::default();
    let mut chances = vec![1.0];
    for s in both {
        sums.hits += s.hits;
        sums.exposed += s.exposed;
        sums.control_hits += s.control_hits;
        sums.control_exposed += s.control_exposed;
        chances = convolve(&chances, &hits_of(s));
    }
    let p_value = chances[sums.hits..].iter().sum::<f64>().min(1.0);
    Some(Control {
        lots,
        hits: sums.hits,
        exposed: sums.exposed,
        control_hits: sums.control_hits,
        control_exposed: sums.control_exposed,
        p_value,
        control_by_chance: binomial_at_least(sums.control_hits, sums.control_exposed, background),
    })
}

/// Chances of 0, 1, … hits on this machine, given the group's hits.
fn hits_of(s: &Stratum) -> Vec<f64> {
    let total = s.exposed + s.control_exposed;
    let marked = s.hits + s.control_hits;
    let high = marked.min(s.exposed);
    (0..=high)
        .map(|j| hypergeometric(j, total, marked, s.exposed))
        .collect()
}

/// Chances of the sum of two independent counts.
pub(super) fn convolve(a: &[f64], b: &[f64]) -> Vec<f64> {
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
                strata.count(panel, On::This, i < *hits);
            }
            for i in 0..*control_exposed {
                strata.count(panel, On::Control, i < *control_hits);
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
        assert!(!control.shows_it_too() && control.may_show_it_too());
        // a few there, most here: something here adds to it
        let control = compared(&[[60, 93, 12, 207]]).unwrap();
        assert!(!control.clears() && !control.may_show_it_too());
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
            strata.count(&ours, On::This, i < 10);
            strata.count(&theirs, On::Control, false);
        }
        assert_eq!(strata.compare(0.01), None, "part A may bring the mark");
        for _ in 0..20 {
            strata.count(&ours, On::Control, false);
        }
        let control = strata.compare(0.01).unwrap();
        assert!(control.clears());
        assert_eq!((control.lots, control.control_exposed), (1, 20));
    }
}
