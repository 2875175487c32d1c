//! One repeat from the scans of all frames.
//!
//! A repeat shows in every frame in which it is narrow enough, often as several
//! places: one fault of the panel looks like two machine places where panels
//! lay two ways. Findings that share half of their marks are one, and so are
//! those whose places lie within each other's reach (what a wide scatter leaves
//! around a place); the smaller p leads.

use std::f64::consts::PI;

use crate::causes::responses::place::{Holder, Place};
use crate::causes::scan::unit;
use crate::causes::scan::{RESERVE, RING_MM, WINDOW_MM};
use crate::causes::{Found, Shape, Sharpness, View};

/// Radius below which a place's reach does not shrink, mm.
const LEAST_RADIUS_MM: f64 = 8.0;

/// A repeat as one scan found it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Sighting {
    /// The frame scanned.
    pub holder: Holder,
    /// Index of the frame's view in the caller's list.
    pub view: usize,
    /// What the scan says.
    pub found: Found,
    /// `found.p_adjusted` over the frame's share of the level.
    pub p_adjusted: f64,
}

impl Sighting {
    /// The place in the frame scanned.
    pub(crate) fn place(&self) -> Place {
        match self.found.shape {
            Shape::Spot { centre } => Place::Spot(centre),
            Shape::Line { along, at_mm } => Place::Stripe(along, at_mm),
        }
    }

    /// Whether it lies at the other's place in the same frame, or, both broad, so
    /// near that the ring around one meets the other's.
    fn is_at(&self, other: &Self) -> bool {
        let reach = if self.is_broad() && other.is_broad() {
            2.0 * RING_MM
        } else {
            other.reach_mm()
        };
        self.view == other.view && self.place().apart(&other.place()) <= reach
    }

    fn is_broad(&self) -> bool {
        self.found.sharpness == Sharpness::Broad
    }

    /// A mark within this distance of the refined place is a hit, mm.
    pub(crate) fn reach_mm(&self) -> f64 {
        1.25 * self.found.scan_radius_mm.max(LEAST_RADIUS_MM)
    }

    /// Chance that a panel which covers the place has a mark there without a
    /// repeat, 0..1: the mean of the panels' own chances, the scan's factor of
    /// caution taken out.
    ///
    /// The repeat's own marks are no background: the others set each panel's
    /// level.
    pub(crate) fn background(&self, view: &View) -> f64 {
        let radius = self.reach_mm();
        let ordinary = self.without_own(view);
        let unit = unit(view);
        let (expected, exposed) = match self.place() {
            Place::Spot(centre) => {
                let zone = (1.5 * self.found.scan_radius_mm.max(LEAST_RADIUS_MM) + 3.0) / unit;
                let kept = 1.0 - PI * zone * zone / (4.0 * WINDOW_MM * WINDOW_MM);
                let covering = (0..view.panels.len()).filter(|&i| view.exposed(i, centre));
                let expected = ordinary.hits_by_chance(centre, radius);
                (expected / kept, covering.count())
            }
            Place::Stripe(along, at) => {
                let zone = 1.5 * self.found.scan_radius_mm / unit + 3.0;
                let kept = 1.0 - (zone / WINDOW_MM).min(0.5);
                let chances = ordinary.band_chances(along, at, radius);
                let covering = (view.panels.iter())
                    .filter(|panel| panel.covers_across(along, at))
                    .count();
                (chances.iter().sum::<f64>() / RESERVE / kept, covering)
            }
        };
        if exposed == 0 {
            return LEAST_BACKGROUND;
        }
        (expected / exposed as f64).min(1.0)
    }

    /// The view without the repeat's own marks.
    fn without_own(&self, view: &View) -> View {
        let mut own = vec![false; view.marks.len()];
        for &mark in &self.found.zone {
            own[mark] = true;
        }
        let mut ordinary = view.clone();
        let mut number = 0..own.len();
        ordinary
            .marks
            .retain(|_| number.next().is_none_or(|i| !own[i]));
        ordinary
    }

    /// Marks of the repeat as indices into `Records::defects`, rising.
    pub(crate) fn defects(&self, views: &[View]) -> Vec<usize> {
        let marks = &views[self.view].marks;
        let mut defects: Vec<usize> = self
            .found
            .members
            .iter()
            .map(|&m| marks[m].defect)
            .collect();
        defects.sort_unstable();
        defects.dedup();
        defects
    }
}

