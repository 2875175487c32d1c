//! Made counts for tests: panels in lots, and Poisson draws.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use crate::records::{Panel, Records};

/// 120 panels in 12 lots of ten; lots of supplier S2 are the last four.
pub(super) fn records_of_twelve_lots(lots_return: bool) -> Records {
    let panels = (0..120)
        .map(|i| {
            let lot = if lots_return { i % 12 } else { i / 10 };
            Panel {
                id: format!("{i}"),
                length_mm: 1000.0,
                width_mm: 1000.0,
                lot: Some(format!("L{lot}").into()),
                supplier: Some(if lot >= 8 { "S2" } else { "S1" }.into()),
                inspected: true,
                ..Panel::default()
            }
        })
        .collect();
    Records {
        panels,
        ..Records::default()
    }
}

/// A Poisson draw by the product of uniform draws, for means of some tens at most.
pub(super) fn poisson(mean: f64, rng: &mut ChaCha8Rng) -> f64 {
    let (mut k, mut product) = (0.0, rng.random::<f64>());
    while product > (-mean).exp() {
        product *= rng.random::<f64>();
        k += 1.0;
    }
    k
}
