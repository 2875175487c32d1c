//! `onus columns`.

use std::io::Write;
use std::path::{Path, PathBuf};

use serde_json::{Value, json};

mod guess;
mod vocabulary;

use super::Error;
use super::terminal::plain;
use crate::records::sample::{Sample, SampleHeader, look};
use crate::records::{Column, Conversion, Quantity};
use crate::site::{Site, filled_in, quoted};

/// List the columns that onus reads, or write a site file for a sample.
#[derive(Debug, clap::Args)]
pub(super) struct Columns {
    /// Print them as a table schema (Table Schema, JSON).
    #[arg(long, conflicts_with = "site")]
    json: bool,
    /// Write a commented onus.toml, filled in from these inspection files, to
    /// standard output: `onus columns --site a.csv b.csv > onus.toml`.
    #[arg(long, value_name = "FILE", num_args = 1..)]
    site: Vec<PathBuf>,
}

pub(super) fn run(args: &Columns, out: &mut impl Write) -> Result<(), Error> {
    if !args.site.is_empty() {
        out.write_all(site_file(&args.site)?.as_bytes())?;
        return Ok(());
    }
    if args.json {
        let text = serde_json::to_string_pretty(&schema()).map_err(std::io::Error::other)?;
        writeln!(out, "{text}")?;
        return Ok(());
    }
    let name = Column::NAMES.iter().map(|n| n.len()).max().unwrap_or(0);
    for column in Column::ALL {
        writeln!(
            out,
            "{:name$}  {} ({})",
            column.name(),
            column.meaning(),
            match column.possible() {
                Some((low, high)) => format!("{}, from {low} to {high}", column.unit()),
                None => column.unit().to_owned(),
            }
        )?;
    }
    writeln!(
        out,
        "\nNumbers outside their range go with a line in rejects.csv; [possible] in onus.toml widens it.\nEvery row says something about one panel; a row without defect, removed_um and film_um says that the panel was inspected and is clean.\nFurther recipe factors are named under [factors] in onus.toml; `onus columns --site FILE…` writes one."
    )?;
    Ok(())
}

/// The columns as an open table schema (Table Schema, Data Package standard).
fn schema() -> Value {
    let fields: Vec<Value> = Column::ALL.into_iter().map(field).collect();
    json!({
        "$schema": "https://datapackage.org/profiles/2.0/tableschema.json",
        "fields": fields,
        "fieldsMatch": "subset",
        "missingValues": ["", "na", "n/a", "null", "none", "-", "--", "–", "—", "#n/a"],
    })
}

fn field(column: Column) -> Value {
    let (kind, constraints) = match column.quantity() {
        Quantity::Text | Quantity::Grit => ("string", json!({})),
        Quantity::Time => ("datetime", json!({})),
        Quantity::Length | Quantity::Thickness if column != Column::FilmUm => ("number", json!({})),
        Quantity::Size | Quantity::Speed | Quantity::Force | Quantity::Passes => {
            ("number", json!({"exclusiveMinimum": 0}))
        }
        Quantity::Ordinal => ("integer", json!({"minimum": 1})),
        Quantity::Grade => ("number", json!({"minimum": 1, "maximum": 5})),
        Quantity::Lay => ("integer", json!({"enum": [0, 90, 180, 270]})),
        Quantity::Length | Quantity::Thickness | Quantity::Area | Quantity::Age => {
            ("number", json!({"minimum": 0}))
        }
    };
    let mut field = json!({
        "name": column.name(),
        "type": kind,
        "description": column.meaning(),
    });
    if let Some(map) = field.as_object_mut() {
        if column.quantity() == Quantity::Time {
            map.insert("format".into(), json!("any"));
        }
        if column.name_without_unit().is_some() {
            map.insert("unit".into(), json!(column.unit()));
        }
        let mut constraints = constraints;
        if let (Some((low, high)), Some(constraints)) =
            (column.possible(), constraints.as_object_mut())
        {
            constraints.insert("minimum".into(), json!(low));
            constraints.insert("maximum".into(), json!(high));
            constraints.remove("exclusiveMinimum");
        }
        if column == Column::PanelId
            && let Some(constraints) = constraints.as_object_mut()
        {
            constraints.insert("required".into(), json!(true));
        }
        if constraints.as_object().is_some_and(|c| !c.is_empty()) {
            map.insert("constraints".into(), constraints);
        }
    }
    field
}

