//! All places of a stream: scan, take the best place out, scan again.

use super::background::RESERVE;
use super::band_background::{BandScratch, Bands, across};
use super::discs::{DiscScratch, Discs};
use super::field::Field;
use super::grouping::group;
use super::lines::{self, HALF_WIDTHS_MM};
use super::point_index::square_distance;
use super::screen::{SCREENED_ABOVE, line_centres, spot_centres, worth_testing};
use super::sharpness::{
    RING_LIMIT, Sharpness, Zone, line_ring_ratio, nearest_by_panel, nine_tenths, spot_ring_ratio,
};
use super::spots::{self, RADII_MM};
use super::{LineAxis, view::View};
use crate::records::Point;
use crate::stats::Interval;

/// No stream is asked for more repeats than this.
const MOST_FOUND: usize = 50;

/// Tests per mark: three discs and two bands along each axis.
const TESTS_PER_MARK: usize = 7;

/// Fewer marks or panels than this are not tested.
const LEAST: usize = 3;

/// Significant centres this near each other are one place, mm.
const PLACE_MM: f64 = 12.0;

/// Marks this near each other belong together, mm.
const MEMBER_MM: f64 = 6.0;

/// The axes along which lines are looked for.
const LINES: [LineAxis; 2] = [LineAxis::Y, LineAxis::X];

/// Centres within this factor of the level are looked at again in the next round.
const NEAR_LEVEL: f64 = 1e3;

/// Settings of the scan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScanSettings {
    /// The level of the whole report, 0..1.
    pub alpha: f64,
    /// Streams in the report, each tested at its share of `alpha`.
    pub streams: usize,
}

/// What repeats.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shape {
    /// A place.
    Spot {
        /// Its refined centre, mm.
        centre: Point,
    },
    /// A stripe.
    Line {
        /// The axis along which it runs: `Y` is a line at fixed x.
        along: LineAxis,
        /// Its refined place on the other axis, mm.
        at_mm: f64,
    },
    /// Bars of fixed pitch.
    Bars {
        /// The axis along which each bar runs: `Y` means bars spaced along x.
        along: LineAxis,
        /// Distance from bar to bar, mm.
        pitch_mm: f64,
        /// Its 95 % interval.
        pitch_ci: Interval,
        /// Place of a bar, mm, 0..pitch.
        phase_mm: f64,
    },
}

/// A repeat found by the scan.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// What and where, in the view's frame.
    pub shape: Shape,
    /// Panels hit and the mark nearest the place, by panel: position in
    /// `View::panels`, index into `View::marks`.
    pub hits: Vec<(usize, usize)>,
    /// All marks that belong to it, indices into `View::marks`.
    pub members: Vec<usize>,
    /// Marks taken out with it before the next round, indices into `View::marks`.
    pub zone: Vec<usize>,
    /// Panels that decided: those with a mark in the best disc or band.
    pub panels_in_scan: usize,
    /// Radius or half width of that disc or band, mm.
    pub scan_radius_mm: f64,
    /// Centres around which the scan was significant at this place.
    pub centres: usize,
    /// Chance of so many panels at that centre without a repeat.
    pub p_value: f64,
    /// Centres and sizes tried in the frame.
    pub tests: usize,
    /// `p_value` × `tests` × streams, at most 1.
    pub p_adjusted: f64,
    /// Panels that chance alone would have put at the refined place.
    pub expected: f64,
    /// Radius (half width) that holds 90 % of the hits, mm.
    pub radius_mm: f64,
    /// Excess just around the place over the excess at the place; none where
    /// there is no excess to compare.
    pub ring_ratio: Option<f64>,
    /// Whether it is a place or a broad concentration.
    pub sharpness: Sharpness,
    /// Speed of the place where it drifts.
    pub drift: Option<Drift>,
}

/// How a place moves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drift {
    /// Along x, mm per day.
    pub x_mm_per_day: f64,
    /// Along y, mm per day.
    pub y_mm_per_day: f64,
}

