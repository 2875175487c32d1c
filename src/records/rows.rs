//! The rows of one file: values checked and converted, facts about each panel
//! gathered, losses written down.

use std::collections::{HashMap, HashSet};
use std::num::NonZeroU32;
use std::path::PathBuf;
use std::sync::Arc;

use csv::StringRecord;
use jiff::tz::TimeZone;

use super::cell::{self, CellValue, Problem, Wrapping};
use super::header::{Cell, Header, Slot};
use super::moment::Certainty;
use super::notes::Note;
use super::number::Style;
use super::observation::{Observation, Seen};
use super::parts::{
    Cells, Contradiction, Fact, FactAt, Facts, FileRows, InspectionPart, PanelPart, PlannedRun,
};
use super::{About, Column, Lay, Lost, Moment, Quantity, Reject};
use crate::site::{KeyPart, Site, bare_word, says_none, spelling_key};

/// What all files share.
#[derive(Debug)]
pub(super) struct Rules<'a> {
    pub site: &'a Site,
    pub zone: Option<TimeZone>,
    /// Words for "no defect", bare.
    none_words: HashSet<String>,
    /// Whether phrases that say so mean it too.
    phrases_mean_none: bool,
    pub missing: Vec<String>,
    /// Whether the words among these are names in ids and machines.
    words_are_names: bool,
    /// By column, another spelling → the name.
    names: HashMap<Column, HashMap<String, String>>,
    /// Between which values the numbers of each column are possible, in the
    /// order of `Column::ALL`.
    possible: Vec<Option<(f64, f64)>>,
    /// Other name, lower case → name.
    pub synonyms: HashMap<String, Arc<str>>,
}

impl<'a> Rules<'a> {
    pub(super) fn new(site: &'a Site) -> Self {
        let lower = |words: &[String]| words.iter().map(|w| w.trim().to_lowercase()).collect();
        let mut synonyms = HashMap::new();
        for (name, others) in &site.defects.synonyms {
            for other in others {
                synonyms.insert(spelling_key(other), Arc::from(name.trim()));
            }
            synonyms.insert(spelling_key(name), Arc::from(name.trim()));
        }
        Self {
            site,
            zone: site.site.time_zone.as_deref().and_then(super::time_zone),
            none_words: site.defects.none.iter().map(|w| bare_word(w)).collect(),
            phrases_mean_none: site.defects.has_usual_none(),
            missing: lower(&site.numbers.missing),
            words_are_names: site.numbers.missing == crate::site::Numbers::default().missing,
            names: site
                .names
                .iter()
                .map(|(column, names)| {
                    let others = names.iter().flat_map(|(name, others)| {
                        let name = name.trim();
                        others
                            .iter()
                            .map(|o| (o.trim().to_owned(), name.to_owned()))
                    });
                    (*column, others.collect())
                })
                .collect(),
            possible: Column::ALL
                .into_iter()
                .map(|column| site.possible(column))
                .collect(),
            synonyms,
        }
    }

    /// Whether a cell of a column holds no value: a word such as "NA" may well
    /// be the name of a panel or a machine.
    pub(super) fn is_missing_in(&self, column: Column, cell: &str) -> bool {
        let is_name = self.words_are_names
            && matches!(column, Column::PanelId | Column::Machine)
            && cell.trim().chars().all(char::is_alphabetic);
        // Among numbers NaN is a bad value, as infinity is.
        let is_nan = column.quantity() == Quantity::Text && cell.trim().eq_ignore_ascii_case("nan");
        cell.trim().is_empty() || (!is_name && (is_nan || self.is_missing(cell)))
    }

    /// Whether a cell of the column defect says that there is none.
    fn means_none(&self, text: &str) -> bool {
        let bare = bare_word(text);
        self.none_words.contains(&bare) || (self.phrases_mean_none && says_none(&bare))
    }

    /// The name that a spelling stands for by the site file.
    fn name_of<'t>(&'t self, column: Column, text: &'t str) -> &'t str {
        let joined = self.names.get(&column).and_then(|names| names.get(text));
        joined.map_or(text, String::as_str)
    }

