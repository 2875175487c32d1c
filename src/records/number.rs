//! Numbers as people and exports write them.

use super::Unit;
use crate::site::DateOrder;

/// How the numbers and dates of one file are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Style {
    /// Whether a comma is the decimal mark.
    pub decimal_comma: bool,
    /// The mark between thousands that the site names.
    pub thousands: Option<char>,
    /// The order of day and month.
    pub dates: DateOrder,
}

/// A number, with the unit where the cell itself names one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Written {
    /// As written, not converted.
    pub value: f64,
    /// `12 mm`.
    pub unit: Option<Unit>,
}

/// Why a cell is no number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum NotANumber {
    /// Anything else.
    Text,
    /// NaN, infinite, or too large.
    NotFinite,
    /// `12 %`.
    Percent,
    /// `3 bar`.
    Pressure,
    /// `A3`, `12h`: a zone of a picture or a clock.
    Zone,
    /// `1,234`: a thousand or a decimal.
    Ambiguous,
}

impl NotANumber {
    /// In words that say what to do.
    pub(super) fn why(self) -> &'static str {
        match self {
            NotANumber::Text => "not a number",
            NotANumber::NotFinite => "not a finite number",
            NotANumber::Percent => {
                "a share in percent; give it in the column's unit (places in mm, forces in N)"
            }
            NotANumber::Pressure => {
                "a pressure is no force; give N, or a calibration line under [units] in onus.toml"
            }
            NotANumber::Zone => "a zone, not a place; give the place in mm",
            NotANumber::Ambiguous => {
                "a thousand or a decimal? Say decimal and thousands under [numbers] in onus.toml"
            }
        }
    }
}

/// Reads a cell; spaces around it do not matter.
pub(super) fn parse(cell: &str, style: Style) -> Result<Written, NotANumber> {
    let cell = cell.trim();
    // The common case first: plain digits with a point.
    let bytes = cell.as_bytes();
    if !bytes.is_empty()
        && bytes.len() < 16
        && bytes
            .iter()
            .all(|b| b.is_ascii_digit() || matches!(b, b'.' | b'-'))
        && !style.decimal_comma
        && style.thousands.is_none()
        && let Ok(value) = cell.parse::<f64>()
    {
        return Ok(Written { value, unit: None });
    }
    let lower = cell.to_lowercase();
    let bare = lower.trim_start_matches(['+', '-']);
    if matches!(
        bare,
        "nan" | "inf" | "infinity" | "∞" | "1.#inf" | "1.#qnan" | "#num!" | "#div/0!"
    ) {
        return Err(NotANumber::NotFinite);
    }
    let (digits, unit) = split_unit(cell)?;
    let value = plain(digits, style)?;
    if !value.is_finite() {
        return Err(NotANumber::NotFinite);
    }
    Ok(Written { value, unit })
}

/// Splits `12.5 mm` into `12.5` and its unit.
fn split_unit(cell: &str) -> Result<(&str, Option<Unit>), NotANumber> {
    let end = cell
        .char_indices()
        .find(|(at, c)| {
            let exponent = matches!(c, 'e' | 'E')
                && cell[at + 1..]
                    .trim_start_matches(['+', '-'])
                    .starts_with(|d: char| d.is_ascii_digit());
            (c.is_alphabetic() && !exponent) || matches!(c, '%' | '°' | '"')
        })
        .map_or(cell.len(), |(at, _)| at);
    let (digits, tail) = cell.split_at(end);
    let tail = tail.trim();
    if tail.is_empty() {
        return Ok((digits, None));
    }
    if digits.trim().is_empty() {
        // A letter and digits: a field of a grid.
        let mut rest = tail.trim_start_matches(|c: char| c.is_alphabetic());
        rest = rest.trim_start_matches(['-', ' ']);
        let letters = tail.chars().take_while(|c| c.is_alphabetic()).count();
        let zone = letters <= 2 && !rest.is_empty() && rest.chars().all(|c| c.is_ascii_digit());
        return Err(if zone {
            NotANumber::Zone
        } else {
            NotANumber::Text
        });
    }
    if tail == "%" {
        return Err(NotANumber::Percent);
    }
    if Unit::is_pressure(tail) {
        return Err(NotANumber::Pressure);
    }
    if matches!(tail, "h" | "H" | "o'clock" | "Uhr") {
        return Err(NotANumber::Zone);
    }
    match Unit::parse(tail) {
        Some(unit) => Ok((digits, Some(unit))),
        None => Err(NotANumber::Text),
    }
}

