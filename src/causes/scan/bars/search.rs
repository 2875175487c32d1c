//! Bars of one pitch across the panel, as chatter leaves them.
//!
//! Two ways lead to them. Where each panel may have a phase of its own, the
//! distances between its marks tell ([`Comb`]). Where the bars lie at the same
//! places on all panels, every bar is a line that the scan for lines finds: lines
//! that fit one pitch are bars. Marks of other places found are left out first.

use crate::causes::scan::bars::pairs::Comb;
use crate::causes::scan::line_fit::Line;
use crate::causes::scan::{Found, LineAxis, ScanSettings, Shape, Sharpness, View};
use crate::stats::Interval;
use crate::stats::distributions::student_t;

/// Blocks of panels that are left out in turn for the interval of the pitch.
const BLOCKS: usize = 20;

/// The jackknife's interval is widened by this: a faint peak is chosen among its
/// neighbours, which the jackknife does not see. Without it 87–94 % of the
/// intervals hold the pitch, with it 95–100 %.
const WIDER: f64 = 1.35;

/// Steps in which the peak's top is looked for, per 1/length.
const STEPS: usize = 40;

/// Lines needed to be called bars.
const LEAST_LINES: usize = 4;

/// Share of the places between the first and the last line that have a line.
const FILLED: f64 = 0.6;

/// A line fits a pitch within this share of it, and within so many mm.
const FITS_SHARE: f64 = 0.15;
const FITS_MM: f64 = 4.0;

/// Chance of lines at any places to fit a pitch as well, at most.
const LINES_BY_CHANCE: f64 = 0.02;

/// Feeds that differ by less than this ratio tell nothing.
const FEEDS_APART: f64 = 1.02;

/// Level of the pitch's interval.
const INTERVAL: f64 = 0.95;

/// How bars were found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BarsBy {
    /// By the distances between the marks of each panel.
    Distances,
    /// As lines that fit one pitch; the p-value is the strongest line's.
    Lines,
}

/// Bars of one pitch in a view.
#[derive(Debug, Clone, PartialEq)]
pub struct Bars {
    /// The axis along which each bar runs.
    pub along: LineAxis,
    /// The pitch, mm; where it scales with the feed, at the middle feed.
    pub pitch_mm: f64,
    /// Its 95 % interval; none if it can't be had.
    pub pitch_ci: Option<Interval>,
    /// The feed at which the pitch is as said, mm/s, if the search took it to
    /// scale with the feed.
    pub at_feed_mm_s: Option<f64>,
    /// Lines found that are bars of it, by number in the list given.
    pub lines: Vec<usize>,
    /// How they were found.
    pub by: BarsBy,
    /// Chance of it without bars.
    pub p_value: f64,
    /// Pitches, axes and ways tried.
    pub tests: usize,
    /// `p_value` × `tests` × streams, at most 1.
    pub p_adjusted: f64,
}

impl Bars {
    /// Pairs of marks of one panel at least half a pitch apart, by the part of the
    /// pitch by which they exceed a multiple, −½ to ½, in `classes` classes. `used`
    /// tells by `Records::defects` which marks count; with `feeds` lengths are
    /// taken to the middle feed. Marks of a panel beyond forty are thinned.
    pub(crate) fn folded_pairs(
        &self,
        view: &View,
        used: &[bool],
        feeds: Option<&[Option<f64>]>,
        classes: usize,
    ) -> Vec<usize> {
        let left: Vec<bool> = view.marks.iter().map(|m| used[m.defect]).collect();
        let relative = feeds.and_then(relative_feeds).map(|r| r.0);
        let stretched = |i: usize| match &relative {
            Some(relative) => relative[i].map(|r| 1.0 / r),
            None => Some(1.0),
        };
        let comb = Comb::new(view, self.along, &left, stretched);
        let mut pairs = vec![0; classes];
        for distance in comb.distances() {
            let turns = distance / self.pitch_mm;
            if turns >= 0.5 {
                let part = (turns + 0.5).rem_euclid(1.0);
                pairs[((part * classes as f64) as usize).min(classes - 1)] += 1;
            }
        }
        pairs
    }
}

