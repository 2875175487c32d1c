//! Sums and inner products in twice the working precision.
//!
//! Ogita, Rump & Oishi (2005), SIAM J. Sci. Comput. 26, 1955–1988 (Sum2, Dot2),
//! with the product split of Dekker (1971), which needs no fused operation.

/// a + b = sum + error, exactly.
fn two_sum(a: f64, b: f64) -> (f64, f64) {
    let sum = a + b;
    let part = sum - a;
    (sum, (a - (sum - part)) + (b - part))
}

/// a·b = product + error, exactly (barring overflow).
fn two_product(a: f64, b: f64) -> (f64, f64) {
    const SPLIT: f64 = 134_217_729.0; // 2²⁷ + 1
    let halves = |x: f64| {
        let c = SPLIT * x;
        let high = c - (c - x);
        (high, x - high)
    };
    let product = a * b;
    let ((a_high, a_low), (b_high, b_low)) = (halves(a), halves(b));
    let error = a_low * b_low - (((product - a_high * b_high) - a_low * b_high) - a_high * b_low);
    (product, if error.is_finite() { error } else { 0.0 })
}

/// A running sum in twice the working precision.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Extended {
    sum: f64,
    error: f64,
}

impl Extended {
    pub(crate) fn add(&mut self, value: f64) {
        let (sum, error) = two_sum(self.sum, value);
        self.sum = sum;
        self.error += error;
    }

    pub(crate) fn add_product(&mut self, a: f64, b: f64) {
        let (product, error) = two_product(a, b);
        self.add(product);
        self.error += error;
    }

    pub(crate) fn value(self) -> f64 {
        self.sum + self.error
    }
}

/// Σ values.
pub(crate) fn compensated_sum(values: impl IntoIterator<Item = f64>) -> f64 {
    let mut total = Extended::default();
    for value in values {
        total.add(value);
    }
    total.value()
}

/// Σ aᵢbᵢ.
pub(crate) fn compensated_dot(a: &[f64], b: &[f64]) -> f64 {
    let mut total = Extended::default();
    for (&x, &y) in a.iter().zip(b) {
        total.add_product(x, y);
    }
    total.value()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keeps_what_plain_addition_loses() {
        assert_eq!(compensated_sum([1e16, 1.0, -1e16]), 1.0);
        // (1 + 2⁻³⁰)² − 1 − 2⁻²⁹ = 2⁻⁶⁰.
        let x = 1.0 + 2.0_f64.powi(-30);
        assert_eq!(
            compensated_dot(&[x, -1.0, -1.0], &[x, 1.0, 2.0_f64.powi(-29)]),
            2.0_f64.powi(-60)
        );
    }
}