/// A site file for files like the samples.
fn site_file(paths: &[PathBuf]) -> Result<String, Error> {
    let look_at = |site: &Site| -> Result<Vec<Sample>, Error> {
        Ok(paths
            .iter()
            .map(|path| look(path, site))
            .collect::<Result<_, _>>()?)
    };
    let first = look_at(&Site::default())?;
    let headers = guess::below(&first);
    let read: Vec<&SampleHeader> = (first.iter().flat_map(|s| &s.headers))
        .filter(|h| h.read_as.is_some())
        .collect();
    let known: Vec<Column> = (read.iter())
        .filter_map(|h| Column::from_name(h.read_as.as_deref()?))
        .collect();
    let known_headers: Vec<&str> = read.iter().map(|h| h.header.as_str()).collect();
    let guesses = guess::guesses(&headers, &known, &known_headers);

    let mut columns = Vec::new();
    let has_id =
        known.contains(&Column::PanelId) || guesses.iter().any(|g| g.column == Column::PanelId);
    if !has_id {
        columns.push(NO_ID.to_owned());
    }
    for (header, below) in &headers {
        let own = read.iter().find(|h| h.header == *header);
        columns.push(column_line(header, below, own.copied(), &guesses));
    }
    // With the guesses in, units and dates are read as the report will read them.
    let text = filled_in(&[("columns", columns.clone())]);
    let site = Site::parse(&text, Path::new("onus.toml")).unwrap_or_default();
    let mapped = look_at(&site)?;
    let all: Vec<&SampleHeader> = mapped.iter().flat_map(|s| &s.headers).collect();
    let mut units: Vec<String> = Vec::new();
    for header in &all {
        for line in [unit_line(header), unit_doubt(header)]
            .into_iter()
            .flatten()
        {
            if !units.contains(&line) {
                units.push(line);
            }
        }
    }
    let mut read_lines = Vec::new();
    if !has_id && paths.len() > 1 {
        read_lines.push(ID_FROM_FILE.to_owned());
    }
    Ok(filled_in(&[
        ("columns", columns),
        ("units", units),
        ("dates", date_lines(&all)),
        ("grit", grit_lines(&all)),
        ("read", read_lines),
    ]))
}

/// Where no header can be the panel's id.
const NO_ID: &str = "# No header of the samples is panel_id for sure: say which one it is, \
    or under [read] that the file's name holds it.";
/// Where every file may be one panel.
const ID_FROM_FILE: &str =
    "# If every file is one panel, its name may hold the id: set panel_id_from_file.";

/// One line of comment or setting for a header of the samples.
fn column_line(
    header: &str,
    below: &guess::Below,
    read: Option<&SampleHeader>,
    guesses: &[guess::Guess],
) -> String {
    let one_line = |text: &str| quoted(&plain(&text.replace('\n', " ")));
    let spelled = one_line(header);
    let first = below.files.iter().flatten().next();
    let such_as = first.map_or_else(String::new, |value| format!("such as {}", one_line(value)));
    if let Some(column) = read.and_then(|h| h.read_as.as_deref()) {
        return if column == header {
            format!("# {column} is read as it is.")
        } else {
            format!("{column} = {spelled}  # {such_as}")
        };
    }
    match guesses.iter().find(|g| g.header == header) {
        Some(g) if g.sure == guess::Sure::Name => {
            format!("{} = {spelled}  # {such_as}", g.column.name())
        }
        Some(g) => format!(
            "{} = {spelled}  # NOT SURE, please check: {such_as}",
            g.column.name()
        ),
        None if such_as.is_empty() => format!("# {spelled} is not read"),
        None => format!("# {spelled} is not read  # {such_as}"),
    }
}

/// The unit that a header names, as a setting.
fn unit_line(header: &SampleHeader) -> Option<String> {
    let column = Column::from_name(header.read_as.as_deref()?)?;
    match header.unit? {
        Conversion::Unit(unit) => Some(format!("{} = {}", column.name(), quoted(unit.name()))),
        Conversion::Line { .. } => None,
    }
}

/// Where no unit is named and the values are not in the column's own, as far as
/// panels are concerned.
fn unit_doubt(header: &SampleHeader) -> Option<String> {
    let column = Column::from_name(header.read_as.as_deref()?)?;
    if header.unit.is_some() || header.header.contains(['(', '[']) {
        return None;
    }
    let mut values: Vec<f64> = (header.values.iter())
        .filter_map(|v| v.replace(',', ".").parse().ok())
        .collect();
    values.sort_by(f64::total_cmp);
    let middle = *values.get(values.len() / 2)?;
    let odd = match column.quantity() {
        Quantity::Size => middle < 50.0,
        Quantity::Speed => !(15.0..=2000.0).contains(&middle),
        Quantity::Force => middle < 3.0,
        _ => false,
    };
    odd.then(|| {
        format!(
            "# {} is read in {}, and its middle value is {middle}: if that is another unit, say so here.",
            column.name(),
            column.unit()
        )
    })
}

fn example_of<'a>(headers: &[&'a SampleHeader], column: Column) -> Option<&'a str> {
    (headers.iter())
        .find(|h| h.read_as.as_deref() == Some(column.name()))
        .and_then(|h| h.values.first())
        .map(String::as_str)
}

