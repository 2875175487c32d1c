//! A repeat whose place moves slowly, as a stop that creeps or a rail that wears.
//!
//! The scan looks for fixed places. A place that moves shows up as one place of
//! which the ends are missing, as several in a row, or as a broad one. Whether a
//! found place moves is asked of the marks in a disc (or band) that stands still:
//! there a place that does not move gives positions that have nothing to do with
//! time, so that the t-test of their slope on time keeps its level. Only then is
//! the track followed beyond the disc.

use super::axis::{across, moved_across};
use super::line_fit::{Line, slope_p};
use super::sharpness::{self, Sharpness, Zone, nine_tenths};
use super::spots::background::RESERVE;
use super::{Drift, Found, LineAxis, Pace, ScanSettings, Shape, View};
use crate::causes::scan::field::marks::{Field, unit};
use crate::records::Point;

/// Fewer panels with a mark are not asked whether they drift.
const LEAST_HITS: usize = 8;

/// Fewer lots, where lots are recorded, are not asked either: each lot may bring
/// a place of its own.
const LEAST_LOTS: usize = 5;

/// A smaller way over the time of the hits is not called a drift, mm.
const LEAST_WAY_MM: f64 = 5.0;

/// The wider of the two still discs, as a multiple of the reach: a place that
/// leaves its disc shows its way better in a wide one.
const WIDE: f64 = 2.5;

/// Tests per place: two still discs, two axes.
const TESTS_PER_PLACE: usize = 4;

/// Rounds of following a track; it mostly stands after five.
const MOST_ROUNDS: usize = 25;

/// Share of a line's hits that a place creeping along it must hold.
const CROWDED: f64 = 0.7;

/// The first rounds of following a place along a line take in marks within these
/// multiples of its reach.
const WIDER_AT_FIRST: [f64; 4] = [6.0, 3.0, 1.5, 1.0];

/// When each panel of a view was sanded, and its lot.
#[derive(Debug, Clone, PartialEq)]
pub struct Clock {
    /// What `days` counts.
    pub pace: Pace,
    /// By position in `View::panels`: days since any origin, none if not recorded; or
    /// panels.
    pub days: Vec<Option<f64>>,
    /// By position: the number of its lot; none if not recorded.
    pub lots: Vec<Option<usize>>,
}

/// The places with those that move followed along their way.
///
/// A place counts as moving if, in a disc that stands still, the slope of the
/// marks' positions on time is significant at `alpha` over streams, places and
/// tests (where lots are recorded: the slope of the lots' means, over at least
/// five lots); if a steady move explains the marks on the track better than one
/// jump; if the track holds more panels than the fixed place; and if the place
/// is sharp once its move is taken off. It then takes over the other places
/// found along its way.
#[must_use]
pub fn follow_drift(
    view: &View,
    found: Vec<Found>,
    clock: &Clock,
    settings: &ScanSettings,
) -> Vec<Found> {
    let tests = TESTS_PER_PLACE * found.len() * settings.streams.max(1);
    let level = settings.alpha / tests.max(1) as f64;
    let mut absorbed = vec![false; found.len()];
    let mut out = Vec::with_capacity(found.len());
    for i in 0..found.len() {
        if absorbed[i] {
            continue;
        }
        let along = || track_along(view, &found[i], clock, level);
        let Some(track) = track(view, &found[i], clock, level).or_else(along) else {
            out.push(found[i].clone());
            continue;
        };
        let mut zone = track.zone(view, clock, &found[i]);
        let own = |other: &Found| {
            let inside = |hit: &&(usize, usize)| zone.binary_search(&hit.1).is_ok();
            2 * other.hits.iter().filter(inside).count() >= other.hits.len()
        };
        let on_the_way: Vec<usize> = (0..found.len())
            .filter(|&k| k != i && !absorbed[k] && same_form(track.shape, found[k].shape))
            .filter(|&k| own(&found[k]))
            .collect();
        for &k in [i].iter().chain(&on_the_way) {
            zone.extend(&found[k].zone);
        }
        zone.sort_unstable();
        zone.dedup();
        let elsewhere: Vec<usize> = (0..found.len())
            .filter(|k| *k != i && !on_the_way.contains(k))
            .flat_map(|k| found[k].zone.iter().copied())
            .collect();
        match moving(view, clock, &found[i], &track, zone, &elsewhere) {
            Some(place) => {
                for k in on_the_way {
                    absorbed[k] = true;
                    out.retain(|f| *f != found[k]);
                }
                out.push(place);
            }
            None => out.push(found[i].clone()),
        }
    }
    out
}

