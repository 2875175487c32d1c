//! The rival places of a repeat: it was found in one frame and has a place in
//! each other frame. On the panels where two of them lie apart the data can
//! tell them.

use std::collections::BTreeMap;

use crate::causes::responses::place::{Holder, Marks, Place};
use crate::causes::rivals::frame_duel::{Meeting, Ordinary};
use crate::causes::{Anchor, Frame, Tally};
use crate::records::{Point, Records};

/// Hit panels whose position in the rival's frame agrees this well, mm, are
/// one group; the largest group gives the rival place.
const AGREE_MM: f64 = 5.0;

/// Panels of the same location without either rival that a rival's own
/// background needs.
const BACKGROUND_PANELS: usize = 5;

/// Kinds of informative panels whose background is looked at.
const BACKGROUND_KINDS: usize = 24;

/// A repeat's place in one frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct FramePlace {
    /// Who would hold the place.
    pub holder: Holder,
    /// Where, in the holder's frame.
    pub place: Place,
}

/// What the comparison needs to know about a stream's panels.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Scene<'a> {
    /// The records.
    pub records: &'a Records,
    /// Panels of the machine and head, indices into `Records::panels`.
    pub panels: &'a [usize],
    /// Marks of the kind of defect.
    pub marks: &'a Marks,
    /// A mark within this distance, mm, is a hit.
    pub reach_mm: f64,
    /// Chance of a hit without a repeat, as estimated.
    pub by_chance: f64,
    /// The same for tests: not below what so few panels can tell.
    pub background: f64,
}