    /// Between which values a column's numbers are possible.
    pub(super) fn possible(&self, column: Column) -> Option<(f64, f64)> {
        self.possible.get(column as usize).copied().flatten()
    }

    /// Whether a cell holds no value.
    pub(super) fn is_missing(&self, cell: &str) -> bool {
        let cell = cell.trim();
        cell.is_empty()
            || (cell.len() <= 16
                && self
                    .missing
                    .iter()
                    .any(|word| word.eq_ignore_ascii_case(cell)))
    }
}

/// Takes in the rows of one file, one by one.
pub(super) struct RowReader<'a> {
    rules: &'a Rules<'a>,
    header: Header,
    style: Style,
    id_from_file: Option<String>,
    ids: HashMap<Arc<str>, u32>,
    last: Option<(Arc<str>, u32)>,
    texts: HashMap<String, Arc<str>>,
    /// The place of each name among the file's names, from 1.
    places: HashMap<Arc<str>, u32>,
    /// Fact index of each cell of the header, in the file's own numbering.
    fact_of_cell: Vec<Option<usize>>,
    by_inspector: bool,
    out: FileRows,
}

/// What one row holds, before it is known to stay.
#[derive(Debug, Default)]
struct Row {
    facts: Vec<(usize, Fact)>,
    id: Option<String>,
    inspection: Option<u32>,
    inspector: Option<Arc<str>>,
    inspected_at: Option<Moment>,
    inspect_lay: Option<Lay>,
    x: Option<f64>,
    y: Option<f64>,
    defect: Option<Arc<str>>,
    area_mm2: Option<f64>,
    severity: Option<f64>,
    removed_um: Option<f64>,
    film_um: Option<f64>,
    lost_observation: bool,
    lost_defect: bool,
    lost_values: Vec<Reject>,
    notes: Vec<Note>,
}

impl<'a> RowReader<'a> {
    pub(super) fn new(
        rules: &'a Rules<'a>,
        path: PathBuf,
        header: Header,
        style: Style,
        id_from_file: Option<String>,
    ) -> Self {
        let mut out = FileRows {
            path,
            ..FileRows::default()
        };
        let has = |column| {
            header
                .cells
                .iter()
                .any(|cell| cell.slot == Slot::Column(column))
        };
        out.is_sheet = has(Column::PlanRun) && !has(Column::Defect);
        out.only_measures =
            !has(Column::Defect) && (out.is_sheet || has(Column::RemovedUm) || has(Column::FilmUm));
        let mut fact_of_cell = Vec::with_capacity(header.cells.len());
        for cell in &header.cells {
            fact_of_cell.push(Facts::index(cell.slot).map(|fact| {
                out.facts.push((fact, cell.header.clone()));
                out.facts.len() - 1
            }));
            match cell.slot {
                Slot::Column(Column::XMm) => out.place_headers[0] = Some(cell.header.clone()),
                Slot::Column(Column::YMm) => out.place_headers[1] = Some(cell.header.clone()),
                _ => {}
            }
            out.columns
                .push((cell.slot, cell.header.clone(), cell.conversion));
        }
        out.said = Cells::of_width(out.facts.len());
        Self {
            by_inspector: !rules.site.frames.inspectors.is_empty(),
            rules,
            header,
            style,
            id_from_file,
            ids: HashMap::new(),
            last: None,
            texts: HashMap::new(),
            places: HashMap::new(),
            fact_of_cell,
            out,
        }
    }

    /// How many columns the file has.
    pub(super) fn width(&self) -> usize {
        self.header.width - self.header.added
    }

    /// Notes something about the file.
    pub(super) fn note(&mut self, note: Note) {
        *self.out.notes.entry(note).or_default() += 1;
    }

    /// Rejects a whole row.
    pub(super) fn reject(
        &mut self,
        line: u64,
        column: Option<&str>,
        value: Option<&str>,
        why: String,
    ) {
        self.out.rejects.push(Reject {
            file: self.out.path.clone(),
            line: Some(line),
            column: column.map(str::to_owned),
            value: value.map(str::to_owned),
            lost: Lost::Row,
            why,
        });
    }

