//! The ratio of two rates inside strata, with an interval that carries the
//! scatter of panels, runs, days and lots.

use super::items::Item;
use super::law::{Between, Law};
use super::scatter::Fit;
use super::strata::{Cell, cells, information, parts};
use super::{Dispersion, Method, Unit, days, exact};
use crate::stats::Interval;

/// Fewest lots on each side that stand for lots as such.
pub(super) const FEWEST_LOTS_A_SIDE: usize = 5;

/// Mean correlation of neighbouring days that is worth a word; before anything
/// is seen it is 0.80.
const MEMORY_FELT: f64 = 0.88;

/// Degrees of freedom from which the days' own scatter is worth taking as seen.
const DAYS_SEEN: f64 = 5.0;

/// How far units usually differ, as a standard deviation of ln rate: weighed
/// against what the records show, see [`Law`].
struct Usual {
    /// Days.
    days: f64,
    /// Runs on one side.
    runs: f64,
    /// Lots among each other.
    lots: f64,
    /// Lots in what the change does to them.
    lots_in_ratio: f64,
}

/// Lots a factor of 2.7 either way, days of 1.8, runs of 1.5, the change's
/// effect on different lots of 1.35.
const USUAL_COUNTS: Usual = Usual {
    days: 0.6,
    runs: 0.4,
    lots: 1.0,
    lots_in_ratio: 0.3,
};

/// Removal varies by per cents where counts vary by factors; with 0.15 for days
/// intervals of one day against one held the truth in 82 of 100 shops whose days
/// differ by a standard deviation of 0.1.
const USUAL_MEASURES: Usual = Usual {
    days: 0.2,
    runs: 0.1,
    lots: 0.3,
    lots_in_ratio: 0.1,
};

/// Whether values are counts of marks, whose variance is at least their mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// Defects.
    Counts,
    /// Removal, µm.
    Measures,
    /// Distances of panels from others, µm.
    Distances,
}

/// A stratified ratio with its interval and test.
///
/// With a, b the sums after and before in stratum s, T₁, T₀ the exposures and
/// T = T₁ + T₀: A = Σ w·a·T₀/T, B = Σ w·b·T₁/T, ρ̂ = A/B (Mantel–Haenszel;
/// weights w = 1/(1 + α·mean count) even out strata with many marks, as a
/// negative binomial of that α would). Under a ratio ρ, A − ρB has mean 0 and
/// variance φ·ρ·C with C = Σ w²·(a+b)·T₁T₀/T²: φ = 1 for single independent
/// marks, otherwise estimated by leaving out one panel, run, day or lot at a
/// time. What a few runs, days or lots add to the panels' scatter is weighed,
/// not taken at its estimate ([`Law`]), and days may resemble each other
/// ([`days::law`]). All ρ that the widest of these laws leaves possible make the
/// interval, and the test is the same; where the marks are few, neither is
/// narrower than the exact conditional one. Swapping the sides inverts
/// everything.
///
/// Sources: Mantel & Haenszel (1959), J. Natl. Cancer Inst. 22, 719–748; for
/// rates Greenland & Robins (1985), Biometrics 41, 55–68; score interval in the
/// manner of Sato (1990), Biometrics 46, 71–80; leave-one-cluster-out variance:
/// Cameron & Miller (2015), J. Human Resources 50, 317–372.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct StratifiedRatio {
    /// A, B and C.
    pub a: f64,
    pub b: f64,
    pub c: f64,
    /// Laws of the score by unit; not empty.
    pub laws: Vec<UnitLaw>,
    /// φ by unit.
    pub dispersion: Dispersion,
    /// Marks in strata with both sides.
    pub total: f64,
    /// Whether the values are counts.
    pub whole: bool,
    exact_cells: Option<Vec<Cell>>,
    exact_p: Option<f64>,
    level: f64,
}

/// A law of the score that carries the scatter of a unit.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct UnitLaw {
    /// The unit.
    pub unit: Unit,
    /// The law.
    pub law: Law,
    /// What it was made from; none for panels.
    pub between: Option<Between>,
    /// How much more the units add than if they were independent, with
    /// [`days::TIMES`] as many of them.
    pub growth: [f64; days::TIMES.len()],
}

