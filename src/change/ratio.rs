//! The ratio of two rates inside strata, with an interval that carries the
//! scatter of panels, runs, days and lots.

use super::items::Item;
use super::strata::{Cell, cells};
use super::{Dispersion, Method, Side, Unit, exact};
use crate::stats::Interval;
use crate::stats::distributions::{normal, student_t};

/// Fewest lots, runs or days that carry both sides before their scatter can be
/// taken from the records.
const FEWEST_UNITS: usize = 4;

/// Fewest lots on each side that stand for lots as such.
pub(super) const FEWEST_LOTS_A_SIDE: usize = 5;

/// How many degrees of freedom the panels' scatter is worth where that of a
/// few runs, days or lots is estimated: the two are averaged by degrees of
/// freedom (Smyth 2004, Stat. Appl. Genet. Mol. Biol. 3, article 3).
const PRIOR_DEGREES: f64 = 3.0;

/// Fewer days than this make few and uneven blocks, whose scatter is averaged
/// with that of panels too.
const FEW_DAYS: usize = 12;

/// Whether values are counts of marks, whose variance is at least their mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// Defects.
    Counts,
    /// Removal, µm.
    Measures,
}

/// A stratified ratio with its interval and test.
///
/// With a, b the sums after and before in stratum s, T₁, T₀ the exposures and
/// T = T₁ + T₀: A = Σ w·a·T₀/T, B = Σ w·b·T₁/T, ρ̂ = A/B (Mantel–Haenszel;
/// weights w = 1/(1 + α·mean count) even out strata with many marks, as a
/// negative binomial of that α would). Under a ratio ρ, A − ρB has mean 0 and
/// variance φ·ρ·C with C = Σ w²·(a+b)·T₁T₀/T²: φ = 1 for single independent
/// marks, otherwise estimated by leaving out one panel, run, day or lot at a
/// time. All ρ with (A − ρB)² ≤ t²·φ·ρ·C make the interval, for the unit with
/// the largest t²·φ; and where the marks are few, it is never narrower than the
/// exact conditional one. Swapping the sides inverts everything.
///
/// Sources: Mantel & Haenszel (1959), J. Natl. Cancer Inst. 22, 719–748; for
/// rates Greenland & Robins (1985), Biometrics 41, 55–68; score interval in the
/// manner of Sato (1990), Biometrics 46, 71–80; leave-one-cluster-out variance
/// with t: Cameron & Miller (2015), J. Human Resources 50, 317–372.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct StratifiedRatio {
    a: f64,
    b: f64,
    c: f64,
    exact_cells: Option<Vec<Cell>>,
    exact_p: Option<f64>,
    /// Standard normal or t with the chosen unit's degrees of freedom.
    degrees: Option<f64>,
    /// φ of the chosen unit.
    factor: f64,
    /// How it came about.
    unit: Option<Unit>,
    /// φ by unit.
    pub dispersion: Dispersion,
    level: f64,
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
        let exact_is_wider = self.exact_p.is_some_and(|p| p >= self.score_p(1.0));
        match self.unit {
            Some(unit) if !exact_is_wider => Method::Stratified(unit),
            None if !exact_is_wider => Method::Stratified(Unit::Panels),
            _ => Method::ExactConditional,
        }
    }

    /// Factor on the variance of single independent marks that was used, ≥ 1 for counts.
    pub(super) fn factor(&self) -> f64 {
        self.factor
    }

    /// Degrees of freedom of the chosen unit; none = normal.
    pub(super) fn degrees(&self) -> Option<f64> {
        self.degrees
    }

    fn score_p(&self, ratio: f64) -> f64 {
        let t = (self.a - ratio * self.b).abs() / (self.factor * ratio * self.c).sqrt();
        two_sided_p(t, self.degrees)
    }

    /// Roots of B²ρ² − (2AB + t²φC)ρ + A² = 0.
    fn score_interval(&self, level: f64) -> (f64, f64) {
        let t = half_width(level, self.degrees);
        let (a, b) = (self.a, self.b);
        let width = t * t * self.factor * self.c;
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
    let mut dispersion = Dispersion::default();
    // a ratio of 0 or ∞ has no scatter of its own: take the panels' on the side that has marks
    let one_sided = a <= 0.0 || b <= 0.0;
    let mut chosen: Option<(Unit, f64, f64)> = None;
    for unit in [
        Unit::Panels,
        Unit::Runs,
        Unit::Days,
        Unit::Blocks,
        Unit::Lots,
    ] {
        let found = if one_sided {
            (unit == Unit::Panels).then(|| fit.one_sided_scatter())
        } else {
            fit.scatter(unit)
        };
        let Some((factor, degrees)) = found else {
            continue;
        };
        let prior = match unit {
            Unit::Panels => 0.0,
            // four uneven blocks alone can leave less than one degree of freedom
            Unit::Blocks if fit.days() < FEW_DAYS => PRIOR_DEGREES / 2.0,
            Unit::Blocks => 0.0,
            Unit::Runs | Unit::Days | Unit::Lots => PRIOR_DEGREES,
        };
        let from_panels = dispersion.panels.unwrap_or(factor);
        let factor = (prior * from_panels + degrees * factor) / (prior + degrees);
        let degrees = prior + degrees;
        match unit {
            Unit::Panels => dispersion.panels = Some(factor),
            Unit::Runs => dispersion.runs = Some(factor),
            Unit::Days => dispersion.days = Some(factor),
            Unit::Blocks => dispersion.blocks = Some(factor),
            Unit::Lots => dispersion.lots = Some(factor),
        }
        let width = |f: f64, d: f64| f * half_width(level, Some(d)).powi(2);
        if chosen.is_none_or(|(_, f, d)| width(factor, degrees) > width(f, d)) {
            chosen = Some((unit, factor, degrees));
        }
    }
    let plain = half_width(level, None).powi(2);
    let (unit, factor, degrees) = match chosen {
        Some((unit, factor, degrees)) => {
            let t = half_width(level, Some(degrees)).powi(2);
            if kind == Kind::Counts && factor * t < plain {
                (None, 1.0, None)
            } else {
                (Some(unit), factor, Some(degrees))
            }
        }
        None if kind == Kind::Counts => (None, 1.0, None),
        None => return None,
    };
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
        degrees,
        factor,
        unit,
        dispersion,
        level,
    })
}