    /// Takes in one row.
    pub(super) fn row(&mut self, record: &StringRecord, line: u64) {
        let width = self.header.width;
        if record.len() != width {
            let extra = record.iter().skip(width).any(|c| !c.trim().is_empty());
            if record.len() < width || extra {
                self.reject(
                    line,
                    None,
                    None,
                    format!(
                        "{} where the header has {}; a missing or unquoted mark between cells?",
                        match record.len() {
                            1 => "1 cell".to_owned(),
                            n => format!("{n} cells"),
                        },
                        self.width()
                    ),
                );
                return;
            }
        }
        let mut row = Row::default();
        let mut fatal: Option<(String, String, String)> = None;
        for at in 0..self.header.cells.len() {
            let index = self.header.cells[at].index;
            let given = index
                .checked_sub(width)
                .map(|at| self.header.given[at].clone());
            let text = given
                .as_deref()
                .or_else(|| record.get(index))
                .unwrap_or_default();
            let (text, wrapping) = cell::bare(text);
            if wrapping == Wrapping::Formula {
                row.notes.push(Note::TextFormula);
            }
            let Err(problem) = self.cell(&mut row, at, text) else {
                continue;
            };
            let cell = &self.header.cells[at];
            let (column, value) = (cell.header.clone(), text.to_owned());
            match cell.slot {
                Slot::Column(c) if c.places_or_counts() => {
                    fatal.get_or_insert((column, value, problem.why()));
                    continue;
                }
                Slot::Column(Column::RemovedUm | Column::FilmUm) => row.lost_observation = true,
                Slot::Column(Column::Defect) => row.lost_defect = true,
                _ => {}
            }
            row.lost_values.push(Reject {
                file: self.out.path.clone(),
                line: Some(line),
                column: Some(column),
                value: Some(value),
                lost: Lost::Value,
                why: problem.why(),
            });
        }
        if row.id.is_none()
            && let Some(run) = self.planned(&row)
        {
            let why = format!(
                "run {} of plan {} has no panel: not sanded, or its panel_id not filled in",
                run.run, run.plan
            );
            self.out.unrun.push(run);
            self.reject(line, None, None, why);
            return;
        }
        if let Some((column, value, why)) = fatal {
            self.reject(line, Some(&column), Some(&value), why);
            if let Ok(id) = self.identity(&row) {
                if row.defect.is_some() {
                    self.out.lost_defects.push(id.clone());
                }
                self.out.lost_ids.insert(id);
            }
            return;
        }
        if row.id.as_deref().is_some_and(is_total) {
            let (column, value) = (self.id_header(), row.id.unwrap_or_default());
            let why = "a total or a mean of the rows above, no panel";
            self.reject(line, column.as_deref(), Some(&value), why.into());
            return;
        }
        self.place(&mut row, line);
        match self.identity(&row) {
            Ok(id) => self.keep(row, &id, line),
            Err(why) => {
                let column = self.id_header();
                let value = row.id.as_deref().unwrap_or_default();
                self.reject(line, column.as_deref(), Some(value), why);
            }
        }
    }

    /// How the file spells `panel_id`.
    fn id_header(&self) -> Option<String> {
        let mut cells = self.header.cells.iter();
        let id = cells.find(|c| c.slot == Slot::Column(Column::PanelId))?;
        Some(id.header.clone())
    }

    /// The run of a plan that the row is about.
    fn planned(&self, row: &Row) -> Option<PlannedRun> {
        let fact = |column: Column| {
            let wanted = Facts::index(Slot::Column(column))?;
            let mut facts = row.facts.iter();
            let found = facts.find(|(fact, _)| self.out.facts[*fact].0 == wanted)?;
            Some(&found.1)
        };
        let number = |column| match fact(column) {
            Some(Fact::Number(n)) => Some(*n as u32),
            _ => None,
        };
        let text = |column| match fact(column) {
            Some(Fact::Text(text)) => Some(text.clone()),
            _ => None,
        };
        Some(PlannedRun {
            plan: text(Column::Plan)?,
            block: number(Column::PlanBlock),
            run: number(Column::PlanRun)?,
            change: text(Column::PlanChange),
        })
    }

