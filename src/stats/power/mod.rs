//! How likely a comparison is to show a difference, and how much data it takes.

mod means;
mod proportions;
mod rates;

pub use means::{TDesign, t_test_power, t_test_size};
pub use proportions::{proportions_power, proportions_size};
pub use rates::{rates_exposure, rates_power, rates_size};

/// How many sides of the test reject.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Sides {
    /// Only a difference in the expected direction.
    One,
    /// Either direction. The small chance of rejecting in the wrong one counts
    /// as power only in [`Sides::TwoStrict`].
    Two,
    /// Either direction, both counted.
    TwoStrict,
}

impl Sides {
    /// Error rate left for one tail.
    fn tail(self, alpha: f64) -> f64 {
        match self {
            Sides::One => alpha,
            Sides::Two | Sides::TwoStrict => alpha / 2.0,
        }
    }
}

/// Smallest real size from `least` on at which a rising `power_at` reaches
/// `power`, by bracketing; `None` beyond 10¹².
fn size_for(power: f64, least: f64, power_at: impl Fn(f64) -> f64) -> Option<f64> {
    if power_at(least) >= power {
        return Some(least);
    }
    let mut high = least * 2.0;
    while power_at(high) < power {
        high *= 2.0;
        if high > 1e12 {
            return None;
        }
    }
    let excess = |ln_size: f64| power_at(ln_size.exp()) - power;
    let (low, high) = ((high / 2.0).max(least).ln(), high.ln());
    Some(super::root::between(excess, (low, excess(low)), (high, excess(high))).exp())
}
