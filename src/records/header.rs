//! Which column of a file is which: by the site file, by name, or by likeness.

use std::collections::HashMap;

use super::{Column, Conversion, Quantity, Unit};
use crate::site::{Site, nearest};

/// What a column of a file means to us.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(super) enum Slot {
    /// One of ours.
    Column(Column),
    /// A further factor, by its index in the site file.
    Factor(usize),
}

/// One column of a file that is read.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Cell {
    pub slot: Slot,
    /// Its position in the row.
    pub index: usize,
    /// As the file spells it.
    pub header: String,
    /// What its numbers are recorded in, where the header or the site says.
    pub conversion: Option<Conversion>,
}

/// The columns of a file.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Header {
    /// Those that are read, `panel_id` first where there is one.
    pub cells: Vec<Cell>,
    /// How many columns the file has, with those added.
    pub width: usize,
    /// How many cells are added to each row on reading.
    pub added: usize,
    /// Headers read by their likeness, and as what.
    pub matched: Vec<(String, String)>,
    /// Headers that mean nothing to us.
    pub unknown: Vec<String>,
    /// What stands in the columns after the file's own, the same in every row.
    pub given: Vec<String>,
}

/// Why a header cannot be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum HeaderProblem {
    /// The file is skipped.
    Skip(String),
    /// A pressure in the force column: the run stops.
    Pressure(String),
}

/// How a header came to mean what it means.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum How {
    Site,
    Name,
    Likeness,
}

struct Match {
    slot: Slot,
    how: How,
    unit: Option<String>,
}

/// Knows the site's names.
#[derive(Debug)]
pub(super) struct Matcher<'a> {
    site: &'a Site,
    by_site: HashMap<String, Slot>,
    by_likeness: HashMap<String, Slot>,
    without_unit: HashMap<String, Column>,
}

impl<'a> Matcher<'a> {
    pub(super) fn new(site: &'a Site) -> Self {
        let slot = |name: &str| match Column::from_name(name) {
            Some(column) => Some(Slot::Column(column)),
            None => site
                .factors
                .iter()
                .position(|f| f.name == name)
                .map(Slot::Factor),
        };
        let mut by_site = HashMap::new();
        for (name, headers) in &site.columns {
            for header in headers {
                if let Some(slot) = slot(name) {
                    by_site.insert(header.trim().to_lowercase(), slot);
                }
            }
        }
        let mut by_likeness = HashMap::new();
        for (index, factor) in site.factors.iter().enumerate() {
            by_likeness.insert(key(&factor.name), Slot::Factor(index));
        }
        let mut without_unit = HashMap::new();
        for column in Column::ALL {
            by_likeness.insert(key(column.name()), Slot::Column(column));
            if let Some(base) = column.name_without_unit() {
                without_unit.insert(key(base), column);
            }
        }
        Self {
            site,
            by_site,
            by_likeness,
            without_unit,
        }
    }

    fn find(&self, header: &str) -> Option<Match> {
        let header = header.trim();
        if !self.by_site.is_empty()
            && let Some(slot) = self.by_site.get(&header.to_lowercase())
        {
            return Some(Match {
                slot: *slot,
                how: How::Site,
                unit: split_unit(header).map(|(_, unit)| unit),
            });
        }
        if let Some(column) = Column::from_name(header) {
            return Some(Match {
                slot: Slot::Column(column),
                how: How::Name,
                unit: None,
            });
        }
        if let Some(index) = self.site.factors.iter().position(|f| f.name == header) {
            return Some(Match {
                slot: Slot::Factor(index),
                how: How::Name,
                unit: None,
            });
        }
        if let Some(slot) = self.by_likeness.get(&key(header)) {
            return Some(Match {
                slot: *slot,
                how: How::Likeness,
                unit: None,
            });
        }
        let (base, unit) = split_unit(header)?;
        let column = *self.without_unit.get(&key(&base))?;
        let fits = Unit::parse(&unit).is_some_and(|u| u.measures(column.quantity()))
            || Unit::is_pressure(&unit);
        fits.then_some(Match {
            slot: Slot::Column(column),
            how: How::Likeness,
            unit: Some(unit),
        })
    }