fn same_form(a: Shape, b: Shape) -> bool {
    match (a, b) {
        (Shape::Spot { .. }, Shape::Spot { .. }) => true,
        (Shape::Line { along: a, .. }, Shape::Line { along: b, .. }) => a == b,
        _ => false,
    }
}

/// A panel's mark at a place.
#[derive(Debug, Clone, Copy, PartialEq)]
struct DatedHit {
    panel: usize,
    mark: usize,
    day: f64,
    at: Point,
}

/// A place on the move: where it was on `day`, and how it moves.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Track {
    shape: Shape,
    day: f64,
    speed: Point,
    reach: f64,
}

impl Track {
    /// How far a mark lies from the track on its day, mm.
    fn distance(&self, at: Point, day: f64) -> f64 {
        let still = back(at, self.speed, day - self.day);
        match self.shape {
            Shape::Spot { centre } => (still.x - centre.x).hypot(still.y - centre.y),
            Shape::Line { along, at_mm } => (across(along, still) - at_mm).abs(),
        }
    }

    /// A place that stands still.
    fn still(shape: Shape, reach: f64) -> Self {
        Self {
            shape,
            day: 0.0,
            speed: Point::new(0.0, 0.0),
            reach,
        }
    }

    /// By panel, the nearest mark within `reach`.
    fn hits(&self, view: &View, clock: &Clock, reach: f64) -> Vec<DatedHit> {
        let mut near: Vec<(f64, DatedHit)> = (view.marks.iter().enumerate())
            .filter_map(|(mark, m)| {
                let day = clock.days.get(m.panel).copied().flatten()?;
                let (panel, at) = (m.panel, m.at);
                let hit = DatedHit {
                    panel,
                    mark,
                    day,
                    at,
                };
                Some((self.distance(at, day), hit)).filter(|near| near.0 <= reach)
            })
            .collect();
        near.sort_by(|(a, x), (b, y)| {
            (x.panel.cmp(&y.panel))
                .then(a.total_cmp(b))
                .then(x.mark.cmp(&y.mark))
        });
        near.dedup_by_key(|(_, hit)| hit.panel);
        near.into_iter().map(|(_, hit)| hit).collect()
    }

    /// Whether its hits lie along a way worth the name, and on a steady one.
    fn goes_far(&self, unit: f64, hits: &[DatedHit]) -> bool {
        let days = || hits.iter().map(|h| h.day);
        let span = days()
            .max_by(f64::total_cmp)
            .zip(days().min_by(f64::total_cmp));
        let way = |(last, first)| self.speed.x.hypot(self.speed.y) * (last - first);
        span.is_some_and(|span| way(span) >= LEAST_WAY_MM * unit) && steady(hits, self.shape)
    }

    /// Marks that go out with the place, rising.
    fn zone(&self, view: &View, clock: &Clock, found: &Found) -> Vec<usize> {
        let unit = unit(view);
        let least = match found.shape {
            Shape::Spot { .. } => 8.0 * unit,
            Shape::Line { .. } => 0.0,
        };
        let radius = 1.5 * found.scan_radius_mm.max(least) + 3.0 * unit;
        (0..view.marks.len())
            .filter(|&m| {
                let mark = view.marks[m];
                let day = clock.days.get(mark.panel).copied().flatten();
                day.is_some_and(|day| self.distance(mark.at, day) <= radius)
            })
            .collect()
    }
}

/// Where a point would lie had the place not moved for `days`.
fn back(at: Point, speed: Point, days: f64) -> Point {
    Point::new(at.x - speed.x * days, at.y - speed.y * days)
}

/// The track of a found place, if it moves.
fn track(view: &View, found: &Found, clock: &Clock, level: f64) -> Option<Track> {
    let unit = unit(view);
    let reach = match found.shape {
        Shape::Spot { .. } => 1.25 * found.scan_radius_mm.max(8.0 * unit),
        Shape::Line { .. } => 1.25 * found.scan_radius_mm,
    };
    let still = Track::still(found.shape, reach);
    let fixed = still.hits(view, clock, reach);
    let (p_value, start) = [reach, WIDE * reach]
        .into_iter()
        .filter_map(|r| {
            let hits = still.hits(view, clock, r);
            let axes = axes(found.shape).iter();
            let slopes = axes.filter_map(|&axis| slope_test(&hits, clock, axis));
            Some((slopes.min_by(f64::total_cmp)?, fit(&hits, &still)?))
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))?;
    if p_value > level {
        return None;
    }
    let mut track = start;
    let mut hits = Vec::new();
    for _ in 0..MOST_ROUNDS {
        let next = track.hits(view, clock, reach);
        if next == hits {
            break;
        }
        hits = next;
        track = fit(&hits, &track)?;
    }
    (hits.len() > fixed.len() && track.goes_far(unit, &hits)).then_some(track)
}

