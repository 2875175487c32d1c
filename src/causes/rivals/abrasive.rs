//! The abrasive: its age, and which disc, belt or batch.

use std::collections::BTreeMap;

use super::{Recorded, Rows, place_within, text};
use crate::causes::Rival;
use crate::duel::{Toward, in_order};

/// Parts of a life that are exchanged as units.
const PARTS: usize = 3;

/// Ages are compared inside lives, by thirds of each; discs and batches by their
/// stretches, or their panels against their neighbours in time.
pub(super) fn contenders(rows: &Rows<'_>) -> Vec<Recorded> {
    let cells = rows.cells();
    let id = rows.each(|p| text(&p.abrasive_id));
    let ages = rows.each(|p| p.abrasive_age);
    let lives = lives(&ages, &id, &cells);
    let parts = (thirds(&lives), lives.into());
    vec![
        Recorded::numbers(Rival::AbrasiveAge, ages, parts, Toward::Either),
        Recorded::in_stretches(Rival::AbrasiveId, &id, cells),
    ]
}

/// A new life begins where the age falls or another abrasive comes.
fn lives(ages: &[Option<f64>], id: &[Option<String>], cells: &[usize]) -> Vec<usize> {
    let mut last: BTreeMap<usize, (Option<f64>, &Option<String>, usize)> = BTreeMap::new();
    let mut next = 0;
    (0..ages.len())
        .map(|at| {
            let goes_on = last.get(&cells[at]).filter(|(age, of, _)| {
                **of == id[at] && age.zip(ages[at]).is_none_or(|(before, now)| now >= before)
            });
            let life = match goes_on {
                Some((_, _, life)) => *life,
                None => {
                    next += 1;
                    next - 1
                }
            };
            last.insert(cells[at], (ages[at], &id[at], life));
            life
        })
        .collect()
}

/// Thirds of lives, which are exchanged as units.
fn thirds(lives: &[usize]) -> Vec<usize> {
    let mut panels: BTreeMap<usize, usize> = BTreeMap::new();
    for life in lives {
        *panels.entry(*life).or_default() += 1;
    }
    let places = place_within(lives).into_iter().flatten();
    in_order(
        (lives.iter().zip(places))
            .map(|(life, place)| (*life, PARTS * (place as usize - 1) / panels[life])),
    )
}
