//! The machine, its heads and its fixtures.

use std::sync::Arc;

use super::{Recorded, Rows, text};
use crate::causes::Rival;
use crate::duel::{codes, in_order};
use crate::records::Panel;

/// Machines and heads are compared day by day, the panels of a lot that one of
/// them sanded on a day being a unit; fixtures by their stretches.
pub(super) fn contenders(rows: &Rows<'_>) -> Vec<Recorded> {
    let days = rows.days();
    let lots = rows.each(|p| p.lot.as_deref());
    let cells = rows.cells();
    let machines = rows.each(|p| text(&p.machine));
    let machine_of = in_order(machines.iter());
    let parts_of_a_day = in_order((0..cells.len()).map(|at| (cells[at], days[at], lots[at])));
    let parts_of_a_day: Arc<[usize]> = parts_of_a_day.into();
    let day_by_day = |rival, values: &[Option<String>], blocks: Vec<usize>| {
        let units = Arc::clone(&parts_of_a_day);
        Recorded::in_stretches(rival, values, blocks.into()).in_units(units)
    };
    // heads and nests of different machines are not the same
    let of_machine =
        |of: fn(&Panel) -> &Option<Arc<str>>| rows.each(|p| Some((text(&p.machine), text(of(p))?)));
    let (heads, nests) = (of_machine(|p| &p.head), of_machine(|p| &p.fixture));
    let days_of_machine = in_order((0..days.len()).map(|at| (machine_of[at], days[at])));
    let mut all = vec![
        day_by_day(Rival::Machine, &machines, in_order(days.iter().copied())),
        day_by_day(Rival::Head, &numbered(&heads), days_of_machine),
        Recorded::in_stretches(Rival::Fixture, &numbered(&nests), cells),
    ];
    for (recorded, of) in all[1..].iter_mut().zip([&heads, &nests]) {
        recorded.levels = codes(of).1.into_iter().map(|(_, name)| name).collect();
    }
    // Where every machine has one head, a head is its machine.
    let heads_differ = all[1].levels.len() > all[0].levels.len();
    all.retain(|r| heads_differ || r.rival != Rival::Head);
    all
}

/// Names that are apart on different machines.
fn numbered(values: &[Option<(Option<String>, String)>]) -> Vec<Option<String>> {
    let (codes, _) = codes(values);
    codes
        .iter()
        .map(|code| Some((*code)?.to_string()))
        .collect()
}
