//! Distances between the marks of a panel, for bars of one pitch.
//!
//! Where bars of one pitch cross the panel, distances between its marks along
//! the axis are too often near a multiple of the pitch and too rarely halfway
//! between. That needs no phase: every panel may have its own.
//!
//! The cosine of the distance, one turn a pitch, is summed over whole cells, from
//! half a pitch before a multiple to half a pitch behind it, from the first
//! multiple on. So what changes smoothly with the distance drops out (exactly, as
//! far as it is a straight line over a cell), and so do clumps, whose marks lie
//! nearer to each other than that. A taper takes the weight off the panel's edges,
//! where marks crowd. What a panel's own sum is like without bars is read off its
//! sums at all other pitches: its marks of one clump move it together there too.
//! So the panels are the units, and their sum over its scatter is compared with a
//! gamma variable, whose shape is the number of panels that they are like.

use std::f64::consts::{PI, TAU};

use crate::causes::scan::LineAxis;
use crate::causes::scan::axis::{across, stretch};
use crate::causes::scan::bars::written_steps::WrittenSteps;
use crate::causes::scan::view::View;
use crate::stats::distributions::gamma;

/// Shortest pitch looked for, mm: the places of marks are no more exact.
const SHORTEST_MM: f64 = 8.0;

/// The longest panel must hold this many bars of the longest pitch looked for.
const LEAST_BARS: f64 = 4.0;

/// Frequencies per 1/length of the longest panel.
const FINENESS: f64 = 2.0;

/// A panel's pairs weigh at most this much in all; one of n marks weighs n/2.
const MOST_WEIGHT: f64 = 3.0;

/// Marks of one panel beyond this are thinned evenly, so that pairs stay few.
const MOST_MARKS: usize = 40;

/// Beyond so many cosines panels are thinned evenly: bars show on a part of them.
const MOST_COSINES: usize = 60_000_000;

/// Fewer panels with two marks or more (or what is like so many) tell nothing.
const LEAST_PANELS: f64 = 5.0;

/// Median of the square of a standard normal variable.
const MEDIAN_SQUARE: f64 = 0.454_936_423_119_572_7;

/// A pitch that stands out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Peak {
    /// Bars per mm of the axis.
    pub(crate) frequency: f64,
    /// Chance of it without bars, at this frequency.
    pub(crate) p_value: f64,
    /// The sum's first two cells over the scatter.
    pub(crate) cells: [f64; 2],
}

/// A mark along the axis.
#[derive(Debug, Clone, Copy, PartialEq)]
struct BarMark {
    /// Along the axis, mm.
    at: f64,
    /// Taper, 0..1.
    weight: f64,
}

/// The marks of one panel.
#[derive(Debug, Clone, PartialEq)]
struct BarPanel {
    /// Position in `View::panels`.
    panel: usize,
    marks: Vec<BarMark>,
}

/// A panel's pairs of marks: distance, mm, and weight.
type Pairs = Vec<(f64, f64)>;

/// Distances between marks along one axis.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Comb {
    panels: Vec<BarPanel>,
    /// The longest panel along the axis, mm.
    pub(crate) length: f64,
    steps: WrittenSteps,
}

impl Comb {
    /// The marks of `view` for which `left` is true, at their places across bars
    /// along `along`. `stretched` gives each panel (position in `View::panels`) a
    /// factor on its lengths; panels without one are left out.
    pub(crate) fn new(
        view: &View,
        along: LineAxis,
        left: &[bool],
        stretched: impl Fn(usize) -> Option<f64>,
    ) -> Self {
        let steps = WrittenSteps::of(view, along);
        let mut comb = Self {
            panels: Vec::new(),
            length: 0.0,
            steps,
        };
        for (m, _) in view.marks.iter().zip(left).filter(|m| *m.1) {
            let (low, high) = stretch(along, view.panels[m.panel].rect);
            let Some(factor) = stretched(m.panel).filter(|_| high > low) else {
                continue;
            };
            let u = across(along, m.at);
            if comb.steps.fits(u, (low, high)) {
                continue;
            }
            comb.length = comb.length.max((high - low) * factor);
            let mark = BarMark {
                at: u * factor,
                weight: (PI * ((u - low) / (high - low)).clamp(0.0, 1.0)).sin(),
            };
            match comb.panels.last_mut() {
                Some(last) if last.panel == m.panel => last.marks.push(mark),
                _ => comb.panels.push(BarPanel {
                    panel: m.panel,
                    marks: vec![mark],
                }),
            }
        }
        comb
    }

    /// The frequencies looked at.
    pub(crate) fn frequencies(&self) -> Vec<f64> {
        if self.length <= 0.0 {
            return Vec::new();
        }
        let width = 1.0 / (FINENESS * self.length);
        let first = (LEAST_BARS * FINENESS).ceil() as usize;
        let shortest = SHORTEST_MM.max(self.steps.shortest_pitch_mm());
        let last = (1.0 / (shortest * width)).floor() as usize;
        (first..=last)
            .map(|k| k as f64 * width)
            .filter(|f| !self.steps.confuse(*f, self.length))
            .collect()
    }