    /// Half a place is none, and told.
    fn place(&mut self, row: &mut Row, line: u64) {
        let (missing, header) = match (row.x, row.y) {
            (Some(_), None) => (1, "y_mm"),
            (None, Some(_)) => (0, "x_mm"),
            _ => return,
        };
        let column = self.out.place_headers[missing].clone();
        row.lost_values.push(Reject {
            file: self.out.path.clone(),
            line: Some(line),
            column: Some(column.unwrap_or_else(|| header.to_owned())),
            value: Some(String::new()),
            lost: Lost::Value,
            why: "half a place is none; both x_mm and y_mm are needed".into(),
        });
        row.x = None;
        row.y = None;
    }

    /// The panel's id by the site's key.
    fn identity(&self, row: &Row) -> Result<String, String> {
        let Some(id) = row.id.clone().or_else(|| self.id_from_file.clone()) else {
            return Err("no panel_id, so the row is about no panel".into());
        };
        let key = &self.rules.site.read.panel_key;
        if key.as_slice() == [KeyPart::PanelId] {
            return Ok(id);
        }
        let fact = |column: Column| {
            let wanted = Facts::index(Slot::Column(column))?;
            row.facts
                .iter()
                .find(|(fact, _)| self.out.facts[*fact].0 == wanted)
                .map(|(_, fact)| fact)
        };
        let mut parts = Vec::with_capacity(key.len());
        for part in key {
            let (column, text) = match part {
                KeyPart::PanelId => (Column::PanelId, Some(id.clone())),
                KeyPart::Date => (
                    Column::SandedAt,
                    match fact(Column::SandedAt) {
                        Some(Fact::Time(at)) => Some(at.local.date().to_string()),
                        _ => None,
                    },
                ),
                KeyPart::Shift => (
                    Column::SandedAt,
                    match fact(Column::SandedAt) {
                        Some(Fact::Time(at)) => Some(
                            at.shift(
                                self.rules.site.analysis.day_start,
                                self.rules.site.analysis.shift_hours,
                            )
                            .to_string(),
                        ),
                        _ => None,
                    },
                ),
                KeyPart::Machine => (Column::Machine, fact(Column::Machine).map(Fact::written)),
                KeyPart::Lot => (Column::Lot, fact(Column::Lot).map(Fact::written)),
            };
            match text {
                Some(text) => parts.push(text),
                None => {
                    return Err(format!(
                        "no {}, which [read] panel_key makes part of the panel's id",
                        column.name()
                    ));
                }
            }
        }
        Ok(parts.join(" "))
    }

