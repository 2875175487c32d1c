//! Whether the places are places: clicks on a picture, stand-ins for "unknown".

use std::collections::{BTreeMap, BTreeSet};

use super::super::{Defect, Panel, Point, Records, Warning, WarningCode};
use super::warn;
use crate::site::Site;

/// Fewer places than this show no grid.
const ENOUGH_PLACES: usize = 20;
/// From this share of places on a grid on, they were clicked or rounded.
const ON_THE_GRID: f64 = 0.8;
/// Rounding to less than this, mm, is ordinary.
const COARSE_MM: f64 = 10.0;
/// From this share of places that other panels have exactly, too.
const TIED: f64 = 0.5;
/// A repeat ties one place, a picture many.
const TIED_PLACES: usize = 5;
/// So many panels with a mark exactly in the corner.
const CORNER_PANELS: usize = 3;
/// Other marks so near the corner, mm, speak for a fault there.
const NEAR_CORNER_MM: f64 = 25.0;

/// The steps that people round to, mm, coarsest first.
const STEPS_MM: [f64; 5] = [100.0, 50.0, 25.0, 20.0, 10.0];

pub(super) fn find(records: &Records, _site: &Site, warnings: &mut Vec<Warning>) {
    let mut by_inspector: BTreeMap<&str, Vec<(usize, Point)>> = BTreeMap::new();
    for defect in &records.defects {
        if let Some(written) = defect.written.filter(|_| defect.place.is_some()) {
            let who = records.panels[defect.panel]
                .inspector
                .as_deref()
                .unwrap_or("");
            by_inspector
                .entry(who)
                .or_default()
                .push((defect.panel, written));
        }
    }
    let mut clickers = Vec::new();
    for (who, places) in &by_inspector {
        if places.len() < ENOUGH_PLACES {
            continue;
        }
        let step = STEPS_MM.into_iter().find(|step| {
            let on = places.iter().filter(|(_, p)| on_grid(*p, *step)).count();
            on as f64 >= ON_THE_GRID * places.len() as f64
        });
        let whose = if who.is_empty() {
            "the records".to_owned()
        } else {
            format!("inspector {who}")
        };
        if let Some(step) = step.filter(|step| *step >= COARSE_MM) {
            clickers.push(format!("{whose} to {step} mm"));
        } else if tied(places) {
            clickers.push(format!("{whose} to the same spots again and again"));
        }
    }
    if !clickers.is_empty() {
        warnings.push(warn(
            WarningCode::ZoneClicks,
            format!(
                "Places are written on a grid, as clicks on a picture are: {}. They count as fields of that size, never as exact hits.",
                clickers.join("; ")
            ),
        ));
    }
}

fn on_grid(p: Point, step: f64) -> bool {
    let on = |v: f64| ((v / step).round() - v / step).abs() <= 1e-6;
    on(p.x) && on(p.y)
}

/// Whether most places are exactly those of other panels, at many places.
fn tied(places: &[(usize, Point)]) -> bool {
    let mut written: Vec<(u64, u64, usize)> = places
        .iter()
        .map(|(panel, p)| (p.x.to_bits(), p.y.to_bits(), *panel))
        .collect();
    written.sort_unstable();
    written.dedup();
    let shared: Vec<usize> = written
        .chunk_by(|a, b| (a.0, a.1) == (b.0, b.1))
        .map(<[_]>::len)
        .filter(|panels| *panels > 1)
        .collect();
    shared.len() >= TIED_PLACES && shared.iter().sum::<usize>() as f64 >= TIED * places.len() as f64
}

/// Takes the place from defects whose place only stands for "unknown": written
/// (−1, −1) exactly, or (0, 0) exactly on three panels or more while fewer
/// marks lie near that corner than in it. A fault at the corner, with marks
/// clipped onto it, leaves more beside it than in it.
pub(in super::super) fn placeholders(defects: &mut [Defect], panels: &[Panel]) -> Option<Warning> {
    let stands_for_unknown = |p: Point, value: f64| p.x == value && p.y == value;
    let mut corner: BTreeSet<usize> = BTreeSet::new();
    let (mut in_corner, mut near) = (0usize, 0usize);
    for defect in defects.iter() {
        let Some(p) = defect.written else { continue };
        if stands_for_unknown(p, 0.0) {
            corner.insert(defect.panel);
            in_corner += 1;
        } else if (0.0..=NEAR_CORNER_MM).contains(&p.x) && (0.0..=NEAR_CORNER_MM).contains(&p.y) {
            near += 1;
        }
    }
    let zero = corner.len() >= CORNER_PANELS.min(panels.len().max(2)) && in_corner > near;
    let mut taken = 0;
    for defect in defects.iter_mut() {
        if let Some(p) = defect.written
            && (stands_for_unknown(p, -1.0) || (zero && stands_for_unknown(p, 0.0)))
        {
            defect.place = None;
            taken += 1;
        }
    }
    (taken > 0).then(|| {
        warn(
            WarningCode::PlaceholderPlaces,
            format!(
                "{taken} {} at exactly (0, 0) or (−1, −1), which seems to stand for an unknown place: counted in rates, left out of the search for repeats. Leave x_mm and y_mm blank where the place is unknown.",
                if taken == 1 { "defect is written" } else { "defects are written" }
            ),
        )
    })
}

#[cfg(test)]
mod tests {
    use super::super::made::mark as defect;
    use super::*;

    #[test]
    fn corners_without_neighbours_stand_for_unknown() {
        let panels = vec![Panel::default(); 10];
        let mut defects: Vec<Defect> = (0..3).map(|p| defect(p, 0.0, 0.0)).collect();
        defects.push(defect(4, 200.0, 100.0));
        assert!(placeholders(&mut defects, &panels).is_some());
        assert!(defects[..3].iter().all(|d| d.place.is_none()));
        assert!(defects[3].place.is_some());

        let mut two: Vec<Defect> = (0..2).map(|p| defect(p, 0.0, 0.0)).collect();
        assert!(placeholders(&mut two, &panels).is_none());
    }

    #[test]
    fn a_fault_at_the_corner_keeps_its_place() {
        let panels = vec![Panel::default(); 20];
        let mut defects: Vec<Defect> = (0..4).map(|p| defect(p, 0.0, 0.0)).collect();
        defects.extend((4..12).map(|p| defect(p, 3.0, p as f64 / 2.0)));
        assert!(placeholders(&mut defects, &panels).is_none());
        assert!(defects.iter().all(|d| d.place.is_some()));
    }

    #[test]
    fn one_spot_again_and_again_is_a_repeat_and_no_grid() {
        let spot: Vec<(usize, Point)> =
            (0..40).map(|p| (p, Point { x: 301.0, y: 152.0 })).collect();
        assert!(!tied(&spot));
        let picture: Vec<(usize, Point)> = (0..40)
            .map(|p| {
                (
                    p,
                    Point {
                        x: 33.0 + 71.0 * (p % 8) as f64,
                        y: 41.0,
                    },
                )
            })
            .collect();
        assert!(tied(&picture));
    }
}