/// What the scatter of a unit is taken from.
struct Fit<'a> {
    items: &'a [Item],
    cells: &'a [Cell],
    weights: &'a [f64],
    a: f64,
    b: f64,
    c: f64,
}

impl Fit<'_> {
    /// Days from the first to the last panel, those without panels left out.
    fn days(&self) -> usize {
        self.items.iter().map(|i| i.day + 1).max().unwrap_or(1)
    }

    /// φ and degrees of freedom from leaving out one unit at a time; none with
    /// too few units.
    ///
    /// Leaving out unit u changes A − ρ̂B by −D_u; with h_u the unit's share of
    /// C, φ = (G−1)/G·Σ (D_u/(1−h_u))² / (ρ̂C). Degrees of freedom: effective
    /// number of units (Σe²)²/Σe⁴ less 1, e_u the unit's expected share.
    fn scatter(&self, unit: Unit) -> Option<(f64, f64)> {
        let ratio = self.a / self.b;
        let days = self.days();
        let batches = if unit == Unit::Blocks {
            self.blocks_of_days(ratio)?
        } else {
            days
        };
        let mut order: Vec<(usize, usize, usize)> = Vec::with_capacity(self.items.len());
        for (k, item) in self.items.iter().enumerate() {
            let u = match unit {
                Unit::Panels => k,
                Unit::Runs => item.run,
                Unit::Days => item.day,
                Unit::Blocks => item.day * batches / days,
                Unit::Lots => item.lot?,
            };
            order.push((u, item.stratum, k));
        }
        order.sort_unstable();
        let mut units = Vec::new();
        for members in order.chunk_by(|x, y| x.0 == y.0) {
            units.push(self.leave_out(members, ratio));
        }
        if !enough(&units, unit) || (unit == Unit::Runs && !self.alternates(units.len())) {
            return None;
        }
        let g = units.len() as f64;
        let sum: f64 = units.iter().map(|u| u.change.powi(2)).sum();
        let squares: f64 = units.iter().map(|u| u.expected.powi(2)).sum();
        let fourths: f64 = units.iter().map(|u| u.expected.powi(4)).sum();
        let effective = squares * squares / fourths;
        let factor = (g - 1.0) / g * sum / (ratio * self.c);
        Some((factor, (effective - 1.0).max(0.5)))
    }

    /// Whether there are at least three runs a stream: a single change leaves
    /// two, which say nothing of how runs differ.
    fn alternates(&self, runs: usize) -> bool {
        let streams: std::collections::BTreeSet<usize> =
            self.items.iter().map(|i| i.stream).collect();
        runs >= 3 * streams.len()
    }

    /// How many blocks of neighbouring days to form: longer ones the more
    /// neighbouring days resemble each other; none with too few days, or where
    /// days don't resemble each other.
    ///
    /// Days a block 1.447·(n·4r²/(1−r²)²)^⅓ with r the correlation of
    /// neighbouring days (Andrews 1991, Econometrica 59, 817–858), at least 4
    /// blocks and from 12 days on at least 6.
    fn blocks_of_days(&self, ratio: f64) -> Option<usize> {
        let days = self.items.iter().map(|i| i.day + 1).max()?;
        let mut excess = vec![0.0; days];
        let mut size = vec![0.0; days];
        for item in self.items {
            let (cell, w) = (&self.cells[item.stratum], self.weights[item.stratum]);
            let rate = cell.total() / (cell.before.exposure + ratio * cell.after.exposure);
            let (other, scale) = match item.side {
                Side::After => (cell.before.exposure, ratio),
                Side::Before => (cell.after.exposure, 1.0),
            };
            let share = w * other / cell.exposure();
            excess[item.day] += share * (item.value - item.exposure * rate * scale) / scale;
            size[item.day] += share * item.exposure * rate;
        }
        let z: Vec<f64> = excess
            .iter()
            .zip(&size)
            .filter(|(_, s)| **s > 0.0)
            .map(|(e, s)| e / s.sqrt())
            .collect();
        let n = z.len() as f64;
        let squares: f64 = z.iter().map(|x| x * x).sum();
        if z.len() < 6 || squares <= 0.0 {
            return None;
        }
        let products: f64 = z.windows(2).map(|w| w[0] * w[1]).sum();
        let seen = products / squares;
        // both sides' means are fitted, which pulls r down
        let r = (seen + (2.0 + 3.0 * seen) / n + 0.5 / n.sqrt()).clamp(0.0, 0.95);
        let length = 1.447 * (n * 4.0 * r * r / (1.0 - r * r).powi(2)).cbrt();
        let least = if z.len() < FEW_DAYS { 4.0 } else { 6.0 };
        (length > 1.0).then(|| (n / length).max(least).round() as usize)
    }

    fn leave_out(&self, members: &[(usize, usize, usize)], ratio: f64) -> LeftOut {
        let (mut a, mut b, mut c, mut expected) = (0.0, 0.0, 0.0, 0.0);
        let mut sides = [0usize; 2];
        for stratum in members.chunk_by(|x, y| x.1 == y.1) {
            let s = stratum[0].1;
            let mut own = Cell::default();
            for &(_, _, k) in stratum {
                own.add(&self.items[k]);
            }
            let (cell, w) = (&self.cells[s], self.weights[s]);
            let rest = cell.without(&own);
            let (r, q) = parts(cell);
            let (rest_r, rest_q) = parts(&rest);
            a += w * (rest_r - r);
            b += w * (rest_q - q);
            c += w * w * (information(cell) - information(&rest));
            let rate = cell.total() / (cell.before.exposure + ratio * cell.after.exposure);
            expected += w
                * rate
                * (own.after.exposure * cell.before.exposure
                    + own.before.exposure * cell.after.exposure)
                / cell.exposure();
            sides[0] += own.before.panels;
            sides[1] += own.after.panels;
        }
        let share = (c / self.c).clamp(0.0, 0.95);
        LeftOut {
            change: (a - ratio * b) / (1.0 - share),
            expected,
            sides,
        }
    }

    /// Variance over mean of the panels' counts on the side that has marks.
    fn one_sided_scatter(&self) -> (f64, f64) {
        let side = if self.a > 0.0 {
            Side::After
        } else {
            Side::Before
        };
        let (mut squares, mut sum, mut lost) = (0.0, 0.0, 0usize);
        let mut panels = 0usize;
        for item in self.items.iter().filter(|i| i.side == side) {
            let sums = self.cells[item.stratum].side(side);
            let expected = item.exposure * sums.sum / sums.exposure;
            squares += (item.value - expected).powi(2);
            sum += item.value;
            panels += 1;
        }
        for cell in self.cells.iter().filter(|c| c.compares()) {
            lost += usize::from(cell.side(side).panels > 0);
        }
        let degrees = panels.saturating_sub(lost).max(1) as f64;
        let factor = squares / sum * panels as f64 / degrees;
        (factor, degrees)
    }
}

