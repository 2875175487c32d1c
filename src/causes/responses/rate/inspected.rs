//! Whether panels were inspected alike: else the station, not the accused, may differ.

use std::collections::BTreeSet;

use super::{LEAST_HIT, TWOFOLD, Table};

/// Hours beyond twofold by which panels are inspected later than others.
const LATER_HOURS: f64 = 2.0;

impl Table<'_> {
    /// Whether the accused panels were inspected much later, or sooner, after sanding
    /// than all others: what shows by then, or who looks, may differ.
    pub(super) fn delays_apart(&self, inside: &[usize]) -> bool {
        let inside: BTreeSet<usize> = inside.iter().copied().collect();
        let mut delays = [Vec::new(), Vec::new()];
        for (at, panel) in self.panels.iter().enumerate() {
            let panel = &self.records.panels[*panel];
            if let (Some(sanded), Some(seen)) = (panel.sanded_at, panel.inspected_at) {
                let hours = seen.instant.duration_since(sanded.instant).as_secs_f64() / 3600.0;
                delays[usize::from(inside.contains(&at))].push(hours);
            }
        }
        let ends = delays.map(|mut of| {
            of.sort_by(f64::total_cmp);
            // The tenth of each end may be anything.
            let tenth = of.len() / 10;
            Some((*of.get(tenth)?, *of.get(of.len().checked_sub(tenth + 1)?)?))
        });
        let [Some(others), Some(own)] = ends else {
            return false;
        };
        own.0 > TWOFOLD * others.1 + LATER_HOURS || others.0 > TWOFOLD * own.1 + LATER_HOURS
    }

    /// Whether no other panel has a mark of the kind: whoever inspects them may not
    /// write it down.
    pub(super) fn others_write_none(&self, inside: &[usize]) -> bool {
        let inside: BTreeSet<usize> = inside.iter().copied().collect();
        (self.marks.iter().enumerate()).all(|(at, marks)| *marks == 0.0 || inside.contains(&at))
    }

    /// Whether the accused machine writes other kinds down as others do, where there
    /// are any: else the station, not the machine, may differ.
    pub(super) fn records_alike(
        &self,
        inside: &[usize],
        (own, all): (usize, &[&Table<'_>]),
    ) -> bool {
        let machine = |t: &Table<'_>, at: usize| {
            t.records.panels[t.panels[at]]
                .machine
                .as_deref()
                .map(String::from)
        };
        let Some(&first) = inside.first() else {
            return false;
        };
        let accused = machine(self, first);
        (all.iter().enumerate())
            .filter(|(k, _)| *k != own)
            .all(|(_, t)| {
                let (mut here, mut there) = ((0.0, 0.0), (0.0, 0.0));
                for at in 0..t.panels.len() {
                    let side = if machine(t, at) == accused {
                        &mut here
                    } else {
                        &mut there
                    };
                    side.0 += t.marks[at];
                    side.1 += 1.0;
                }
                if here.0 + there.0 < 2.0 * LEAST_HIT as f64 || here.1 == 0.0 || there.1 == 0.0 {
                    return true;
                }
                let ratio = (here.0 + 0.5) / here.1 / ((there.0 + 0.5) / there.1);
                (1.0 / TWOFOLD..=TWOFOLD).contains(&ratio)
            })
    }
}

#[cfg(test)]
mod tests {
    use super::super::made::table;
    use crate::records::{Moment, Panel, Records};

    /// Twenty panels; the first ten are accused and inspected so many hours after
    /// sanding, but for one at once, the others so many.
    fn apart(own: i64, others: i64) -> bool {
        let at = |hours: i64| {
            let instant = jiff::Timestamp::from_second(3600 * hours).unwrap();
            let local = jiff::tz::TimeZone::UTC.to_datetime(instant);
            Some(Moment { instant, local })
        };
        let panel = |i: i64| Panel {
            sanded_at: at(i),
            inspected_at: at(i + match i {
                0 => 0,
                1..10 => own,
                _ => others,
            }),
            ..Panel::default()
        };
        let records = Records {
            panels: (0..20).map(panel).collect(),
            ..Records::default()
        };
        let table = table(&records, vec![0.0; 20]);
        table.delays_apart(&(0..10).collect::<Vec<usize>>())
    }

    #[test]
    fn panels_inspected_much_later_or_sooner_are_told() {
        // Twofold and two hours more is where it begins.
        let told = [(9, 3), (8, 3), (3, 9), (3, 8), (3, 3)].map(|(own, others)| apart(own, others));
        assert_eq!(told, [true, false, true, false, false]);
    }
}