/// The track of a place that creeps along what was found as a line: there the
/// marks of a true line lie anywhere at any time.
fn track_along(view: &View, found: &Found, clock: &Clock, level: f64) -> Option<Track> {
    let Shape::Line { along, .. } = found.shape else {
        return None;
    };
    let unit = unit(view);
    let band = Track::still(found.shape, 1.25 * found.scan_radius_mm);
    let lengthwise = other(along);
    let position = |hit: &DatedHit| across(lengthwise, hit.at);
    // ordinary marks of the band lie far off and would hide the way; the stretch
    // is chosen without a look at the time, so the test keeps its level
    let mut in_band = band.hits(view, clock, band.reach);
    let (low, high) = crowded_stretch(in_band.iter().map(position).collect())?;
    in_band.retain(|hit| (low..=high).contains(&position(hit)));
    if slope_test(&in_band, clock, lengthwise)? > level {
        return None;
    }
    let reach = 1.25 * found.scan_radius_mm.max(8.0 * unit);
    let centre = Point::new(0.0, 0.0);
    let spot = Track {
        shape: Shape::Spot { centre },
        reach,
        ..band
    };
    let mut track = fit(&in_band, &spot)?;
    let mut hits = Vec::new();
    for round in 0..MOST_ROUNDS {
        // ordinary marks of the band bend the first fit: come nearer by steps
        let near = WIDER_AT_FIRST[round.min(WIDER_AT_FIRST.len() - 1)] * reach;
        let next = track.hits(view, clock, near);
        if round >= WIDER_AT_FIRST.len() && next == hits {
            break;
        }
        hits = next;
        track = fit(&hits, &track)?;
    }
    (2 * hits.len() >= in_band.len() && track.goes_far(unit, &hits)).then_some(track)
}

/// The shortest stretch with [`CROWDED`] of the positions, a seventh longer at
/// either end.
fn crowded_stretch(mut positions: Vec<f64>) -> Option<(f64, f64)> {
    positions.sort_by(f64::total_cmp);
    let held = (CROWDED * positions.len() as f64).ceil() as usize;
    let stretches = positions
        .windows(held.max(1))
        .map(|w| (w[0], w[w.len() - 1]));
    let (low, high) = stretches.min_by(|a, b| (a.1 - a.0).total_cmp(&(b.1 - b.0)))?;
    let more = (high - low) / 7.0;
    Some((low - more, high + more))
}

/// Lines across which a place has a position.
fn axes(shape: Shape) -> &'static [LineAxis] {
    match shape {
        Shape::Spot { .. } => &[LineAxis::Y, LineAxis::X],
        Shape::Line {
            along: LineAxis::Y, ..
        } => &[LineAxis::Y],
        Shape::Line { .. } => &[LineAxis::X],
    }
}

fn other(along: LineAxis) -> LineAxis {
    match along {
        LineAxis::X => LineAxis::Y,
        LineAxis::Y => LineAxis::X,
    }
}

/// Days and positions across lines along `axis`.
fn positions(hits: &[DatedHit], axis: LineAxis) -> Vec<(f64, f64)> {
    hits.iter().map(|h| (h.day, across(axis, h.at))).collect()
}

/// The p-value of the slope on time of the hits' positions across an axis; where
/// lots are recorded, of the lots' means.
fn slope_test(hits: &[DatedHit], clock: &Clock, axis: LineAxis) -> Option<f64> {
    if hits.len() < LEAST_HITS {
        return None;
    }
    let at = positions(hits, axis);
    let lot = |hit: &DatedHit| clock.lots.get(hit.panel).copied().flatten();
    let mut by_lot: Vec<(usize, (f64, f64))> = (hits.iter().zip(&at))
        .filter_map(|(hit, at)| Some((lot(hit)?, *at)))
        .collect();
    if 2 * by_lot.len() < hits.len() {
        return slope_p(&at);
    }
    by_lot.sort_by_key(|l| l.0);
    let means: Vec<(f64, f64)> = by_lot
        .chunk_by(|a, b| a.0 == b.0)
        .map(|lot| {
            let mean = |of: fn(&(f64, f64)) -> f64| {
                lot.iter().map(|l| of(&l.1)).sum::<f64>() / lot.len() as f64
            };
            (mean(|l| l.0), mean(|l| l.1))
        })
        .collect();
    (means.len() >= LEAST_LOTS).then(|| slope_p(&means))?
}