/// What leaving out a unit does.
struct LeftOut {
    /// −D/(1−h).
    change: f64,
    /// Expected size of its contribution.
    expected: f64,
    /// Panels before and after.
    sides: [usize; 2],
}

/// Whether a unit's scatter can be taken from the records: lots have to carry
/// both sides; runs and days have to be several on each side.
fn enough(units: &[LeftOut], unit: Unit) -> bool {
    match unit {
        Unit::Panels => units.len() >= 2,
        Unit::Lots => {
            units
                .iter()
                .filter(|u| u.sides[0] > 0 && u.sides[1] > 0)
                .count()
                >= FEWEST_UNITS
        }
        Unit::Runs | Unit::Days | Unit::Blocks => {
            let on = |k: usize| units.iter().filter(|u| u.sides[k] > 0).count();
            on(0) >= 2 && on(1) >= 2 && units.len() >= FEWEST_UNITS
        }
    }
}

/// a·T₀/T and b·T₁/T of a cell; zeros where a side is missing.
fn parts(cell: &Cell) -> (f64, f64) {
    if !cell.compares() {
        return (0.0, 0.0);
    }
    (
        cell.after.sum * cell.before.exposure / cell.exposure(),
        cell.before.sum * cell.after.exposure / cell.exposure(),
    )
}