    /// What a name means to us.
    pub(super) fn slot(&self, name: &str) -> Option<Slot> {
        Some(self.find(name)?.slot)
    }

    /// How many of the cells are column names of ours, and whether the
    /// panel's id is among them.
    pub(super) fn known(&self, cells: &csv::StringRecord) -> (usize, bool) {
        let mut known = 0;
        let mut has_id = false;
        for cell in cells {
            if let Some(found) = self.find(cell) {
                known += 1;
                has_id |= found.slot == Slot::Column(Column::PanelId);
            }
        }
        (known, has_id)
    }

    /// Reads a header.
    ///
    /// # Errors
    ///
    /// Two columns of one meaning, a unit that cannot be, percent.
    pub(super) fn read(&self, headers: &csv::StringRecord) -> Result<Header, HeaderProblem> {
        self.read_with_units(headers, None)
    }

    /// Reads a header with the units that stand below it: `x` over `mm`.
    ///
    /// # Errors
    ///
    /// As of [`Matcher::read`].
    pub(super) fn read_with_units(
        &self,
        headers: &csv::StringRecord,
        units: Option<&csv::StringRecord>,
    ) -> Result<Header, HeaderProblem> {
        let with_unit = |header: &str, index: usize| {
            let unit = units?.get(index).filter(|unit| !unit.is_empty())?;
            self.find(&format!("{header} ({unit})"))
        };
        let mut best: HashMap<Slot, (How, usize)> = HashMap::new();
        let mut found: Vec<Option<Match>> = Vec::with_capacity(headers.len());
        for (index, header) in headers.iter().enumerate() {
            let one = if header.trim().is_empty() {
                None
            } else {
                self.find(header).or_else(|| with_unit(header, index))
            };
            if let Some(one) = &one {
                match best.get(&one.slot) {
                    Some((_, other)) if headers.get(*other) == Some(header) => {
                        return Err(HeaderProblem::Skip(format!(
                            "two columns are named \"{header}\"; rename or remove one of them"
                        )));
                    }
                    Some((how, other)) if *how == one.how => {
                        return Err(HeaderProblem::Skip(format!(
                            "\"{}\" and \"{}\" could both be {}; name one of them under [columns] in onus.toml",
                            headers.get(*other).unwrap_or_default(),
                            header,
                            self.name(one.slot)
                        )));
                    }
                    Some((how, _)) if *how < one.how => {}
                    _ => {
                        best.insert(one.slot, (one.how, index));
                    }
                }
            }
            found.push(one);
        }
        let mut header = Header {
            cells: Vec::new(),
            width: headers.len(),
            added: 0,
            matched: Vec::new(),
            unknown: Vec::new(),
            given: Vec::new(),
        };
        for (index, one) in found.into_iter().enumerate() {
            let text = headers.get(index).unwrap_or_default();
            match one {
                Some(one) if best.get(&one.slot).is_some_and(|(_, at)| *at == index) => {
                    let conversion = self.conversion(&one, text)?;
                    if one.how == How::Likeness {
                        header.matched.push((
                            text.to_owned(),
                            named_with_unit(self.name(one.slot), one.slot, conversion),
                        ));
                    }
                    header.cells.push(Cell {
                        slot: one.slot,
                        index,
                        header: text.to_owned(),
                        conversion,
                    });
                }
                _ if text.trim().is_empty() => {}
                _ => header.unknown.push(text.to_owned()),
            }
        }
        header
            .cells
            .sort_by_key(|cell| (cell.slot != Slot::Column(Column::PanelId), cell.index));
        Ok(header)
    }