/// The best disc or band of a place.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Candidate {
    form: Form,
    /// Index into `Field::points`.
    point: usize,
    /// Radius or half width, mm, before the field's unit.
    size_mm: f64,
    panels_hit: usize,
    p_value: f64,
    /// Significant centres of the place.
    centres: usize,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    Spot,
    Line(LineAxis),
}

/// All repeats of a stream in the view's frame, in the order found.
///
/// Each round scans discs and bands around the marks left, takes the best one
/// (smaller p, then smaller size, then point order), refines its place, and
/// takes its marks out. It ends when no p-value times the tests of the first
/// round and the report's streams is within `alpha`, or at fifty.
#[must_use]
pub fn find(view: &View, settings: &ScanSettings) -> Vec<Found> {
    let mut rounds = Rounds::new(view);
    let tests = rounds.tests;
    if view.marks.len() < LEAST || view.panels.len() < LEAST {
        return Vec::new();
    }
    let penalty = tests as f64 * settings.streams.max(1) as f64;
    let mut taken = Vec::new();
    let mut found = Vec::new();
    while found.len() < MOST_FOUND {
        let field = Field::new(view, &rounds.left);
        if field.points.len() < LEAST {
            break;
        }
        let Some(best) = rounds.best_candidate(&field, settings.alpha / penalty) else {
            break;
        };
        let mut place = match best.form {
            Form::Spot => spot(&field, &best, &mut taken),
            Form::Line(along) => line(&field, along, &best, &mut taken),
        };
        place.tests = tests;
        place.p_adjusted = (best.p_value * penalty).min(1.0);
        for &mark in &place.zone {
            rounds.left[mark] = false;
        }
        // the centre itself always goes, so that every round gets smaller
        rounds.left[field.points[best.point].mark] = false;
        found.push(place);
    }
    found
}

/// Marks and centres still in play from round to round.
#[derive(Debug, Clone)]
struct Rounds {
    /// Which marks of the view are left.
    left: Vec<bool>,
    /// Tests of the first round.
    tests: usize,
    /// Centres of the round, as marks of the view: all that the screen passes,
    /// or those that came near the level the last time all were looked at.
    shortlist: Option<Centres>,
}

/// Marks around which a round looks.
#[derive(Debug, Clone, Default)]
struct Centres {
    spots: Vec<usize>,
    lines: [Vec<usize>; 2],
}

impl Rounds {
    fn new(view: &View) -> Self {
        let left = vec![true; view.marks.len()];
        let tests = if view.marks.len() <= SCREENED_ABOVE {
            TESTS_PER_MARK * view.marks.len()
        } else {
            let field = Field::whole(view);
            RADII_MM.len() * spot_centres(&field).len()
                + LINES
                    .iter()
                    .map(|&along| HALF_WIDTHS_MM.len() * line_centres(&field, along).len())
                    .sum::<usize>()
        };
        Self {
            left,
            tests,
            shortlist: None,
        }
    }

    /// The best candidate of a round, one per place looked at; none if no
    /// p-value is within `level`.
    ///
    /// Centres far from significance are not looked at again until those near
    /// it are used up; only a look at all of them ends the search.
    fn best_candidate(&mut self, field: &Field, level: f64) -> Option<Candidate> {
        if let Some(centres) = self.shortlist.take() {
            let again = candidates(field, level, &centres.among(field));
            if let Some(best) = best_of_places(field, &again) {
                self.shortlist = Some(centres);
                return Some(best);
            }
        }
        let all = Centres {
            spots: spot_centres(field),
            lines: LINES.map(|along| line_centres(field, along)),
        };
        let all = if field.points.len() > SCREENED_ABOVE {
            Centres {
                spots: worth_testing(field, &all.spots),
                ..all
            }
        } else {
            all
        };
        let near = candidates(field, (NEAR_LEVEL * level).min(1.0), &all);
        let mut shortlist = Centres::default();
        for candidate in &near {
            let mark = field.points[candidate.point].mark;
            match candidate.form {
                Form::Spot => shortlist.spots.push(mark),
                Form::Line(along) => shortlist.lines[usize::from(along == LINES[1])].push(mark),
            }
        }
        self.shortlist = Some(shortlist);
        let significant: Vec<Candidate> = near.into_iter().filter(|c| c.p_value <= level).collect();
        best_of_places(field, &significant)
    }
}