    /// Reads one cell into the row.
    fn cell(&mut self, row: &mut Row, at: usize, text: &str) -> Result<(), Problem> {
        if text.chars().nth(cell::LONGEST).is_some() {
            return Err(Problem::TooLong);
        }
        if cell::is_sheet_error(text) && !self.rules.is_missing(text) {
            return Err(Problem::SheetError);
        }
        let cell: &Cell = &self.header.cells[at];
        let column = match cell.slot {
            Slot::Column(column) => column,
            Slot::Factor(index) => {
                if self.rules.is_missing(text) {
                    return Ok(());
                }
                let fact = {
                    let factor = &self.rules.site.factors[index];
                    let range = self.rules.site.possible_factor(&factor.name);
                    cell::factor(text, factor.kind, self.style, range)?
                };
                let fact = match fact {
                    CellValue::Number(value) => Fact::Number(value),
                    CellValue::Text(text) => Fact::Text(self.text(&text)),
                    _ => return Ok(()),
                };
                if let Some(index) = self.fact_of_cell[at] {
                    row.facts.push((index, fact));
                }
                return Ok(());
            }
        };
        if column == Column::Defect {
            return self.defect(row, text);
        }
        if self.rules.is_missing_in(column, text) {
            return if column == Column::PanelId {
                row.id = Some(text.trim().to_owned()).filter(|t| !t.is_empty());
                Err(Problem::NoId)
            } else {
                Ok(())
            };
        }
        let value = cell::read(column, text, cell.conversion, self.style, self.rules)?;
        let about = column.about();
        match (column, value) {
            (Column::PanelId, CellValue::Text(id)) => row.id = Some(id),
            (Column::Inspection, CellValue::Number(n)) => row.inspection = Some(n as u32),
            (Column::Inspector, CellValue::Text(who)) => {
                let who = self.rules.name_of(column, &who).to_owned();
                row.inspector = Some(self.text(&who));
            }
            (Column::InspectedAt, CellValue::Time(at, certainty)) => {
                row.inspected_at = Some(at);
                note_time(row, certainty);
            }
            (Column::InspectLayDeg, CellValue::Lay(lay)) => row.inspect_lay = Some(lay),
            (Column::XMm, CellValue::Number(v)) => row.x = Some(v),
            (Column::YMm, CellValue::Number(v)) => row.y = Some(v),
            (Column::AreaMm2, CellValue::Number(v)) => row.area_mm2 = Some(v),
            (Column::Severity, CellValue::Number(v)) => row.severity = Some(v),
            (Column::RemovedUm, CellValue::Number(v)) => row.removed_um = Some(v),
            (Column::FilmUm, CellValue::Number(v)) => row.film_um = Some(v),
            (_, value) if about == About::Panel => {
                let Some(index) = self.fact_of_cell[at] else {
                    return Ok(());
                };
                let fact = match value {
                    CellValue::Number(v) => Fact::Number(v),
                    CellValue::Lay(lay) => Fact::Number(f64::from(lay.degrees())),
                    CellValue::Text(text) => {
                        let name = self.rules.name_of(column, &text).to_owned();
                        Fact::Text(self.text(&name))
                    }
                    CellValue::Grit(grit) => {
                        if grit.scale_unknown() {
                            row.notes.push(Note::Grit(grit.label.clone()));
                        }
                        Fact::Text(self.text(&grit.label))
                    }
                    CellValue::Time(at, certainty) => {
                        note_time(row, certainty);
                        Fact::Time(at)
                    }
                };
                row.facts.push((index, fact));
            }
            _ => {}
        }
        Ok(())
    }

    fn defect(&mut self, row: &mut Row, text: &str) -> Result<(), Problem> {
        let text = text.trim();
        if text.is_empty() {
            return Ok(());
        }
        if self.rules.means_none(text) {
            row.notes.push(Note::NoneWord(text.to_owned()));
            return Ok(());
        }
        let named = if self.rules.synonyms.is_empty() {
            None
        } else {
            self.rules.synonyms.get(&spelling_key(text)).cloned()
        };
        row.defect = Some(match named {
            Some(name) => name,
            None => self.text(text),
        });
        Ok(())
    }

    /// The shared copy of a text.
    fn text(&mut self, text: &str) -> Arc<str> {
        if let Some(known) = self.texts.get(text) {
            return known.clone();
        }
        let shared: Arc<str> = Arc::from(text);
        self.texts.insert(text.to_owned(), shared.clone());
        shared
    }

