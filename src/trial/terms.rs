//! The unknowns that a design is to tell: columns of its model.

use faer::Mat;

use super::factor::Factor;
use crate::stats::matrix::add_outer;

/// What a model holds beside the mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Model {
    /// Each factor by itself.
    Single,
    /// Each factor and each pair.
    Pairs,
    /// Each factor, each pair, and the bend of each number.
    Curved,
}

/// One factor's columns in a run: −1 to 1 for numbers and two levels, else one
/// column a level but the last, against which the others are set.
fn own(factor: &Factor, coded: f64) -> Vec<f64> {
    let levels = factor.levels();
    if levels == 2 {
        return vec![coded];
    }
    let last = coded as usize == levels - 1;
    (0..levels - 1)
        .map(|level| match (last, coded as usize == level) {
            (true, _) => -1.0,
            (false, same) => f64::from(u8::from(same)),
        })
        .collect()
}

/// The row of a run, the mean first.
pub(super) fn row(factors: &[Factor], coded: &[f64], model: Model) -> Vec<f64> {
    let own: Vec<Vec<f64>> = (factors.iter().zip(coded))
        .map(|(f, c)| own(f, *c))
        .collect();
    let mut row = vec![1.0];
    row.extend(own.iter().flatten());
    if model != Model::Single {
        for (i, a) in own.iter().enumerate() {
            for b in &own[i + 1..] {
                row.extend(a.iter().flat_map(|a| b.iter().map(move |b| a * b)));
            }
        }
    }
    if model == Model::Curved {
        let numbers = factors.iter().zip(coded).filter(|(f, _)| f.is_number());
        row.extend(numbers.map(|(_, c)| c * c));
    }
    row
}

/// Where each factor's columns start, and how many there are.
pub(super) fn columns_of(factors: &[Factor]) -> Vec<(usize, usize)> {
    let mut at = 1;
    factors
        .iter()
        .map(|factor| {
            let (start, width) = (at, factor.levels() - 1);
            at += width;
            (start, width)
        })
        .collect()
}

/// X'X of some rows.
pub(super) fn information<'a>(rows: impl Iterator<Item = &'a Vec<f64>>, width: usize) -> Mat<f64> {
    let mut sum = Mat::zeros(width, width);
    for row in rows {
        add_outer(&mut sum, row, 1.0);
    }
    sum
}
