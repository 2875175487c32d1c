//! How much a mark counts as a chance: marks of one panel that overlap are one
//! event, and round coordinates crowd onto a lattice.

use std::f64::consts::PI;

use crate::records::Point;

/// Steps inspectors round to, mm, largest first.
const GRAINS_MM: [f64; 6] = [100.0, 50.0, 25.0, 20.0, 10.0, 5.0];

/// Slack of "divides", as a share of the step.
const GRAIN_SLACK: f64 = 1e-6;

/// Share of the area that two discs of radius `radius` at distance `distance`
/// have in common: (2/π)(acos a − a√(1−a²)) with a = distance/2·radius.
///
/// 1 for coincident discs, 0 from a = 1 on.
#[must_use]
pub(crate) fn lens(distance: f64, radius: f64) -> f64 {
    let a = distance / (2.0 * radius);
    if a >= 1.0 {
        return 0.0;
    }
    (2.0 / PI) * (a.acos() - a * (1.0 - a * a).sqrt())
}

/// Share that two bands of half width `half_width` at distance `distance` have
/// in common: 1 − distance/(2·half_width), not below 0.
#[must_use]
pub(crate) fn band_overlap(distance: f64, half_width: f64) -> f64 {
    (1.0 - distance / (2.0 * half_width)).max(0.0)
}

/// Whether `value` is a multiple of `step` as far as a written number can be.
#[must_use]
pub(crate) fn divides(step: f64, value: f64) -> bool {
    let turns = value / step;
    (turns - turns.round()).abs() <= GRAIN_SLACK
}

/// The largest of 100, 50, 25, 20, 10, 5 mm that divides both coordinates as
/// they were written in the panel frame; 0 if none does.
#[must_use]
pub(crate) fn written_grain_mm(written: Point) -> f64 {
    let both = |step: &f64| divides(*step, written.x) && divides(*step, written.y);
    GRAINS_MM.into_iter().find(both).unwrap_or(0.0)
}

/// How many times more marks of grain `grain_mm` a disc centred on one of them
/// can hold than its area suggests: max(1, g²·lattice points in the disc / πr²).
///
/// 1 for a grain of 0.
#[must_use]
pub(crate) fn disc_crowding(radius: f64, grain_mm: f64) -> f64 {
    if grain_mm <= 0.0 {
        return 1.0;
    }
    let reach = (radius / grain_mm).floor() as i64;
    let limit = (radius / grain_mm).powi(2) + 1e-12;
    let points = (-reach..=reach)
        .flat_map(|a| (-reach..=reach).map(move |b| (a * a + b * b) as f64))
        .filter(|&square| square <= limit)
        .count();
    (grain_mm * grain_mm * points as f64 / (PI * radius * radius)).max(1.0)
}

/// The same for a disc centred anywhere: the most that any centre can hold.
#[must_use]
pub(crate) fn disc_crowding_anywhere(radius: f64, grain_mm: f64) -> f64 {
    /// Centres tried along half a step, the other half being its mirror image.
    const CENTRES: i32 = 12;
    if grain_mm <= 0.0 {
        return 1.0;
    }
    let reach = (radius / grain_mm).ceil() as i64 + 1;
    let limit = (radius / grain_mm).powi(2) + 1e-12;
    let offset = |k: i32| 0.5 * f64::from(k) / f64::from(CENTRES);
    let held = |dx: f64, dy: f64| {
        (-reach..=reach)
            .flat_map(|a| (-reach..=reach).map(move |b| (a as f64 - dx, b as f64 - dy)))
            .filter(|(x, y)| x * x + y * y <= limit)
            .count()
    };
    let most = (0..=CENTRES)
        .flat_map(|a| (0..=CENTRES).map(move |b| (offset(a), offset(b))))
        .map(|(dx, dy)| held(dx, dy))
        .max();
    let points = most.unwrap_or(1) as f64;
    (grain_mm * grain_mm * points / (PI * radius * radius)).max(1.0)
}

