//! Reads `fixtures/published/NAME.csv`: `#` lines name the source, then a
//! header, then rows. `Inf` means no finite value, an empty cell "none".

use std::{collections::HashMap, path::PathBuf};

/// Closed form and exact sums, as far as 12 printed digits can show.
pub(crate) const CLOSED_FORM: f64 = 5e-12;
/// Root searches and quantiles.
pub(crate) const ROOT_SEARCH: f64 = 1e-8;

/// One row of a published table.
#[derive(Debug)]
pub(crate) struct Row {
    cells: HashMap<String, String>,
    place: String,
}

impl Row {
    /// The number in a column.
    pub(crate) fn number(&self, column: &str) -> f64 {
        self.optional(column)
            .unwrap_or_else(|| panic!("{}: {column} is empty", self.place))
    }

    /// The number in a column, `None` if the cell is empty.
    pub(crate) fn optional(&self, column: &str) -> Option<f64> {
        match self.text(column) {
            "" | "NA" => None,
            "Inf" => Some(f64::INFINITY),
            "-Inf" => Some(f64::NEG_INFINITY),
            text => Some(
                text.parse()
                    .unwrap_or_else(|_| panic!("{}: {column} is {text:?}", self.place)),
            ),
        }
    }

    /// The whole number in a column.
    pub(crate) fn count(&self, column: &str) -> u64 {
        let number = self.number(column);
        assert!(
            number >= 0.0 && number.fract() == 0.0,
            "{}: {column} is {number}",
            self.place
        );
        number as u64
    }

    /// The text in a column.
    pub(crate) fn text(&self, column: &str) -> &str {
        self.cells
            .get(column)
            .unwrap_or_else(|| panic!("{}: no column {column}", self.place))
    }

    /// Asserts that `got` agrees with the number in a column to a relative
    /// tolerance; infinite values must be equal.
    pub(crate) fn check(&self, column: &str, got: f64, tolerance: f64) {
        let wanted = self.number(column);
        let near = got == wanted || (got - wanted).abs() <= tolerance * wanted.abs();
        assert!(
            near,
            "{}: {column} should be {wanted:e}, is {got:e}",
            self.place
        );
    }

    /// Asserts that `got` rounds to the number as printed: within half a unit
    /// of its last digit.
    pub(crate) fn check_printed(&self, column: &str, got: f64) {
        let decimals = self
            .text(column)
            .split_once('.')
            .map_or(0, |(_, digits)| digits.len());
        let half_unit = 0.5 * 10.0_f64.powi(-(decimals as i32));
        self.check_within(column, got, half_unit * (1.0 + 1e-9));
    }

    /// As [`Row::check_printed`] with a whole unit: for prints that cut digits
    /// off instead of rounding.
    pub(crate) fn check_printed_unit(&self, column: &str, got: f64) {
        let decimals = self
            .text(column)
            .split_once('.')
            .map_or(0, |(_, digits)| digits.len());
        self.check_within(column, got, 10.0_f64.powi(-(decimals as i32)));
    }

    /// As [`Row::check`] with an absolute tolerance.
    pub(crate) fn check_within(&self, column: &str, got: f64, tolerance: f64) {
        let wanted = self.number(column);
        assert!(
            (got - wanted).abs() <= tolerance,
            "{}: {column} should be {wanted}, is {got}",
            self.place
        );
    }
}

/// All rows of `fixtures/published/NAME`.
pub(crate) fn published(name: &str) -> Vec<Row> {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/published")
        .join(name);
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_path(&path)
        .unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let header: Vec<String> = reader
        .headers()
        .unwrap()
        .iter()
        .map(str::to_owned)
        .collect();
    let rows: Vec<Row> = reader
        .records()
        .map(|record| {
            let record = record.unwrap();
            let line = record.position().map_or(0, csv::Position::line);
            let cells = header
                .iter()
                .cloned()
                .zip(record.iter().map(str::to_owned))
                .collect();
            Row {
                cells,
                place: format!("{name}:{line}"),
            }
        })
        .collect();
    assert!(!rows.is_empty(), "{name} holds no row");
    rows
}

/// One column of numbers.
pub(crate) fn column(rows: &[Row], name: &str) -> Vec<f64> {
    rows.iter().map(|row| row.number(name)).collect()
}

/// A number of the e-Handbook's examples.
pub(crate) fn handbook(example: &str, quantity: &str) -> Row {
    published("nist_handbook_results.csv")
        .into_iter()
        .find(|row| row.text("example").starts_with(example) && row.text("quantity") == quantity)
        .unwrap_or_else(|| panic!("no {quantity} of {example}"))
}