    fn conversion(&self, one: &Match, text: &str) -> Result<Option<Conversion>, HeaderProblem> {
        let Slot::Column(column) = one.slot else {
            return Ok(None);
        };
        let site = self.site.units.get(&column).copied();
        let Some(unit_text) = &one.unit else {
            return Ok(site);
        };
        combine(column, text, unit_text, site)
    }

    /// The name of a slot.
    pub(super) fn name(&self, slot: Slot) -> &str {
        match slot {
            Slot::Column(column) => column.name(),
            Slot::Factor(index) => self.site.factors.get(index).map_or("", |f| f.name.as_str()),
        }
    }

    /// The known name nearest to a header, as a user would map it.
    pub(super) fn nearest(&self, header: &str) -> Option<&'static str> {
        let header = header.trim();
        let base = split_unit(header).map_or_else(|| header.to_owned(), |(base, _)| base);
        Column::ALL
            .into_iter()
            .find(|c| c.name_without_unit().is_some_and(|n| key(n) == key(&base)))
            .map(Column::name)
            .or_else(|| nearest(header, Column::NAMES))
    }
}

/// The unit the file names beside the one the site names.
pub(super) fn combine(
    column: Column,
    header: &str,
    unit_text: &str,
    site: Option<Conversion>,
) -> Result<Option<Conversion>, HeaderProblem> {
    if let Some(line @ Conversion::Line { .. }) = site {
        return Ok(Some(line));
    }
    match Unit::parse(unit_text) {
        Some(unit) if unit.measures(column.quantity()) => match site {
            Some(Conversion::Unit(other)) if other != unit => Err(HeaderProblem::Skip(format!(
                "\"{header}\" is in {} by the file and in {} by the site file; make them agree",
                unit.name(),
                other.name()
            ))),
            _ => Ok(Some(Conversion::Unit(unit))),
        },
        _ if Unit::is_pressure(unit_text) && column.quantity() == Quantity::Force => {
            Err(HeaderProblem::Pressure(header.to_owned()))
        }
        _ if matches!(unit_text.trim(), "%" | "percent") => Err(HeaderProblem::Skip(format!(
            "\"{header}\" is in percent; {} is needed in {}",
            column.name(),
            column.unit()
        ))),
        // A bracket that is no unit: `Panel (ID)`.
        _ => Ok(site),
    }
}

/// Letters and digits alone, lower case: what two spellings have in common.
fn key(header: &str) -> String {
    header
        .chars()
        .flat_map(char::to_lowercase)
        .filter_map(|c| match c {
            'µ' | 'μ' => Some('u'),
            '²' => Some('2'),
            c if c.is_alphanumeric() => Some(c),
            _ => None,
        })
        .collect()
}

/// The column's name, and the unit that is converted where it is not the column's own.
fn named_with_unit(name: &str, slot: Slot, conversion: Option<Conversion>) -> String {
    match (slot, conversion) {
        (Slot::Column(column), Some(Conversion::Unit(unit))) if unit.name() != column.unit() => {
            format!("{name} (converted from {})", unit.name())
        }
        _ => name.to_owned(),
    }
}

