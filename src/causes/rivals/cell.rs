//! The machine, its heads and its fixtures.

use super::{Recorded, Rows};
use crate::causes::Rival;
use crate::duel::{Contender, Given, Toward, codes, in_order, stretches};

/// Machines and heads are compared day by day, the panels of a lot that one of
/// them sanded on a day being a unit; fixtures by their stretches.
pub(super) fn contenders(rows: &Rows<'_>) -> Vec<Recorded> {
    let days = rows.days();
    let lots = rows.each(|p| p.lot.as_deref());
    let cells = rows.cells();
    let parts_of_a_day = || in_order((0..cells.len()).map(|at| (cells[at], days[at], lots[at])));
    let text = |of: Option<&std::sync::Arc<str>>| of.map(|t| t.to_string());

    let (machine, machines) = codes(&rows.each(|p| text(p.machine.as_ref())));
    let heads = rows.each(|p| Some((text(p.machine.as_ref()), text(Some(p.head.as_ref()?))?)));
    let (head, head_names) = codes(&heads);
    let nests = rows.each(|p| Some((text(p.machine.as_ref()), text(Some(p.fixture.as_ref()?))?)));
    let (fixture, fixture_names) = codes(&nests);
    let of_machine = |names: Vec<(Option<String>, String)>| -> Vec<String> {
        names.into_iter().map(|(_, name)| name).collect()
    };
    let machine_of = in_order(machine.iter().copied());
    // Where every machine has one head, a head is its machine.
    let heads_differ = head_names.len() > machines.len();
    let mut all = vec![
        Recorded {
            rival: Rival::Machine,
            contender: Contender {
                given: Given::Levels(machine, machines.len()),
                units: parts_of_a_day(),
                blocks: in_order(days.iter().copied()),
                toward: Toward::Rises,
                by_neighbours: false,
            },
            levels: machines,
        },
        Recorded {
            rival: Rival::Head,
            contender: Contender {
                given: Given::Levels(head, head_names.len()),
                units: parts_of_a_day(),
                blocks: in_order((0..days.len()).map(|at| (machine_of[at], days[at]))),
                toward: Toward::Rises,
                by_neighbours: false,
            },
            levels: of_machine(head_names),
        },
        Recorded {
            rival: Rival::Fixture,
            contender: Contender {
                units: stretches(&fixture, &cells),
                given: Given::Levels(fixture, fixture_names.len()),
                blocks: cells,
                toward: Toward::Rises,
                by_neighbours: true,
            },
            levels: of_machine(fixture_names),
        },
    ];
    all.retain(|r| heads_differ || r.rival != Rival::Head);
    all
}