/// Digits with sign, marks and exponent.
fn plain(text: &str, style: Style) -> Result<f64, NotANumber> {
    let text = text.trim().replace('\u{2212}', "-");
    let (mantissa, exponent) = match text.find(['e', 'E']) {
        Some(at) => (&text[..at], &text[at..]),
        None => (text.as_str(), ""),
    };
    let sign = mantissa.starts_with(['+', '-']);
    let (sign, unsigned) = mantissa.split_at(usize::from(sign));
    let decimal = if style.decimal_comma { ',' } else { '.' };
    let (whole, fraction) = match unsigned.rsplit_once(decimal) {
        Some((whole, fraction)) => (whole, Some(fraction)),
        None => (unsigned, None),
    };
    if let Some(fraction) = fraction
        && !fraction.bytes().all(|b| b.is_ascii_digit())
    {
        return Err(NotANumber::Text);
    }
    let whole = match ungroup(whole, fraction.is_some(), style)? {
        Whole::Digits(digits) => digits,
        // `12.5` in a file with decimal commas, or the other way round.
        Whole::OtherDecimal(text) if fraction.is_none() => text,
        Whole::OtherDecimal(_) => return Err(NotANumber::Text),
    };
    if whole.is_empty() && fraction.is_none_or(str::is_empty) {
        return Err(NotANumber::Text);
    }
    let number = format!("{sign}{whole}.{}{exponent}", fraction.unwrap_or("0"));
    let number = if whole.contains('.') {
        format!("{sign}{whole}{exponent}")
    } else {
        number
    };
    if !number
        .bytes()
        .all(|b| b.is_ascii_digit() || matches!(b, b'.' | b'+' | b'-' | b'e' | b'E'))
    {
        return Err(NotANumber::Text);
    }
    number.parse().map_err(|_| NotANumber::Text)
}

enum Whole {
    Digits(String),
    OtherDecimal(String),
}

/// Takes the marks between thousands out of the digits before the decimal mark.
fn ungroup(whole: &str, has_fraction: bool, style: Style) -> Result<Whole, NotANumber> {
    if whole.bytes().all(|b| b.is_ascii_digit()) {
        return Ok(Whole::Digits(whole.to_owned()));
    }
    let mut marks = whole.chars().filter(|c| !c.is_ascii_digit());
    let Some(mark) = marks.next() else {
        return Ok(Whole::Digits(whole.to_owned()));
    };
    let one_mark = marks.all(|c| c == mark);
    let mut groups = whole.split(mark);
    let first = groups.next().unwrap_or_default();
    let rest: Vec<&str> = groups.collect();
    let grouped =
        one_mark && (1..=3).contains(&first.len()) && rest.iter().all(|group| group.len() == 3);
    let joined = || {
        Ok(Whole::Digits(
            whole.chars().filter(|c| *c != mark).collect(),
        ))
    };
    let spaces = [' ', '\u{a0}', '\u{202f}', '\u{2009}', '\''];
    let other = if style.decimal_comma { '.' } else { ',' };
    if style.thousands == Some(mark) || (spaces.contains(&mark) && style.thousands.is_none()) {
        return if grouped {
            joined()
        } else {
            Err(NotANumber::Text)
        };
    }
    if mark == other {
        if grouped && (rest.len() > 1 || has_fraction) {
            return joined();
        }
        if grouped {
            return Err(NotANumber::Ambiguous);
        }
        if mark == '.' && rest.len() == 1 {
            return Ok(Whole::OtherDecimal(whole.to_owned()));
        }
        if mark == ',' && rest.len() == 1 {
            return Err(NotANumber::Ambiguous);
        }
    }
    Err(NotANumber::Text)
}

/// What the commas and points of some cells say about the decimal mark.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub(super) struct DecimalClues {
    /// `12,5`: the comma can be nothing but the decimal mark.
    pub comma: bool,
    /// `12.5`: the point can be nothing but the decimal mark.
    pub point: bool,
    /// `1,234`: either.
    pub either: bool,
}