/// Splits `length (in)`, `length [in]`, `length_in`, `feed m/min` into name
/// and unit.
fn split_unit(header: &str) -> Option<(String, String)> {
    let header = header.trim();
    for (open, close) in [('(', ')'), ('[', ']'), ('{', '}')] {
        if let Some(inner) = header.strip_suffix(close)
            && let Some((base, unit)) = inner.rsplit_once(open)
        {
            return Some((base.trim().to_owned(), unit.trim().to_owned()));
        }
    }
    if let Some((base, unit)) = header.rsplit_once(',') {
        return Some((base.trim().to_owned(), unit.trim().to_owned()));
    }
    let parts: Vec<&str> = header
        .split([' ', '_'])
        .filter(|part| !part.is_empty())
        .collect();
    for take in [2, 1] {
        if parts.len() > take {
            let (base, unit) = parts.split_at(parts.len() - take);
            let unit = unit.join("/");
            if Unit::parse(&unit).is_some() || Unit::is_pressure(&unit) {
                return Some((base.join("_"), unit));
            }
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(
        headers: &[&str],
        site: &Site,
    ) -> Result<Vec<(String, Option<Conversion>)>, HeaderProblem> {
        let matcher = Matcher::new(site);
        matcher
            .read(&csv::StringRecord::from(headers.to_vec()))
            .map(|header| {
                header
                    .cells
                    .iter()
                    .map(|c| (matcher.name(c.slot).to_owned(), c.conversion))
                    .collect()
            })
    }

    fn one(header: &str) -> Option<(String, Option<Conversion>)> {
        read(&[header], &Site::default()).unwrap().pop()
    }

    #[test]
    fn another_case_spaces_and_units_are_seen_through() {
        let inch = Some(Conversion::Unit(Unit::Inch));
        for (header, name, conversion) in [
            ("Panel ID", "panel_id", None),
            ("PanelId", "panel_id", None),
            ("X_MM", "x_mm", None),
            ("x (mm)", "x_mm", None),
            ("X [in]", "x_mm", inch),
            ("length_in", "length_mm", inch),
            ("lay x in", "lay_x_mm", inch),
            (
                "Feed (m/min)",
                "feed_mm_s",
                Some(Conversion::Unit(Unit::MetrePerMinute)),
            ),
            (
                "feed_m_min",
                "feed_mm_s",
                Some(Conversion::Unit(Unit::MetrePerMinute)),
            ),
            ("Force, N", "force_n", None),
            ("removed µm", "removed_um", None),
            ("Film [mil]", "film_um", Some(Conversion::Unit(Unit::Mil))),
        ] {
            assert_eq!(one(header), Some((name.to_owned(), conversion)), "{header}");
        }
    }

    #[test]
    fn a_name_without_its_unit_is_not_guessed() {
        for header in ["x", "length", "feed", "force", "Panel", "lay"] {
            assert_eq!(one(header), None, "{header}");
        }
    }

    #[test]
    fn two_columns_of_one_meaning_are_refused_unless_one_is_exact() {
        assert!(matches!(
            read(&["panel_id", "x_mm", "x_mm"], &Site::default()),
            Err(HeaderProblem::Skip(_))
        ));
        assert!(matches!(
            read(&["X mm", "x (mm)"], &Site::default()).map(|c| c.len()),
            Ok(1) | Err(HeaderProblem::Skip(_))
        ));
        let cells = read(&["X mm", "x_mm"], &Site::default()).unwrap();
        assert_eq!(cells, vec![("x_mm".to_owned(), None)]);
    }

    #[test]
    fn a_pressure_is_no_force_and_percent_no_place() {
        assert_eq!(
            read(&["force (bar)"], &Site::default()),
            Err(HeaderProblem::Pressure("force (bar)".into()))
        );
        assert!(matches!(
            read(&["x (%)"], &Site::default()),
            Err(HeaderProblem::Skip(_))
        ));
        let site = Site::parse("[units]\nforce_n = { a = 1.0, b = 40.0 }\n", "t".as_ref()).unwrap();
        assert_eq!(
            read(&["force (bar)"], &site).unwrap(),
            vec![(
                "force_n".to_owned(),
                Some(Conversion::Line {
                    offset: 1.0,
                    slope: 40.0
                })
            )]
        );
    }

    #[test]
    fn the_site_file_has_the_first_word() {
        let site = Site::parse("[columns]\npanel_id = \"Serial\"\n", "t".as_ref()).unwrap();
        let cells = read(&["panel_id", "serial"], &site).unwrap();
        assert_eq!(cells.len(), 1);
        let matcher = Matcher::new(&site);
        let header = matcher
            .read(&csv::StringRecord::from(vec!["panel_id", "serial"]))
            .unwrap();
        assert_eq!(header.cells[0].index, 1);
        assert_eq!(header.unknown, vec!["panel_id"]);
    }
}
