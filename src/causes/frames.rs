//! In which frame does the repeat hold? Likelihoods of rival places.
//!
//! A repeat found in one frame has a rival place in each other frame. On the
//! panels where two rivals lie apart the data can tell them: under the right
//! one hits come at the repeat's rate, at the other place at the background's.

use std::collections::BTreeMap;

use super::place::{Holder, Marks, Place};
use super::tails::bernoulli;
use super::{Anchor, Frame};
use crate::records::{Point, Records};

/// Hit panels whose position in the rival's frame agrees this well, mm, are
/// one group; the largest group gives the rival place.
const AGREE_MM: f64 = 5.0;

/// Panels of the same location without either rival that a rival's own
/// background needs.
const BACKGROUND_PANELS: usize = 5;

/// Kinds of informative panels that get their own background; the rest, each
/// rarer, share one.
const BACKGROUND_KINDS: usize = 24;

/// Counts behind one comparison of two rivals, `a` and `b`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Contrast {
    /// Panels on which both places coincide, and hits there.
    pub shared: (usize, usize),
    /// Panels on which they lie apart and `a`'s place is exposed, and hits there.
    pub at_a: (usize, usize),
    /// The same for `b`'s place.
    pub at_b: (usize, usize),
    /// Log-likelihood of the hits at `a` as background, see [`Contrast::background`].
    pub background_a: f64,
    /// Log-likelihood of the hits at `b` as background.
    pub background_b: f64,
}

impl Contrast {
    /// Adds hits as background of chance `chance` at a's or b's place.
    fn background(n: usize, k: usize, chance: f64) -> f64 {
        bernoulli(k as f64, n as f64, chance)
    }

    /// ln likelihood of `a` minus that of `b`; `background` is the least chance
    /// of a hit at a repeat's place.
    pub(super) fn log_ratio(&self, background: f64) -> f64 {
        let repeat = |own: (usize, usize)| {
            let (n, k) = (self.shared.0 + own.0, self.shared.1 + own.1);
            if n == 0 {
                return 0.0;
            }
            let rate = (k as f64 / n as f64).max(background);
            bernoulli(k as f64, n as f64, rate)
        };
        (repeat(self.at_a) + self.background_b) - (repeat(self.at_b) + self.background_a)
    }

    /// Panels on which the rivals predict different places.
    pub(super) fn informative(&self) -> usize {
        self.at_a.0.max(self.at_b.0)
    }
}

/// A repeat's place in one frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rival {
    /// Who would hold the place.
    pub holder: Holder,
    /// Where, in the holder's frame.
    pub place: Place,
}

/// What the comparison needs to know about a stream's panels.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scene<'a> {
    /// The records.
    pub records: &'a Records,
    /// Panels of the machine and head, indices into `Records::panels`.
    pub panels: &'a [usize],
    /// Marks of the kind of defect.
    pub marks: &'a Marks,
    /// A mark within this distance, mm, is a hit.
    pub reach_mm: f64,
    /// Chance of a hit without a repeat.
    pub background: f64,
}

