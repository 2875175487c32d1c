//! What panels share with others, taken out of a response.
//!
//! Covariates and random effects of crossed groupings (lots, days) are solved
//! for in turn, each on what the others leave (Gauss-Seidel on the mixed model's
//! equations, Henderson 1975, Biometrics 31, 423), with variances re-estimated
//! between sweeps as Schall (1991, Biometrika 78, 719) does, by the diagonal of
//! the equations. The result is V⁻¹ times the response up to a factor, for V
//! the response's estimated covariance: linear in panels, whatever crosses.

/// Sweeps over all groupings.
const SWEEPS: usize = 25;

/// Sweeps before the variances are first re-estimated.
const SETTLING: usize = 3;

/// A grouping's variance starts at this share of the response's.
const STARTING_SHARE: f64 = 0.25;

/// An orthonormal basis of a constant and the columns, dependent ones left out.
pub(super) fn basis(columns: &[Vec<f64>], rows: usize) -> Vec<Vec<f64>> {
    let mut found: Vec<Vec<f64>> = Vec::new();
    let constant = vec![1.0; rows];
    for column in std::iter::once(&constant).chain(columns) {
        let length = norm(column);
        let rest = without(&without(column, &found), &found);
        let left = norm(&rest);
        if left > 1e-9 * length && left > 0.0 {
            found.push(rest.iter().map(|v| v / left).collect());
        }
    }
    found
}

/// Values with their part along the basis taken out.
pub(super) fn without(values: &[f64], basis: &[Vec<f64>]) -> Vec<f64> {
    let mut rest = values.to_vec();
    for direction in basis {
        let along: f64 = rest.iter().zip(direction).map(|(a, b)| a * b).sum();
        for (value, d) in rest.iter_mut().zip(direction) {
            *value -= along * d;
        }
    }
    rest
}

fn norm(values: &[f64]) -> f64 {
    values.iter().map(|v| v * v).sum::<f64>().sqrt()
}

struct Shared<'a> {
    of: &'a [usize],
    counts: Vec<f64>,
    effects: Vec<f64>,
    variance: f64,
}

/// What is left of `y` when covariates (`basis`) and the effects of the
/// groupings (a group's number per row, from 0) are taken out.
pub(super) fn own_noise(y: &[f64], basis: &[Vec<f64>], groupings: &[&[usize]]) -> Vec<f64> {
    let n = y.len();
    let mut own = without(y, basis);
    let mut noise = own.iter().map(|v| v * v).sum::<f64>() / n.max(1) as f64;
    if groupings.is_empty() || noise <= 0.0 {
        return own;
    }
    let mut groups: Vec<Shared<'_>> = groupings
        .iter()
        .map(|of| {
            let mut counts = vec![0.0; of.iter().max().map_or(0, |m| m + 1)];
            for g in *of {
                counts[*g] += 1.0;
            }
            Shared {
                of,
                effects: vec![0.0; counts.len()],
                counts,
                variance: STARTING_SHARE * noise,
            }
        })
        .collect();
    for sweep in 0..SWEEPS {
        for group in &mut groups {
            // The rest with the group's own effects put back.
            let mut sums = vec![0.0; group.effects.len()];
            for (value, g) in own.iter().zip(group.of) {
                sums[*g] += value + group.effects[*g];
            }
            let ridge = noise / group.variance.max(1e-9 * noise);
            let next: Vec<f64> = sums
                .iter()
                .zip(&group.counts)
                .map(|(sum, count)| sum / (count + ridge))
                .collect();
            for (value, g) in own.iter_mut().zip(group.of) {
                *value += group.effects[*g] - next[*g];
            }
            group.effects = next;
        }
        own = without(&own, basis);
        if sweep + 1 < SETTLING {
            continue;
        }
        let mut spent = basis.len() as f64;
        for group in &mut groups {
            let ridge = noise / group.variance.max(1e-9 * noise);
            let (mut unknown, mut square) = (0.0, 0.0);
            for (count, effect) in group.counts.iter().zip(&group.effects) {
                unknown += noise / (count + ridge);
                spent += count / (count + ridge);
                square += effect * effect;
            }
            group.variance = (square + unknown) / group.effects.len().max(1) as f64;
        }
        let square: f64 = own.iter().map(|v| v * v).sum();
        noise = square / (n as f64 - spent).max(1.0);
        if noise <= 0.0 {
            break;
        }
    }
    own
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_basis_leaves_dependent_columns_out() {
        let columns = [vec![1.0, 2.0, 3.0, 4.0], vec![3.0, 5.0, 7.0, 9.0]];
        let found = basis(&columns, 4);
        assert_eq!(found.len(), 2);
        let rest = without(&[2.0, 1.0, 0.0, -1.0], &found);
        assert!(norm(&rest) < 1e-12, "{rest:?}");
    }

    /// One balanced grouping: what is left of a group's mean is its shrinkage
    /// noise / (noise + n·variance), and deviations within groups stay.
    #[test]
    fn group_means_shrink_and_deviations_stay() {
        let of: Vec<usize> = (0..40).map(|i| i / 10).collect();
        let within = [-0.5, 0.3, 0.9, -0.7, 0.1, 0.4, -0.2, -0.6, 0.8, -0.5];
        let means = [3.0, -1.0, 2.0, -4.0];
        let y: Vec<f64> = (0..40).map(|i| means[i / 10] + within[i % 10]).collect();
        let left = own_noise(&y, &basis(&[], 40), &[&of]);
        for g in 0..4 {
            let mean = left[10 * g..10 * g + 10].iter().sum::<f64>() / 10.0;
            // Group means vary by 9.5, noise by 0.33: less than 1 % stays.
            assert!(mean.abs() < 0.02 * means[g].abs(), "{g}: {mean}");
            for i in 0..10 {
                assert!((left[10 * g + i] - mean - within[i]).abs() < 1e-9);
            }
        }
    }
}
