//! The confidence region of the machine's two slopes.

use crate::causes::responses::surface::fixed_part::{FixedPart, LEVEL};
use crate::causes::responses::surface::result::Region;
use crate::stats::distributions::f_ratio;
use crate::stats::small_symmetric::eigen;

/// The ellipse after Hotelling (1931, Ann. Math. Stat. 2, 360–378), with the
/// degrees of freedom of the less certain slope; none with one or fewer.
pub(crate) fn region(fixed: &FixedPart) -> Option<Region> {
    let (covariance, dof) = fixed.spread?;
    if dof <= 1.0 {
        return None;
    }
    let size = 2.0 * dof / (dof - 1.0) * f_ratio::upper_quantile(1.0 - LEVEL, 2.0, dof - 1.0);
    let (values, vectors) = eigen(&covariance);
    let (large, small) = if values[0] >= values[1] {
        (0, 1)
    } else {
        (1, 0)
    };
    let half = |k: usize| (size * values[k].max(0.0)).sqrt();
    Some(Region {
        centre: (fixed.points[0]?, fixed.points[1]?),
        half_axes: (half(large), half(small)),
        angle: vectors[1][large].atan2(vectors[0][large]),
    })
}
