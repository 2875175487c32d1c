//! Every k-th panel: the folded order, and the folded order in short windows
//! for nests without a record that slip phase when a panel is skipped.

use crate::causes::Tally;
use crate::causes::rivals::control::convolve;
use statrs::function::factorial::ln_binomial;

/// Level of each of the two tests, adjusted for periods and phases.
const LEVEL: f64 = 0.01;

/// Longest period looked for.
const LONGEST: usize = 24;

/// Cycles in a short window: long enough to see a period, short enough that
/// few windows hold a slip.
const CYCLES: usize = 5;

/// A panel in machine order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Turn {
    /// Number in the order of all panels of the machine.
    pub number: usize,
    /// Whether it was hit; only exposed panels are listed.
    pub hit: bool,
}

/// A period found.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Fold {
    /// The period, panels.
    pub every: usize,
    /// The phase with most hits; none where the phase slips.
    pub phase: Option<usize>,
    /// Of each phase; where the phase slips, counted from the most-hit phase of
    /// each window.
    pub folded: Vec<Tally>,
    /// p, adjusted for the periods and phases tried.
    pub p_value: f64,
}

/// The period with the smallest adjusted p, if it passes.
pub(crate) fn fold(turns: &[Turn]) -> Option<Fold> {
    fixed_phase(turns, LONGEST).or_else(|| slipping_phase(turns))
}

/// One phase over all panels: smallest hypergeometric tail × (k, phase) pairs.
/// Phases need three hits, periods four cycles.
pub(crate) fn fixed_phase(turns: &[Turn], longest: usize) -> Option<Fold> {
    let all = Tally::of(turns.iter().map(|t| t.hit));
    let periods: Vec<usize> = (2..=longest).filter(|k| turns.len() >= 4 * k).collect();
    let pairs: usize = periods.iter().sum();
    let of_period = |k: usize| {
        let phases = folded(turns, k).into_iter().enumerate();
        let enough = phases.filter(|(_, here)| here.hits >= 3);
        enough.map(move |(phase, here)| (here.at_least_of(all), k, phase))
    };
    let tails = periods.iter().flat_map(|&k| of_period(k));
    let (p, every, phase) = tails.min_by(|a, b| a.0.total_cmp(&b.0))?;
    let p_value = (p * pairs as f64).min(1.0);
    (p_value <= LEVEL).then(|| Fold {
        every,
        phase: Some(phase),
        folded: folded(turns, every),
        p_value,
    })
}

/// Panels by number modulo `k`.
fn folded(turns: &[Turn], k: usize) -> Vec<Tally> {
    let phase = |t: &Turn| (Some(t.number % k), t.hit);
    Tally::by_level(k, turns.iter().map(phase))
}

/// Windows of five cycles, each with its own best phase: the sum over windows
/// of the largest phase count. Given each window's hits its null distribution
/// is exact (hits fall on any panels of the window alike), so lives, lots and
/// trends longer than a window don't matter. Adjusted for the periods tried.
fn slipping_phase(turns: &[Turn]) -> Option<Fold> {
    let periods: Vec<usize> = (2..=LONGEST)
        .filter(|k| turns.len() >= 2 * CYCLES * k)
        .collect();
    let tails = periods.iter().map(|&k| (windows_tail(turns, k), k));
    let (p, every) = tails.min_by(|a, b| a.0.total_cmp(&b.0))?;
    let p_value = (p * periods.len() as f64).min(1.0);
    (p_value <= LEVEL).then(|| Fold {
        every,
        phase: None,
        folded: aligned(turns, every),
        p_value,
    })
}

/// Windows of the machine's order, `CYCLES`·k numbers long.
fn windows(turns: &[Turn], k: usize) -> impl Iterator<Item = &[Turn]> {
    turns.chunk_by(move |a, b| a.number / (CYCLES * k) == b.number / (CYCLES * k))
}

/// P(sum of largest phase counts ≥ the observed one).
fn windows_tail(turns: &[Turn], k: usize) -> f64 {
    let mut chances = vec![1.0];
    let mut observed = 0;
    for window in windows(turns, k) {
        let phases = folded(window, k);
        let largest = phases.iter().map(|p| p.hits).max().unwrap_or(0);
        if phases.iter().copied().sum::<Tally>().hits < 2 {
            continue;
        }
        observed += largest;
        chances = convolve(&chances, &largest_count(&phases));
    }
    chances
        .get(observed..)
        .map_or(0.0, |tail| tail.iter().sum::<f64>().min(1.0))
}