/// Bars of one pitch among the marks of `view`, at most one pitch along each
/// axis. `found` are the places found in it; `feeds` the panels' feed, mm/s, in
/// the order of `View::panels`.
#[must_use]
pub fn find_bars(
    view: &View,
    found: &[Found],
    feeds: &[Option<f64>],
    settings: &ScanSettings,
) -> Vec<Bars> {
    [LineAxis::Y, LineAxis::X]
        .into_iter()
        .filter_map(|along| {
            let in_panels = within_panels(view, found, feeds, along, settings);
            let of_lines = of_lines(found, along);
            match (in_panels, of_lines) {
                (Some(mut bars), lines) => {
                    bars.lines = on_bars(found, &bars);
                    Some(
                        lines
                            .filter(|l| l.lines.len() > bars.lines.len())
                            .unwrap_or(bars),
                    )
                }
                (None, lines) => lines,
            }
        })
        .collect()
}

/// The panels' feed over the middle one, and that one; none where feed did not
/// vary or is mostly not recorded.
pub(crate) fn relative_feeds(feeds: &[Option<f64>]) -> Option<(Vec<Option<f64>>, f64)> {
    let mut known: Vec<f64> = feeds
        .iter()
        .copied()
        .flatten()
        .filter(|f| *f > 0.0)
        .collect();
    known.sort_by(f64::total_cmp);
    let (first, last) = (known.first()?, known.last()?);
    let middle = known[known.len() / 2];
    (2 * known.len() >= feeds.len() && last / first >= FEEDS_APART).then(|| {
        let relative = feeds
            .iter()
            .map(|f| f.filter(|f| *f > 0.0).map(|f| f / middle));
        (relative.collect(), middle)
    })
}

fn within_panels(
    view: &View,
    found: &[Found],
    feeds: &[Option<f64>],
    along: LineAxis,
    settings: &ScanSettings,
) -> Option<Bars> {
    let mut left = vec![true; view.marks.len()];
    for &mark in found.iter().flat_map(|f| &f.zone) {
        left[mark] = false;
    }
    let mut combs = vec![(Comb::new(view, along, &left, |_| Some(1.0)), None)];
    if let Some((relative, middle)) = relative_feeds(feeds) {
        let comb = Comb::new(view, along, &left, |i| relative[i].map(|r| 1.0 / r));
        combs.push((comb, Some(middle)));
    }
    let frequencies: Vec<Vec<f64>> = combs.iter().map(|(comb, _)| comb.frequencies()).collect();
    // both axes are looked at
    let tests = 2 * frequencies.iter().map(Vec::len).sum::<usize>();
    let penalty = tests as f64 * settings.streams.max(1) as f64;
    let peaks = combs
        .iter()
        .zip(&frequencies)
        .filter_map(|((comb, feed), frequencies)| {
            let peak = comb.peak(frequencies)?;
            let filled = peak.cells.iter().all(|cell| *cell > 0.0);
            (filled && peak.p_value * penalty <= settings.alpha).then_some((peak, comb, feed))
        });
    let (peak, comb, feed) = peaks.min_by(|a, b| a.0.p_value.total_cmp(&b.0.p_value))?;
    let (frequency, ci) = top(comb, peak.frequency);
    Some(Bars {
        along,
        pitch_mm: 1.0 / frequency,
        pitch_ci: ci,
        at_feed_mm_s: *feed,
        lines: Vec::new(),
        by: BarsBy::Distances,
        p_value: peak.p_value,
        tests,
        p_adjusted: (peak.p_value * penalty).min(1.0),
    })
}

/// The top of the peak at `near`, and the pitch's interval by leaving out blocks
/// of panels in turn (jackknife; Efron & Tibshirani 1993, chapter 11).
fn top(comb: &Comb, near: f64) -> (f64, Option<Interval>) {
    let step = 1.0 / (STEPS as f64 * comb.length);
    let around: Vec<f64> = (0..=2 * STEPS)
        .map(|k| near + (k as f64 - STEPS as f64) * step)
        .collect();
    let blocks = comb.sums_by_block(&around, BLOCKS);
    let mut total = vec![0.0; around.len()];
    for block in &blocks {
        for (total, sum) in total.iter_mut().zip(block) {
            *total += sum;
        }
    }
    let at = highest(&around, &total, step);
    let count = blocks.len() as f64;
    let without: Vec<f64> = blocks
        .iter()
        .map(|block| {
            let rest: Vec<f64> = total.iter().zip(block).map(|(t, b)| t - b).collect();
            highest(&around, &rest, step)
        })
        .collect();
    let mean = without.iter().sum::<f64>() / count;
    let squares: f64 = without.iter().map(|f| (f - mean).powi(2)).sum();
    let half = WIDER
        * student_t::two_sided_quantile(INTERVAL, count - 1.0)
        * ((count - 1.0) / count * squares).sqrt();
    let ci = (count > 2.0 && half < at).then(|| Interval {
        low: 1.0 / (at + half),
        high: 1.0 / (at - half),
        level: INTERVAL,
    });
    (at, ci)
}

