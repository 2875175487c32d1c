//! What could have been missed: the smallest repeat that would have been seen.

use std::collections::BTreeMap;

use super::found::ScanSettings;
use super::spots::PANELS_NEEDED;
use super::spots::background::RESERVE;
use super::spots::discs::{DiscScratch, Discs};
use super::spots::nodes;

use super::families::{Family, Tests};
use super::spots::at_marks;
use super::view::View;
use crate::causes::scan::field::marks::{Field, Kind};
use crate::records::{Point, Rect};
use crate::stats::binomial_tail;

/// A place counts as seen if it is found this often.
const POWER: f64 = 0.9;

/// The limit holds on this share of the area.
const AREA_SHARE: f64 = 0.9;

/// A stream whose limit is at most this needs no more panels.
const ENOUGH: f64 = 0.20;

/// Scatter of a place together with the error of locating it, mm.
const SCATTER_MM: f64 = 4.0;

/// Hits that the search and the ring around a place may cost.
const KEPT: f64 = 0.95;

/// Distance between the places tried, mm, and between the outermost and the edge.
const LATTICE_MM: f64 = 50.0;
const FROM_EDGE_MM: f64 = 12.0;

/// Places tried along one axis at most.
const MOST_STEPS: f64 = 24.0;

/// No more panels than this are ever asked for.
const MOST_PANELS: usize = 20_000;

/// The smallest repeat that would have been seen.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Limit {
    /// Smallest share of panels on which a fixed place would have been found
    /// with 90 % probability on nine tenths of the area that at least half of
    /// the panels cover; none if there is none.
    pub smallest_repeat_seen: Option<f64>,
    /// Panels of the same kind needed to see a repeat on a fifth of the panels;
    /// none if the stream's panels suffice or no number does.
    pub panels_needed: Option<usize>,
}

/// What the scan's discs are centred on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum CentredOn {
    /// A lattice: every panel counts, and the tests are as many as the area holds.
    Nodes,
    /// Marks, whose own panel is left out; tests grow with the marks.
    Marks,
}

/// One of the scan's ways to look for places.
struct Search<'a> {
    discs: Discs<'a>,
    centres: CentredOn,
    /// The report's level over that of each of its tests.
    tests: f64,
}

/// The situation at one place, for one search and radius.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Situation {
    /// Panels that cover the place.
    exposed: f64,
    /// Panels with a mark in the window.
    with_marks: f64,
    /// Mass of the marks in the window.
    mass: f64,
    /// Chance per unit of mass.
    chance_per_mass: f64,
    /// The report's level over that of each of the scan's tests.
    tests: f64,
    /// Radius in multiples of the place's scatter.
    reach: f64,
    centres: CentredOn,
}