impl DecimalClues {
    /// Looks at one more cell.
    pub(super) fn look(&mut self, cell: &str) {
        let cell = cell.trim().trim_start_matches(['+', '-']);
        for mark in [',', '.'] {
            let Some((whole, fraction)) = cell.rsplit_once(mark) else {
                continue;
            };
            let digits = |t: &str| t.bytes().all(|b| b.is_ascii_digit());
            if !digits(fraction) || fraction.is_empty() {
                continue;
            }
            let other = if mark == ',' { '.' } else { ',' };
            let grouped_whole = whole.contains(other) && whole.split(other).all(digits);
            let sure = (digits(whole)
                && (fraction.len() != 3 || whole.len() > 3 || whole == "0" || whole.is_empty()))
                || grouped_whole;
            match mark {
                ',' if sure => self.comma = true,
                '.' if sure => self.point = true,
                ',' if digits(whole) => self.either = true,
                _ => {}
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const POINT: Style = Style {
        decimal_comma: false,
        thousands: None,
        dates: DateOrder::Iso,
    };
    const COMMA: Style = Style {
        decimal_comma: true,
        thousands: None,
        dates: DateOrder::Iso,
    };

    fn value(cell: &str, style: Style) -> Result<f64, NotANumber> {
        parse(cell, style).map(|written| written.value)
    }

    #[test]
    fn reads_the_usual_ways_to_write_a_number() {
        for (cell, expected) in [
            ("12.5", 12.5),
            (" -0.25 ", -0.25),
            ("+7", 7.0),
            (".5", 0.5),
            ("5.", 5.0),
            ("1.2e2", 120.0),
            ("1E-3", 0.001),
            ("\u{2212}3", -3.0),
            ("1 234.5", 1234.5),
            ("1\u{a0}234", 1234.0),
            ("1'234'567", 1_234_567.0),
            ("1,234,567", 1_234_567.0),
            ("1,234.5", 1234.5),
        ] {
            assert_eq!(value(cell, POINT), Ok(expected), "{cell}");
        }
        for (cell, expected) in [
            ("12,5", 12.5),
            ("1.234,5", 1234.5),
            ("1.234.567", 1_234_567.0),
            ("0,125", 0.125),
            ("12.5", 12.5),
        ] {
            assert_eq!(value(cell, COMMA), Ok(expected), "{cell}");
        }
    }

    #[test]
    fn a_mark_that_could_be_either_is_not_guessed() {
        assert_eq!(value("1,234", POINT), Err(NotANumber::Ambiguous));
        assert_eq!(value("12,5", POINT), Err(NotANumber::Ambiguous));
        assert_eq!(value("1.234", COMMA), Err(NotANumber::Ambiguous));
        let site_says = Style {
            decimal_comma: false,
            thousands: Some(','),
            dates: DateOrder::Iso,
        };
        assert_eq!(value("1,234", site_says), Ok(1234.0));
        assert_eq!(value("12,34", site_says), Err(NotANumber::Text));
    }

    #[test]
    fn refuses_what_is_no_number_and_says_why() {
        for (cell, why) in [
            ("abc", NotANumber::Text),
            ("", NotANumber::Text),
            ("-", NotANumber::Text),
            (".", NotANumber::Text),
            ("1.2.3", NotANumber::Text),
            ("1e", NotANumber::Text),
            ("0x10", NotANumber::Text),
            ("NaN", NotANumber::NotFinite),
            ("-Inf", NotANumber::NotFinite),
            ("1e999", NotANumber::NotFinite),
            ("45 %", NotANumber::Percent),
            ("45%", NotANumber::Percent),
            ("3 bar", NotANumber::Pressure),
            ("A3", NotANumber::Zone),
            ("B-12", NotANumber::Zone),
            ("7h", NotANumber::Zone),
        ] {
            assert_eq!(value(cell, POINT), Err(why), "{cell}");
        }
    }

    #[test]
    fn a_unit_in_the_cell_is_kept() {
        let written = parse("12.5 mm", POINT).unwrap();
        assert_eq!(written.value, 12.5);
        assert_eq!(written.unit, Some(Unit::Millimetre));
        assert_eq!(
            parse("6 m/min", POINT).unwrap().unit,
            Some(Unit::MetrePerMinute)
        );
    }

    #[test]
    fn clues_tell_the_decimal_mark() {
        let clues = |cells: &[&str]| {
            let mut clues = DecimalClues::default();
            for cell in cells {
                clues.look(cell);
            }
            clues
        };
        assert!(clues(&["12,5"]).comma);
        assert!(clues(&["1.234,5"]).comma);
        assert!(clues(&["12.5"]).point);
        let either = clues(&["1,234"]);
        assert!(either.either && !either.comma && !either.point);
        assert_eq!(clues(&["12", "abc", "a,b"]), DecimalClues::default());
    }
}
