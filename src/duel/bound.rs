//! What is excluded where nothing is shown.

use super::contender::Suspect;
use crate::stats::distributions::{chi_squared, student_t};

/// Each way with so much certainty.
const CERTAINTY: f64 = 0.95;

/// Units that a bound needs.
const LEAST_UNITS: usize = 4;

/// The ratio of rates between what was given most and least.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Bound {
    /// Estimated, > 0.
    pub ratio: f64,
    /// The ratio is larger with 95 % certainty.
    pub low: f64,
    /// The ratio is smaller with 95 % certainty.
    pub high: f64,
    /// Where the mean of what was given lies between least and most, 0..1: the
    /// share of the exposure that a level got.
    pub share: f64,
}

impl Bound {
    /// The largest ratio either way that is not excluded, ≥ 1.
    pub(crate) fn within(&self) -> f64 {
        self.high.max(1.0 / self.low)
    }

    /// The largest share of the marks, 0..1, not excluded to be more than what
    /// would be there had all been given the least: q(ρ − 1) / (1 + q(ρ − 1)) for a
    /// share q of the exposure at ρ times the rate.
    pub(crate) fn made_by_more(&self) -> f64 {
        let more = self.share * (self.high - 1.0).max(0.0);
        more / (1.0 + more)
    }

    /// The same where less of it makes marks.
    pub(crate) fn made_by_less(&self) -> f64 {
        let more = (1.0 - self.share) * (1.0 / self.low - 1.0).max(0.0);
        more / (1.0 + more)
    }
}

/// A rate is taken for no smaller than that of half a mark.
const LEAST_MARK: f64 = 0.5;

/// Bounds of the ratio of rates between high and low values of what was given
/// (its ninetieth and tenth percentile; a level and the others), a straight line
/// of the rate in what was given, inside blocks, its error from the scatter of
/// units, limits on the scale of the logarithm. `value` per panel over `exposure`.
pub(crate) fn bound(value: &[f64], exposure: &[f64], suspect: &Suspect) -> Option<Bound> {
    let rows: Vec<usize> = (0..value.len())
        .filter(|&at| suspect.given[at].is_some() && exposure[at] > 0.0)
        .collect();
    let given = |at: usize| suspect.given[at].unwrap_or(0.0);
    let exposed: f64 = rows.iter().map(|&at| exposure[at]).sum();
    let rate = rows.iter().map(|&at| value[at]).sum::<f64>() / exposed;
    if rate <= 0.0 {
        return None;
    }
    let mut by_block = rows.clone();
    by_block.sort_by_key(|&at| (suspect.blocks[at], suspect.units[at], at));
    let (mut along, mut length) = (0.0, 0.0);
    let mut rests: Vec<(usize, f64, f64)> = Vec::new();
    for block in by_block.chunk_by(|&a, &b| suspect.blocks[a] == suspect.blocks[b]) {
        let sum: f64 = block.iter().map(|&at| exposure[at]).sum();
        let mean = block
            .iter()
            .map(|&at| exposure[at] * given(at))
            .sum::<f64>()
            / sum;
        let level = block.iter().map(|&at| value[at]).sum::<f64>() / sum;
        for &at in block {
            let x = given(at) - mean;
            let y = (value[at] - level * exposure[at]) / rate;
            along += x * y;
            length += exposure[at] * x * x;
            rests.push((at, x, y));
        }
    }
    if length <= 0.0 {
        return None;
    }
    let slope = along / length;
    rests.sort_by_key(|r| (suspect.units[r.0], r.0));
    let units: Vec<f64> = (rests.chunk_by(|a, b| suspect.units[a.0] == suspect.units[b.0]))
        .map(|unit| {
            let rest = |r: &(usize, f64, f64)| r.1 * (r.2 - slope * r.1 * exposure[r.0]);
            unit.iter().map(rest).sum()
        })
        .collect();
    let n = units.len() as f64;
    if units.len() < LEAST_UNITS {
        return None;
    }
    let robust = units.iter().map(|u| u * u).sum::<f64>() * n / (n - 1.0);
    // No less than marks that come one at a time: few marks show no scatter.
    let error = robust.max(length / rate).sqrt() / length;
    let mut sorted: Vec<f64> = rows.iter().map(|&at| given(at)).collect();
    sorted.sort_by(f64::total_cmp);
    let share = |s: f64| sorted[((sorted.len() - 1) as f64 * s).round() as usize];
    let (mut low, mut high) = (share(0.1), share(0.9));
    if high <= low {
        (low, high) = (share(0.0), share(1.0));
    }
    let mean = rows.iter().map(|&at| exposure[at] * given(at)).sum::<f64>() / exposed;
    // Rates at both ends, over the mean rate.
    let at_end = |end: f64, beyond: &dyn Fn(f64) -> bool| {
        let there = rows.iter().filter(|&&at| beyond(given(at)));
        let marks = rate * there.map(|&at| exposure[at]).sum::<f64>();
        (1.0 + slope * (end - mean)).max(LEAST_MARK / marks)
    };
    let (top, bottom) = (at_end(high, &|x| x >= high), at_end(low, &|x| x <= low));
    // The logarithm's error, by its derivative with respect to the slope.
    let t = student_t::upper_quantile(1.0 - CERTAINTY, n - 1.0);
    let reach = (t * error * ((high - mean) / top + (mean - low) / bottom)).exp();
    let ratio = top / bottom;
    Some(Bound {
        ratio,
        low: ratio / reach,
        high: ratio * reach,
        share: ((mean - low) / (high - low)).clamp(0.0, 1.0),
    })
}