impl Scene<'_> {
    /// The place on each panel in the machine frame: none where unknown.
    pub(super) fn laid(&self, rival: &Rival) -> Vec<Option<Place>> {
        self.panels
            .iter()
            .map(|&i| {
                rival
                    .holder
                    .to_machine(&self.records.panels[i], &rival.place)
            })
            .collect()
    }

    /// Whether the panel (position) shows a mark at the place.
    pub(super) fn hit(&self, position: usize, place: &Place) -> bool {
        self.marks
            .nearest(self.panels[position], place, self.reach_mm)
            .is_some()
    }

    fn exposed(&self, position: usize, place: &Place) -> bool {
        place.on(&self.records.panels[self.panels[position]])
    }

    /// The rival in `holder`'s frame of a repeat with the given hit panels
    /// (positions) and place on each of them: the largest group of hits that
    /// agree in that frame.
    pub(super) fn rival(
        &self,
        holder: Holder,
        laid: &[Option<Place>],
        hits: &[usize],
    ) -> Option<Rival> {
        let mut cells: BTreeMap<(i64, i64, u8), Vec<Place>> = BTreeMap::new();
        for &at in hits {
            let panel = &self.records.panels[self.panels[at]];
            let Some(place) = laid[at].and_then(|p| holder.place_of(panel, &p)) else {
                continue;
            };
            let cell = |v: f64| (v / (2.0 * AGREE_MM)).round() as i64;
            let key = match place {
                Place::Spot(p) => (cell(p.x), cell(p.y), 0),
                Place::Stripe(axis, v) => (cell(v), 0, 1 + axis as u8),
            };
            cells.entry(key).or_default().push(place);
        }
        let first_largest = cells.values().rev().max_by_key(|c| c.len())?;
        let place = mean(first_largest)?;
        let near: Vec<Place> = cells
            .values()
            .flatten()
            .filter(|p| p.apart(&place) <= AGREE_MM)
            .copied()
            .collect();
        Some(Rival {
            holder,
            place: mean(&near).unwrap_or(place),
        })
    }

    /// Counts hits where the rivals coincide and where they lie apart, each
    /// rival's hits elsewhere against its own background there.
    pub(super) fn contrast(&self, a: &Rival, b: &Rival) -> Contrast {
        let (laid_a, laid_b) = (self.laid(a), self.laid(b));
        let mut contrast = Contrast::default();
        let mut apart = Vec::new();
        for at in 0..self.panels.len() {
            let (Some(pa), Some(pb)) = (&laid_a[at], &laid_b[at]) else {
                continue;
            };
            let (on_a, on_b) = (self.exposed(at, pa), self.exposed(at, pb));
            if pa.apart(pb) <= 2.0 * self.reach_mm {
                if on_a && on_b {
                    contrast.shared.0 += 1;
                    contrast.shared.1 += usize::from(self.hit(at, pa));
                }
                continue;
            }
            apart.push(at);
            if on_a {
                contrast.at_a.0 += 1;
                contrast.at_a.1 += usize::from(self.hit(at, pa));
            }
            if on_b {
                contrast.at_b.0 += 1;
                contrast.at_b.1 += usize::from(self.hit(at, pb));
            }
        }
        contrast.background_a = self.as_background(&apart, (a, &laid_a), (b, &laid_b));
        contrast.background_b = self.as_background(&apart, (b, &laid_b), (a, &laid_a));
        contrast
    }

    /// Log-likelihood of the hits at `own`'s place on the panels `apart` if
    /// `other` is right: the place there is ordinary, but may lie where marks
    /// crowd. Its chance is therefore the hit rate at the same location in the
    /// *other* frame, on panels where neither rival lies there.
    fn as_background(
        &self,
        apart: &[usize],
        own: (&Rival, &[Option<Place>]),
        other: (&Rival, &[Option<Place>]),
    ) -> f64 {
        let mut kinds: BTreeMap<(i64, i64, u8), Vec<usize>> = BTreeMap::new();
        for &at in apart {
            let Some(place) = own.1[at] else { continue };
            if !self.exposed(at, &place) {
                continue;
            }
            let panel = &self.records.panels[self.panels[at]];
            if let Some(elsewhere) = other.0.holder.place_of(panel, &place) {
                let cell = |v: f64| (v / self.reach_mm).round() as i64;
                let key = match elsewhere {
                    Place::Spot(p) => (cell(p.x), cell(p.y), 0),
                    Place::Stripe(axis, v) => (cell(v), 0, 1 + axis as u8),
                };
                kinds.entry(key).or_default().push(at);
            }
        }
        let mut kinds: Vec<Vec<usize>> = kinds.into_values().collect();
        kinds.sort_by_key(|k| (std::cmp::Reverse(k.len()), k[0]));
        let rare: Vec<usize> = kinds
            .iter()
            .skip(BACKGROUND_KINDS)
            .flatten()
            .copied()
            .collect();
        let mut sum = 0.0;
        let mut rates = (0, 0);
        for kind in kinds.iter().take(BACKGROUND_KINDS) {
            let (n, k) = self.count(kind, own.1);
            let (exposed, hits) = self.same_location(kind[0], own, other);
            rates = (rates.0 + exposed, rates.1 + hits);
            sum += Contrast::background(n, k, self.chance(exposed, hits));
        }
        let (n, k) = self.count(&rare, own.1);
        sum + Contrast::background(n, k, self.chance(rates.0, rates.1))
    }

    fn chance(&self, exposed: usize, hits: usize) -> f64 {
        if exposed >= BACKGROUND_PANELS {
            self.background.max(hits as f64 / exposed as f64)
        } else {
            self.background
        }
    }

    fn count(&self, positions: &[usize], laid: &[Option<Place>]) -> (usize, usize) {
        let hits = positions
            .iter()
            .filter(|&&at| laid[at].is_some_and(|p| self.hit(at, &p)))
            .count();
        (positions.len(), hits)
    }

    /// Exposure and hits at the location where `own`'s place lies on panel
    /// `example` in the other rival's frame, over panels where neither lies there.
    fn same_location(
        &self,
        example: usize,
        own: (&Rival, &[Option<Place>]),
        other: (&Rival, &[Option<Place>]),
    ) -> (usize, usize) {
        let holder = other.0.holder;
        let panel = &self.records.panels[self.panels[example]];
        let Some(location) = own.1[example].and_then(|p| holder.place_of(panel, &p)) else {
            return (0, 0);
        };
        let mut counted = (0, 0);
        for at in 0..self.panels.len() {
            let panel = &self.records.panels[self.panels[at]];
            let Some(here) = holder.to_machine(panel, &location) else {
                continue;
            };
            let away =
                |place: &Option<Place>| place.is_none_or(|p| p.apart(&here) > 2.0 * self.reach_mm);
            if self.exposed(at, &here) && away(&own.1[at]) && away(&other.1[at]) {
                counted.0 += 1;
                counted.1 += usize::from(self.hit(at, &here));
            }
        }
        counted
    }
}