/// Where the values are highest, by a parabola through the top three.
fn highest(at: &[f64], values: &[f64], step: f64) -> f64 {
    let best = (0..values.len())
        .max_by(|&a, &b| values[a].total_cmp(&values[b]))
        .unwrap_or(0);
    if best == 0 || best + 1 >= values.len() {
        return at[best];
    }
    let (below, top, above) = (values[best - 1], values[best], values[best + 1]);
    let bend = below - 2.0 * top + above;
    if bend < 0.0 {
        at[best] + 0.5 * step * (below - above) / bend
    } else {
        at[best]
    }
}

/// Lines along `along`: where, and their numbers in the list.
fn lines_along(found: &[Found], along: LineAxis) -> Vec<(f64, usize)> {
    (found.iter().enumerate())
        .filter_map(|(k, f)| match f.shape {
            Shape::Line { along: a, at_mm } if a == along => Some((at_mm, k)),
            _ => None,
        })
        .collect()
}

/// Sharp lines along `along` that fit one pitch.
fn of_lines(found: &[Found], along: LineAxis) -> Option<Bars> {
    let mut lines = lines_along(found, along);
    lines.retain(|l| found[l.1].sharpness == Sharpness::Sharp);
    lines.sort_by(|a, b| a.0.total_cmp(&b.0));
    let n = lines.len();
    if n < LEAST_LINES {
        return None;
    }
    let span = lines[n - 1].0 - lines[0].0;
    let most = ((n - 1) as f64 / FILLED).floor() as usize;
    let tried = (most + 2 - n) as f64;
    let fits = (n - 1..=most).filter_map(|bars| {
        let pitch = span / bars as f64;
        let tolerance = (FITS_SHARE * pitch).min(FITS_MM);
        let number = |u: f64| ((u - lines[0].0) / pitch).round();
        let fit = lines
            .iter()
            .all(|l| (l.0 - lines[0].0 - number(l.0) * pitch).abs() <= tolerance);
        let chance = tried * (2.0 * tolerance / pitch).powf(n as f64 - 2.0);
        (fit && chance <= LINES_BY_CHANCE).then(|| {
            let at: Vec<(f64, f64)> = lines.iter().map(|l| (number(l.0), l.0)).collect();
            (pitch, at)
        })
    });
    let (_, at) = fits.max_by(|a, b| a.0.total_cmp(&b.0))?;
    let (pitch_mm, pitch_ci) = slope(&at)?;
    let strongest = lines
        .iter()
        .map(|l| &found[l.1])
        .min_by(|a, b| a.p_value.total_cmp(&b.p_value))?;
    Some(Bars {
        along,
        pitch_mm,
        pitch_ci: Some(pitch_ci),
        at_feed_mm_s: None,
        lines: lines.iter().map(|l| l.1).collect(),
        by: BarsBy::Lines,
        p_value: strongest.p_value,
        tests: strongest.tests,
        p_adjusted: strongest.p_adjusted,
    })
}

/// Slope of the places of lines on their numbers, and its interval.
fn slope(at: &[(f64, f64)]) -> Option<(f64, Interval)> {
    let line = Line::through(at)?;
    let dof = at.len() as f64 - 2.0;
    let error = (line.residual / dof / line.time_squares).sqrt();
    let half = student_t::two_sided_quantile(INTERVAL, dof) * error;
    let ci = Interval {
        low: line.slope - half,
        high: line.slope + half,
        level: INTERVAL,
    };
    Some((line.slope, ci))
}

/// Sharp lines along the bars; two of them or more that lie a multiple of the
/// pitch apart are bars.
fn on_bars(found: &[Found], bars: &Bars) -> Vec<usize> {
    let lines = lines_along(found, bars.along);
    let tolerance = (FITS_SHARE * bars.pitch_mm).min(FITS_MM);
    let apart = |a: f64, b: f64| {
        let turns = (a - b) / bars.pitch_mm;
        (turns - turns.round()).abs() * bars.pitch_mm
    };
    let with = |at: f64| lines.iter().filter(|l| apart(l.0, at) <= tolerance).count();
    let Some(best) = lines.iter().map(|l| l.0).max_by_key(|&at| with(at)) else {
        return Vec::new();
    };
    if with(best) < 2 || bars.at_feed_mm_s.is_some() {
        return Vec::new();
    }
    lines
        .iter()
        .filter(|l| apart(l.0, best) <= tolerance)
        .map(|l| l.1)
        .collect()
}