/// The smallest repeat that would have been seen in the view's frame.
///
/// At each place of a lattice, the smallest number of panels that the scan
/// would call significant is worked out from the background there, and from it
/// the share h of panels on which a repeat would reach that number with 90 %
/// probability: P(Bin(exposed, h·c + (1−h·c)·p₀) ≥ k) = 0.9, c the share of a
/// repeat's marks inside the disc, p₀ the chance of one there anyway.
#[must_use]
pub fn smallest_repeat(view: &View, settings: &ScanSettings, tests: &Tests) -> Limit {
    let field = Field::whole(view);
    let shares = &tests.shares;
    let over = |family: Family| {
        let (attained, share) = (tests.attained(&field), shares[family as usize]);
        settings.alpha / attained[family as usize].level(share * settings.of_view())
    };
    let mut searches = vec![Search {
        discs: at_marks::discs(&field),
        centres: CentredOn::Marks,
        tests: over(Family::Marks),
    }];
    if tests.with_nodes() {
        searches.push(Search {
            discs: nodes::discs(&field),
            centres: CentredOn::Nodes,
            tests: over(Family::Nodes),
        });
    }
    let mut scratch = DiscScratch::new(&field);
    let half = 0.5 * field.kinds.iter().map(|k| k.panels).sum::<f64>();
    let mut often = Vec::new();
    for (place, area) in lattice(&field) {
        let covering = field.kinds.iter().filter(|k| k.rect.contains(place));
        let exposed: f64 = covering.map(|k| k.panels).sum();
        if exposed == 0.0 || exposed < half {
            continue;
        }
        let mut situations = Vec::new();
        for search in &searches {
            search.discs.move_to(place, &mut scratch);
            let radii = 0..search.discs.backgrounds.len();
            situations.extend(radii.map(|radius| situation(search, place, radius, &mut scratch)));
        }
        often.push((area, situations));
    }
    let total: f64 = often.iter().map(|(area, _)| area).sum();
    if total == 0.0 {
        return Limit::default();
    }
    let seen = reached_on_most(&often, |s| s.smallest_share(settings.alpha));
    let needed = match seen {
        Some(share) if share <= ENOUGH => None,
        _ => {
            let mut known = BTreeMap::new();
            reached_on_most(&often, |s| {
                let s = s.coarse();
                let needed = known.entry(s.key());
                let needed = needed.or_insert_with(|| s.panels_needed(settings.alpha));
                needed.map(|n| n as f64 / s.exposed)
            })
        }
        .map(|factor| (factor * view.panels.len() as f64).ceil() as usize),
    };
    Limit {
        smallest_repeat_seen: seen,
        panels_needed: needed,
    }
}

/// The value that nine tenths of the area reach, each place with its best search and
/// radius.
fn reached_on_most(
    places: &[(f64, Vec<Situation>)],
    mut value: impl FnMut(&Situation) -> Option<f64>,
) -> Option<f64> {
    let mut values: Vec<(f64, f64)> = places
        .iter()
        .filter_map(|(area, radii)| {
            let best = radii.iter().filter_map(&mut value).min_by(f64::total_cmp)?;
            Some((best, *area))
        })
        .collect();
    values.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = places.iter().map(|(area, _)| area).sum();
    let mut sum = 0.0;
    values.iter().find_map(|(value, area)| {
        sum += area;
        (sum >= AREA_SHARE * total * (1.0 - 1e-12)).then_some(*value)
    })
}

/// Places and the area each stands for: steps of 50 mm and 12 mm from the edges
/// of the commonest rectangles.
fn lattice(field: &Field) -> Vec<(Point, f64)> {
    let mut common: Vec<&Kind> = field.kinds.iter().collect();
    common.sort_by(|a, b| b.panels.total_cmp(&a.panels));
    common.truncate(4);
    let axis = |side: fn(Rect) -> (f64, f64)| {
        let sides = || field.kinds.iter().map(|k| side(k.rect));
        let low = sides().map(|s| s.0).fold(f64::INFINITY, f64::min);
        let high = sides().map(|s| s.1).fold(f64::NEG_INFINITY, f64::max);
        let step = (LATTICE_MM * field.unit).max((high - low) / MOST_STEPS);
        let mut at: Vec<f64> = common
            .iter()
            .flat_map(|k| {
                let (low, high) = side(k.rect);
                let inset = FROM_EDGE_MM.min((high - low) / 2.0);
                [low + inset, high - inset]
            })
            .collect();
        let steps = ((high - low) / step).ceil().max(1.0) as usize;
        at.extend((0..steps).map(|i| low + (i as f64 + 0.5) * (high - low) / steps as f64));
        at.sort_by(f64::total_cmp);
        at.dedup_by(|a, b| (*a - *b).abs() < 1.0);
        widths(low, high, &at)
    };
    if common.is_empty() {
        return Vec::new();
    }
    let columns = axis(|r| (r.x0, r.x1));
    let rows = axis(|r| (r.y0, r.y1));
    let pair = |&(x, width): &(f64, f64)| {
        rows.iter()
            .map(move |&(y, height)| (Point { x, y }, width * height))
    };
    columns.iter().flat_map(pair).collect()
}

