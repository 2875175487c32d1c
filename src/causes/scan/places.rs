//! All places of a stream: scan, take the best place out, scan again.

use super::axis::across;
use super::candidate::{Candidate, Centre};
use super::families::Tests;
use super::found::{Found, ScanSettings, Shape};
use super::grouping::group;
use super::rounds::Rounds;
use super::sharpness::{self, Sharpness, Zone, nearest_by_panel, nine_tenths};
use super::spots::at_marks::RADII_MM;
use super::spots::background::RESERVE;
use super::spots::discs::{DiscScratch, Discs};
use super::{LineAxis, view::View};
use crate::causes::scan::field::marks::Field;
use crate::causes::scan::field::point_index::square_distance;
use crate::causes::scan::field::weighted::Crowding;
use crate::causes::scan::lines::background::{BandScratch, Bands};
use crate::records::Point;

/// No stream is asked for more repeats than this.
const MOST_FOUND: usize = 50;

/// Fewer marks or panels than this are not tested.
const LEAST: usize = 3;

/// Marks this near each other belong together, mm.
const MEMBER_MM: f64 = 6.0;

/// With this many panels any tiny unevenness becomes significant: a repeat must
/// then also exceed its expectation by this share of the panels.
const MANY_PANELS: usize = 10_000;
const LEAST_EXCESS: f64 = 0.01;

/// All repeats of a stream in the view's frame, in the order found.
///
/// Each round scans discs around nodes and around the marks left and bands around
/// nodes, takes the best one (smaller p, then smaller size, then point order),
/// refines its place, and takes its marks out. It ends when no p-value, adjusted for the tests of the
/// first round and the report's streams, is within `alpha`, or at fifty.
#[must_use]
pub fn find(view: &View, settings: &ScanSettings, tests: &Tests) -> Vec<Found> {
    if view.marks.len() < LEAST || view.panels.len() < LEAST {
        return Vec::new();
    }
    let streams = settings.streams.max(1) as f64;
    let mut rounds = Rounds::new(view, tests);
    let mut taken = Vec::new();
    let mut found = Vec::new();
    for _ in 0..MOST_FOUND {
        let mut field = Field::new(view, &rounds.left);
        field.emptied.clone_from(&taken);
        if field.points.len() < LEAST {
            break;
        }
        let Some(best) = rounds.best_candidate(&field) else {
            break;
        };
        let mut place = match best.centre {
            Centre::Mark(_) | Centre::Node(_) => spot(&field, &best, &mut taken),
            Centre::Line(along, _) => line(&field, along, &best, &mut taken),
        };
        place.tests = rounds.number;
        place.p_adjusted = (rounds.adjusted(&field, &best) * streams).min(1.0);
        for &mark in &place.zone {
            rounds.left[mark] = false;
        }
        // the centre itself always goes, so that every round gets smaller
        rounds.left[field.points[best.point].mark] = false;
        let excess = place.hits.len() as f64 - place.expected;
        if view.panels.len() < MANY_PANELS || excess >= LEAST_EXCESS * view.panels.len() as f64 {
            found.push(place);
        }
    }
    found
}

fn spot(field: &Field, best: &Candidate, taken: &mut Vec<Zone>) -> Found {
    let size = best.size_mm.max(8.0) * field.unit;
    let reach = 1.25 * size;
    let near = |centre: Point| {
        let points = field.index.in_disc(centre, reach);
        let points = points.map(|(entry, _)| (entry.id, field.points[entry.id]));
        nearest_by_panel(points, reach, |p| square_distance(p, centre).sqrt())
    };
    let mut centre = best.at;
    for _ in 0..3 {
        let hits = near(centre);
        let mean = |axis: fn(Point) -> f64| {
            hits.iter().map(|h| axis(field.points[h.1].at)).sum::<f64>() / hits.len() as f64
        };
        if !hits.is_empty() {
            centre = Point::new(mean(|p| p.x), mean(|p| p.y));
        }
    }
    let hits = near(centre);
    let sharpness = sharpness::of_spot(field, centre, taken);
    let discs = Discs::new(field, &[RADII_MM[2] * field.unit], Crowding::AtAMark);
    let mut scratch = DiscScratch::new(field);
    discs.move_to(centre, &mut scratch);
    discs.chances(centre, 0, None, &mut scratch);
    let expected: f64 = scratch.chances.iter().sum();
    let zone = Zone::Disc {
        centre,
        radius: 1.5 * size + 3.0 * field.unit,
    };
    finish(
        field,
        best,
        Shape::Spot { centre },
        hits,
        sharpness,
        expected,
        zone,
        taken,
    )
}

