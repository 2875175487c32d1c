//! Rows of the tables of fitted models.

use crate::published::{Row, published};

/// The rows of one model's coefficients, in order.
pub(crate) fn coefficients(model: &str) -> Vec<Row> {
    let rows: Vec<Row> = published("model_coefficients.csv")
        .into_iter()
        .filter(|row| row.text("model") == model)
        .collect();
    assert!(!rows.is_empty(), "no coefficients of {model}");
    rows
}

/// One number about a model.
pub(crate) fn statistic(model: &str, quantity: &str) -> Row {
    published("model_statistics.csv")
        .into_iter()
        .find(|row| row.text("model") == model && row.text("quantity") == quantity)
        .unwrap_or_else(|| panic!("no {quantity} of {model}"))
}

/// Level of each row of a factor column, for levels in the given order.
pub(crate) fn levels(rows: &[Row], column: &str, labels: &[&str]) -> Vec<usize> {
    rows.iter()
        .map(|row| {
            let text = row.text(column);
            labels
                .iter()
                .position(|label| *label == text)
                .unwrap_or_else(|| panic!("{column} {text}"))
        })
        .collect()
}