/// Each position with the length it stands for: up to halfway to its neighbours.
fn widths(low: f64, high: f64, at: &[f64]) -> Vec<(f64, f64)> {
    let middle = |i: usize| 0.5 * (at[i] + at[i + 1]);
    (0..at.len())
        .map(|i| {
            let from = if i == 0 { low } else { middle(i - 1) };
            let to = if i + 1 == at.len() { high } else { middle(i) };
            (at[i], to - from)
        })
        .collect()
}

fn situation(
    search: &Search<'_>,
    place: Point,
    radius: usize,
    scratch: &mut DiscScratch,
) -> Situation {
    let discs = &search.discs;
    discs.turn_to(radius, scratch);
    discs.weigh(radius, scratch);
    let (mut exposed, mut chance) = (0.0, 0.0);
    for kind in 0..discs.field.kinds.len() {
        if discs.field.kinds[kind].rect.contains(place) {
            let panels = discs.field.kinds[kind].panels;
            exposed += panels;
            chance += panels * discs.chance_per_mass(kind, place, radius, scratch);
        }
    }
    let around = discs.exposed_mass(place, scratch);
    let mut chance_per_mass = if exposed > 0.0 { chance / exposed } else { 0.0 };
    if around.mass > 0.0 {
        chance_per_mass = around.expected / around.mass;
    }
    let unit = discs.field.unit;
    Situation {
        exposed,
        with_marks: around.panels as f64,
        mass: around.mass,
        chance_per_mass,
        tests: search.tests,
        reach: discs.backgrounds[radius].size / (SCATTER_MM * unit),
        centres: search.centres,
    }
}

impl Situation {
    /// With a chance per mass that is up to a twentieth larger, so that places much
    /// alike are worked out once.
    fn coarse(&self) -> Self {
        let step = 1.05_f64.ln();
        let chance = ((self.chance_per_mass.ln() / step).ceil() * step).exp();
        Self {
            chance_per_mass: chance.min(1.0).max(self.chance_per_mass),
            mass: self.mass.ceil(),
            ..*self
        }
    }

    fn key(&self) -> [u64; 6] {
        [
            self.exposed,
            self.with_marks,
            self.mass,
            self.chance_per_mass,
            self.reach,
            f64::from(u8::from(self.centres == CentredOn::Nodes)),
        ]
        .map(f64::to_bits)
    }

    /// Smallest number of panels hit, its own included, that is significant.
    fn panels_to_prove(&self, alpha: f64) -> Option<usize> {
        let exposed = self.exposed.round() as usize;
        // fewer than expected can never be significant
        let expected = (self.chance_per_mass * self.mass).min(self.exposed) as usize;
        let proves = |k: usize| {
            let counted = k - usize::from(self.centres == CentredOn::Marks);
            let hits = counted as f64;
            let trials = self.exposed.min(self.with_marks + hits);
            let chance = (self.chance_per_mass * (self.mass + hits) / trials).min(1.0);
            self.tests * binomial_tail(trials.round() as usize, chance, counted) <= alpha
        };
        // one more panel adds at most one expected hit, so the tail only falls
        let (mut low, mut high) = (PANELS_NEEDED.max(expected), exposed);
        if low > high || !proves(high) {
            return None;
        }
        while low < high {
            let middle = low.midpoint(high);
            if proves(middle) {
                high = middle;
            } else {
                low = middle + 1;
            }
        }
        Some(high)
    }

    /// Chance that a repeat on the share `share` of the panels is found.
    fn power(&self, share: f64, to_prove: usize) -> f64 {
        let inside = KEPT * (1.0 - (-0.5 * self.reach * self.reach).exp());
        let anyway = (self.chance_per_mass * self.mass / self.exposed).min(1.0) / RESERVE;
        let hit = share * inside;
        let chance = hit + (1.0 - hit) * anyway;
        binomial_tail(self.exposed.round() as usize, chance, to_prove)
    }

