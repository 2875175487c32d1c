//! How far points, days and lots of a steady process usually lie apart.

use std::collections::BTreeMap;

use super::chart::ControlPoint;
use crate::stats::control_chart::variance_factor;
use crate::stats::distributions::student_t;

/// Fewest points that limits can be drawn from.
pub(super) const FEWEST_POINTS: usize = 5;
/// Fewest days or lots from which their spread can be taken.
const FEWEST_UNITS: usize = 3;
/// Points a day from which days can differ from the points in them.
const POINTS_A_DAY: f64 = 1.2;
/// Defects that a base without any is taken to hold: the upper 95 % limit of a
/// Poisson mean of which none was counted (−ln 0.05).
const NONE_SEEN: f64 = 3.0;
/// Degrees of freedom of a variance from moving ranges, for each range.
const DEGREES_A_RANGE: f64 = 0.6;
/// Three standard deviations of a normal distribution, both sides.
const THREE_SIGMA: f64 = 0.9973;
/// Points whose weight still counts in the weighted mean.
const REACH: usize = 60;

/// Share of a point's area by lot.
pub(super) type Shares = BTreeMap<usize, f64>;

/// The spread of a steady process around its centre.
///
/// A point's count has mean m = centre·area and variance m·(φ + m·σ_d² +
/// m·σ_l²·Σw²), w its shares by lot: φ from the ranges of neighbouring points,
/// the variances σ² of ln rate between days and between lots from what the
/// ranges of neighbouring days' and lots' totals show beyond that
/// ([`variance_factor`]). Points of the same day and of the same lots rise and
/// fall together by these. Days and lots are taken to differ from each other
/// without an order: a drift over days is not usual, it is what a chart is for.
pub(super) struct Usual<'a> {
    /// Defects per m² over the base.
    pub centre: f64,
    /// σ_d, σ_l; none where days or lots are too few to tell, or not there.
    pub days_sd: Option<f64>,
    pub lots_sd: Option<f64>,
    points: f64,
    /// What the few points of the base leave open of the spread: the square of
    /// a three-sigma limit by Student's t over one by the normal distribution.
    doubt: f64,
    area: f64,
    lots: &'a [Shares],
}

impl<'a> Usual<'a> {
    /// From the points, those of the base among them, the base's defects and areas
    /// by lot, and the lots of the points.
    pub(super) fn of(points: &[ControlPoint], by_lot: &[(f64, f64)], lots: &'a [Shares]) -> Self {
        let base: Vec<&ControlPoint> = points.iter().filter(|p| p.base).collect();
        let area: f64 = base.iter().map(|p| p.area_m2).sum();
        let defects: f64 = base.iter().map(|p| p.defects as f64).sum();
        let defects = if defects > 0.0 { defects } else { NONE_SEEN };
        let centre = defects / area;
        let factor = |counts: &[(f64, f64)]| {
            let (seen, means): (Vec<f64>, Vec<f64>) =
                counts.iter().map(|(n, area)| (*n, centre * area)).unzip();
            variance_factor(&seen, &means)
        };
        let own = |p: &&ControlPoint| (p.defects as f64, p.area_m2);
        let seen = factor(&base.iter().map(own).collect::<Vec<_>>());
        let mean = defects / base.len() as f64;
        let days: Vec<(f64, f64)> = base
            .chunk_by(|a, b| a.day == b.day)
            .map(|day| {
                let all = day.iter().map(own);
                all.fold((0.0, 0.0), |sum, (n, area)| (sum.0 + n, sum.1 + area))
            })
            .collect();
        let a_day = base.len() as f64 / days.len() as f64;
        // a day's total carries its own effect a_day times, a range between
        // points only where it crosses from day to day
        let days_variance = (days.len() >= FEWEST_UNITS && a_day > POINTS_A_DAY)
            .then(|| (factor(&days) - seen).max(0.0) / ((a_day - 1.0 / a_day) * mean));
        let a_lot = centre * by_lot.iter().map(|l| l.1).sum::<f64>() / by_lot.len().max(1) as f64;
        let lots_variance =
            (by_lot.len() >= FEWEST_UNITS).then(|| (factor(by_lot) - seen).max(0.0) / a_lot);
        let mut usual = Self {
            centre,
            days_sd: days_variance.map(f64::sqrt),
            lots_sd: lots_variance.map(f64::sqrt),
            points: seen,
            doubt: 1.0,
            area,
            lots,
        };
        // what days and lots have put into the ranges of neighbouring points
        usual.points = (seen - mean * usual.between_neighbours(points)).max(1.0);
        let degrees = DEGREES_A_RANGE * (base.len() - 1) as f64;
        usual.doubt = (student_t::two_sided_quantile(THREE_SIGMA, degrees) / 3.0).powi(2);
        usual
    }