    /// Puts a good row where it belongs.
    fn keep(&mut self, row: Row, id: &str, line: u64) {
        let panel = self.panel(id);
        if row.lost_defect {
            self.out.lost_defects.push(id.to_owned());
        }
        self.out.rejects.extend(row.lost_values);
        for note in row.notes {
            *self.out.notes.entry(note).or_default() += 1;
        }
        let part = &mut self.out.panels[panel as usize];
        let said = self.out.said.row_mut(panel as usize);
        for (index, fact) in row.facts {
            match &mut said[index] {
                none @ None => *none = Some(FactAt { fact, line }),
                Some(first) if first.fact.agrees(&fact) => {}
                Some(first) => {
                    let global = self.out.facts[index].0;
                    if !part.contradictions.iter().any(|c| c.fact == global) {
                        part.contradictions.push(Contradiction {
                            fact: global,
                            first: first.clone(),
                            second: FactAt { fact, line },
                        });
                    }
                }
            }
        }
        let number = row.inspection.unwrap_or(1);
        let observes = row.defect.is_some() || row.removed_um.is_some() || row.film_um.is_some();
        let inspected =
            !self.out.only_measures && (observes || !(row.lost_observation || row.lost_defect));
        let at = match part.inspections.iter().position(|i| i.number == number) {
            Some(at) => at,
            None => {
                part.inspections.push(InspectionPart {
                    number,
                    ..InspectionPart::default()
                });
                part.inspections.len() - 1
            }
        };
        let inspection = &mut part.inspections[at];
        inspection.inspected |= inspected;
        if let Some(who) = &row.inspector
            && !inspection.inspectors.iter().any(|(w, _)| w == who)
        {
            inspection.inspectors.push((who.clone(), line));
        }
        if let Some(when) = row.inspected_at {
            inspection.at = Some(inspection.at.map_or(when, |at| at.min(when)));
        }
        if let Some(lay) = row.inspect_lay
            && !inspection.lays.iter().any(|(l, _)| *l == lay)
        {
            inspection.lays.push((lay, line));
        }
        self.out
            .rows
            .push((panel, u32::try_from(line).unwrap_or(u32::MAX)));
        if number > 1 {
            self.out.reinspections += 1;
        } else if observes {
            let mut seen = Observation::new(panel, line);
            seen.set(Seen::X, row.x);
            seen.set(Seen::Y, row.y);
            seen.set(Seen::AreaMm2, row.area_mm2);
            seen.set(Seen::Severity, row.severity);
            seen.set(Seen::RemovedUm, row.removed_um);
            seen.set(Seen::FilmUm, row.film_um);
            seen.defect = row.defect.and_then(|name| self.name(name));
            seen.inspector = row
                .inspector
                .filter(|_| self.by_inspector)
                .and_then(|name| self.name(name));
            self.out.observations.push(seen);
        }
    }

    /// The place of a name among the file's names, from 1.
    fn name(&mut self, name: Arc<str>) -> Option<NonZeroU32> {
        let next = self.out.names.len() as u32 + 1;
        let place = *self.places.entry(name.clone()).or_insert(next);
        if place == next {
            self.out.names.push(name);
        }
        NonZeroU32::new(place)
    }

    fn panel(&mut self, id: &str) -> u32 {
        if let Some((last, panel)) = &self.last
            && &**last == id
        {
            return *panel;
        }
        let panel = match self.ids.get(id) {
            Some(panel) => *panel,
            None => {
                let panel = self.out.panels.len() as u32;
                let id: Arc<str> = Arc::from(id);
                self.out.panels.push(PanelPart {
                    id: id.clone(),
                    contradictions: Vec::new(),
                    inspections: Vec::new(),
                });
                self.out.said.push();
                self.ids.insert(id, panel);
                panel
            }
        };
        self.last = Some((self.out.panels[panel as usize].id.clone(), panel));
        panel
    }

    /// What the file said.
    pub(super) fn finish(self) -> FileRows {
        self.out
    }
}

/// Whether an id is what stands before the numbers of a last line (common
/// practice, no source).
fn is_total(id: &str) -> bool {
    const WORDS: [&str; 20] = [
        "total",
        "totals",
        "grand total",
        "sum",
        "average",
        "mean",
        "median",
        "std",
        "stdev",
        "summe",
        "gesamt",
        "gesamtsumme",
        "mittelwert",
        "durchschnitt",
        "totale",
        "somme",
        "moyenne",
        "media",
        "promedio",
        "subtotal",
    ];
    let word = id.trim().trim_end_matches(':').to_lowercase();
    WORDS.contains(&word.as_str())
}

fn note_time(row: &mut Row, certainty: Certainty) {
    if certainty != Certainty::Instant {
        row.notes.push(Note::Time(certainty));
    }
}
