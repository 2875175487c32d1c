//! Whether the commas or points of a file's numbers are decimal marks or stand
//! between thousands, judged by all cells of the file together.

use csv::StringRecord;

use crate::records::header::{Cell, Slot};
use crate::records::layout;
use crate::records::number::DecimalClues;
use crate::records::{Column, Quantity};
use crate::site::{Decimal, Numbers};

/// How many rows are looked at.
const ROWS: usize = 500;
/// Sides of panels between which a reading of the numbers makes sense, mm
/// (common practice, no source).
const SIDE_MM: (f64, f64) = (20.0, 20_000.0);
/// So large a share of places lies on the panel if the reading is right.
const ON_PANEL: f64 = 0.95;
/// So many whole numbers below a thousand in a column, and so many marked ones,
/// are no accident: decimals of three digits are hardly ever whole.
const PROVE: usize = 5;
/// And stands out no farther than so many mm.
const SLACK_MM: f64 = 5.0;

/// How the numbers of a file are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::records) struct Marks {
    pub decimal_comma: bool,
    pub thousands: Option<char>,
    /// Whether the cells show it; where not, marks that may be either are
    /// refused one by one.
    pub is_sure: bool,
}

/// Whether a column holds numbers, or may.
pub(in crate::records) fn holds_numbers(cell: &Cell) -> bool {
    match cell.slot {
        Slot::Column(column) => !matches!(
            column.quantity(),
            Quantity::Text | Quantity::Time | Quantity::Grit
        ),
        Slot::Factor(_) => true,
    }
}

/// The marks of a file, by the site file or as its cells show. `numbers` are
/// the columns that hold numbers, and what each is.
pub(in crate::records) fn marks(
    body: &str,
    delimiter: u8,
    numbers: &[(usize, Option<Column>)],
    site: &Numbers,
) -> Marks {
    let by_site = |decimal_comma| Marks {
        decimal_comma,
        thousands: site.thousands,
        is_sure: true,
    };
    match site.decimal {
        Decimal::Comma => return by_site(true),
        Decimal::Point => return by_site(false),
        Decimal::Auto => match site.thousands {
            Some(',') => return by_site(false),
            Some('.') => return by_site(true),
            _ => {}
        },
    }
    // In a file parted by commas only quoted cells can hold one.
    let quoted_only = delimiter == b',';
    let comma = if quoted_only { '"' } else { ',' };
    let (has_comma, has_point) = (body.contains(comma), body.contains('.'));
    let mut clues = DecimalClues::default();
    let mut table = Table::default();
    if has_comma || has_point {
        let mut reader = layout::csv_reader(body, delimiter);
        for record in reader.records().skip(1).take(ROWS).flatten() {
            for (index, _) in numbers {
                clues.look(record.get(*index).unwrap_or_default());
            }
            // Points that can be nothing else, and no comma: the usual file.
            if clues.point && !has_comma {
                break;
            }
            table.add(&record, numbers);
        }
    }
    let (plain, comma_decimal) = (by_site(false), by_site(true));
    if clues.comma {
        return comma_decimal;
    }
    if clues.point {
        return plain;
    }
    let between = |mark: char| Marks {
        decimal_comma: mark == '.',
        thousands: Some(mark),
        is_sure: true,
    };
    if clues.either {
        return match table.reading(',') {
            Reading::Thousands => between(','),
            Reading::Decimals => comma_decimal,
            // Where a semicolon parts the cells, the comma is the decimal mark.
            Reading::Either if !quoted_only => comma_decimal,
            // Each such cell is told and lost.
            Reading::Either | Reading::Doubtful => plain,
        };
    }
    match table.reading('.') {
        Reading::Thousands => between('.'),
        Reading::Doubtful => Marks {
            is_sure: false,
            ..comma_decimal
        },
        Reading::Decimals | Reading::Either => plain,
    }
}

/// What three digits behind a mark are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Reading {
    Decimals,
    Thousands,
    /// Nothing speaks for thousands.
    Either,
    /// Something does, but not enough.
    Doubtful,
}

/// Some rows: sizes and places as written.
#[derive(Debug, Default)]
struct Table {
    rows: Vec<[String; 4]>,
    /// All numbers of each column.
    columns: Vec<Vec<String>>,
}

impl Table {
    fn add(&mut self, record: &StringRecord, numbers: &[(usize, Option<Column>)]) {
        let text = |index: usize| record.get(index).unwrap_or_default().trim().to_owned();
        self.columns.resize(numbers.len(), Vec::new());
        for (column, (index, _)) in self.columns.iter_mut().zip(numbers) {
            column.push(text(*index));
        }
        let of = |wanted: Column| {
            let found = numbers.iter().find(|(_, column)| *column == Some(wanted));
            found.map(|(index, _)| text(*index)).unwrap_or_default()
        };
        self.rows.push([
            of(Column::LengthMm),
            of(Column::WidthMm),
            of(Column::XMm),
            of(Column::YMm),
        ]);
    }