    /// Half the mean square difference in ln rate that days and lots make
    /// between neighbouring points of the base.
    fn between_neighbours(&self, points: &[ControlPoint]) -> f64 {
        let (mut sum, mut pairs) = (0.0, 0usize);
        for (k, pair) in points.windows(2).enumerate() {
            if !(pair[0].base && pair[1].base) {
                continue;
            }
            let [one, other] = [&self.lots[k], &self.lots[k + 1]];
            let apart = product(one, one) + product(other, other) - 2.0 * product(one, other);
            let day = if pair[0].day == pair[1].day { 0.0 } else { 1.0 };
            sum += self.days_variance() * day + self.lots_variance() * apart / 2.0;
            pairs += 1;
        }
        sum / pairs.max(1) as f64
    }

    fn days_variance(&self) -> f64 {
        self.days_sd.map_or(0.0, |sd| sd * sd)
    }

    fn lots_variance(&self) -> f64 {
        self.lots_sd.map_or(0.0, |sd| sd * sd)
    }

    /// Variance over mean of the k-th point's count.
    pub(super) fn factor(&self, k: usize, point: &ControlPoint) -> f64 {
        let lots = &self.lots[k];
        self.points
            + self.centre
                * point.area_m2
                * (self.days_variance() + self.lots_variance() * product(lots, lots))
    }

    /// The same for its limits: with what the base leaves open of the spread and,
    /// for a point outside the base, of the centre.
    pub(super) fn factor_of_limits(&self, k: usize, point: &ControlPoint) -> f64 {
        let centre = if point.base {
            1.0
        } else {
            1.0 + point.area_m2 / self.area
        };
        1.0 + (self.factor(k, point) * centre - 1.0) * self.doubt
    }

    /// Mean correlation of neighbouring points by days and lots.
    pub(super) fn likeness(&self, points: &[ControlPoint]) -> f64 {
        let each = points.windows(2).enumerate().map(|(k, pair)| {
            let shared = self.days_variance() * f64::from(u8::from(pair[0].day == pair[1].day))
                + self.lots_variance() * product(&self.lots[k], &self.lots[k + 1]);
            let size = |p: &ControlPoint| self.centre * p.area_m2;
            let factors = self.factor(k, &pair[0]) * self.factor(k + 1, &pair[1]);
            shared * (size(&pair[0]) * size(&pair[1]) / factors).sqrt()
        });
        each.sum::<f64>() / (points.len() - 1).max(1) as f64
    }

    /// Standard deviation of the exponentially weighted mean of the points'
    /// standardised counts after each of them.
    pub(super) fn weighted_sd(&self, points: &[ControlPoint], weight: f64) -> Vec<f64> {
        // standardised, a day's or lot's ln rate enters with this
        let reach: Vec<f64> = points
            .iter()
            .enumerate()
            .map(|(k, p)| (self.centre * p.area_m2 / self.factor(k, p)).sqrt())
            .collect();
        (0..points.len())
            .map(|t| {
                let first = (t + 1).saturating_sub(REACH);
                let (mut own, mut centre) = (0.0, 0.0);
                let mut by_day = BTreeMap::new();
                let mut by_lot = BTreeMap::new();
                let mut share = weight;
                for k in (first..=t).rev() {
                    let point = &points[k];
                    own += share * share * self.points / self.factor(k, point);
                    *by_day.entry(point.day).or_insert(0.0) += share * reach[k];
                    for (lot, part) in &self.lots[k] {
                        *by_lot.entry(*lot).or_insert(0.0) += share * reach[k] * part;
                    }
                    if !point.base {
                        centre += share * (point.area_m2 / self.area).sqrt();
                    }
                    share *= 1.0 - weight;
                }
                let days: f64 = by_day.values().map(|s: &f64| s * s).sum();
                let lots: f64 = by_lot.values().map(|s: &f64| s * s).sum();
                let shared = self.days_variance() * days + self.lots_variance() * lots;
                (own + shared + centre * centre).sqrt()
            })
            .collect()
    }
}

/// Σ of the products of shares by lot.
fn product(one: &Shares, other: &Shares) -> f64 {
    let both = one.iter().filter_map(|(lot, a)| Some(a * other.get(lot)?));
    both.sum()
}