/// Chances that the largest phase count is 0, 1, …, given the window's hits.
/// P(max ≤ m) = [zᴷ] Π_phases Σ_{c ≤ m} C(n_phase, c) zᶜ / C(n, K).
fn largest_count(phases: &[Tally]) -> Vec<f64> {
    let Tally { hits, exposed } = phases.iter().copied().sum();
    let all = ln_binomial(exposed as u64, hits as u64);
    let highest = phases
        .iter()
        .map(|p| p.exposed)
        .max()
        .unwrap_or(0)
        .min(hits);
    let mut out = Vec::with_capacity(highest + 1);
    let mut below = 0.0;
    for most in 0..=highest {
        let mut ways = vec![1.0];
        for phase in phases {
            let choices: Vec<f64> = (0..=most.min(phase.exposed))
                .map(|c| ln_binomial(phase.exposed as u64, c as u64).exp())
                .collect();
            ways = convolve(&ways, &choices);
            ways.truncate(hits + 1);
        }
        let up_to = ways.get(hits).map_or(0.0, |w| (w.ln() - all).exp());
        out.push((up_to - below).max(0.0));
        below = up_to;
    }
    out
}

/// Panels by phase, phases counted from each window's best.
fn aligned(turns: &[Turn], k: usize) -> Vec<Tally> {
    let mut out = vec![Tally::default(); k];
    for window in windows(turns, k) {
        let phases = folded(window, k);
        let best = (0..k).rev().max_by_key(|&j| phases[j].hits).unwrap_or(0);
        for (j, cell) in out.iter_mut().enumerate() {
            *cell = *cell + phases[(best + j) % k];
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    fn turns(n: usize, hit: impl FnMut(usize) -> bool) -> Vec<Turn> {
        let mut hit = hit;
        (0..n)
            .map(|number| Turn {
                number,
                hit: hit(number),
            })
            .collect()
    }

    #[test]
    fn folding_agrees_with_an_independent_slow_reference_implementation() {
        let hits = [3, 9, 15, 27, 33, 39, 45];
        let fold = fixed_phase(&turns(48, |i| hits.contains(&i)), 12).unwrap();
        assert_eq!((fold.every, fold.phase), (6, Some(3)));
        assert_relative_eq!(fold.p_value, 1.08652734e-7 * 77.0, max_relative = 1e-8);
        assert_relative_eq!(fold.p_value, 8.36626e-6, max_relative = 1e-5);
    }

    #[test]
    fn chances_of_the_largest_count_add_up() {
        // Two phases of two panels, two hits: both on one phase in 2 of 6 ways.
        let chances = largest_count(
            &[Tally {
                hits: 1,
                exposed: 2,
            }; 2],
        );
        assert_relative_eq!(chances[1], 4.0 / 6.0, max_relative = 1e-12);
        assert_relative_eq!(chances[2], 2.0 / 6.0, max_relative = 1e-12);
    }

    #[test]
    fn a_nest_that_slips_phase_is_still_found() {
        let mut rng = ChaCha8Rng::seed_from_u64(11);
        let (mut found, runs) = (0, 60);
        for _ in 0..runs {
            let mut nest = 0;
            let series = turns(240, |_| {
                nest += 1 + usize::from(rng.random::<f64>() < 0.03);
                nest % 6 == 0 && rng.random::<f64>() < 0.7
            });
            found += usize::from(fold(&series).is_some_and(|f| f.every == 6));
        }
        assert!(found >= 54, "{found} of {runs}");
    }

    #[test]
    fn hits_in_any_order_rarely_look_periodic() {
        let mut rng = ChaCha8Rng::seed_from_u64(12);
        let runs = 400;
        let mut found = 0;
        for run in 0..runs {
            let share = [0.05, 0.15, 0.4][run % 3];
            // Alive in the middle half only.
            let series = turns(120, |i| {
                (30..90).contains(&i) && rng.random::<f64>() < share
            });
            found += usize::from(fold(&series).is_some());
        }
        // Nominal 2 % at most: P(Bin(400, 0.02) > 16) < 0.01.
        assert!(found <= 16, "{found} of {runs}");
    }
}