/// The ratio of rates, two standard deviations of levels apart, that the scatter
/// of level means leaves open with 95 % certainty. `levels`: a level per panel.
pub(crate) fn spread(value: &[f64], exposure: &[f64], levels: &[Option<usize>]) -> Option<f64> {
    let count = levels.iter().flatten().max()? + 1;
    let mut sums = vec![(0.0, 0.0, 0.0, 0.0); count];
    for (at, level) in levels.iter().enumerate() {
        if let Some(level) = level.filter(|_| exposure[at] > 0.0) {
            let s = &mut sums[level];
            s.0 += value[at];
            s.1 += exposure[at];
            s.2 += value[at] * value[at] / exposure[at];
            s.3 += 1.0;
        }
    }
    sums.retain(|s| s.1 > 0.0);
    let k = sums.len() as f64;
    let (all, exposed) = sums.iter().fold((0.0, 0.0), |a, s| (a.0 + s.0, a.1 + s.1));
    let panels: f64 = sums.iter().map(|s| s.3).sum();
    let rate = all / exposed;
    if rate <= 0.0 || k < 3.0 || panels <= k {
        return None;
    }
    let within = sums.iter().map(|s| s.2 - s.0 * s.0 / s.1).sum::<f64>() / (panels - k);
    let between: f64 = sums.iter().map(|s| s.1 * (s.0 / s.1 - rate).powi(2)).sum();
    let size = (exposed - sums.iter().map(|s| s.1 * s.1).sum::<f64>() / exposed) / (k - 1.0);
    let most = between / chi_squared::quantile(1.0 - CERTAINTY, k - 1.0);
    let variance = ((most - within) / size).max(0.0) / (rate * rate);
    Some((2.0 * variance.sqrt()).exp())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::distributions::binomial;
    use approx::assert_relative_eq;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    fn level(own: usize, others: usize) -> Suspect {
        Suspect {
            given: (0..own + others)
                .map(|at| Some(f64::from(u8::from(at < own))))
                .collect(),
            units: (0..own + others).collect(),
            blocks: vec![0; own + others].into(),
            toward: super::super::Toward::Rises,
            serial: false,
        }
    }

    /// A mark on every second panel scatters less than chance: the error is that of
    /// two counts, √(1/k₁ + 1/k₂) on the logarithm (Rothman, Greenland and Lash
    /// 2008, Modern Epidemiology, chapter 14; from memory).
    #[test]
    fn limits_of_even_marks_are_those_of_two_counts() {
        let marks: Vec<f64> = (0..80).map(|at| f64::from(at % 2)).collect();
        let found = bound(&marks, &[1.0; 80], &level(40, 40)).unwrap();
        let t = student_t::upper_quantile(0.05, 79.0);
        let factor = (t * (1.0 / 20.0 + 1.0 / 20.0_f64).sqrt()).exp();
        assert_relative_eq!(found.ratio, 1.0, max_relative = 1e-12);
        assert_relative_eq!(found.high, factor, max_relative = 1e-12);
        assert_relative_eq!(found.low, 1.0 / factor, max_relative = 1e-12);
    }

    #[test]
    fn shares_of_marks_are_counted_by_hand() {
        let found = Bound {
            ratio: 2.0,
            low: 0.5,
            high: 3.0,
            share: 0.25,
        };
        // A quarter at three times: 3 of 6, of which 1 would be there anyway.
        assert_relative_eq!(found.made_by_more(), 2.0 / 6.0, max_relative = 1e-12);
        // Three quarters at twice: 6 of 7, of which 3 would be there anyway.
        assert_relative_eq!(found.made_by_less(), 3.0 / 7.0, max_relative = 1e-12);
    }

    /// Counts of panels that differ among themselves (a gamma of shape 2), 20
    /// panels at thrice the rate of 40: each limit misses 5 % of the time, within
    /// what a small sample's error adds.
    #[test]
    fn limits_miss_as_often_as_they_say() {
        let mut rng = ChaCha8Rng::seed_from_u64(31);
        let mut exponential = || -(1.0 - rng.random::<f64>()).ln();
        let (mut above, mut below, runs) = (0, 0, 2000);
        for _ in 0..runs {
            let marks: Vec<f64> = (0..60)
                .map(|at| {
                    // Half the sum of two exponentials is a gamma of shape 2 and mean 1.
                    let mean = if at < 20 { 2.1 } else { 0.7 };
                    let rate = mean * (exponential() + exponential()) / 2.0;
                    let (mut time, mut count) = (exponential(), 0.0);
                    while time < rate {
                        count += 1.0;
                        time += exponential();
                    }
                    count
                })
                .collect();
            let found = bound(&marks, &[1.0; 60], &level(20, 40)).unwrap();
            above += u64::from(found.high < 3.0);
            below += u64::from(found.low > 3.0);
        }
        assert!(binomial::at_least(above, runs, 0.065) >= 1e-4, "{above}");
        assert!(binomial::at_least(below, runs, 0.05) >= 1e-4, "{below}");
    }
}