/// The same for a band: max(1, (2⌊r/g⌋ + 1)·g/2r).
#[must_use]
pub(crate) fn band_crowding(half_width: f64, grain_mm: f64) -> f64 {
    if grain_mm <= 0.0 {
        return 1.0;
    }
    let lines = 2.0 * (half_width / grain_mm + 1e-12).floor() + 1.0;
    (lines * grain_mm / (2.0 * half_width)).max(1.0)
}

/// The same for a band centred anywhere: max(1, (⌊2r/g⌋ + 1)·g/2r).
#[must_use]
pub(crate) fn band_crowding_anywhere(half_width: f64, grain_mm: f64) -> f64 {
    if grain_mm <= 0.0 {
        return 1.0;
    }
    let lines = (2.0 * half_width / grain_mm + 1e-12).floor() + 1.0;
    (lines * grain_mm / (2.0 * half_width)).max(1.0)
}

/// The step in which at least four fifths of the marks are written, if that is
/// 10 mm or more: the scan then works in multiples of it.
///
/// `grains` are the marks' written grains ([`written_grain_mm`]).
#[must_use]
pub(crate) fn common_grain_mm(grains: impl Iterator<Item = f64> + Clone) -> Option<f64> {
    let all = grains.clone().count();
    let share_written_in = |step: f64| {
        let fits = |grain: &f64| *grain > 0.0 && divides(step, *grain);
        grains.clone().filter(fits).count() as f64 >= 0.8 * all as f64
    };
    let coarse = GRAINS_MM.into_iter().filter(|step| *step >= 10.0);
    coarse
        .into_iter()
        .find(|step| all > 0 && share_written_in(*step))
}