impl Centres {
    /// The marks as points of the field, those still left.
    fn among(&self, field: &Field) -> Self {
        let points = |marks: &Vec<usize>| {
            let mut points: Vec<usize> = marks
                .iter()
                .filter_map(|mark| field.points.binary_search_by_key(mark, |p| p.mark).ok())
                .collect();
            points.dedup();
            points
        };
        Self {
            spots: points(&self.spots),
            lines: [points(&self.lines[0]), points(&self.lines[1])],
        }
    }
}

/// All discs and bands around the centres with a p-value within `level`.
fn candidates(field: &Field, level: f64, centres: &Centres) -> Vec<Candidate> {
    let spots = spots::scan(&spots::discs(field), level, &centres.spots);
    let mut all: Vec<Candidate> = spots
        .into_iter()
        .map(|c| Candidate {
            form: Form::Spot,
            point: c.point,
            size_mm: RADII_MM[c.radius],
            panels_hit: c.panels_hit,
            p_value: c.p_value,
            centres: 1,
        })
        .collect();
    for (along, centres) in LINES.into_iter().zip(&centres.lines) {
        let lines = lines::scan(&lines::bands(field, along), level, centres);
        all.extend(lines.into_iter().map(|c| Candidate {
            form: Form::Line(along),
            point: c.point,
            size_mm: HALF_WIDTHS_MM[c.width],
            panels_hit: c.panels_hit,
            p_value: c.p_value,
            centres: 1,
        }));
    }
    all
}

/// The best candidate of all places: significant centres are gathered into
/// places, each shows its best, and the best of these comes first.
fn best_of_places(field: &Field, candidates: &[Candidate]) -> Option<Candidate> {
    let mut places = Vec::new();
    for form in [Form::Spot, Form::Line(LINES[0]), Form::Line(LINES[1])] {
        let of_form: Vec<Candidate> = candidates
            .iter()
            .filter(|c| c.form == form)
            .copied()
            .collect();
        let at: Vec<Point> = of_form
            .iter()
            .map(|c| match form {
                Form::Spot => field.points[c.point].at,
                Form::Line(along) => Point {
                    x: across(along, field.points[c.point].at),
                    y: 0.0,
                },
            })
            .collect();
        let groups = group(&at, PLACE_MM * field.unit, 2);
        places.extend(best_of_groups(of_form, &groups));
    }
    places.into_iter().min_by(|a, b| {
        a.p_value
            .total_cmp(&b.p_value)
            .then(a.size_mm.total_cmp(&b.size_mm))
            .then(a.point.cmp(&b.point))
    })
}

/// The first best candidate of each group, with the group's number of centres.
fn best_of_groups(candidates: Vec<Candidate>, groups: &[usize]) -> Vec<Candidate> {
    let mut best: Vec<Candidate> = Vec::new();
    let mut last_point = Vec::new();
    for (candidate, &number) in candidates.into_iter().zip(groups) {
        let Some(known) = best.get_mut(number) else {
            last_point.push(candidate.point);
            best.push(candidate);
            continue;
        };
        let centres = known.centres + usize::from(last_point[number] != candidate.point);
        last_point[number] = candidate.point;
        let order = candidate.p_value.total_cmp(&known.p_value);
        if order
            .then(candidate.size_mm.total_cmp(&known.size_mm))
            .is_lt()
        {
            *known = candidate;
        }
        known.centres = centres;
    }
    best
}

fn spot(field: &Field, best: &Candidate, taken: &mut Vec<Zone>) -> Found {
    let size = best.size_mm.max(8.0) * field.unit;
    let reach = 1.25 * size;
    let near = |centre: Point| {
        let points = field.index.in_disc(centre, reach);
        let points = points.map(|(entry, _)| (entry.id, field.points[entry.id]));
        nearest_by_panel(points, reach, |p| square_distance(p, centre).sqrt())
    };
    let mut centre = field.points[best.point].at;
    for _ in 0..3 {
        let hits = near(centre);
        let mean = |axis: fn(Point) -> f64| {
            hits.iter().map(|h| axis(field.points[h.1].at)).sum::<f64>() / hits.len() as f64
        };
        if !hits.is_empty() {
            centre = Point {
                x: mean(|p| p.x),
                y: mean(|p| p.y),
            };
        }
    }
    let hits = near(centre);
    let ring_ratio = spot_ring_ratio(field, centre, taken);
    let discs = Discs::new(field, &[RADII_MM[2] * field.unit]);
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
        ring_ratio,
        expected,
        zone,
        taken,
    )
}