impl StratifiedRatio {
    /// After over before; none without a before.
    pub(super) fn estimate(&self) -> Option<f64> {
        (self.b > 0.0).then(|| self.a / self.b)
    }

    /// Two-sided p-value of a ratio of 1.
    pub(super) fn p_value(&self) -> f64 {
        let score = self.score_p(1.0);
        self.exact_p.map_or(score, |p| p.max(score))
    }

    /// Two-sided p-value of a ratio of 1 where days that drift are what is looked
    /// for: neither a usual spread nor a memory of days is allowed for, only their
    /// scatter as it was seen, where there are days enough to see it.
    pub(super) fn p_of_drift(&self) -> f64 {
        let distance = self.distance(1.0);
        let p = |l: &UnitLaw| match (l.unit, l.between) {
            (Unit::Days, Some(days)) if days.degrees >= DAYS_SEEN => {
                let factor = days.factor.max(l.law.panels);
                Law::of_panels(factor, days.degrees).two_sided_p(distance)
            }
            (Unit::Days, _) => 0.0,
            _ => l.law.two_sided_p(distance),
        };
        let score = self.laws.iter().map(p).fold(0.0, f64::max);
        self.exact_p.map_or(score, |p| p.max(score))
    }

    /// Interval at the level asked for.
    pub(super) fn interval(&self) -> Interval {
        self.interval_at(self.level)
    }

    /// Interval at another level.
    pub(super) fn interval_at(&self, level: f64) -> Interval {
        let (mut low, mut high) = self.score_interval(level);
        if let Some(cells) = &self.exact_cells
            && let Ok(exact) = exact::exact(cells, level)
        {
            low = low.min(exact.ci.low);
            high = high.max(exact.ci.high);
        }
        Interval { low, high, level }
    }

    /// What decided the p-value.
    pub(super) fn method(&self) -> Method {
        if self.exact_p.is_some_and(|p| p >= self.score_p(1.0)) {
            return Method::ExactConditional;
        }
        let p = |law: &UnitLaw| law.law.two_sided_p(self.distance(1.0));
        let widest = self.laws.iter().max_by(|x, y| p(x).total_cmp(&p(y)));
        Method::Stratified(widest.map_or(Unit::Panels, |w| w.unit))
    }

    /// How alike neighbouring days are, where that decides the interval.
    pub(super) fn day_memory_felt(&self) -> Option<f64> {
        self.dispersion
            .day_memory
            .filter(|m| *m >= MEMORY_FELT && self.method() == Method::Stratified(Unit::Days))
    }

    /// |A − ρB| in standard deviations of single independent marks.
    fn distance(&self, ratio: f64) -> f64 {
        (self.a - ratio * self.b).abs() / (ratio * self.c).sqrt()
    }

    fn score_p(&self, ratio: f64) -> f64 {
        let distance = self.distance(ratio);
        let laws = self.laws.iter();
        laws.map(|l| l.law.two_sided_p(distance))
            .fold(0.0, f64::max)
    }

    /// Roots of B²ρ² − (2AB + t²C)ρ + A² = 0, t the widest half width.
    fn score_interval(&self, level: f64) -> (f64, f64) {
        let laws = self.laws.iter();
        let t = laws.map(|l| l.law.half_width(level)).fold(0.0, f64::max);
        let (a, b) = (self.a, self.b);
        let width = t * t * self.c;
        let root = (width * (width + 4.0 * a * b)).sqrt();
        let middle = 2.0 * a * b + width;
        let high = if b > 0.0 {
            (middle + root) / (2.0 * b * b)
        } else {
            f64::INFINITY
        };
        // the small root from the large one, without cancellation
        let low = if a > 0.0 {
            2.0 * a * a / (middle + root)
        } else {
            0.0
        };
        (low, high)
    }
}