/// Least chance of a hit without a repeat.
pub(crate) const LEAST_BACKGROUND: f64 = 0.002;

/// The leaders, strongest first: what shares half of its marks, or of the
/// leader's, with a stronger one is the same repeat, and so is what lies at its
/// place.
pub(crate) fn merge(mut sightings: Vec<Sighting>, views: &[View]) -> Vec<Sighting> {
    sightings.sort_by(|a, b| {
        (a.is_broad().cmp(&b.is_broad()))
            .then(a.p_adjusted.total_cmp(&b.p_adjusted))
            .then(b.found.hits.len().cmp(&a.found.hits.len()))
            .then(a.holder.cmp(&b.holder))
    });
    let total = views
        .iter()
        .flat_map(|v| v.marks.iter().map(|m| m.defect))
        .max();
    // Which leader took each mark: marks of leaders don't overlap by half, and
    // a mark in two of them counts for the stronger.
    let mut taken: Vec<Option<usize>> = vec![None; total.map_or(0, |t| t + 1)];
    let mut leaders: Vec<Sighting> = Vec::new();
    let mut sizes: Vec<usize> = Vec::new();
    for sighting in sightings {
        let defects = sighting.defects(views);
        let mut shared = vec![0_usize; leaders.len()];
        for &d in &defects {
            if let Some(leader) = taken[d] {
                shared[leader] += 1;
            }
        }
        let same = leaders.iter().enumerate().any(|(l, leader)| {
            let most = 2 * shared[l] >= defects.len().min(sizes[l]);
            (shared[l] > 0 && most) || sighting.is_at(leader)
        });
        if same {
            continue;
        }
        for &d in &defects {
            taken[d].get_or_insert(leaders.len());
        }
        sizes.push(defects.len());
        leaders.push(sighting);
    }
    leaders
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::{Sharpness, ViewMark};
    use crate::records::Point;

    fn view(marks: usize) -> View {
        View {
            panels: Vec::new(),
            marks: (0..marks)
                .map(|defect| ViewMark {
                    panel: defect,
                    at: Point::new(0.0, 0.0),
                    grain_mm: 0.0,
                    defect,
                })
                .collect(),
        }
    }

    fn sighting(
        holder: Holder,
        x: f64,
        members: std::ops::Range<usize>,
        p_adjusted: f64,
    ) -> Sighting {
        Sighting {
            holder,
            view: usize::from(holder == Holder::Panel),
            found: Found {
                shape: Shape::Spot {
                    centre: Point { x, y: 0.0 },
                },
                hits: members.clone().map(|m| (m, m)).collect(),
                members: members.collect(),
                zone: Vec::new(),
                scan_radius_mm: 4.0,
                p_value: p_adjusted,
                tests: 1,
                p_adjusted,
                expected: 0.0,
                radius_mm: 5.0,
                ring_ratio: None,
                sharpness: Sharpness::Sharp,
                drift: None,
            },
            p_adjusted,
        }
    }

    #[test]
    fn two_machine_places_of_one_panel_fault_are_one_repeat() {
        let merged = merge(
            vec![
                sighting(Holder::Machine, 100.0, 0..12, 1e-6),
                sighting(Holder::Machine, 200.0, 12..20, 1e-4),
                sighting(Holder::Panel, 100.0, 0..20, 1e-9),
                sighting(Holder::Machine, 300.0, 30..40, 1e-5),
            ],
            &[view(40), view(40)],
        );
        let leaders: Vec<_> = merged
            .iter()
            .map(|s| (s.holder, s.found.hits.len()))
            .collect();
        assert_eq!(leaders, [(Holder::Panel, 20), (Holder::Machine, 10)]);
    }

    #[test]
    fn what_scatters_around_a_place_is_told_with_it() {
        let at = |x, members, p| sighting(Holder::Machine, x, members, p);
        let merged = merge(
            vec![at(100.0, 0..30, 1e-9), at(101.0, 30..40, 1e-5)],
            &[view(40)],
        );
        assert_eq!(merged.len(), 1);
        // 10 mm is the reach of a place of 5 mm.
        let merged = merge(
            vec![at(100.0, 0..30, 1e-9), at(110.5, 30..40, 1e-5)],
            &[view(40)],
        );
        assert_eq!(merged.len(), 2);
    }
}