/// Weights of marks 1 / (1 + Σ overlap²) over the other marks of the same panel,
/// so that coincident marks weigh 1 in all.
///
/// `at` are the marks of one panel; `reach` is the distance from which `overlap`
/// is 0. Marks are compared only with those within reach along x.
pub(crate) fn overlap_weights(
    at: &[Point],
    reach: f64,
    distance: impl Fn(Point, Point) -> f64,
    overlap: impl Fn(f64) -> f64,
    sort_key: impl Fn(Point) -> f64,
) -> Vec<f64> {
    // marks at the very same place are taken together
    let by_key = |a: Point, b: Point| sort_key(a).total_cmp(&sort_key(b));
    let by_place = |a: &Point, b: &Point| {
        (by_key(*a, *b))
            .then(a.x.total_cmp(&b.x))
            .then(a.y.total_cmp(&b.y))
    };
    let mut places: Vec<Point> = at.to_vec();
    places.sort_by(by_place);
    let runs = places.chunk_by(|a, b| a.x == b.x && a.y == b.y);
    let times: Vec<f64> = runs.map(|run| run.len() as f64).collect();
    places.dedup_by(|a, b| a.x == b.x && a.y == b.y);
    let mut shared: Vec<f64> = times.iter().map(|n| n - 1.0).collect();
    for j in 0..places.len() {
        for k in j + 1..places.len() {
            if sort_key(places[k]) - sort_key(places[j]) >= reach {
                break;
            }
            let square = overlap(distance(places[j], places[k])).powi(2);
            shared[j] += times[k] * square;
            shared[k] += times[j] * square;
        }
    }
    let weight = |p: &Point| {
        let place = places.binary_search_by(|q| by_place(q, p)).ok();
        place.map_or(1.0, |place| 1.0 / (1.0 + shared[place]))
    };
    at.iter().map(weight).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn a_disc_between_round_numbers_can_hold_more_than_one_on_them() {
        // radius 7, steps of 10: two marks side by side, one at the centre
        let between = disc_crowding_anywhere(7.0, 10.0);
        assert_relative_eq!(between, 200.0 / (PI * 49.0), max_relative = 1e-12);
        // from √50 on it holds all four around it
        let four = disc_crowding_anywhere(7.1, 10.0);
        assert_relative_eq!(four, 400.0 / (PI * 7.1 * 7.1), max_relative = 1e-12);
        assert_relative_eq!(disc_crowding_anywhere(7.0, 0.0), 1.0);
        for grain in [5.0, 10.0, 20.0, 25.0, 50.0, 100.0] {
            assert!(disc_crowding_anywhere(11.0, grain) >= disc_crowding(11.0, grain));
        }
    }

    /// Values of an independent slow reference implementation.
    #[test]
    fn lens_and_crowding_match_the_reference() {
        for (distance, share) in [
            (0.0, 1.0),
            (3.5, 0.6850376425),
            (7.0, 0.391002219),
            (14.0, 0.0),
        ] {
            assert_relative_eq!(lens(distance, 7.0), share, max_relative = 1e-9);
        }
        for (radius, grain, crowding) in [
            (4.0, 10.0, 1.989437),
            (7.0, 10.0, 1.0),
            (12.0, 5.0, 1.160505),
            (12.0, 10.0, 1.105243),
            (4.0, 50.0, 49.73592),
            (12.0, 50.0, 5.526213),
        ] {
            // printed to seven digits
            assert_relative_eq!(disc_crowding(radius, grain), crowding, max_relative = 5e-7);
        }
        assert_relative_eq!(band_crowding(4.0, 10.0), 1.25);
        assert_relative_eq!(band_crowding(4.0, 50.0), 6.25);
        assert_relative_eq!(band_crowding(8.0, 5.0), 1.0);
    }

    #[test]
    fn a_band_between_round_numbers_holds_two_of_them() {
        // half width 6, steps of 10: one line when centred on it, two around its middle
        assert_relative_eq!(band_crowding(6.0, 10.0), 1.0);
        assert_relative_eq!(band_crowding_anywhere(6.0, 10.0), 20.0 / 12.0);
        assert_relative_eq!(band_crowding_anywhere(6.0, 0.0), 1.0);
        for grain in [5.0, 10.0, 20.0, 25.0, 50.0, 100.0] {
            assert!(band_crowding_anywhere(8.0, grain) >= band_crowding(8.0, grain));
        }
    }

    #[test]
    fn grain_is_the_largest_step_of_both_coordinates() {
        let grain = |x, y| written_grain_mm(Point { x, y });
        assert_eq!(grain(300.0, 100.0), 100.0);
        assert_eq!(grain(300.0, 150.0), 50.0);
        assert_eq!(grain(275.0, 50.0), 25.0);
        assert_eq!(grain(15.0, 40.0), 5.0);
        assert_eq!(grain(15.0, 40.5), 0.0);
        assert_eq!(grain(0.1 + 0.2 + 99.7, 0.0), 100.0);
    }

    #[test]
    fn four_fifths_of_the_marks_make_a_common_grain() {
        let mixed = [10.0, 50.0, 20.0, 100.0, 0.0];
        assert_eq!(common_grain_mm(mixed.into_iter()), Some(10.0));
        assert_eq!(common_grain_mm([10.0, 50.0, 5.0].into_iter()), None);
        assert_eq!(common_grain_mm([100.0, 50.0].into_iter()), Some(50.0));
        assert_eq!(common_grain_mm([].into_iter()), None);
    }

    #[test]
    fn coincident_marks_weigh_one_in_all() {
        let here = Point::new(5.0, 5.0);
        let far = Point::new(50.0, 5.0);
        let weights = overlap_weights(
            &[here, far, here, here],
            14.0,
            |p, q| (p.x - q.x).hypot(p.y - q.y),
            |d| lens(d, 7.0),
            |p| p.x,
        );
        assert_relative_eq!(weights[0] + weights[2] + weights[3], 1.0);
        assert_relative_eq!(weights[1], 1.0);
    }
}
