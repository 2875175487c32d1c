//! The gauge: scatter of readings about their panel's fitted surface.

use crate::causes::responses::surface::fixed_part::LEVEL;
use crate::causes::responses::surface::panel_fit::PanelFit;
use crate::causes::responses::surface::spread::Gauge;
use crate::stats::Interval;
use crate::stats::distributions::{chi_squared, f_ratio};
use crate::stats::small_symmetric::{add, apply, dot, pseudo_inverse};

/// A common crown is taken out of the residuals where chance would show one this
/// large in one of a hundred cases.
const CROWN_SHOWS: f64 = 0.01;

/// Pooled over panels; none where no panel has a reading to spare. Where only
/// slopes are fitted, a crown or twist common to these panels would pass for
/// gauge: if it shows in the residuals it is taken out of them.
pub(crate) fn pooled(fits: &[PanelFit]) -> Option<Gauge> {
    let mut residual: f64 = fits.iter().map(|f| f.residual).sum();
    let mut dof: usize = fits.iter().map(|f| f.dof).sum();
    let mut cross = [[0.0; 3]; 3];
    let mut product = [0.0; 3];
    for fit in fits {
        add(&mut cross, &fit.bend_cross);
        for (sum, p) in product.iter_mut().zip(fit.bend_product) {
            *sum += p;
        }
    }
    let (inverse, rank) = pseudo_inverse(&cross);
    let common = dot(&product, &apply(&inverse, &product));
    if rank > 0 && dof > rank && residual > 0.0 {
        let (own, rest) = (rank as f64, (dof - rank) as f64);
        let ratio = common / own / ((residual - common).max(0.0) / rest);
        if f_ratio::upper(ratio, own, rest) <= CROWN_SHOWS {
            residual -= common;
            dof -= rank;
        }
    }
    (dof > 0).then(|| Gauge {
        variance: residual.max(0.0) / dof as f64,
        dof: dof as f64,
    })
}

/// Interval of the gauge's standard deviation, for normal readings.
pub(crate) fn sd_interval(gauge: Gauge) -> Option<Interval> {
    let tail = (1.0 - LEVEL) / 2.0;
    let sum = gauge.variance * gauge.dof;
    let low = (sum / chi_squared::upper_quantile(tail, gauge.dof)).sqrt();
    let high = (sum / chi_squared::quantile(tail, gauge.dof)).sqrt();
    (low.is_finite() && high.is_finite()).then_some(Interval {
        low,
        high,
        level: LEVEL,
    })
}
