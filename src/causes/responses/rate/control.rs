//! One change of a setting is a moment in time as well. Other machines that
//! sanded through that moment without the change clear the time: they show no
//! step there, and after it (or before) they differ from the machine that changed.

use std::collections::BTreeSet;

use super::met::{DIFFERENCE_LEFT, beats};
use super::{SHOWS_NOTHING, Table};
use crate::causes::Rival;
use crate::duel::{Follows, Shown, Suspect, Toward, follows};

/// A change that other machines did not make.
pub(super) struct Control {
    /// Rows compared: from the first …
    first: usize,
    /// … over the first after the change …
    moment: usize,
    /// … to the last.
    last: usize,
    /// Machines and heads that changed.
    changed: BTreeSet<usize>,
}

impl Table<'_> {
    /// The change and its control, if the control clears the time.
    pub(super) fn control(&self, shown: &Shown, whole: &Suspect, level: f64) -> Option<Control> {
        let given = &shown.suspect.given;
        let inside: Vec<usize> = (0..given.len()).filter(|&at| given[at].is_some()).collect();
        let (&first, &last) = (inside.first()?, inside.last()?);
        let moment = inside
            .iter()
            .copied()
            .find(|&at| given[at] != given[first])?;
        let changed: BTreeSet<usize> = inside.iter().map(|&at| self.cells[at]).collect();
        let panels = |given: &dyn Fn(usize) -> Option<f64>| Suspect {
            given: (0..self.panels.len())
                .map(|at| given(at).filter(|_| (first..=last).contains(&at)))
                .collect(),
            units: (0..self.panels.len()).collect(),
            blocks: vec![0; self.panels.len()].into(),
            toward: Toward::Either,
            serial: true,
        };
        let after = |at: usize| f64::from(u8::from(at >= moment));
        let control = panels(&|at| (!changed.contains(&self.cells[at])).then(|| after(at)));
        let steady = |f: Follows| {
            f.p_value > SHOWS_NOTHING
                && f.difference.abs() <= DIFFERENCE_LEFT * shown.follows.difference.abs()
        };
        let across = Suspect {
            toward: whole.toward,
            ..panels(&|at| whole.given[at])
        };
        let sides: Vec<usize> = (0..self.panels.len())
            .map(|at| usize::from(at >= moment))
            .collect();
        let clears = follows(&self.responses, &control, None).is_some_and(steady)
            && follows(&self.responses, &across, Some(&sides))
                .is_some_and(|f| beats(&f, &shown.follows, level, false));
        clears.then_some(Control {
            first,
            moment,
            last,
            changed,
        })
    }

    /// Whether the machines that did not change got the same of a rival, before the
    /// moment and after it, on most of their panels.
    pub(super) fn had_it_too(&self, control: &Control, shown: &Shown, rival: &Rival) -> bool {
        let Some(other) = self.contenders.iter().find(|c| c.rival == *rival) else {
            return false;
        };
        let classes = other.contender.classes();
        let Control {
            first,
            moment,
            last,
            changed,
        } = control;
        [*first..*moment, *moment..last + 1]
            .into_iter()
            .all(|side| {
                let own: BTreeSet<usize> = (side.clone())
                    .filter(|at| shown.suspect.given[*at].is_some())
                    .map(|at| classes[at])
                    .collect();
                let beside = side.filter(|at| !changed.contains(&self.cells[*at]));
                let (had, all) = beside.fold((0, 0), |(had, all), at| {
                    (had + usize::from(own.contains(&classes[at])), all + 1)
                });
                2 * had > all
            })
    }
}

#[cfg(test)]
mod tests {
    use super::super::made::table;
    use super::*;
    use crate::records::{Panel, Records};

    /// M1 changes half-way, when its inspector does; of M2's panels so many of ten have
    /// that inspector before and after it.
    fn had(of_ten: usize) -> bool {
        let panel = |i: usize| {
            let first = if i.is_multiple_of(2) {
                i < 40
            } else {
                (i / 2 % 10 < of_ten) == (i < 40)
            };
            Panel {
                machine: Some(["M1", "M2"][i % 2].into()),
                inspector: Some(if first { "I1" } else { "I2" }.into()),
                length_mm: 1000.0,
                width_mm: 1000.0,
                ..Panel::default()
            }
        };
        let records = Records {
            panels: (0..80).map(panel).collect(),
            ..Records::default()
        };
        let table = table(&records, vec![0.0; 80]);
        let follows = Follows {
            p_value: 0.01,
            exchanged: 0.01,
            difference: 0.5,
            units: 2,
            left: 1.0,
        };
        let given = |i: usize| (i.is_multiple_of(2)).then(|| f64::from(u8::from(i >= 40)));
        let shown = Shown {
            level: None,
            suspect: Suspect {
                given: (0..80).map(given).collect(),
                units: (0..80).collect(),
                blocks: vec![0; 80].into(),
                toward: Toward::Rises,
                serial: true,
            },
            p_value: 0.01,
            asked: 1,
            follows,
            borders: Some(false),
            could_show: true,
        };
        let control = Control {
            first: 0,
            moment: 40,
            last: 79,
            changed: [0].into(),
        };
        table.had_it_too(&control, &shown, &Rival::Inspector)
    }

    #[test]
    fn a_rival_that_most_panels_of_the_others_had_is_no_rival() {
        assert_eq!([0, 4, 5, 6, 10].map(had), [false, false, false, true, true]);
    }
}
