//! Whose bars they are: the likelihood of a pitch in one frame, its phase free
//! from panel to panel or fixed in the frame.
//!
//! A panel shows bars with chance h; if it does, its marks' phases θ are von Mises
//! around the panel's phase (or the frame's) with concentration κ, otherwise they
//! are uniform. With n marks and Z = Σ e^{iθ}, its likelihood over that of uniform
//! phases is 1 − h + h·I₀(κ|Z|)/I₀(κ)ⁿ where the panel's phase is uniform, and
//! 1 − h + h·e^{κ Re(Z e^{−iφ})}/I₀(κ)ⁿ where the phase φ is the frame's. Pitch, h,
//! κ and φ are fitted. Source: K. V. Mardia and P. E. Jupp (2000), Directional
//! Statistics, sections 3.5 and 5.3.

use std::f64::consts::TAU;

/// Concentrations and shares tried.
const CONCENTRATIONS: [f64; 6] = [0.4, 0.8, 1.3, 2.0, 3.0, 5.0];
const SHARES: [f64; 6] = [0.05, 0.15, 0.3, 0.5, 0.75, 1.0];

/// Frequencies tried: up to this ratio away, in steps of this share of 1/length.
const AWAY: f64 = 1.3;
const STEP: f64 = 0.25;

/// Marks of one panel and panels beyond this are thinned evenly.
const MOST_MARKS: usize = 100;
const MOST_PANELS: usize = 1000;

/// What the panels have in common besides the pitch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Phase {
    /// Nothing: each panel has a phase of its own.
    Free,
    /// The phase, in turns: bars lie at (phase + whole number) × pitch.
    Fixed(f64),
}

/// The best fit in one frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Fit {
    /// Bars per mm.
    pub(crate) frequency: f64,
    pub(crate) phase: Phase,
    /// ln likelihood over that of marks without bars.
    pub(crate) log_ratio: f64,
}

/// The best fit near `frequency` of marks at the given places, panel by panel, on
/// panels up to `length` mm long; phases free or, if `fixed`, fixed in the frame.
pub(crate) fn fit(panels: &[Vec<f64>], frequency: f64, length: f64, fixed: bool) -> Option<Fit> {
    let thin = panels.len().div_ceil(MOST_PANELS).max(1);
    let panels: Vec<Vec<f64>> = panels
        .iter()
        .step_by(thin)
        .map(|marks| {
            let thin = marks.len().div_ceil(MOST_MARKS).max(1);
            marks.iter().copied().step_by(thin).collect()
        })
        .collect();
    let width = STEP / length;
    let steps = ((frequency - frequency / AWAY) / width).ceil() as i32;
    (-steps..=steps)
        .map(|k| frequency + f64::from(k) * width)
        .filter(|f| *f > 0.0)
        .map(|f| at(&panels, f, fixed))
        .max_by(|a, b| a.log_ratio.total_cmp(&b.log_ratio))
}

/// The best fit at one frequency.
fn at(panels: &[Vec<f64>], frequency: f64, fixed: bool) -> Fit {
    let sums: Vec<(f64, f64, f64)> = panels.iter().map(|p| phasor(p, frequency)).collect();
    let (re, im) = sums.iter().fold((0.0, 0.0), |s, z| (s.0 + z.0, s.1 + z.1));
    let angle = f64::atan2(im, re);
    let (sin, cos) = angle.sin_cos();
    let mut best: f64 = 0.0;
    for kappa in CONCENTRATIONS {
        let uniform = ln_bessel_i0(kappa);
        let ratios: Vec<f64> = sums
            .iter()
            .map(|&(re, im, n)| {
                let with = if fixed {
                    kappa * (re * cos + im * sin)
                } else {
                    ln_bessel_i0(kappa * re.hypot(im))
                };
                (with - n * uniform).exp()
            })
            .collect();
        for share in SHARES {
            let sum: f64 = ratios.iter().map(|r| (1.0 - share + share * r).ln()).sum();
            best = best.max(sum);
        }
    }
    Fit {
        frequency,
        phase: if fixed {
            Phase::Fixed((angle / TAU).rem_euclid(1.0))
        } else {
            Phase::Free
        },
        log_ratio: best,
    }
}

/// Re Σ e^{iθ}, Im Σ e^{iθ} and the number of marks.
pub(crate) fn phasor(marks: &[f64], frequency: f64) -> (f64, f64, f64) {
    let mut sum = (0.0, 0.0, marks.len() as f64);
    for at in marks {
        let (sin, cos) = (TAU * frequency * at).sin_cos();
        sum.0 += cos;
        sum.1 += sin;
    }
    sum
}

/// ln I₀(x) for x ≥ 0, to about 2e-7 (Abramowitz & Stegun 1964, 9.8.1 and 9.8.2).
fn ln_bessel_i0(x: f64) -> f64 {
    let horner = |t: f64, c: &[f64]| c.iter().rev().fold(0.0, |sum, c| sum * t + c);
    if x < 3.75 {
        let t = (x / 3.75).powi(2);
        let c = [
            1.0,
            3.515_622_9,
            3.089_942_4,
            1.206_749_2,
            0.265_973_2,
            0.036_076_8,
            0.004_581_3,
        ];
        horner(t, &c).ln()
    } else {
        let t = 3.75 / x;
        let c = [
            0.398_942_28,
            0.013_285_92,
            0.002_253_19,
            -0.001_575_65,
            0.009_162_81,
            -0.020_577_06,
            0.026_355_37,
            -0.016_476_33,
            0.003_923_77,
        ];
        x - 0.5 * x.ln() + horner(t, &c).ln()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Abramowitz & Stegun (1964), table 9.8 gives e⁻ˣI₀(x).
    #[test]
    fn the_bessel_function_agrees_with_the_handbook() {
        for (x, scaled) in [
            (1.0, 0.465_759_607_6),
            (2.0, 0.308_508_322_5),
            (5.0, 0.183_540_812_6),
        ] {
            assert_relative_eq!((ln_bessel_i0(x) - x).exp(), scaled, max_relative = 1e-6);
        }
        assert_eq!(ln_bessel_i0(0.0), 0.0);
    }

    #[test]
    fn bars_at_the_same_places_have_the_frames_phase() {
        let panels: Vec<Vec<f64>> = (0..20)
            .map(|i| {
                (0..5)
                    .map(|k| 13.0 + 40.0 * f64::from((i + 3 * k) % 14))
                    .collect()
            })
            .collect();
        let fixed = fit(&panels, 0.0251, 600.0, true).unwrap();
        let free = fit(&panels, 0.0251, 600.0, false).unwrap();
        assert_relative_eq!(fixed.frequency, 0.025, max_relative = 0.01);
        assert!(fixed.log_ratio > free.log_ratio + 20.0);
        let Phase::Fixed(turns) = fixed.phase else {
            panic!("free");
        };
        assert!((turns - 13.0 / 40.0).abs() < 0.1, "{turns}");
    }

    #[test]
    fn slipping_bars_have_no_common_phase() {
        let panels: Vec<Vec<f64>> = (0..20)
            .map(|i| {
                let first = f64::from(i) * 17.0 % 40.0;
                (0..5)
                    .map(|k| first + 40.0 * f64::from((i + 3 * k) % 14))
                    .collect()
            })
            .collect();
        let fixed = fit(&panels, 0.025, 600.0, true).unwrap();
        let free = fit(&panels, 0.025, 600.0, false).unwrap();
        assert!(free.log_ratio > fixed.log_ratio + 20.0);
    }
}
