//! `onus columns`.

use std::io::Write;
use std::path::{Path, PathBuf};

use serde_json::{Value, json};

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
    /// Write a commented onus.toml, filled in from this inspection file, to
    /// standard output.
    #[arg(long, value_name = "SAMPLE")]
    site: Option<PathBuf>,
}

pub(super) fn run(args: &Columns, out: &mut impl Write) -> Result<(), Error> {
    if let Some(sample) = &args.site {
        out.write_all(site_file(sample)?.as_bytes())?;
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
        "\nNumbers outside their range go with a line in rejects.csv; [possible] in onus.toml widens it.\nEvery row says something about one panel; a row without defect, removed_um and film_um says that the panel was inspected and is clean.\nFurther recipe factors are named under [factors] in onus.toml; `onus columns --site SAMPLE.csv` writes one."
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

/// A site file for files like the sample.
fn site_file(path: &Path) -> Result<String, Error> {
    let sample = look(path, &Site::default())?;
    let mut columns = Vec::new();
    let mut units = Vec::new();
    if !sample.has_panel_id {
        columns.push(
            "# The sample has no column that is panel_id for sure: say which one it is.".to_owned(),
        );
    }
    for header in &sample.headers {
        columns.extend(column_lines(header));
        units.extend(unit_line(header));
    }
    Ok(filled_in(&[
        ("columns", columns),
        ("units", units),
        ("dates", date_lines(&sample)),
        ("grit", grit_lines(&sample)),
    ]))
}

/// One line of comment or setting for a header of the sample.
fn column_lines(header: &SampleHeader) -> Option<String> {
    if header.header.is_empty() {
        return None;
    }
    let spelled = quoted(&plain(&header.header.replace('\n', " ")));
    let example = header.example.as_deref().map_or_else(String::new, |value| {
        format!("  # such as {}", quoted(&plain(&value.replace('\n', " "))))
    });
    Some(match (&header.read_as, header.nearest) {
        (Some(column), _) if *column == header.header => {
            format!("# {column} is read as it is.")
        }
        (Some(column), _) => format!("{column} = {spelled}{example}"),
        (None, Some(near)) => format!("#{near} = {spelled}{example}  # is it?"),
        (None, None) => format!("# {spelled} is not read{example}"),
    })
}

/// The unit that a header names, as a setting.
fn unit_line(header: &SampleHeader) -> Option<String> {
    let column = Column::from_name(header.read_as.as_deref()?)?;
    match header.unit? {
        Conversion::Unit(unit) => Some(format!("{} = {}", column.name(), quoted(unit.name()))),
        Conversion::Line { .. } => None,
    }
}

fn example_of(sample: &Sample, column: Column) -> Option<&str> {
    sample
        .headers
        .iter()
        .find(|h| h.read_as.as_deref() == Some(column.name()))
        .and_then(|h| h.example.as_deref())
}

/// What the sample's dates leave open.
fn date_lines(sample: &Sample) -> Vec<String> {
    let open = example_of(sample, Column::SandedAt).filter(|text| {
        let mut parts = text.split(['/', '.', '-']);
        let short = |part: Option<&str>| {
            part.is_some_and(|p| p.len() <= 2 && p.bytes().all(|b| b.is_ascii_digit()))
        };
        short(parts.next()) && short(parts.next())
    });
    open.map(|text| {
        format!(
            "# The sample writes {}: say whether day or month comes first.",
            quoted(&plain(text))
        )
    })
    .into_iter()
    .collect()
}

/// What the sample's grit leaves open.
fn grit_lines(sample: &Sample) -> Vec<String> {
    let bare =
        example_of(sample, Column::Grit).filter(|text| text.bytes().all(|b| b.is_ascii_digit()));
    bare.map(|text| {
        format!(
            "# The sample writes {}: say on which scale.",
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
            "Serial,X pos,Length (in),\"odd\"\"name\",Feed (m/min),Force,grit\n7,1,20,z,6,30,320\n",
        )
        .unwrap();
        let text = site_file(&sample).unwrap();
        let site = Site::parse(&text, "onus.toml".as_ref()).unwrap();
        assert_eq!(site.columns["length_mm"], vec!["Length (in)".to_owned()]);
        assert_eq!(
            site.units[&Column::LengthMm],
            Conversion::Unit(crate::records::Unit::Inch)
        );
        assert!(text.contains("force_n = \"Force\""), "{text}");
        assert!(text.contains("no column that is panel_id for sure"));
        assert!(text.contains("The sample writes \"320\""));
    }
}