    /// How a mark before three digits is to be read.
    fn reading(&self, mark: char) -> Reading {
        let marked = |cell: &String| is_grouped(cell, mark);
        if !self.columns.iter().flatten().any(marked) {
            return Reading::Decimals;
        }
        // A column of whole numbers below a thousand, and marked ones for the rest.
        let counts = self.columns.iter().filter_map(|cells| {
            let plain = |cell: &&String| cell.bytes().all(|b| b.is_ascii_digit());
            let digits = cells.iter().filter(plain).map(String::len);
            let (mut short, mut long) = (0, 0);
            for n in digits {
                short += usize::from((1..4).contains(&n));
                long += usize::from(n > 3);
            }
            let marked = cells.iter().filter(|cell| is_grouped(cell, mark)).count();
            (long == 0).then_some(short.min(marked))
        });
        let speaks = counts.max().unwrap_or_default();
        let thousands = self.makes_sense(mark, 1000.0);
        match (self.makes_sense(mark, 1.0), thousands) {
            (Some(true), Some(false)) => Reading::Decimals,
            (Some(false), Some(true)) => Reading::Thousands,
            _ if speaks >= PROVE && thousands != Some(false) => Reading::Thousands,
            _ if speaks > 0 => Reading::Doubtful,
            _ => Reading::Either,
        }
    }

    /// Whether sizes are those of panels and places lie on them if a marked
    /// number counts so many times what it does with a decimal mark; none
    /// where there is no size.
    fn makes_sense(&self, mark: char, times: f64) -> Option<bool> {
        let value = |cell: &String| -> Option<f64> {
            let number: f64 = cell.replace(mark, ".").parse().ok()?;
            Some(if is_grouped(cell, mark) {
                number * times
            } else {
                number
            })
        };
        let (mut sides, mut good_sides, mut places, mut on_panel) = (0, 0, 0, 0);
        for [length, width, x, y] in &self.rows {
            for (side, place) in [(length, x), (width, y)] {
                let Some(side) = value(side) else { continue };
                sides += 1;
                good_sides += usize::from((SIDE_MM.0..=SIDE_MM.1).contains(&side));
                if let Some(place) = value(place) {
                    places += 1;
                    on_panel += usize::from(place <= side + SLACK_MM);
                }
            }
        }
        (sides > 0).then(|| {
            good_sides == sides && f64::from(on_panel as u32) >= ON_PANEL * f64::from(places)
        })
    }
}

/// `1,200`, `12.345`: one to three digits, the mark, three digits.
fn is_grouped(cell: &str, mark: char) -> bool {
    cell.split_once(mark).is_some_and(|(whole, rest)| {
        let digits = |t: &str| t.bytes().all(|b| b.is_ascii_digit());
        (1..=3).contains(&whole.len()) && rest.len() == 3 && digits(whole) && digits(rest)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(delimiter: u8, rows: &[&str]) -> (bool, Option<char>) {
        let body = format!("h\n{}\n", rows.join("\n"));
        let columns = [Column::LengthMm, Column::WidthMm, Column::XMm, Column::YMm];
        let numbers: Vec<_> = columns.into_iter().map(Some).enumerate().collect();
        let marks = marks(&body, delimiter, &numbers, &Numbers::default());
        (marks.decimal_comma, marks.thousands)
    }

    #[test]
    fn sizes_and_places_prove_what_a_mark_is() {
        for (rows, expected) in [
            // Of 2.4 mm no panel is.
            (
                ["2,400;1,200;350;87", "2,400;1,200;1,350;640"],
                (false, Some(',')),
            ),
            (
                ["2.400;1.200;350;87", "2.400;1.200;1.350;640"],
                (true, Some('.')),
            ),
            // 12 m off the corner of a panel of 600 mm is no place.
            (["600;400;12,345;87", "600;400;350;64,250"], (true, None)),
            (["600;400;12.345;87", "600;400;350;64.250"], (false, None)),
            (
                [
                    "600,000;400,000;12,345;56,789",
                    "600,000;400,000;99,100;7,125",
                ],
                (true, None),
            ),
            // Another cell proves it.
            (
                ["2,400;1,200;350,5;87", "2,400;1,200;1,350;64"],
                (true, None),
            ),
        ] {
            assert_eq!(read(b';', &rows), expected, "{rows:?}");
        }
    }

    #[test]
    fn whole_numbers_below_a_thousand_prove_it_too() {
        let rows: Vec<String> = (1..20)
            .map(|n| match 173 * n {
                x if x < 1000 => format!("2400;1200;{x};87"),
                x => format!("2400;1200;{},{:03};87", x / 1000, x % 1000),
            })
            .collect();
        let rows: Vec<&str> = rows.iter().take(13).map(String::as_str).collect();
        assert_eq!(read(b';', &rows), (false, Some(',')));
        // On a panel of 900 mm they are decimals all the same.
        let rows: Vec<String> = rows.iter().map(|row| row.replace("2400", "900")).collect();
        let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
        assert_eq!(read(b';', &rows), (true, None));
    }

    #[test]
    fn what_is_not_proven_is_refused_and_not_guessed() {
        // Either 1.2 or 1200 on a panel of 2400 mm: each such cell is lost.
        let rows = ["2400;1200;350;87", "2400;1200;1,350;640"];
        assert_eq!(read(b';', &rows), (false, None));
        let rows = ["2400;1200;350;87", "2400;1200;1.350;640"];
        assert_eq!(read(b';', &rows), (true, None));
        // Three digits behind every mark are decimals where nothing else is.
        let rows = ["2400;1200;1.350;87.125", "2400;1200;12.350;64.000"];
        assert_eq!(read(b';', &rows), (false, None));
        let rows = [
            "\"2,400\",\"1,200\",350,87",
            "\"2,400\",\"1,200\",\"1,350\",640",
        ];
        assert_eq!(read(b',', &rows), (false, Some(',')));
    }
}