/// Mean of places of one kind.
fn mean(places: &[Place]) -> Option<Place> {
    let n = places.len() as f64;
    let first = places.first()?;
    let sum = places.iter().fold((0.0, 0.0), |s, p| match p {
        Place::Spot(p) => (s.0 + p.x, s.1 + p.y),
        Place::Stripe(_, v) => (s.0 + v, s.1),
    });
    Some(match first {
        Place::Spot(_) => Place::Spot(Point {
            x: sum.0 / n,
            y: sum.1 / n,
        }),
        Place::Stripe(axis, _) => Place::Stripe(*axis, sum.0 / n),
    })
}

/// The side of the argument a holder is on.
pub(super) fn frame_of(holder: Holder) -> Frame {
    match holder {
        Holder::Machine => Frame::Machine,
        Holder::Panel | Holder::PanelEdge(_) => Frame::Panel,
        Holder::Inspection => Frame::Inspection,
        Holder::Path(_) => Frame::Path,
    }
}

/// All holders that a stream's panels can tell from the machine and panel
/// frames at all: the table where recorded, edges where sizes differ.
pub(super) fn holders(records: &Records, panels: &[usize]) -> Vec<Holder> {
    let mut holders = vec![Holder::Machine, Holder::Panel];
    if panels
        .iter()
        .any(|&i| records.panels[i].inspect_lay.is_some())
    {
        holders.push(Holder::Inspection);
    }
    if several_sizes(records, panels) {
        holders.extend(Anchor::ALL.map(Holder::Path));
        holders.extend([Anchor::HighLow, Anchor::LowHigh, Anchor::HighHigh].map(Holder::PanelEdge));
    }
    holders
}

/// Whether panels differ in size by more than a repeat is wide.
pub(super) fn several_sizes(records: &Records, panels: &[usize]) -> bool {
    let spread = |extent: fn(&crate::records::Panel) -> f64| {
        let values = panels.iter().map(|&i| extent(&records.panels[i]));
        let low = values.clone().fold(f64::INFINITY, f64::min);
        values.fold(f64::NEG_INFINITY, f64::max) - low > 20.0
    };
    spread(|p| p.length_mm) || spread(|p| p.width_mm)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// The reference prints five decimals.
    const PRINTED: f64 = 1e-5;

    fn ratio(k_machine: usize, k_panel: usize) -> f64 {
        let b = 0.01;
        Contrast {
            shared: (20, 6),
            at_a: (20, k_machine),
            at_b: (20, k_panel),
            background_a: Contrast::background(20, k_machine, b),
            background_b: Contrast::background(20, k_panel, b),
        }
        .log_ratio(b)
    }

    #[test]
    fn likelihoods_agree_with_an_independent_slow_reference_implementation() {
        for (k_machine, k_panel, expected) in [
            (5, 0, 16.35721),
            (3, 1, 6.41274),
            (2, 0, 6.08250),
            (1, 0, 2.95443),
            (0, 0, 0.0),
        ] {
            assert_relative_eq!(ratio(k_machine, k_panel), expected, epsilon = PRINTED);
            assert_relative_eq!(ratio(k_panel, k_machine), -expected, epsilon = PRINTED);
        }
    }
}
