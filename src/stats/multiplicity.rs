//! p-values adjusted for the number of tests.

/// Step-down adjusted p-values, in the order given; each at most 1. Reject at α
/// those that are ≤ α: the chance of any false rejection is at most α, however
/// the tests depend on each other.
/// Source: Holm (1979), Scandinavian Journal of Statistics 6, 65–70.
pub(crate) fn holm(p_values: &[f64]) -> Vec<f64> {
    let m = p_values.len();
    let mut order: Vec<usize> = (0..m).collect();
    order.sort_by(|&i, &j| p_values[i].total_cmp(&p_values[j]));
    let mut adjusted = vec![1.0; m];
    let mut largest: f64 = 0.0;
    for (rank, index) in order.into_iter().enumerate() {
        largest = largest.max(p_values[index] * (m - rank) as f64);
        adjusted[index] = largest.min(1.0);
    }
    adjusted
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn adjusting_keeps_the_order_and_never_lowers_p(p in prop::collection::vec(0.0..1.0_f64, 1..30)) {
            let adjusted = holm(&p);
            for i in 0..p.len() {
                prop_assert!(adjusted[i] >= p[i] && adjusted[i] <= 1.0);
                for j in 0..p.len() {
                    prop_assert!(p[i] > p[j] || adjusted[i] <= adjusted[j]);
                }
            }
        }
    }

    #[test]
    fn nothing_to_adjust_is_fine() {
        assert!(holm(&[]).is_empty());
        assert_eq!(holm(&[0.02]), vec![0.02]);
    }
}
