//! Minima of functions without derivatives: smooth ones of a few variables, any
//! of one.

/// Where the search ended.
pub(crate) struct Minimum {
    pub(crate) at: Vec<f64>,
    pub(crate) value: f64,
}

const MAX_ITERATIONS: usize = 200;
/// Decrease below which the search ends; deviances are of the order of 10²,
/// so rounding is of the order of 1e-13.
const TOLERANCE: f64 = 1e-11;
const DIFFERENCE: f64 = 1e-4;

/// Quasi-Newton search (Broyden, Fletcher, Goldfarb & Shanno) with central
/// differences and step halving.
pub(crate) fn minimise(f: impl Fn(&[f64]) -> f64, start: &[f64]) -> Minimum {
    let k = start.len();
    let mut at = start.to_vec();
    let mut value = f(&at);
    let mut gradient = central_gradient(&f, &at);
    let mut inverse = identity(k);
    let mut fresh = true;
    for _ in 0..MAX_ITERATIONS {
        let mut direction: Vec<f64> = (0..k)
            .map(|i| -(0..k).map(|j| inverse[i][j] * gradient[j]).sum::<f64>())
            .collect();
        let mut slope: f64 = direction.iter().zip(&gradient).map(|(d, g)| d * g).sum();
        if slope >= 0.0 {
            inverse = identity(k);
            fresh = true;
            direction = gradient.iter().map(|g| -g).collect();
            slope = -gradient.iter().map(|g| g * g).sum::<f64>();
        }
        let expected_decrease = -0.5 * slope;
        // A guessed curvature proves nothing: take at least one step with it.
        if expected_decrease < TOLERANCE && (!fresh || slope.abs() < 1e-14) {
            return Minimum { at, value };
        }
        let longest = direction
            .iter()
            .zip(&at)
            .map(|(d, x)| d.abs() / (0.5 + x.abs()))
            .fold(0.0, f64::max);
        let mut share = if longest > 1.0 { 1.0 / longest } else { 1.0 };
        let mut moved = None;
        for _ in 0..40 {
            let trial: Vec<f64> = at
                .iter()
                .zip(&direction)
                .map(|(x, d)| x + share * d)
                .collect();
            let trial_value = f(&trial);
            if trial_value < value + 1e-4 * share * slope {
                moved = Some((trial, trial_value));
                break;
            }
            share *= 0.5;
        }
        let Some((next, next_value)) = moved else {
            if fresh {
                return Minimum { at, value };
            }
            inverse = identity(k);
            fresh = true;
            continue;
        };
        let next_gradient = central_gradient(&f, &next);
        let step: Vec<f64> = next.iter().zip(&at).map(|(a, b)| a - b).collect();
        let change: Vec<f64> = next_gradient
            .iter()
            .zip(&gradient)
            .map(|(a, b)| a - b)
            .collect();
        let curvature: f64 = step.iter().zip(&change).map(|(s, c)| s * c).sum();
        if curvature > 1e-14 {
            if fresh {
                let size: f64 = change.iter().map(|c| c * c).sum();
                for (i, row) in inverse.iter_mut().enumerate() {
                    row[i] = curvature / size;
                }
                fresh = false;
            }
            update(&mut inverse, &step, &change, curvature);
        }
        (at, value, gradient) = (next, next_value, next_gradient);
    }
    Minimum { at, value }
}

fn identity(k: usize) -> Vec<Vec<f64>> {
    (0..k)
        .map(|i| (0..k).map(|j| if i == j { 1.0 } else { 0.0 }).collect())
        .collect()
}

fn update(inverse: &mut [Vec<f64>], step: &[f64], change: &[f64], curvature: f64) {
    let k = step.len();
    let product: Vec<f64> = (0..k)
        .map(|i| (0..k).map(|j| inverse[i][j] * change[j]).sum())
        .collect();
    let along: f64 = product.iter().zip(change).map(|(p, c)| p * c).sum();
    for i in 0..k {
        for j in 0..k {
            inverse[i][j] += (1.0 + along / curvature) * step[i] * step[j] / curvature
                - (product[i] * step[j] + step[i] * product[j]) / curvature;
        }
    }
}

fn central_gradient(f: &impl Fn(&[f64]) -> f64, at: &[f64]) -> Vec<f64> {
    (0..at.len())
        .map(|i| {
            let h = DIFFERENCE * (1.0 + at[i].abs());
            let mut shifted = at.to_vec();
            shifted[i] = at[i] + h;
            let above = f(&shifted);
            shifted[i] = at[i] - h;
            (above - f(&shifted)) / (2.0 * h)
        })
        .collect()
}

/// Where a function on [`low`, `high`] is lowest: the best of `grid` + 1 even
/// steps, refined by golden section between its neighbours.
pub(crate) fn lowest(
    f: impl Fn(f64) -> f64,
    low: f64,
    high: f64,
    grid: usize,
    refine: usize,
) -> f64 {
    let at = |i: usize| low + (high - low) * i as f64 / grid as f64;
    let values: Vec<f64> = (0..=grid).map(|i| f(at(i))).collect();
    let best = (0..=grid).fold(0, |best, i| if values[i] < values[best] { i } else { best });
    let mut low = at(best.saturating_sub(1));
    let mut top = at((best + 1).min(grid));
    let golden = (5.0_f64.sqrt() - 1.0) / 2.0;
    let (mut a, mut b) = (top - golden * (top - low), low + golden * (top - low));
    let (mut fa, mut fb) = (f(a), f(b));
    for _ in 0..refine {
        if fa <= fb {
            top = b;
            (b, fb) = (a, fa);
            a = top - golden * (top - low);
            fa = f(a);
        } else {
            low = a;
            (a, fa) = (b, fb);
            b = low + golden * (top - low);
            fb = f(b);
        }
    }
    let inner = if fa <= fb { (a, fa) } else { (b, fb) };
    if values[best] <= inner.1 {
        at(best)
    } else {
        inner.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn valley(x: &[f64]) -> f64 {
        100.0 * (x[1] - x[0] * x[0]).powi(2) + (1.0 - x[0]).powi(2)
    }

    #[test]
    fn finds_the_bottom_of_rosenbrocks_valley() {
        let got = minimise(valley, &[-1.2, 1.0]);
        assert!(
            (got.at[0] - 1.0).abs() < 1e-4 && (got.at[1] - 1.0).abs() < 1e-4,
            "{:?}",
            got.at
        );
    }
}
