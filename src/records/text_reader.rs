//! The reader on bytes at hand, without files and without joining: what a
//! fuzzer drives.

use csv::StringRecord;

use super::Column;
use super::cell::{self, CellValue};
use super::file::{self, Outcome};
use super::header::Matcher;
use super::inputs::{Input, Named, Packing};
use super::load;
use super::number::NumberStyle;
use super::rows::Rules;
use crate::site::Site;

/// A column of every kind of value.
const KINDS: [Column; 12] = [
    Column::PanelId,
    Column::SandedAt,
    Column::LengthMm,
    Column::LayDeg,
    Column::XMm,
    Column::FeedMmS,
    Column::Passes,
    Column::ForceN,
    Column::Grit,
    Column::Inspection,
    Column::AreaMm2,
    Column::FilmUm,
];

/// Reads texts, one after the other, by the rules of one site file.
#[derive(Debug)]
pub struct TextReader<'a> {
    rules: Rules<'a>,
    matcher: Matcher<'a>,
    input: Input,
}

impl<'a> TextReader<'a> {
    /// A reader by the rules of the site file.
    #[must_use]
    pub fn new(site: &'a Site) -> Self {
        Self {
            rules: Rules::new(site),
            matcher: Matcher::new(site),
            input: Input {
                path: "panel_7.csv".into(),
                packing: Packing::Text,
                named: Named::ByUser,
            },
        }
    }

    /// How many rows the bytes of one file give and how many losses; none
    /// where the file would be skipped.
    #[must_use]
    pub fn file(&self, bytes: &[u8]) -> Option<(usize, usize)> {
        let loaded = load::unpacked(bytes.to_vec(), self.rules.site).ok()?;
        match file::read_loaded(&self.input, loaded, &self.rules, &self.matcher) {
            Outcome::Rows(rows, _) => Some((rows.rows.len(), rows.rejects.len())),
            _ => None,
        }
    }

    /// The numbers that a text gives, read as a cell of every kind of column.
    #[must_use]
    pub fn cell(&self, text: &str) -> Vec<f64> {
        let mut numbers = Vec::new();
        for decimal_comma in [false, true] {
            let style = NumberStyle {
                decimal_comma,
                thousands: self.rules.site.numbers.thousands,
            };
            for column in KINDS {
                if let Ok(CellValue::Number(value)) =
                    cell::read(column, text, None, style, &self.rules)
                {
                    numbers.push(value);
                }
            }
        }
        numbers
    }

    /// Whether a text can be the header of a column that is known.
    #[must_use]
    pub fn header(&self, text: &str) -> bool {
        self.matcher
            .read(&StringRecord::from(vec![text]))
            .is_ok_and(|header| !header.cells.is_empty())
    }
}