fn line(field: &Field, along: LineAxis, best: &Candidate, taken: &mut Vec<Zone>) -> Found {
    let half_width = best.size_mm * field.unit;
    let bands = Bands::new(field, along, &[1.25 * half_width], Crowding::AtAMark);
    let u = |i: usize| across(along, field.points[i].at);
    let mut at = across(along, best.at);
    for _ in 0..3 {
        // the points of a band are sorted by u: the middle one is the median
        let inside = bands.within(at, half_width);
        if let (Some(&low), Some(&high)) = (
            inside.get(inside.len().saturating_sub(1) / 2),
            inside.get(inside.len() / 2),
        ) {
            at = 0.5 * (u(low) + u(high));
        }
    }
    let reach = bands.half_width(0);
    let points = bands
        .within(at, reach)
        .iter()
        .map(|&i| (i, field.points[i]));
    let hits = nearest_by_panel(points, reach, |p| (across(along, p) - at).abs());
    let sharpness = sharpness::of_line(field, along, at, taken);
    let mut scratch = BandScratch::new(field);
    bands.move_to(at, &mut scratch);
    bands.chances(at, 0, None, &mut scratch);
    let expected: f64 = scratch.chances.iter().sum();
    let zone = Zone::Band {
        along,
        at,
        half_width: 1.5 * half_width + 3.0 * field.unit,
    };
    let shape = Shape::Line { along, at_mm: at };
    finish(field, best, shape, hits, sharpness, expected, zone, taken)
}

#[expect(
    clippy::too_many_arguments,
    reason = "what the two shapes have in common"
)]
fn finish(
    field: &Field,
    best: &Candidate,
    shape: Shape,
    hits: Vec<(usize, usize, f64)>,
    (ring_ratio, sharpness): (Option<f64>, Sharpness),
    expected: f64,
    zone: Zone,
    taken: &mut Vec<Zone>,
) -> Found {
    let inside: Vec<usize> = (0..field.points.len())
        .filter(|&i| zone.holds(field.points[i].at))
        .collect();
    taken.push(zone);
    Found {
        shape,
        members: members(field, &inside, &hits),
        zone: inside.iter().map(|&i| field.points[i].mark).collect(),
        scan_radius_mm: best.size_mm * field.unit,
        p_value: best.p_value(),
        tests: 0,
        p_adjusted: 1.0,
        expected: expected / RESERVE,
        radius_mm: nine_tenths(hits.iter().map(|h| h.2).collect()),
        hits: hits.iter().map(|h| (h.0, field.points[h.1].mark)).collect(),
        ring_ratio,
        sharpness,
        drift: None,
    }
}

