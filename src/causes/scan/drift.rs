//! A repeat whose place moves slowly, as a stop that creeps or a rail that wears.
//!
//! The scan looks for fixed places. A place that moves shows up as one place of
//! which the ends are missing, as several in a row, or as a broad one. Whether a
//! found place moves is asked of the marks in a disc (or band) that stands still:
//! there a place that does not move gives positions that have nothing to do with
//! time, so that the t-test of their slope on time keeps its level. Only then is
//! the track followed beyond the disc.

use super::axis::across;
use super::background::RESERVE;
use super::sharpness::{self, Sharpness, Zone, nine_tenths};
use super::{Drift, Found, LineAxis, Pace, ScanSettings, Shape, View};
use crate::causes::scan::field::marks::{Field, unit};
use crate::records::Point;
use crate::stats::distributions::student_t;

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

    /// By panel, the nearest mark within `reach`: (panel, mark, day).
    fn hits(&self, view: &View, clock: &Clock, reach: f64) -> Vec<(usize, usize, f64)> {
        let mut near: Vec<(usize, f64, usize, f64)> = (view.marks.iter().enumerate())
            .filter_map(|(mark, m)| {
                let day = clock.days.get(m.panel).copied().flatten()?;
                let distance = self.distance(m.at, day);
                (distance <= reach).then_some((m.panel, distance, mark, day))
            })
            .collect();
        near.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)).then(a.2.cmp(&b.2)));
        near.dedup_by_key(|hit| hit.0);
        near.into_iter().map(|(p, _, m, day)| (p, m, day)).collect()
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
    Point {
        x: at.x - speed.x * days,
        y: at.y - speed.y * days,
    }
}

