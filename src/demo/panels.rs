//! How the workshop's panels run through its cells: when, which lot, which lay.

use rand::RngExt;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;

use super::settings::{Cell, Lot, Recipe, Size, Workshop};
use crate::records::{Lay, Panel};

/// A panel of the run with all that its marks and readings depend on.
pub(super) struct Run<'a> {
    pub(super) id: String,
    pub(super) at: jiff::civil::DateTime,
    pub(super) day: usize,
    pub(super) cell: &'a Cell,
    pub(super) lot: &'a Lot,
    pub(super) size: &'a Size,
    pub(super) recipe: &'a Recipe,
    pub(super) lay: Lay,
    pub(super) inspect_lay: Lay,
    pub(super) inspector: &'a str,
    pub(super) abrasive_age: usize,
    pub(super) abrasive_id: String,
    /// Position in its cell, 0-based.
    pub(super) position: usize,
}

impl Run<'_> {
    /// The panel as the records room knows it, for its frames.
    pub(super) fn geometry(&self) -> Panel {
        Panel {
            length_mm: self.size.length_mm,
            width_mm: self.size.width_mm,
            lay: self.lay,
            lay_x_mm: self.size.lay_x_mm,
            ..Panel::default()
        }
    }
}

/// All panels of one cell in sanding order.
pub(super) fn cell_runs<'a>(
    workshop: &'a Workshop,
    index: usize,
    rng: &mut ChaCha8Rng,
) -> Vec<Run<'a>> {
    let cell = &workshop.cells[index];
    let panels = workshop.days * workshop.panels_per_cell_and_day;
    let pallets = pallets(workshop, panels, rng);
    (0..panels)
        .map(|position| {
            let day = position / workshop.panels_per_cell_and_day;
            let stretch = day * cell.recipes.len() / workshop.days;
            Run {
                id: format!("{}{:04}", cell.head, position + 1),
                at: time_of(
                    workshop,
                    day,
                    position % workshop.panels_per_cell_and_day,
                    index,
                ),
                day,
                cell,
                lot: &workshop.lots[pallets[position / workshop.pallet]],
                size: &workshop.sizes[rng.random_range(0..workshop.sizes.len())],
                recipe: recipe_named(workshop, &cell.recipes[stretch]),
                lay: half_turn(rng.random::<f64>() < workshop.turned_share),
                inspect_lay: half_turn(rng.random::<bool>()),
                inspector: &workshop.inspectors[rng.random_range(0..workshop.inspectors.len())],
                abrasive_age: position % workshop.abrasive_life,
                abrasive_id: format!(
                    "{}-disc-{}",
                    cell.head,
                    position / workshop.abrasive_life + 1
                ),
                position,
            }
        })
        .collect()
}

/// Lots by pallet: each lot once, shuffled, then again, so that lots return.
fn pallets(workshop: &Workshop, panels: usize, rng: &mut ChaCha8Rng) -> Vec<usize> {
    let mut order = Vec::new();
    while order.len() * workshop.pallet < panels {
        let mut round: Vec<usize> = (0..workshop.lots.len()).collect();
        round.shuffle(rng);
        order.extend(round);
    }
    order
}

/// Working days only: five days, then a week-end.
fn time_of(workshop: &Workshop, day: usize, place: usize, cell: usize) -> jiff::civil::DateTime {
    let minutes = workshop.minutes_between_panels * place as i64 + 7 * cell as i64;
    let calendar_days = (day / 5 * 7 + day % 5) as i64;
    workshop.start + jiff::Span::new().days(calendar_days).minutes(minutes)
}

fn recipe_named<'a>(workshop: &'a Workshop, name: &str) -> &'a Recipe {
    let found = workshop.recipes.iter().find(|recipe| recipe.name == name);
    found.unwrap_or(&workshop.recipes[0])
}

fn half_turn(turned: bool) -> Lay {
    if turned { Lay::Deg180 } else { Lay::Deg0 }
}