/// Compares the sides inside strata; none where no stratum carries both, or
/// nothing was counted at all.
pub(super) fn stratified(items: &[Item], kind: Kind, level: f64) -> Option<StratifiedRatio> {
    let all = cells(items);
    let kept: Vec<Item> = items
        .iter()
        .filter(|i| all[i.stratum].compares())
        .copied()
        .collect();
    let weights = weights(&kept, &all, kind);
    let (mut a, mut b, mut c) = (0.0, 0.0, 0.0);
    for (cell, w) in all.iter().zip(&weights).filter(|(cell, _)| cell.compares()) {
        let (r, s) = parts(cell);
        a += w * r;
        b += w * s;
        c += w * w * information(cell);
    }
    if a + b <= 0.0 || c <= 0.0 {
        return None;
    }
    let fit = Fit {
        items: &kept,
        cells: &all,
        weights: &weights,
        a,
        b,
        c,
    };
    let (dispersion, laws) = laws(&fit, kind)?;
    let compared: Vec<Cell> = all.iter().filter(|c| c.compares()).copied().collect();
    let total: f64 = compared.iter().map(Cell::total).sum();
    let exact_cells = (kind == Kind::Counts && total <= exact::MOST_DEFECTS).then_some(compared);
    Some(StratifiedRatio {
        exact_p: exact_cells
            .as_deref()
            .and_then(|cells| exact::exact(cells, level).ok())
            .map(|exact| exact.p_value),
        exact_cells,
        a,
        b,
        c,
        laws,
        dispersion,
        total,
        whole: kind == Kind::Counts,
        level,
    })
}

/// φ by unit and the laws that carry it; none where nothing shows how measures
/// scatter.
fn laws(fit: &Fit<'_>, kind: Kind) -> Option<(Dispersion, Vec<UnitLaw>)> {
    let usual = match kind {
        Kind::Counts => USUAL_COUNTS,
        Kind::Measures => USUAL_MEASURES,
        // a day that lies apart makes all its panels' distances long: factors again
        Kind::Distances => USUAL_COUNTS,
    };
    let mut dispersion = Dispersion::default();
    // a ratio of 0 or ∞ has no scatter of its own: take the panels' on the side that has marks
    let one_sided = fit.a <= 0.0 || fit.b <= 0.0;
    let seen = if one_sided {
        Some(fit.one_sided_scatter())
    } else {
        fit.scatter(Unit::Panels).map(|s| (s.factor, s.degrees))
    };
    dispersion.panels = seen.map(|s| s.0);
    // marks never scatter less than single independent ones
    let (panels, degrees) = match (seen, kind) {
        (Some((factor, degrees)), Kind::Counts) => (factor.max(1.0), degrees),
        (Some((factor, degrees)), Kind::Measures | Kind::Distances) if factor > 0.0 => {
            (factor, degrees)
        }
        (None, Kind::Counts) => (1.0, f64::INFINITY),
        (_, Kind::Measures | Kind::Distances) => return None,
    };
    let mut laws = vec![UnitLaw {
        unit: Unit::Panels,
        law: Law::of_panels(panels, degrees),
        between: None,
        growth: [1.0; days::TIMES.len()],
    }];
    for unit in [Unit::Runs, Unit::Days, Unit::Lots] {
        let Some(scatter) = (!one_sided).then(|| fit.scatter(unit)).flatten() else {
            continue;
        };
        let between = Between {
            factor: scatter.factor,
            degrees: scatter.degrees,
            leverage: scatter.leverage,
            usual: match unit {
                Unit::Lots if fit.inside_lots() => usual.lots_in_ratio,
                Unit::Lots => usual.lots,
                Unit::Runs => usual.runs,
                Unit::Days | Unit::Panels => usual.days,
            },
        };
        match unit {
            Unit::Runs => dispersion.runs = Some(scatter.factor),
            Unit::Days => dispersion.days = Some(scatter.factor),
            Unit::Lots => dispersion.lots = Some(scatter.factor),
            Unit::Panels => {}
        }
        let mut growth = [1.0; days::TIMES.len()];
        let law = if unit == Unit::Days {
            let days = days::law(&fit.by_day(), panels, degrees, usual.days);
            dispersion.day_memory = Some(days.memory);
            growth = days.growth;
            days.law
        } else {
            Law::with_units(panels, degrees, &between)
        };
        laws.push(UnitLaw {
            unit,
            law,
            between: Some(between),
            growth,
        });
    }
    Some((dispersion, laws))
}