impl Scene<'_> {
    /// The place on each panel in the machine frame: none where unknown.
    pub(crate) fn laid(&self, rival: &FramePlace) -> Vec<Option<Place>> {
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
    pub(crate) fn hit(&self, position: usize, place: &Place) -> bool {
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
    pub(crate) fn rival(
        &self,
        holder: Holder,
        laid: &[Option<Place>],
        hits: &[usize],
    ) -> Option<FramePlace> {
        let mut cells: BTreeMap<(i64, i64, u8), Vec<Place>> = BTreeMap::new();
        for &at in hits {
            let panel = &self.records.panels[self.panels[at]];
            let Some(place) = laid[at].and_then(|p| holder.place_of(panel, &p)) else {
                continue;
            };
            let key = cell(&place, 2.0 * AGREE_MM);
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
        Some(FramePlace {
            holder,
            place: mean(&near).unwrap_or(place),
        })
    }

    /// Counts hits where the two coincide and where they lie apart.
    pub(crate) fn meeting(&self, a: &FramePlace, b: &FramePlace) -> Meeting {
        let mut meeting = Meeting::default();
        for at in 0..self.panels.len() {
            let Some((pa, pb)) = self.both(at, a, b) else {
                continue;
            };
            let (on_a, on_b) = (self.exposed(at, &pa), self.exposed(at, &pb));
            let mut count = |tally: fn(&mut Meeting) -> &mut Tally, place: &Place| {
                tally(&mut meeting).count(self.hit(at, place));
            };
            if pa.apart(&pb) > 2.0 * self.reach_mm {
                if on_a {
                    count(|m| &mut m.first, &pa);
                }
                if on_b {
                    count(|m| &mut m.second, &pb);
                }
            } else if on_a && on_b {
                count(|m| &mut m.shared, &pa);
            }
        }
        meeting
    }

    /// Both places on a panel (position); none where one is unknown.
    fn both(&self, at: usize, a: &FramePlace, b: &FramePlace) -> Option<(Place, Place)> {
        let panel = &self.records.panels[self.panels[at]];
        let place = |p: &FramePlace| p.holder.to_machine(panel, &p.place);
        Some((place(a)?, place(b)?))
    }

    /// Chance of a hit at an ordinary place where each of the two lies.
    pub(crate) fn ordinary(&self, a: &FramePlace, b: &FramePlace) -> Ordinary {
        let (laid_a, laid_b) = (self.laid(a), self.laid(b));
        let apart: Vec<usize> = (0..self.panels.len())
            .filter(|&at| {
                (laid_a[at].zip(laid_b[at]))
                    .is_some_and(|(pa, pb)| pa.apart(&pb) > 2.0 * self.reach_mm)
            })
            .collect();
        Ordinary {
            first: self.ordinary_at(&apart, (a, &laid_a), (b, &laid_b)),
            second: self.ordinary_at(&apart, (b, &laid_b), (a, &laid_a)),
        }
    }

    /// Chance of a hit at `own`'s place on the panels `apart` if `other` is
    /// right: the place there is ordinary, but may lie where marks crowd. So it
    /// is the hit rate at the same location in the *other* frame, on panels
    /// where neither lies there, averaged over the panels.
    fn ordinary_at(
        &self,
        apart: &[usize],
        own: (&FramePlace, &[Option<Place>]),
        other: (&FramePlace, &[Option<Place>]),
    ) -> f64 {
        let mut kinds: BTreeMap<(i64, i64, u8), Vec<usize>> = BTreeMap::new();
        for &at in apart {
            let Some(place) = own.1[at] else { continue };
            if !self.exposed(at, &place) {
                continue;
            }
            let panel = &self.records.panels[self.panels[at]];
            if let Some(elsewhere) = other.0.holder.place_of(panel, &place) {
                let key = cell(&elsewhere, self.reach_mm);
                kinds.entry(key).or_default().push(at);
            }
        }
        let mut kinds: Vec<Vec<usize>> = kinds.into_values().collect();
        kinds.sort_by_key(|k| (std::cmp::Reverse(k.len()), k[0]));
        let (mut sum, mut panels) = (0.0, 0);
        for kind in kinds.iter().take(BACKGROUND_KINDS) {
            let seen = self.same_location(kind[0], own, other);
            sum += kind.len() as f64 * self.chance(seen);
            panels += kind.len();
        }
        if panels == 0 {
            return self.background;
        }
        sum / panels as f64
    }

    fn chance(&self, seen: Tally) -> f64 {
        if seen.exposed >= BACKGROUND_PANELS {
            self.background.max(seen.rate())
        } else {
            self.background
        }
    }

    /// Exposure and hits at the location where `own`'s place lies on panel
    /// `example` in the other rival's frame, over panels where neither lies there.
    fn same_location(
        &self,
        example: usize,
        own: (&FramePlace, &[Option<Place>]),
        other: (&FramePlace, &[Option<Place>]),
    ) -> Tally {
        let holder = other.0.holder;
        let panel = &self.records.panels[self.panels[example]];
        let Some(location) = own.1[example].and_then(|p| holder.place_of(panel, &p)) else {
            return Tally::default();
        };
        let mut seen = Tally::default();
        for at in 0..self.panels.len() {
            let panel = &self.records.panels[self.panels[at]];
            let Some(here) = holder.to_machine(panel, &location) else {
                continue;
            };
            let away =
                |place: &Option<Place>| place.is_none_or(|p| p.apart(&here) > 2.0 * self.reach_mm);
            if self.exposed(at, &here) && away(&own.1[at]) && away(&other.1[at]) {
                seen.count(self.hit(at, &here));
            }
        }
        seen
    }
}

/// The cell of so many mm in which a place lies.
fn cell(place: &Place, side_mm: f64) -> (i64, i64, u8) {
    let cell = |v: f64| (v / side_mm).round() as i64;
    match *place {
        Place::Spot(p) => (cell(p.x), cell(p.y), 0),
        Place::Stripe(axis, v) => (cell(v), 0, 1 + axis as u8),
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
        Place::Spot(_) => Place::Spot(Point::new(sum.0 / n, sum.1 / n)),
        Place::Stripe(axis, _) => Place::Stripe(*axis, sum.0 / n),
    })
}

/// The side of the argument a holder is on.
pub(crate) fn frame_of(holder: Holder) -> Frame {
    match holder {
        Holder::Machine => Frame::Machine,
        Holder::Panel | Holder::PanelEdge(_) => Frame::Panel,
        Holder::Inspection => Frame::Inspection,
        Holder::Path(_) => Frame::Path,
    }
}

/// All holders that a stream's panels can tell from the machine and panel
/// frames at all: the table where recorded, edges where sizes differ.
pub(crate) fn holders(records: &Records, panels: &[usize]) -> Vec<Holder> {
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
pub(crate) fn several_sizes(records: &Records, panels: &[usize]) -> bool {
    let spread = |extent: fn(&crate::records::Panel) -> f64| {
        let values = panels.iter().map(|&i| extent(&records.panels[i]));
        let low = values.clone().fold(f64::INFINITY, f64::min);
        values.fold(f64::NEG_INFINITY, f64::max) - low > 20.0
    };
    spread(|p| p.length_mm) || spread(|p| p.width_mm)
}