fn line(field: &Field, along: LineAxis, best: &Candidate, taken: &mut Vec<Zone>) -> Found {
    let half_width = best.size_mm * field.unit;
    let bands = Bands::new(field, along, &[1.25 * half_width]);
    let u = |i: usize| across(along, field.points[i].at);
    let mut at = u(best.point);
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
    let ring_ratio = line_ring_ratio(field, along, at, taken);
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
    finish(field, best, shape, hits, ring_ratio, expected, zone, taken)
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
    ring_ratio: Option<f64>,
    expected: f64,
    zone: Zone,
    taken: &mut Vec<Zone>,
) -> Found {
    let inside: Vec<usize> = (0..field.points.len())
        .filter(|&i| zone.holds(field.points[i].at))
        .collect();
    taken.push(zone);
    let sharp = ring_ratio.is_some_and(|ratio| ratio <= RING_LIMIT);
    Found {
        shape,
        members: members(field, &inside, &hits),
        zone: inside.iter().map(|&i| field.points[i].mark).collect(),
        panels_in_scan: best.panels_hit,
        scan_radius_mm: best.size_mm * field.unit,
        centres: best.centres,
        p_value: best.p_value,
        tests: 0,
        p_adjusted: 1.0,
        expected: expected / RESERVE,
        radius_mm: nine_tenths(hits.iter().map(|h| h.2).collect()),
        hits: hits.iter().map(|h| (h.0, field.points[h.1].mark)).collect(),
        ring_ratio,
        sharpness: if sharp {
            Sharpness::Sharp
        } else {
            Sharpness::Broad
        },
        drift: None,
    }
}

/// The hits and the marks of the zone that hang together with one of them.
fn members(field: &Field, inside: &[usize], hits: &[(usize, usize, f64)]) -> Vec<usize> {
    let at: Vec<Point> = inside.iter().map(|&i| field.points[i].at).collect();
    let groups = group(&at, MEMBER_MM * field.unit, 2);
    let is_hit = |point: &usize| hits.iter().any(|h| h.1 == *point);
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

impl View {
    /// Chance p of each panel to have a mark within `radius_mm` of `place`
    /// without a repeat there; 0 where the panel does not cover the place.
    #[must_use]
    pub fn chances(&self, place: Point, radius_mm: f64) -> Vec<f64> {
        let field = Field::whole(self);
        let discs = Discs::new(&field, &[radius_mm]);
        let mut scratch = DiscScratch::new(&field);
        discs.move_to(place, &mut scratch);
        discs.chances(place, 0, None, &mut scratch);
        let mut chances = vec![0.0; self.panels.len()];
        for (&panel, &p) in scratch.panels.iter().zip(&scratch.chances) {
            if self.exposed(panel, place) {
                chances[panel] = p;
            }
        }
        chances
    }

    /// The same for a band: a mark within `half_width_mm` of `at_mm` across the
    /// line along `along`.
    #[must_use]
    pub fn band_chances(&self, along: LineAxis, at_mm: f64, half_width_mm: f64) -> Vec<f64> {
        let field = Field::whole(self);
        let bands = Bands::new(&field, along, &[half_width_mm]);
        let mut scratch = BandScratch::new(&field);
        bands.move_to(at_mm, &mut scratch);
        bands.chances(at_mm, 0, None, &mut scratch);
        let mut chances = vec![0.0; self.panels.len()];
        for (&panel, &p) in scratch.panels.iter().zip(&scratch.chances) {
            if self.panels[panel].covers_across(along, at_mm) {
                chances[panel] = p;
            }
        }
        chances
    }
}