/// Stratum weights 1/(1 + α·mean count), α by moments from the scatter of
/// panels inside stratum and side; all 1 for measures.
fn weights(items: &[Item], cells: &[Cell], kind: Kind) -> Vec<f64> {
    if kind != Kind::Counts {
        return vec![1.0; cells.len()];
    }
    let (mut excess, mut squares) = (0.0, 0.0);
    for item in items {
        let sums = cells[item.stratum].side(item.side);
        if sums.panels < 2 {
            continue;
        }
        let n = sums.panels as f64;
        let expected = item.exposure * sums.sum / sums.exposure;
        excess += (item.value - expected).powi(2) * n / (n - 1.0) - expected;
        squares += expected * expected;
    }
    let alpha = if squares > 0.0 {
        (excess / squares).max(0.0)
    } else {
        0.0
    };
    cells
        .iter()
        .map(|cell| 1.0 / (1.0 + alpha * cell.total() / (cell.panels().max(1)) as f64))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::change::Side;
    use crate::stats::stratified::{Count, RateStratum, exact_rate_ratio};
    use approx::assert_relative_eq;

    const LEVEL: f64 = 0.95;

    fn item(stratum: usize, side: Side, value: f64, exposure: f64) -> Item {
        Item {
            stratum,
            stream: 0,
            lot: None,
            day: 0,
            run: usize::from(side == Side::After),
            side,
            value,
            exposure,
        }
    }

    /// British doctors, coronary deaths in five age groups (Doll & Hill 1966;
    /// Breslow 1985): Mantel–Haenszel ratio and its limits from R's metafor
    /// (variance of Greenland & Robins 1985). One item a cell, so that there is
    /// no scatter to see.
    #[test]
    fn the_estimate_is_mantel_and_haenszels_for_the_british_doctors() {
        let data = include_str!("../../fixtures/published/mh_rate_ratio_doctors_data.csv");
        let rows = data.lines().filter(|l| !l.starts_with('#')).skip(1);
        let mut items = Vec::new();
        for (k, line) in rows.enumerate() {
            let cells: Vec<f64> = line
                .split(',')
                .skip(1)
                .map(|cell| cell.trim_matches('"').parse().unwrap())
                .collect();
            items.push(item(k, Side::After, cells[0], cells[1]));
            items.push(item(k, Side::Before, cells[2], cells[3]));
        }
        assert_eq!(items.len(), 10);
        let fit = stratified(&items, Kind::Counts, LEVEL).unwrap();
        let error = (fit.c / (fit.a * fit.b)).sqrt();
        assert_relative_eq!(
            fit.estimate().unwrap(),
            1.424_682_016_75,
            max_relative = 1e-11
        );
        assert_relative_eq!(error, 0.107_198_596_014, max_relative = 1e-11);
    }

    #[test]
    fn one_stratum_is_the_plain_ratio_by_hand() {
        // 6 marks on 4 panels of 2 m², 3 on 3 panels of 1 m²: (3/3)/(6/8)
        let mut items: Vec<Item> = [2.0, 1.0, 0.0, 3.0]
            .map(|y| item(0, Side::Before, y, 2.0))
            .to_vec();
        items.extend([1.0, 2.0, 0.0].map(|y| item(0, Side::After, y, 1.0)));
        let fit = stratified(&items, Kind::Counts, LEVEL).unwrap();
        assert_relative_eq!(fit.estimate().unwrap(), 4.0 / 3.0, max_relative = 1e-12);
        let ci = fit.interval();
        assert!(ci.low < 4.0 / 3.0 && ci.high > 4.0 / 3.0);
    }

    #[test]
    fn a_stratum_with_one_side_adds_nothing() {
        let mut items = vec![
            item(0, Side::Before, 3.0, 1.0),
            item(0, Side::Before, 2.0, 1.0),
            item(0, Side::After, 1.0, 1.0),
            item(0, Side::After, 0.0, 1.0),
        ];
        let alone = stratified(&items, Kind::Counts, LEVEL).unwrap().interval();
        items.push(item(1, Side::After, 50.0, 1.0));
        let with = stratified(&items, Kind::Counts, LEVEL).unwrap().interval();
        assert_eq!(alone, with);
        let only: Vec<Item> = items
            .iter()
            .filter(|i| i.side == Side::After)
            .copied()
            .collect();
        assert!(stratified(&only, Kind::Counts, LEVEL).is_none());
    }

    #[test]
    fn a_side_without_marks_still_has_a_limit_never_below_the_exact_one() {
        let mut items: Vec<Item> = (0..20)
            .map(|k| item(0, Side::Before, f64::from(u8::from(k % 4 == 0)), 1.0))
            .collect();
        items.extend((0..20).map(|_| item(0, Side::After, 0.0, 1.0)));
        let fit = stratified(&items, Kind::Counts, LEVEL).unwrap();
        let ci = fit.interval();
        assert_eq!(fit.estimate(), Some(0.0));
        assert_eq!(ci.low, 0.0);
        let count = |events| Count {
            events,
            exposure: 20.0,
        };
        let sides = RateStratum {
            before: count(5),
            after: count(0),
        };
        let exact = exact_rate_ratio(&[sides], LEVEL).unwrap();
        assert!(
            ci.high >= exact.ci.high * (1.0 - 1e-9) && ci.high.is_finite(),
            "{ci:?}"
        );
        // 5 against 0: twice 2⁻⁵
        assert!(fit.p_value() >= 0.0625 - 1e-12);
    }

    fn pseudo_random_items() -> Vec<Item> {
        let mut state = 12_345_u64;
        let mut draw = move |n: u64| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            (state >> 33) % n
        };
        (0..120)
            .map(|k| {
                let side = if draw(2) == 0 {
                    Side::Before
                } else {
                    Side::After
                };
                let lot = k / 12;
                Item {
                    lot: Some(lot),
                    day: k / 10,
                    run: k / 6,
                    ..item(lot, side, draw(6) as f64, 0.2 + draw(3) as f64 / 10.0)
                }
            })
            .collect()
    }

    #[test]
    fn swapping_the_sides_inverts_everything() {
        let items = pseudo_random_items();
        let swapped: Vec<Item> = items
            .iter()
            .map(|i| Item {
                side: if i.side == Side::Before {
                    Side::After
                } else {
                    Side::Before
                },
                ..*i
            })
            .collect();
        for kind in [Kind::Counts, Kind::Measures, Kind::Distances] {
            let one = stratified(&items, kind, LEVEL).unwrap();
            let two = stratified(&swapped, kind, LEVEL).unwrap();
            let (ci, inverse) = (one.interval(), two.interval());
            assert_relative_eq!(
                one.estimate().unwrap(),
                1.0 / two.estimate().unwrap(),
                max_relative = 1e-12
            );
            assert_relative_eq!(ci.low, 1.0 / inverse.high, max_relative = 1e-9);
            assert_relative_eq!(ci.high, 1.0 / inverse.low, max_relative = 1e-9);
            assert_relative_eq!(one.p_value(), two.p_value(), max_relative = 1e-9);
        }
    }

    #[test]
    fn test_and_interval_share_one_tail_rule() {
        let items = pseudo_random_items();
        let fit = stratified(&items, Kind::Counts, LEVEL).unwrap();
        let ci = fit.interval();
        assert!(
            fit.exact_cells.is_none(),
            "more marks than the exact sums take"
        );
        for limit in [ci.low, ci.high] {
            assert_relative_eq!(fit.score_p(limit), 1.0 - LEVEL, max_relative = 1e-8);
        }
        // the interval at level 1 − p just reaches 1
        let edge = fit.interval_at(1.0 - fit.p_value());
        let near = if fit.estimate().unwrap() > 1.0 {
            edge.low
        } else {
            edge.high
        };
        assert_relative_eq!(near, 1.0, max_relative = 1e-8);
    }

    #[test]
    fn clumps_on_panels_widen_the_interval() {
        // the same totals, once spread evenly, once on every fifth panel
        let with = |clump: bool| -> f64 {
            let items: Vec<Item> = (0..80)
                .map(|k| {
                    let value = match (clump, k % 5) {
                        (false, _) => 1.0,
                        (true, 0) => 5.0,
                        (true, _) => 0.0,
                    };
                    let side = if k < 40 { Side::Before } else { Side::After };
                    item(0, side, value, 1.0)
                })
                .collect();
            let ci = stratified(&items, Kind::Counts, LEVEL).unwrap().interval();
            (ci.high / ci.low).ln()
        };
        // variance over mean is 4: the interval about twice as wide
        assert!(
            with(true) > 1.8 * with(false),
            "{} {}",
            with(true),
            with(false)
        );
    }
}