/// The track through the hits.
fn fit(hits: &[DatedHit], last: &Track) -> Option<Track> {
    let line = |axis: &LineAxis| Line::through(&positions(hits, *axis));
    let lines: Option<Vec<Line>> = axes(last.shape).iter().map(line).collect();
    let (shape, day, speed) = match (last.shape, lines?.as_slice()) {
        (Shape::Spot { .. }, [x, y]) => {
            let centre = Point::new(x.mean_value, y.mean_value);
            (
                Shape::Spot { centre },
                x.mean_time,
                Point::new(x.slope, y.slope),
            )
        }
        (Shape::Line { along, .. }, [line]) => {
            let at_mm = line.mean_value;
            let speed = moved_across(along, Point::new(0.0, 0.0), line.slope);
            (Shape::Line { along, at_mm }, line.mean_time, speed)
        }
        _ => return None,
    };
    Some(Track {
        shape,
        day,
        speed,
        ..*last
    })
}

/// Whether a steady move leaves less unexplained than the best single jump.
fn steady(hits: &[DatedHit], shape: Shape) -> bool {
    let mut hits = hits.to_vec();
    hits.sort_by(|a, b| a.day.total_cmp(&b.day).then(a.panel.cmp(&b.panel)));
    let mut line = 0.0;
    let mut jumps = vec![0.0; hits.len()];
    for &axis in axes(shape) {
        let at = positions(&hits, axis);
        let Some(fitted) = Line::through(&at) else {
            return false;
        };
        line += fitted.residual;
        let total: f64 = at.iter().map(|a| a.1 - fitted.mean_value).sum();
        let squares: f64 = at.iter().map(|a| (a.1 - fitted.mean_value).powi(2)).sum();
        let mut before = 0.0;
        for (k, a) in at.iter().enumerate() {
            let (m, n) = (k as f64, at.len() as f64);
            let first = if k > 0 { before * before / m } else { 0.0 };
            jumps[k] += squares - first - (total - before).powi(2) / (n - m);
            before += a.1 - fitted.mean_value;
        }
    }
    jumps.iter().all(|jump| line < *jump)
}

/// The found place as one that moves, if it is sharp with its move taken off.
fn moving(
    view: &View,
    clock: &Clock,
    found: &Found,
    track: &Track,
    zone: Vec<usize>,
    elsewhere: &[usize],
) -> Option<Found> {
    let mut still = view.clone();
    for mark in &mut still.marks {
        if let Some(day) = clock.days.get(mark.panel).copied().flatten() {
            mark.at = back(mark.at, track.speed, day - track.day);
        }
    }
    let mut left = vec![true; view.marks.len()];
    for &mark in elsewhere {
        left[mark] = zone.binary_search(&mark).is_ok();
    }
    let field = Field::new(&still, &left);
    let none: [Zone; 0] = [];
    let ((ring_ratio, sharpness), chances) = match track.shape {
        Shape::Spot { centre } => (
            sharpness::of_spot(&field, centre, &none),
            still.chances(centre, 12.0 * unit(view)),
        ),
        Shape::Line { along, at_mm } => (
            sharpness::of_line(&field, along, at_mm, &none),
            still.band_chances(along, at_mm, track.reach),
        ),
    };
    if sharpness == Sharpness::Broad {
        return None;
    }
    let hits = track.hits(view, clock, track.reach);
    let away = |h: &DatedHit| track.distance(h.at, h.day);
    let mut members: Vec<usize> = hits.iter().map(|h| h.mark).collect();
    members.extend(
        found
            .members
            .iter()
            .filter(|m| zone.binary_search(m).is_ok()),
    );
    members.sort_unstable();
    members.dedup();
    Some(Found {
        shape: track.shape,
        hits: hits.iter().map(|h| (h.panel, h.mark)).collect(),
        members,
        zone,
        expected: chances.iter().sum::<f64>() / RESERVE,
        radius_mm: nine_tenths(hits.iter().map(away).collect()),
        ring_ratio,
        sharpness,
        drift: Some(Drift {
            pace: clock.pace,
            x_mm: track.speed.x,
            y_mm: track.speed.y,
            at: track.day,
        }),
        ..found.clone()
    })
}
