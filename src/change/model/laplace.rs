//! The log-linear mixed model of panels at given standard deviations: the mode
//! of its effects, and how likely the standard deviations are (Laplace).

use super::problem::{MOVED, Mode, Problem, SIDE, Scales};
use super::system::{System, Weights};

/// Steps to a mode; three or four are usual.
const STEPS: usize = 30;

/// Change of any effect below which a step ends the search.
const CLOSE: f64 = 1e-3;

/// Prior of ln spread: normal.
const LN_SPREAD_SD: f64 = 1.5;

/// Largest and smallest spread.
const SPREADS: (f64, f64) = (1e-3, 20.0);

/// What the model says at given scales.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Evaluation {
    /// ln of the probability of the counts, the effects integrated out.
    pub ln_evidence: f64,
    /// ln ratio, after over before, and its variance.
    pub estimate: f64,
    pub variance: f64,
    /// By what ln rate moved beside the change.
    pub moved: f64,
    pub mode: Mode,
}

impl Problem {
    /// ln likelihood and prior of a spread where the effects are as in `mode`.
    fn ln_of_spread(&self, mode: &Mode, spread: f64) -> f64 {
        let cells: f64 = self
            .cells
            .iter()
            .map(|c| {
                let ln_mean = self.ln_mean(mode, c);
                self.family
                    .score(spread, c.panels, c.sum, ln_mean)
                    .ln_likelihood
            })
            .sum();
        cells + self.ln_prior_of_spread(spread)
    }

    fn ln_prior_of_spread(&self, spread: f64) -> f64 {
        let z = (spread / self.usual_spread).ln() / LN_SPREAD_SD;
        self.family.of_spread(spread, &self.values) - 0.5 * z * z
    }

    /// The most likely spread at the effects of `mode`, one Newton step from its
    /// own, and the standard deviation of its logarithm.
    pub(super) fn better_spread(&self, mode: &Mode) -> (f64, f64) {
        const STEP: f64 = 0.1;
        const FARTHEST: f64 = 1.0;
        let at = |shift: f64| self.ln_of_spread(mode, mode.spread * shift.exp());
        let (below, here, above) = (at(-STEP), at(0.0), at(STEP));
        let slope = (above - below) / (2.0 * STEP);
        // the prior alone curves as much
        let curved = ((2.0 * here - above - below) / (STEP * STEP)).max(1.0 / LN_SPREAD_SD.powi(2));
        let step = (slope / curved).clamp(-FARTHEST, FARTHEST);
        let better = (mode.spread * step.exp()).clamp(SPREADS.0, SPREADS.1);
        (better, 1.0 / curved.sqrt())
    }

    /// Mode, evidence and the ratio's law at `scales`, searched from `from` with
    /// its spread; none where the search fails.
    pub(super) fn evaluate(&self, scales: &Scales, from: &Mode) -> Option<Evaluation> {
        let mut mode = from.clone();
        let mut system = System::new(self);
        let mut before = f64::NEG_INFINITY;
        let mut last: Option<(Vec<f64>, Vec<[f64; 2]>)> = None;
        for _ in 0..STEPS {
            let objective = system.assemble(self, scales, &mode, Weights::Observed);
            if objective.is_nan() || objective < before - 1e-7 {
                // too far: half the step back
                let (step, lots) = last.as_mut()?;
                for (x, s) in mode.effects.iter_mut().zip(step.iter_mut()) {
                    *s *= 0.5;
                    *x -= *s;
                }
                for (x, s) in mode.lots.iter_mut().zip(lots.iter_mut()) {
                    for k in 0..2 {
                        s[k] *= 0.5;
                        x[k] -= s[k];
                    }
                }
                continue;
            }
            before = objective;
            let ln_determinant = system.factor(self)?;
            let (step, lots) = system.step(self);
            let largest = step
                .iter()
                .chain(lots.iter().flatten())
                .fold(0.0_f64, |m, s| m.max(s.abs()));
            for (x, s) in mode.effects.iter_mut().zip(&step) {
                *x += s;
            }
            for (x, s) in mode.lots.iter_mut().zip(&lots) {
                x[0] += s[0];
                x[1] += s[1];
            }
            if largest < CLOSE {
                let ln_evidence = objective
                    + self.ln_prior_of_spread(mode.spread)
                    + 0.5 * self.ln_prior_precision(scales)
                    - 0.5 * ln_determinant;
                return Some(Evaluation {
                    ln_evidence,
                    estimate: mode.effects[SIDE],
                    variance: system.variance(SIDE),
                    moved: mode.effects[MOVED],
                    mode,
                });
            }
            last = Some((step, lots));
        }
        None
    }

    /// Variance of ln ratio that is to be expected where panels come as in
    /// `self.cells`, whatever their sums, with these means.
    pub(super) fn expected_variance(
        &self,
        scales: &Scales,
        spread: f64,
        ln_means: &[f64],
    ) -> Option<f64> {
        let mut system = System::new(self);
        let mode = Mode {
            effects: vec![0.0; self.size()],
            lots: vec![[0.0; 2]; self.lots],
            spread,
        };
        system.assemble(self, scales, &mode, Weights::Expected(ln_means));
        system.factor(self)?;
        Some(system.variance(SIDE))
    }

    /// ln determinant of the priors' precision.
    fn ln_prior_precision(&self, scales: &Scales) -> f64 {
        let days = self.days as f64;
        let lots = -2.0 * self.lots as f64 * (scales.lot * scales.lot_change).ln();
        let fresh = 1.0 - scales.memory * scales.memory;
        lots - 2.0 * scales.trend.ln()
            - 2.0 * days * scales.day.ln()
            - (days - 1.0).max(0.0) * fresh.ln()
    }
}
