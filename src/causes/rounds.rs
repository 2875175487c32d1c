//! One round after the other: which centres are looked at, and which is best.

use super::LineAxis;
use super::band_background::across;
use super::field::Field;
use super::grouping::group;
use super::lines::{self, HALF_WIDTHS_MM};
use super::screen::{SCREENED_ABOVE, line_centres, spot_centres, worth_testing};
use super::spots::{self, RADII_MM};
use super::tail::Tail;
use super::view::View;
use crate::records::Point;
use crate::stats::SMALLEST_TAIL;

/// Tests per mark: three discs and two bands along each axis.
pub(super) const TESTS_PER_MARK: usize = 7;

/// Significant centres this near each other are one place, mm.
const PLACE_MM: f64 = 12.0;

/// Tails that are only nearly known are worked out exactly where they lie within
/// this factor of the smallest: far more than they can be off.
const NEARLY: f64 = 1.35;

/// The axes along which lines are looked for.
const LINES: [LineAxis; 2] = [LineAxis::Y, LineAxis::X];

/// Centres within this factor of the level are looked at again in the next round.
const NEAR_LEVEL: f64 = 1e3;

/// The best disc or band of a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Candidate {
    pub(super) form: Form,
    /// Index into `Field::points`.
    pub(super) point: usize,
    /// Radius or half width, mm, before the field's unit.
    pub(super) size_mm: f64,
    pub(super) panels_hit: usize,
    pub(super) p_value: f64,
    /// Significant centres of the place.
    pub(super) centres: usize,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Form {
    Spot,
    Line(LineAxis),
}

/// Marks and centres still in play from round to round.
#[derive(Debug, Clone)]
pub(super) struct Rounds {
    /// Which marks of the view are left.
    pub(super) left: Vec<bool>,
    /// Tests of the first round.
    pub(super) tests: usize,
    /// Centres of the round, as marks of the view: all that the screen passes,
    /// or those that came near the level the last time all were looked at.
    shortlist: Option<Centres>,
}

/// Marks around which a round looks.
#[derive(Debug, Clone, Default)]
pub(super) struct Centres {
    pub(super) spots: Vec<usize>,
    pub(super) lines: [Vec<usize>; 2],
}

impl Rounds {
    pub(super) fn new(view: &View) -> Self {
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
    pub(super) fn best_candidate(&mut self, field: &Field, level: f64) -> Option<Candidate> {
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

/// All discs and bands around the centres with a p-value within `level`; the
/// smallest p-values are exact.
pub(super) fn candidates(field: &Field, level: f64, centres: &Centres) -> Vec<Candidate> {
    let discs = spots::discs(field);
    let bands = LINES.map(|along| lines::bands(field, along));
    let spots = spots::scan(&discs, level, &centres.spots);
    let mut all: Vec<(Candidate, Tail, usize)> = spots
        .into_iter()
        .map(|c| {
            let size_mm = RADII_MM[c.radius];
            let candidate = Candidate::new(Form::Spot, c.point, size_mm, c.panels_hit, c.tail);
            (candidate, c.tail, c.radius)
        })
        .collect();
    for (bands, centres) in bands.iter().zip(&centres.lines) {
        let lines = lines::scan(bands, level, centres);
        all.extend(lines.into_iter().map(|c| {
            let (form, size_mm) = (Form::Line(bands.along), HALF_WIDTHS_MM[c.width]);
            let candidate = Candidate::new(form, c.point, size_mm, c.panels_hit, c.tail);
            (candidate, c.tail, c.width)
        }));
    }
    let smallest = all.iter().map(|c| c.1.value()).fold(1.0, f64::min);
    all.into_iter()
        .map(|(mut candidate, tail, size)| {
            if let Tail::Near(p) = tail
                && p > SMALLEST_TAIL
                && p <= smallest * NEARLY
            {
                candidate.p_value = match candidate.form {
                    Form::Spot => spots::exact_tail(&discs, candidate.point, size),
                    Form::Line(along) => {
                        let bands = &bands[usize::from(along == LINES[1])];
                        lines::exact_tail(bands, candidate.point, size)
                    }
                };
            }
            candidate
        })
        .collect()
}

impl Candidate {
    fn new(form: Form, point: usize, size_mm: f64, panels_hit: usize, tail: Tail) -> Self {
        Self {
            form,
            point,
            size_mm,
            panels_hit,
            p_value: tail.value(),
            centres: 1,
        }
    }
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