    /// The share at which the chance to be found is 90 %.
    fn smallest_share(&self, alpha: f64) -> Option<f64> {
        let to_prove = self.panels_to_prove(alpha)?;
        if self.power(1.0, to_prove) < POWER {
            return None;
        }
        let (mut low, mut high) = (0.0, 1.0);
        for _ in 0..40 {
            let middle = 0.5 * (low + high);
            if self.power(middle, to_prove) >= POWER {
                high = middle;
            } else {
                low = middle;
            }
        }
        Some(high)
    }

    /// The same place with `panels` exposed, everything else in proportion.
    fn scaled(&self, panels: usize) -> Self {
        let factor = panels as f64 / self.exposed;
        Self {
            exposed: panels as f64,
            with_marks: (self.with_marks * factor).round().max(1.0),
            mass: self.mass * factor,
            tests: match self.centres {
                CentredOn::Nodes => self.tests,
                CentredOn::Marks => self.tests * factor,
            },
            ..*self
        }
    }

    /// Smallest number of exposed panels that shows a repeat on a fifth of them.
    fn panels_needed(&self, alpha: f64) -> Option<usize> {
        let enough = |panels: usize| {
            let scaled = self.scaled(panels);
            let to_prove = scaled.panels_to_prove(alpha);
            to_prove.is_some_and(|k| scaled.power(ENOUGH, k) >= POWER)
        };
        if !enough(MOST_PANELS) {
            return None;
        }
        // coarse steps up to the first that suffices, then fine ones from the last that did not
        let (mut short, mut panels) = (PANELS_NEEDED, PANELS_NEEDED);
        while panels < MOST_PANELS && !enough(panels) {
            short = panels;
            panels = (panels + (panels / 10).max(1)).min(MOST_PANELS);
        }
        let fine = (short / 200).max(1);
        (short..=panels)
            .step_by(fine)
            .find(|&n| enough(n))
            .or(Some(panels))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn situation(
        exposed: f64,
        with_marks: f64,
        mass: f64,
        chance_per_mass: f64,
        tests: f64,
        radius: f64,
    ) -> Situation {
        Situation {
            exposed,
            with_marks,
            mass,
            chance_per_mass,
            tests,
            reach: radius / SCATTER_MM,
            centres: CentredOn::Marks,
        }
    }

    /// Values of an independent slow reference implementation.
    #[test]
    fn limits_match_the_reference() {
        for (place, to_prove, share) in [
            (situation(30.0, 5.0, 5.0, 0.006, 100.0, 7.0), 4, 0.280400934),
            (
                situation(100.0, 20.0, 22.0, 0.006, 600.0, 7.0),
                6,
                0.1208392645,
            ),
            (
                situation(100.0, 20.0, 22.0, 0.017, 600.0, 12.0),
                7,
                0.1071874578,
            ),
            (
                situation(400.0, 80.0, 90.0, 0.006, 2400.0, 7.0),
                8,
                0.0381135435,
            ),
            (situation(6.0, 1.0, 1.0, 0.006, 30.0, 7.0), 3, 0.8952858),
        ] {
            assert_eq!(place.panels_to_prove(0.01), Some(to_prove));
            let got = place.smallest_share(0.01).unwrap();
            // the last is printed to seven digits, the others to nine
            let printed = if to_prove == 3 { 1e-7 } else { 3e-9 };
            assert_relative_eq!(got, share, max_relative = printed);
        }
        let first = situation(30.0, 5.0, 5.0, 0.006, 100.0, 7.0);
        assert_eq!(first.panels_needed(0.01), Some(43));
    }

    #[test]
    fn two_panels_can_never_show_a_repeat() {
        let place = situation(2.0, 1.0, 1.0, 0.006, 30.0, 7.0);
        assert_eq!(place.smallest_share(0.01), None);
    }
}