/// The track of a found place, if it moves.
fn track(view: &View, found: &Found, clock: &Clock, level: f64) -> Option<Track> {
    let unit = unit(view);
    let reach = match found.shape {
        Shape::Spot { .. } => 1.25 * found.scan_radius_mm.max(8.0 * unit),
        Shape::Line { .. } => 1.25 * found.scan_radius_mm,
    };
    let still = Track {
        shape: found.shape,
        day: 0.0,
        speed: Point { x: 0.0, y: 0.0 },
        reach,
    };
    let fixed = still.hits(view, clock, reach);
    let (p_value, start) = [reach, WIDE * reach]
        .into_iter()
        .filter_map(|r| {
            let hits = still.hits(view, clock, r);
            Some((
                slope_test(view, &hits, clock, found)?,
                fit(view, &hits, &still)?,
            ))
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
        track = fit(view, &hits, &track)?;
    }
    let (first, last) = span(&hits)?;
    let way = track.speed.x.hypot(track.speed.y) * (last - first);
    (way >= LEAST_WAY_MM * unit && hits.len() > fixed.len() && steady(view, &hits, &track))
        .then_some(track)
}

/// The track of a place that creeps along what was found as a line: there the
/// marks of a true line lie anywhere at any time.
fn track_along(view: &View, found: &Found, clock: &Clock, level: f64) -> Option<Track> {
    let Shape::Line { along, .. } = found.shape else {
        return None;
    };
    let unit = unit(view);
    let band = Track {
        shape: found.shape,
        day: 0.0,
        speed: Point { x: 0.0, y: 0.0 },
        reach: 1.25 * found.scan_radius_mm,
    };
    let lengthwise: fn(Point) -> f64 = match along {
        LineAxis::X => |p| p.x,
        LineAxis::Y => |p| p.y,
    };
    let position = |hit: &(usize, usize, f64)| lengthwise(view.marks[hit.1].at);
    // ordinary marks of the band lie far off and would hide the way; the stretch
    // is chosen without a look at the time, so the test keeps its level
    let mut in_band = band.hits(view, clock, band.reach);
    let (low, high) = crowded_stretch(in_band.iter().map(position).collect())?;
    in_band.retain(|hit| (low..=high).contains(&position(hit)));
    if slope_test_along(view, &in_band, clock, lengthwise)? > level {
        return None;
    }
    let reach = 1.25 * found.scan_radius_mm.max(8.0 * unit);
    let centre = Point { x: 0.0, y: 0.0 };
    let spot = Track {
        shape: Shape::Spot { centre },
        reach,
        ..band
    };
    let mut track = fit(view, &in_band, &spot)?;
    let mut hits = Vec::new();
    for round in 0..MOST_ROUNDS {
        // ordinary marks of the band bend the first fit: come nearer by steps
        let near = WIDER_AT_FIRST[round.min(WIDER_AT_FIRST.len() - 1)] * reach;
        let next = track.hits(view, clock, near);
        if round >= WIDER_AT_FIRST.len() && next == hits {
            break;
        }
        hits = next;
        track = fit(view, &hits, &track)?;
    }
    let (first, last) = span(&hits)?;
    let way = track.speed.x.hypot(track.speed.y) * (last - first);
    (way >= LEAST_WAY_MM * unit && 2 * hits.len() >= in_band.len() && steady(view, &hits, &track))
        .then_some(track)
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

/// Axes on which a place has a position.
fn axes(shape: Shape) -> Vec<fn(Point) -> f64> {
    match shape {
        Shape::Spot { .. } => vec![|p| p.x, |p| p.y],
        Shape::Line {
            along: LineAxis::Y, ..
        } => vec![|p| p.x],
        Shape::Line {
            along: LineAxis::X, ..
        } => vec![|p| p.y],
    }
}

/// The smaller p-value of the axes' slopes on time.
fn slope_test(
    view: &View,
    hits: &[(usize, usize, f64)],
    clock: &Clock,
    found: &Found,
) -> Option<f64> {
    let axes = axes(found.shape);
    let p_values = axes
        .iter()
        .filter_map(|&axis| slope_test_along(view, hits, clock, axis));
    p_values.min_by(f64::total_cmp)
}

/// The p-value of the slope on time of the hits' positions on one axis; where lots
/// are recorded, of the lots' means.
fn slope_test_along(
    view: &View,
    hits: &[(usize, usize, f64)],
    clock: &Clock,
    axis: fn(Point) -> f64,
) -> Option<f64> {
    if hits.len() < LEAST_HITS {
        return None;
    }
    let lot = |hit: &(usize, usize, f64)| clock.lots.get(hit.0).copied().flatten();
    let recorded = hits.iter().filter(|hit| lot(hit).is_some()).count();
    let position = |hit: &(usize, usize, f64)| axis(view.marks[hit.1].at);
    if 2 * recorded < hits.len() {
        let at: Vec<(f64, f64)> = hits.iter().map(|h| (h.2, position(h))).collect();
        return slope_p(&at);
    }
    let mut by_lot: Vec<(usize, f64, f64)> = hits
        .iter()
        .filter_map(|h| Some((lot(h)?, h.2, position(h))))
        .collect();
    by_lot.sort_by_key(|l| l.0);
    let means: Vec<(f64, f64)> = by_lot
        .chunk_by(|a, b| a.0 == b.0)
        .map(|lot| {
            let mean = |of: fn(&(usize, f64, f64)) -> f64| {
                lot.iter().map(of).sum::<f64>() / lot.len() as f64
            };
            (mean(|l| l.1), mean(|l| l.2))
        })
        .collect();
    (means.len() >= LEAST_LOTS).then(|| slope_p(&means))?
}

/// Two-sided p of the slope in the least-squares line of (time, value).
fn slope_p(at: &[(f64, f64)]) -> Option<f64> {
    let line = Line::through(at)?;
    let dof = at.len() as f64 - 2.0;
    let error = (line.residual / dof / line.time_squares).sqrt();
    if dof < 1.0 {
        return None;
    }
    if error <= 0.0 {
        return Some(if line.slope == 0.0 { 1.0 } else { 0.0 });
    }
    Some(student_t::two_sided_p(line.slope / error, dof))
}

/// A least-squares line through (time, value).
struct Line {
    slope: f64,
    mean_time: f64,
    mean_value: f64,
    time_squares: f64,
    /// Residual sum of squares.
    residual: f64,
}

impl Line {
    fn through(at: &[(f64, f64)]) -> Option<Self> {
        let n = at.len() as f64;
        let mean_time = at.iter().map(|a| a.0).sum::<f64>() / n;
        let mean_value = at.iter().map(|a| a.1).sum::<f64>() / n;
        let time_squares: f64 = at.iter().map(|a| (a.0 - mean_time).powi(2)).sum();
        if at.len() < 3 || time_squares <= 0.0 {
            return None;
        }
        let products: f64 = at
            .iter()
            .map(|a| (a.0 - mean_time) * (a.1 - mean_value))
            .sum();
        let slope = products / time_squares;
        let residual = at
            .iter()
            .map(|a| (a.1 - mean_value - slope * (a.0 - mean_time)).powi(2))
            .sum();
        Some(Self {
            slope,
            mean_time,
            mean_value,
            time_squares,
            residual,
        })
    }
}

/// The track through the hits.
fn fit(view: &View, hits: &[(usize, usize, f64)], last: &Track) -> Option<Track> {
    let line = |axis: fn(Point) -> f64| {
        let at: Vec<(f64, f64)> = hits
            .iter()
            .map(|h| (h.2, axis(view.marks[h.1].at)))
            .collect();
        Line::through(&at)
    };
    let none = 0.0;
    let (shape, day, speed) = match last.shape {
        Shape::Spot { .. } => {
            let (x, y) = (line(|p| p.x)?, line(|p| p.y)?);
            let centre = Point {
                x: x.mean_value,
                y: y.mean_value,
            };
            let speed = Point {
                x: x.slope,
                y: y.slope,
            };
            (Shape::Spot { centre }, x.mean_time, speed)
        }
        Shape::Line { along, .. } => {
            let (at, speed) = match along {
                LineAxis::Y => {
                    let x = line(|p| p.x)?;
                    let speed = Point {
                        x: x.slope,
                        y: none,
                    };
                    (x, speed)
                }
                LineAxis::X => {
                    let y = line(|p| p.y)?;
                    let speed = Point {
                        x: none,
                        y: y.slope,
                    };
                    (y, speed)
                }
            };
            let at_mm = at.mean_value;
            (Shape::Line { along, at_mm }, at.mean_time, speed)
        }
    };
    Some(Track {
        shape,
        day,
        speed,
        ..*last
    })
}

/// Whether a steady move leaves less unexplained than the best single jump.
fn steady(view: &View, hits: &[(usize, usize, f64)], track: &Track) -> bool {
    let mut hits = hits.to_vec();
    hits.sort_by(|a, b| a.2.total_cmp(&b.2).then(a.0.cmp(&b.0)));
    let mut line = 0.0;
    let mut jumps = vec![0.0; hits.len()];
    for axis in axes(track.shape) {
        let at: Vec<(f64, f64)> = hits
            .iter()
            .map(|h| (h.2, axis(view.marks[h.1].at)))
            .collect();
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

fn span(hits: &[(usize, usize, f64)]) -> Option<(f64, f64)> {
    let first = hits.iter().map(|h| h.2).min_by(f64::total_cmp)?;
    let last = hits.iter().map(|h| h.2).max_by(f64::total_cmp)?;
    Some((first, last))
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
    let away = |h: &(usize, usize, f64)| track.distance(view.marks[h.1].at, h.2);
    let mut members: Vec<usize> = hits.iter().map(|h| h.1).collect();
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
        hits: hits.iter().map(|h| (h.0, h.1)).collect(),
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
