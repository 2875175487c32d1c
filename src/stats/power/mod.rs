//! How likely a comparison is to show a difference, and how much data it takes.

#[cfg(test)]
mod published;
mod rates;

pub use rates::{rates_exposure, rates_power, rates_size};

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
