//! p-values adjusted for the number of tests.

/// How p-values are adjusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Adjustment {
    /// p·m: the chance of any false rejection, always valid.
    Bonferroni,
    /// Step-down Bonferroni, always valid and never weaker.
    /// Holm (1979), Scandinavian Journal of Statistics 6, 65–70.
    Holm,
    /// Step-up, valid for independent or positively dependent tests.
    /// Hochberg (1988), Biometrika 75, 800–802.
    Hochberg,
    /// False discovery rate, valid as Hochberg.
    /// Benjamini & Hochberg (1995), JRSS B 57, 289–300.
    BenjaminiHochberg,
    /// False discovery rate under any dependence.
    /// Benjamini & Yekutieli (2001), Annals of Statistics 29, 1165–1188.
    BenjaminiYekutieli,
}

/// Adjusted p-values, in the order given; each at most 1. Reject at α those
/// that are ≤ α.
pub fn adjust(p_values: &[f64], adjustment: Adjustment) -> Vec<f64> {
    let m = p_values.len();
    let tests = m as f64;
    let mut order: Vec<usize> = (0..m).collect();
    order.sort_by(|&i, &j| p_values[i].total_cmp(&p_values[j]));
    let harmonic: f64 = (1..=m).map(|i| 1.0 / i as f64).sum();
    // Factor of the p-value with 0-based rank r from below.
    let factor = |rank: usize| match adjustment {
        Adjustment::Bonferroni => tests,
        Adjustment::Holm | Adjustment::Hochberg => (m - rank) as f64,
        Adjustment::BenjaminiHochberg => tests / (rank + 1) as f64,
        Adjustment::BenjaminiYekutieli => harmonic * tests / (rank + 1) as f64,
    };
    let mut adjusted = vec![1.0; m];
    match adjustment {
        Adjustment::Bonferroni => {
            for (out, p) in adjusted.iter_mut().zip(p_values) {
                *out = (p * tests).min(1.0);
            }
        }
        Adjustment::Holm => {
            let mut largest: f64 = 0.0;
            for (rank, &index) in order.iter().enumerate() {
                largest = largest.max(p_values[index] * factor(rank));
                adjusted[index] = largest.min(1.0);
            }
        }
        Adjustment::Hochberg | Adjustment::BenjaminiHochberg | Adjustment::BenjaminiYekutieli => {
            let mut smallest: f64 = 1.0;
            for (rank, &index) in order.iter().enumerate().rev() {
                smallest = smallest.min(p_values[index] * factor(rank));
                adjusted[index] = smallest;
            }
        }
    }
    adjusted
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const ALL: [Adjustment; 5] = [
        Adjustment::Bonferroni,
        Adjustment::Holm,
        Adjustment::Hochberg,
        Adjustment::BenjaminiHochberg,
        Adjustment::BenjaminiYekutieli,
    ];

    proptest! {
        #[test]
        fn adjusting_keeps_the_order_and_never_lowers_p(p in prop::collection::vec(0.0..1.0_f64, 1..30)) {
            for adjustment in ALL {
                let adjusted = adjust(&p, adjustment);
                for i in 0..p.len() {
                    prop_assert!(adjusted[i] >= p[i] && adjusted[i] <= 1.0);
                    for j in 0..p.len() {
                        prop_assert!(p[i] > p[j] || adjusted[i] <= adjusted[j]);
                    }
                }
            }
        }
    }

    #[test]
    fn nothing_to_adjust_is_fine() {
        for adjustment in ALL {
            assert!(adjust(&[], adjustment).is_empty());
            assert_eq!(adjust(&[0.02], adjustment), vec![0.02]);
        }
    }
}