/// The hits and the marks of the zone that hang together with one of them.
fn members(field: &Field, inside: &[usize], hits: &[(usize, usize, f64)]) -> Vec<usize> {
    let at: Vec<Point> = inside.iter().map(|&i| field.points[i].at).collect();
    let groups = group(&at, MEMBER_MM * field.unit, 2);
    let mut points: Vec<usize> = hits.iter().map(|hit| hit.1).collect();
    points.sort_unstable();
    let is_hit = |point: &usize| points.binary_search(point).is_ok();
    let mut with_hits: Vec<usize> = (0..inside.len())
        .filter(|&k| is_hit(&inside[k]))
        .map(|k| groups[k])
        .collect();
    with_hits.sort_unstable();
    with_hits.dedup();
    let belongs = |k: &usize| is_hit(&inside[*k]) || with_hits.binary_search(&groups[*k]).is_ok();
    (0..inside.len())
        .filter(belongs)
        .map(|k| field.points[inside[k]].mark)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::scan::candidate::best;
    use crate::causes::scan::lines;
    use crate::causes::scan::lines::LINES;
    use crate::causes::scan::rounds::{Centres, candidates};
    use crate::causes::scan::spots::nodes;
    use crate::causes::scan::worked_cases::{PLAIN, panel, view};

    const ONE_STREAM: ScanSettings = ScanSettings {
        alpha: 0.01,
        streams: 1,
    };

    /// Three marks a panel anywhere, two places and a line.
    fn places(view: &View) -> Vec<Found> {
        find(view, &ONE_STREAM, &Tests::of(view, &ONE_STREAM))
    }

    fn busy(panels: usize) -> View {
        let mut marks = Vec::new();
        let mut state = 7_u64;
        let mut next = move || {
            // a plain linear congruence is random enough for scattered marks
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) as f64 / (1_u64 << 31) as f64
        };
        for i in 0..panels {
            for _ in 0..3 {
                marks.push((i, 600.0 * next(), 400.0 * next()));
            }
            let scatter = |share: f64| 8.0 * (share - 0.5);
            if next() < 0.25 {
                marks.push((i, 120.0 + scatter(next()), 90.0 + scatter(next())));
            }
            if next() < 0.25 {
                marks.push((i, 160.0 + scatter(next()), 90.0 + scatter(next())));
            }
            if next() < 0.4 {
                marks.push((i, 420.0 + scatter(next()), 400.0 * next()));
            }
        }
        view(&[PLAIN].repeat(panels), &marks, 0.0)
    }

    /// The loop without shortcuts: every mark a centre in every round, no
    /// grouping, the best of all candidates.
    fn plain_loop(view: &View) -> Vec<(Shape, f64)> {
        let tests = Tests::of(view, &ONE_STREAM);
        let rounds = Rounds::new(view, &tests);
        let mut left = vec![true; view.marks.len()];
        let (mut taken, mut found) = (Vec::new(), Vec::new());
        loop {
            let mut field = Field::new(view, &left);
            field.emptied.clone_from(&taken);
            let all: Vec<usize> = (0..field.points.len()).collect();
            let centres = Centres {
                nodes: nodes::occupied(&field),
                spots: all,
                lines: LINES.map(|along| lines::nodes(&field, along)),
            };
            let best = best(candidates(&field, [1.0; 3], &centres));
            let Some(best) = best.filter(|b| rounds.adjusted(&field, b) <= 0.01) else {
                return found;
            };
            let place = match best.centre {
                Centre::Mark(_) | Centre::Node(_) => spot(&field, &best, &mut taken),
                Centre::Line(along, _) => line(&field, along, &best, &mut taken),
            };
            for &mark in &place.zone {
                left[mark] = false;
            }
            found.push((place.shape, best.p_value()));
        }
    }

    #[test]
    fn shortcuts_and_grouping_accept_the_list_of_the_plain_loop() {
        let view = busy(150);
        let found: Vec<(Shape, f64)> = places(&view).iter().map(|f| (f.shape, f.p_value)).collect();
        assert_eq!(found, plain_loop(&view));
        assert_eq!(found.len(), 3);
    }

    #[test]
    fn the_same_list_at_any_number_of_threads() {
        let view = busy(60);
        let with = |threads| {
            let pool = rayon::ThreadPoolBuilder::new()
                .num_threads(threads)
                .build()
                .unwrap();
            pool.install(|| places(&view))
        };
        assert_eq!(with(1), with(3));
    }

    #[test]
    fn members_are_the_hits_and_what_hangs_together_with_them() {
        let view = busy(150);
        for found in places(&view) {
            assert!(
                found
                    .hits
                    .iter()
                    .all(|(_, mark)| found.members.contains(mark))
            );
            assert!(found.members.iter().all(|mark| found.zone.contains(mark)));
            assert_eq!(found.sharpness, Sharpness::Sharp, "{:?}", found.ring_ratio);
        }
    }

    #[test]
    fn nothing_to_scan_finds_nothing() {
        assert_eq!(places(&view(&[PLAIN; 5], &[], 0.0)), []);
        let two = view(
            &[PLAIN; 2],
            &[(0, 1.0, 1.0), (1, 1.0, 1.0), (1, 2.0, 1.0)],
            0.0,
        );
        assert_eq!(places(&two), []);
        assert_eq!(places(&view(&[], &[], 0.0)), []);
    }

    #[test]
    fn chances_are_zero_where_the_panel_does_not_cover_the_place() {
        let small = panel(200.0, 400.0);
        let marks: Vec<_> = (0..40)
            .map(|i| {
                (
                    i % 2,
                    f64::from(i as u32 * 37 % 200),
                    f64::from(i as u32 * 53 % 400),
                )
            })
            .collect();
        let view = view(&[PLAIN, small], &marks, 0.0);
        let place = Point::new(205.0, 100.0);
        let chances = view.chances(place, 12.0);
        assert!(chances[0] > 0.0);
        assert_eq!(chances[1], 0.0);
        assert!(view.band_chances(LineAxis::Y, 205.0, 8.0)[0] > 0.0);
        assert_eq!(view.band_chances(LineAxis::Y, 205.0, 8.0)[1], 0.0);
    }
}