    /// The pitch that stands out most among `frequencies`; none where too few
    /// panels have two marks.
    pub(crate) fn peak(&self, frequencies: &[f64]) -> Option<Peak> {
        let mut sums = vec![[0.0; 3]; frequencies.len()];
        let (mut variance, mut squares) = (0.0, 0.0);
        for panel in self.enough_for(frequencies.len()) {
            let pairs = panel.pairs();
            if pairs.is_empty() {
                continue;
            }
            let own = all_cosines(&pairs, frequencies, self.length);
            let powers: Vec<f64> = own.iter().map(|s| s[0] * s[0]).collect();
            // a panel's sum is like a normal variable over the frequencies; its
            // median square is not moved by bars and their overtones
            let scatter = (quantile(&powers, 0.5) / MEDIAN_SQUARE)
                .max(0.5 * pairs.iter().map(|p| p.1 * p.1).sum::<f64>());
            variance += scatter;
            squares += scatter * scatter;
            for (sum, own) in sums.iter_mut().zip(own) {
                for k in 0..3 {
                    sum[k] += own[k];
                }
            }
        }
        let shape = if squares > 0.0 {
            variance * variance / squares
        } else {
            0.0
        };
        (shape >= LEAST_PANELS).then_some(())?;
        let highest = sums.iter().map(|s| s[0]).max_by(f64::total_cmp)?;
        // Exact bars fit the overtones of their pitch just as well: the longest counts.
        let best = sums
            .iter()
            .position(|s| s[0] >= highest - 1e-9 * highest.abs())?;
        let [z, first, second] = sums[best].map(|sum| sum / variance.sqrt());
        let p_value = gamma::upper(shape, (shape + shape.sqrt() * z).max(0.0));
        Some(Peak {
            frequency: frequencies[best],
            p_value,
            cells: [first, second],
        })
    }
}

impl Comb {
    /// The panels, thinned evenly if they have too many pairs.
    fn enough_for(&self, frequencies: usize) -> impl Iterator<Item = &BarPanel> {
        let pairs = |panel: &BarPanel| {
            let marks = panel.marks.len().min(MOST_MARKS);
            marks * marks / 2
        };
        let cosines = frequencies * self.panels.iter().map(pairs).sum::<usize>();
        self.panels
            .iter()
            .step_by(cosines.div_ceil(MOST_COSINES).max(1))
    }

    /// Distances between marks of one panel.
    pub(crate) fn distances(&self) -> impl Iterator<Item = f64> {
        self.enough_for(1)
            .flat_map(|panel| panel.pairs().into_iter().map(|pair| pair.0))
    }

    /// The sum at each of some frequencies, by block of panels in their order.
    pub(crate) fn sums_by_block(&self, frequencies: &[f64], blocks: usize) -> Vec<Vec<f64>> {
        let panels: Vec<&BarPanel> = self
            .enough_for(frequencies.len())
            .filter(|panel| panel.marks.len() > 1)
            .collect();
        let size = panels.len().div_ceil(blocks).max(1);
        panels
            .chunks(size)
            .map(|block| {
                let mut sums = vec![0.0; frequencies.len()];
                for panel in block {
                    let own = all_cosines(&panel.pairs(), frequencies, self.length);
                    for (sum, own) in sums.iter_mut().zip(own) {
                        *sum += own[0];
                    }
                }
                sums
            })
            .collect()
    }
}

impl BarPanel {
    /// Its pairs of marks, weighing [`MOST_WEIGHT`] in all at most.
    fn pairs(&self) -> Pairs {
        let thin = self.marks.len().div_ceil(MOST_MARKS).max(1);
        let marks: Vec<BarMark> = self.marks.iter().copied().step_by(thin).collect();
        let n = marks.len() as f64;
        let weight = (n / 2.0).min(MOST_WEIGHT) * 2.0 / (n * (n - 1.0));
        let mut pairs = Vec::new();
        for (k, a) in marks.iter().enumerate() {
            for b in &marks[..k] {
                pairs.push(((a.at - b.at).abs(), weight * a.weight * b.weight));
            }
        }
        pairs
    }
}

/// Σ weight · cos(2π · frequency · distance) over the whole cells of a pitch, and
/// over its first and its second cell, at every frequency.
///
/// Where frequencies follow each other in even steps the angle is turned by a
/// step's, not worked out anew.
fn all_cosines(pairs: &[(f64, f64)], frequencies: &[f64], length: f64) -> Vec<[f64; 3]> {
    let step = frequencies.windows(2).next().map_or(0.0, |f| f[1] - f[0]);
    let follows = |k: usize| {
        !k.is_multiple_of(ANEW) && (frequencies[k] - frequencies[k - 1] - step).abs() < 1e-9 * step
    };
    let follows: Vec<bool> = (0..frequencies.len()).map(follows).collect();
    let cells = |f: &f64| (length * f - 0.5).floor();
    let cells: Vec<f64> = frequencies.iter().map(cells).collect();
    let mut all = vec![[0.0; 3]; frequencies.len()];
    for &(distance, weight) in pairs {
        let angle = |frequency: f64| (TAU * frequency * distance).sin_cos();
        let (step_sin, step_cos) = angle(step);
        let (mut sin, mut cos) = (0.0, 1.0);
        for (k, sums) in all.iter_mut().enumerate() {
            (sin, cos) = if follows[k] {
                (
                    sin * step_cos + cos * step_sin,
                    cos * step_cos - sin * step_sin,
                )
            } else {
                angle(frequencies[k])
            };
            // the nearest whole number of a positive one
            let cell = (distance * frequencies[k] + 0.5) as u32;
            if cell < 1 || f64::from(cell) > cells[k] {
                continue;
            }
            let value = weight * cos;
            sums[0] += value;
            if cell < 3 {
                sums[cell as usize] += value;
            }
        }
    }
    all
}

