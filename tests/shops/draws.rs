//! Random draws that every simulator makes.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Gamma, Poisson, StandardNormal};

/// A standard normal value.
pub fn normal(rng: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(rng)
}

/// A count of this mean; 0 where that is none.
pub fn poisson(mean: f64, rng: &mut ChaCha8Rng) -> usize {
    if mean > 1e-9 {
        Poisson::new(mean).unwrap().sample(rng) as usize
    } else {
        0
    }
}

/// A factor of mean 1 by which rates scatter: gamma of this shape.
pub fn mixing(shape: f64, rng: &mut ChaCha8Rng) -> f64 {
    Gamma::new(shape, 1.0 / shape).unwrap().sample(rng)
}

/// One of the choices, each with its chance.
pub fn pick<T: Copy>(choices: &[(T, f64)], rng: &mut ChaCha8Rng) -> T {
    let mut left = rng.random::<f64>() * choices.iter().map(|c| c.1).sum::<f64>();
    for (value, chance) in choices {
        left -= chance;
        if left < 0.0 {
            return *value;
        }
    }
    choices[choices.len() - 1].0
}