/// (a+b)·T₁T₀/T² of a cell; 0 where a side is missing.
fn information(cell: &Cell) -> f64 {
    if !cell.compares() {
        return 0.0;
    }
    cell.total() * cell.after.exposure * cell.before.exposure / cell.exposure().powi(2)
}

/// Stratum weights 1/(1 + α·mean count), α by moments from the scatter of
/// panels inside stratum and side; all 1 for measures.
fn weights(items: &[Item], cells: &[Cell], kind: Kind) -> Vec<f64> {
    if kind == Kind::Measures {
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

/// Two-sided quantile of the standard normal or of t: the half width of an
/// interval of that level, in standard errors.
pub(super) fn half_width(level: f64, degrees: Option<f64>) -> f64 {
    match degrees {
        Some(dof) => student_t::two_sided_quantile(level, dof),
        None => normal::two_sided_quantile(level),
    }
}

/// Two-sided p-value of a standardised distance.
fn two_sided_p(t: f64, degrees: Option<f64>) -> f64 {
    match degrees {
        Some(dof) => student_t::two_sided_p(t, dof),
        None => normal::two_sided_p(t),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::TailRule;
    use crate::stats::rate_ratio::{Count, rate_ratio};
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
        let exact = rate_ratio(count(5), count(0), LEVEL, TailRule::Central).unwrap();
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
        for kind in [Kind::Counts, Kind::Measures] {
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
