//! The reader on bytes at hand, without a disk: what a fuzzer drives.

use csv::StringRecord;

use crate::records::assemble;
use crate::records::cell::{self, CellValue};
use crate::records::file::{self, Outcome};
use crate::records::header::Matcher;
use crate::records::inputs::{Found, Input, Named, Packing};
use crate::records::load;
use crate::records::number::Style;
use crate::records::read;
use crate::records::rows::Rules;
use crate::records::{Column, Records};
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
        match self.outcome(&self.input, bytes) {
            Outcome::Rows(rows, _) => Some((rows.rows.len(), rows.rejects.len())),
            _ => None,
        }
    }

    /// What the bytes of several files say together, as if they were called 0,
    /// 1 and so on; none where no panel is left or the run would stop.
    #[must_use]
    pub fn join(&self, files: &[&[u8]]) -> Option<Records> {
        let mut found = Found::default();
        let mut outcomes = Vec::new();
        for (nth, bytes) in files.iter().enumerate() {
            let input = Input {
                path: nth.to_string().into(),
                ..self.input.clone()
            };
            outcomes.push(self.outcome(&input, bytes));
            found.inputs.push(input);
        }
        let sorted = read::sort_out(&mut found, outcomes, &self.matcher).ok()?;
        let records = assemble::assemble(sorted, &self.rules, None);
        (!records.panels.is_empty()).then_some(records)
    }

    fn outcome(&self, input: &Input, bytes: &[u8]) -> Outcome {
        let loaded = || load::Loaded::from(bytes.to_vec());
        match file::read_loaded(input, loaded(), &self.rules, &self.matcher) {
            Outcome::Packed(size) if size <= load::budget(self.rules.site) => {
                file::read_packed(input, loaded(), size, &self.rules, &self.matcher)
            }
            outcome => outcome,
        }
    }

    /// The numbers that a text gives, read as a cell of every kind of column.
    #[must_use]
    pub fn cell(&self, text: &str) -> Vec<f64> {
        let mut numbers = Vec::new();
        for decimal_comma in [false, true] {
            let style = Style {
                decimal_comma,
                thousands: self.rules.site.numbers.thousands,
                dates: self.rules.site.dates.order,
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