/// Steps after which the angle is worked out anew, so that rounding stays small.
const ANEW: usize = 64;

/// The quantile of some values, the nearest below.
fn quantile(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let at = (share * sorted.len() as f64).floor() as usize;
    (sorted.get(at.min(sorted.len().saturating_sub(1))).copied()).unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::scan::worked_cases::{panel, view};
    use approx::assert_relative_eq;

    fn comb(marks: &[(usize, f64, f64)], panels: usize) -> Comb {
        let view = view(&[panel(100.0, 50.0)].repeat(panels), marks, 0.0);
        Comb::new(&view, LineAxis::Y, &vec![true; marks.len()], |_| Some(1.0))
    }

    /// By hand: marks about a fifth and three fifths along the panel weigh
    /// sin 36.054° · sin 108.414° = 0.558413; 40.2 mm are one turn of 40.2 mm, two and
    /// a half of 16.08 mm (third cell) and half a turn of 80.4 mm (no whole cell).
    #[test]
    fn a_pair_counts_by_its_distance_in_pitches() {
        let comb = comb(&[(0, 20.03, 10.0), (0, 60.23, 40.0)], 1);
        let weight = 0.558_413_167_660;
        let pairs = comb.panels[0].pairs();
        assert_eq!(pairs.len(), 1);
        assert_relative_eq!(pairs[0].0, 40.2, max_relative = 1e-12);
        assert_relative_eq!(pairs[0].1, weight, max_relative = 1e-10);
        let sum = |pitch: f64| all_cosines(&pairs, &[1.0 / pitch], 100.0)[0];
        assert_relative_eq!(sum(40.2)[0], weight, max_relative = 1e-10);
        assert_relative_eq!(sum(40.2)[1], weight, max_relative = 1e-10);
        assert_relative_eq!(sum(16.08)[0], -weight, max_relative = 1e-10);
        assert_eq!(sum(80.4), [0.0; 3]);
    }

    #[test]
    fn angles_that_are_turned_are_those_worked_out() {
        let pairs: Vec<(f64, f64)> = (1..40).map(|k| (17.3 * f64::from(k), 0.1)).collect();
        let even: Vec<f64> = (8..225).map(|k| f64::from(k) / 1_800.0).collect();
        let with_a_gap = [&even[..70], &even[73..]].concat();
        for frequencies in [&even, &with_a_gap] {
            for (turned, f) in all_cosines(&pairs, frequencies, 900.0)
                .iter()
                .zip(frequencies)
            {
                let alone = all_cosines(&pairs, &[*f], 900.0)[0];
                for (a, b) in turned.iter().zip(alone) {
                    assert!((a - b).abs() < 1e-12, "{a} {b} at {f}");
                }
            }
        }
    }

    #[test]
    fn a_crowded_panel_weighs_no_more_than_six_marks() {
        let crowd: Vec<_> = (0..30).map(|k| (0, 50.0, f64::from(k))).collect();
        let pairs = comb(&crowd, 1).panels[0].pairs();
        let weight: f64 = pairs.iter().map(|p| p.1).sum();
        assert_relative_eq!(weight, MOST_WEIGHT, max_relative = 1e-12);
    }

    /// Σ over whole cells of a weight that falls in a straight line is nothing.
    #[test]
    fn what_falls_in_a_straight_line_with_distance_drops_out() {
        let pairs: Vec<(f64, f64)> = (0..20_000)
            .map(|k| (f64::from(k) * 0.005, 1.0 - f64::from(k) / 20_000.0))
            .collect();
        let sum = all_cosines(&pairs, &[0.05], 100.0)[0][0];
        assert!(sum.abs() < 2.0, "{sum}");
    }

    #[test]
    fn fewer_panels_than_five_tell_nothing() {
        let bars = |panels: usize| {
            let marks: Vec<_> = (0..panels)
                .flat_map(|i| {
                    (0..4).map(move |k| (i, 5.3 + 20.0 * f64::from(k) + 3.0 * i as f64, 7.1))
                })
                .collect();
            let comb = comb(&marks, panels);
            comb.peak(&comb.frequencies())
        };
        assert_eq!(bars(4), None);
        let peak = bars(12).unwrap();
        assert_relative_eq!(1.0 / peak.frequency, 20.0, max_relative = 1e-9);
        // Twelve panels are enough for the level of a whole report.
        assert!(peak.p_value < 1e-4, "{}", peak.p_value);
    }
}
