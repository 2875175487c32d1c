//! Is it a line, or a broad band? Which width the marks across it fit better.
//!
//! The marks around a line are those of the ordinary ground and those of the
//! line, which scatter around it normally. How well that fits with a narrow
//! scatter is compared with how well it fits with a broad one, each with its best
//! share of line marks, place and scatter. Counts inside and beside a band would
//! do the same, but with few marks they tell less: of bands that scatter by 12 mm
//! they let as many pass as of lines that scatter by 8 mm.

use crate::causes::scan::LineAxis;
use crate::causes::scan::axis::across;
use crate::causes::scan::field::marks::Field;
use crate::causes::scan::field::weighted::Crowding;
use crate::causes::scan::lines::background::{BandScratch, Bands};
use crate::causes::scan::sharpness::Zone;

/// Scatters of lines and of bands, location error included, mm.
const NARROW_MM: [f64; 4] = [2.5, 4.0, 6.0, 8.0];
const BROAD_MM: [f64; 3] = [12.0, 16.0, 22.0];

/// Half width of the stretch whose marks are compared, and of a bin, mm.
const STRETCH_MM: i32 = 60;

/// Places of the line's middle, mm from where it was found.
const MIDDLES_MM: [f64; 7] = [-6.0, -4.0, -2.0, 0.0, 2.0, 4.0, 6.0];

/// Steps of the share's iteration.
const STEPS: usize = 20;

/// From this log likelihood ratio on a line is narrow.
pub(crate) const NARROW_FROM: f64 = 1.0;

/// ln likelihood of the marks across a line at `at` with a narrow scatter over
/// that with a broad one, clumped marks by their overlap weights. None
/// without marks. Stretches in the zones taken out before don't count.
pub(crate) fn narrow_over_broad(
    field: &Field,
    along: LineAxis,
    at: f64,
    taken: &[Zone],
) -> Option<f64> {
    let unit = field.unit;
    let bands = Bands::new(field, along, &[unit], Crowding::AtAMark);
    let mut scratch = BandScratch::new(field);
    bands.move_to(at, &mut scratch);
    bands.chances(at, 0, None, &mut scratch);
    let bin_of = |u: f64| ((u - at) / unit).floor() as i32 + STRETCH_MM;
    let bins = 2 * STRETCH_MM;
    let middle = |bin: i32| f64::from(bin - STRETCH_MM) + 0.5;
    let blocked = |u: f64| taken.iter().any(|zone| zone.blocks(along, u));
    let ground: Vec<f64> = (0..bins)
        .map(|bin| {
            let u = at + middle(bin) * unit;
            if blocked(u) {
                0.0
            } else {
                bands.ground(u, &scratch)
            }
        })
        .collect();
    let mut marks = vec![0.0; bins as usize];
    for &i in bands.within(at, f64::from(STRETCH_MM) * unit) {
        let bin = bin_of(across(along, field.points[i].at));
        if let Some(weight) = usize::try_from(bin).ok().and_then(|b| marks.get_mut(b)) {
            *weight += bands.weight(0, i);
        }
    }
    let all: f64 = ground.iter().sum();
    let total: f64 = marks.iter().sum();
    if all <= 0.0 || total <= 0.0 {
        return None;
    }
    let ground: Vec<f64> = ground.iter().map(|g| g / all).collect();
    let fit = |scatters: &[f64]| {
        let mut best = f64::NEG_INFINITY;
        for scatter in scatters {
            for shift in MIDDLES_MM {
                let line: Vec<f64> = (0..bins)
                    .map(|bin| {
                        let z = (middle(bin) - shift) / scatter;
                        let on_panels = ground[bin as usize] > 0.0;
                        if on_panels { (-0.5 * z * z).exp() } else { 0.0 }
                    })
                    .collect();
                best = best.max(log_likelihood(&marks, &ground, &line));
            }
        }
        best
    };
    Some(fit(&NARROW_MM) - fit(&BROAD_MM))
}

/// Σ marks × ln(π·line + (1−π)·ground) at the best share π; `line` of any sum.
fn log_likelihood(marks: &[f64], ground: &[f64], line: &[f64]) -> f64 {
    let sum: f64 = line.iter().sum();
    let total: f64 = marks.iter().sum();
    if sum <= 0.0 {
        return f64::NEG_INFINITY;
    }
    let mut share = 0.4;
    for _ in 0..STEPS {
        let of_line: f64 = marks
            .iter()
            .zip(ground.iter().zip(line))
            .filter(|(m, (g, _))| **m > 0.0 && **g > 0.0)
            .map(|(m, (g, l))| {
                let l = share * l / sum;
                m * l / (l + (1.0 - share) * g)
            })
            .sum();
        share = (of_line / total).min(1.0 - 1e-9);
    }
    marks
        .iter()
        .zip(ground.iter().zip(line))
        .filter(|(m, (g, _))| **m > 0.0 && **g > 0.0)
        .map(|(m, (g, l))| m * (share * l / sum + (1.0 - share) * g).ln())
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::scan::worked_cases::{PLAIN, view};
    use crate::stats::distributions::normal;

    /// Forty panels with a mark of a line at x = 300 each, the marks at the
    /// quantiles of its scatter, and marks spread evenly.
    fn band(scatter: f64) -> Field {
        let mut marks = Vec::new();
        for i in 0..40_usize {
            let quantile = normal::quantile((i as f64 + 0.5) / 40.0);
            marks.push((i, 300.0 + scatter * quantile, (10 * i) as f64));
            marks.push((i, (15 * i) as f64 + 4.0, (89 * i % 400) as f64));
        }
        Field::whole(&view(&[PLAIN; 40], &marks, 0.0))
    }

    #[test]
    fn narrow_bands_fit_a_narrow_scatter_and_broad_ones_a_broad_one() {
        let ratio = |scatter| narrow_over_broad(&band(scatter), LineAxis::Y, 300.0, &[]).unwrap();
        let ratios = [3.0, 5.0, 8.0, 12.0, 16.0, 22.0].map(ratio);
        let (narrow, broad) = ratios.split_at(3);
        assert!(narrow.iter().all(|r| *r > NARROW_FROM), "{ratios:?}");
        assert!(broad.iter().all(|r| *r < 0.0), "{ratios:?}");
    }
}