/// What the samples' dates leave open; a day above 12 anywhere tells the order.
fn date_lines(headers: &[&SampleHeader]) -> Vec<String> {
    let short = |part: &str| part.len() <= 2 && part.bytes().all(|b| b.is_ascii_digit());
    let dates = |h: &&&SampleHeader| h.read_as.as_deref() == Some(Column::SandedAt.name());
    let mut written = None;
    for value in headers.iter().filter(dates).flat_map(|h| &h.values) {
        let parts: Vec<&str> = value.split(['/', '.', '-', ' ', 'T']).collect();
        let [first, second, ..] = parts.as_slice() else {
            continue;
        };
        if !short(first) || !short(second) {
            continue;
        }
        written.get_or_insert(value);
        let number = |part: &str| part.parse::<u8>().unwrap_or(0);
        let order = match (number(first) > 12, number(second) > 12) {
            (true, false) => "day-first",
            (false, true) => "month-first",
            _ => continue,
        };
        return vec![format!(
            "order = {}  # as in {}",
            quoted(order),
            quoted(&plain(value))
        )];
    }
    (written.iter())
        .map(|text| {
            format!(
                "# The samples write {}: say whether day or month comes first.",
                quoted(&plain(text))
            )
        })
        .collect()
}

/// What the sample's grit leaves open.
fn grit_lines(headers: &[&SampleHeader]) -> Vec<String> {
    let bare =
        example_of(headers, Column::Grit).filter(|text| text.bytes().all(|b| b.is_ascii_digit()));
    bare.map(|text| {
        format!(
            "# The samples write {}: say on which scale.",
            quoted(&plain(text))
        )
    })
    .into_iter()
    .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_schema_names_every_column_once() {
        let schema = schema();
        let fields = schema["fields"].as_array().unwrap();
        let names: Vec<&str> = fields.iter().map(|f| f["name"].as_str().unwrap()).collect();
        assert_eq!(names, Column::NAMES);
        for field in fields {
            let kind = field["type"].as_str().unwrap();
            assert!(["string", "number", "integer", "datetime"].contains(&kind));
        }
    }

    #[test]
    fn a_site_file_from_a_sample_is_a_good_site_file() {
        let folder = tempfile::tempdir().unwrap();
        let sample = folder.path().join("sample.csv");
        std::fs::write(
            &sample,
            "Remark,X pos,Length (in),\"odd\"\"name\",Feed (m/min),Force,grit\n,1,20,z,6,30,320\n",
        )
        .unwrap();
        let text = site_file(&[sample]).unwrap();
        let site = Site::parse(&text, "onus.toml".as_ref()).unwrap();
        assert_eq!(site.columns["length_mm"], vec!["Length (in)".to_owned()]);
        assert_eq!(
            site.units[&Column::LengthMm],
            Conversion::Unit(crate::records::Unit::Inch)
        );
        assert!(text.contains("force_n = \"Force\""), "{text}");
        assert!(text.contains("is panel_id for sure"));
        assert!(text.contains("The samples write \"320\""));
    }

    #[test]
    fn foreign_files_are_mapped_by_words_and_values() {
        let folder = tempfile::tempdir().unwrap();
        let paths: Vec<PathBuf> = (0..4)
            .map(|i| {
                let path = folder.path().join(format!("{i}.csv"));
                let rows: String = (0..6)
                    .map(|k| {
                        format!(
                            "S{};WP-{i}{};{}.03.2031 06:{k}0;820;510;{},5;{k}2;Kratzer;7,2\n",
                            1 + k % 2,
                            k / 2,
                            11 + i,
                            40 + k
                        )
                    })
                    .collect();
                let head = "ANL;Kennung;Schleifdatum;Länge;Breite;Pos X;Pos Y;Fehlerart;Vorschub\n";
                std::fs::write(&path, format!("{head}{rows}")).unwrap();
                path
            })
            .collect();
        let text = site_file(&paths).unwrap();
        let site = Site::parse(&text, "onus.toml".as_ref()).unwrap();
        let header = |column: &str| site.columns.get(column).and_then(|h| h.first()).cloned();
        assert_eq!(header("panel_id").as_deref(), Some("Kennung"), "{text}");
        assert!(
            text.contains("panel_id = \"Kennung\"  # NOT SURE"),
            "{text}"
        );
        for (column, wanted) in [
            ("sanded_at", "Schleifdatum"),
            ("length_mm", "Länge"),
            ("width_mm", "Breite"),
            ("x_mm", "Pos X"),
            ("defect", "Fehlerart"),
            ("feed_mm_s", "Vorschub"),
        ] {
            assert_eq!(header(column).as_deref(), Some(wanted), "{text}");
        }
        assert!(text.contains("order = \"day-first\""), "{text}");
        assert!(
            text.contains("feed_mm_s is read in mm/s, and its middle value is 7.2"),
            "{text}"
        );
        assert_eq!(
            header("machine").as_deref(),
            Some("ANL"),
            "two values: no id of panels"
        );
    }
}
