//! `onus check`.

use std::io::Write;
use std::path::PathBuf;

use serde::Serialize;

use super::terminal::plain;
use super::{Error, input};
use crate::causes;
use crate::charts::NumberStyle;
use crate::records::answers::{Answer, Can};
use crate::records::summary::{DefectKind, Levels, Range, Summary, summarise};
use crate::records::{OnReject, Records};
use crate::report::words::trial as words;

/// Say what was understood of the files and what they can and cannot answer.
#[derive(Debug, clap::Args)]
pub(super) struct Check {
    /// Inspection files, folders or patterns.
    #[arg(required = true, value_name = "DATA")]
    input: Vec<PathBuf>,
    /// The site file.
    #[arg(long, value_name = "FILE")]
    site: Option<PathBuf>,
    /// Print it as JSON.
    #[arg(long)]
    json: bool,
    /// Stop if anything was rejected.
    #[arg(long)]
    strict: bool,
}

/// What is printed as JSON.
#[derive(Serialize)]
struct Checked<'a> {
    onus: &'static str,
    #[serde(flatten)]
    summary: &'a Summary,
    warnings: Vec<Told<'a>>,
}

#[derive(Serialize)]
struct Told<'a> {
    code: &'static str,
    text: &'a str,
    file: Option<String>,
}

pub(super) fn run(args: &Check, out: &mut impl Write) -> Result<(), Error> {
    let site = input::site(args.site.as_deref(), &args.input)?;
    let on_reject = if args.strict {
        OnReject::Stop
    } else {
        OnReject::Count
    };
    let mut records = input::records(&args.input, &site, on_reject)?;
    records.warnings.extend(causes::inspector_doubts(&records));
    let summary = summarise(&records);
    if args.json {
        let checked = Checked {
            onus: env!("CARGO_PKG_VERSION"),
            summary: &summary,
            warnings: records
                .warnings
                .iter()
                .map(|w| Told {
                    code: w.code.code(),
                    text: &w.text,
                    file: w.file.as_ref().map(|f| f.display().to_string()),
                })
                .collect(),
        };
        let text = serde_json::to_string_pretty(&checked).map_err(std::io::Error::other)?;
        writeln!(out, "{text}")?;
        return Ok(());
    }
    let numbers = NumberStyle::from(&site.report);
    let planned = words::came_back(&records, &[], site.analysis.alpha, &numbers);
    print(out, &summary, &records, &planned)?;
    Ok(())
}

fn print(
    out: &mut impl Write,
    summary: &Summary,
    records: &Records,
    planned: &[String],
) -> std::io::Result<()> {
    let input = &summary.input;
    writeln!(out, "Read")?;
    writeln!(
        out,
        "  {}, {} skipped; {} ({} inspected, {} clean), {}, {}, {} of later inspections",
        counted(input.files, "file"),
        input.skipped_files,
        counted(input.panels, "panel"),
        input.inspected_panels,
        input.clean_panels,
        counted(input.defects, "defect"),
        counted(input.readings, "reading"),
        counted(input.reinspections, "row")
    )?;
    if let Some((first, last)) = &summary.period {
        writeln!(out, "  sanded from {first} to {last}")?;
    }
    columns(out, summary)?;
    for levels in &summary.levels {
        print_levels(out, levels)?;
    }
    if !summary.ranges.is_empty() {
        writeln!(out, "\nNumbers")?;
        for range in &summary.ranges {
            print_range(out, range)?;
        }
    }
    if !summary.defects.is_empty() {
        writeln!(out, "\nDefects")?;
        for kind in &summary.defects {
            print_kind(out, kind)?;
        }
    }
    if !summary.rejects.is_empty() {
        writeln!(out, "\nLost")?;
        for group in &summary.rejects {
            writeln!(
                out,
                "  {} {}: {} (first: {})",
                group.count,
                plural(group.count, group.lost),
                printable(&group.why),
                printable(&group.first)
            )?;
        }
    }
    if !planned.is_empty() {
        writeln!(out, "\nPlanned trials")?;
        for line in planned {
            writeln!(out, "  {}", printable(line))?;
        }
    }
    if !records.warnings.is_empty() {
        writeln!(out, "\nDoubts")?;
        for warning in &records.warnings {
            let file = warning
                .file
                .as_ref()
                .map_or_else(String::new, |f| format!(" ({})", f.display()));
            writeln!(
                out,
                "  {}: {}{}",
                warning.code.code(),
                printable(&warning.text),
                printable(&file)
            )?;
        }
    }
    writeln!(out, "\nWhat these data can answer")?;
    for answer in &summary.answers {
        print_answer(out, answer)?;
    }
    Ok(())
}

fn columns(out: &mut impl Write, summary: &Summary) -> std::io::Result<()> {
    writeln!(out, "\nColumns")?;
    for used in &summary.columns {
        let renamed: Vec<String> = used
            .headers
            .iter()
            .filter(|header| **header != used.column)
            .map(|header| format!("\"{}\"", printable(header)))
            .collect();
        let from = if renamed.is_empty() {
            String::new()
        } else {
            format!(", from {}", renamed.join(", "))
        };
        let some = if used.files < summary.input.files {
            format!(", in {}", counted(used.files, "file"))
        } else {
            String::new()
        };
        writeln!(
            out,
            "  {} ({}){from}{some}",
            printable(&used.column),
            used.units.join(", ")
        )?;
    }
    Ok(())
}

/// At most so many values of a column are listed.
const MOST_VALUES: usize = 8;

fn print_levels(out: &mut impl Write, levels: &Levels) -> std::io::Result<()> {
    let shown: Vec<String> = levels
        .values
        .iter()
        .take(MOST_VALUES)
        .map(|(value, panels)| format!("{} ({panels})", printable(value)))
        .collect();
    let more = match levels.values.len().saturating_sub(MOST_VALUES) {
        0 => String::new(),
        n => format!(" and {n} more"),
    };
    writeln!(out, "  by {}: {}{more}", levels.column, shown.join(", "))
}

fn print_range(out: &mut impl Write, range: &Range) -> std::io::Result<()> {
    writeln!(
        out,
        "  {}: {} to {}, median {} {} ({})",
        printable(&range.column),
        rounded(range.low),
        rounded(range.high),
        rounded(range.median),
        range.unit,
        counted(range.count, "value")
    )
}

fn print_kind(out: &mut impl Write, kind: &DefectKind) -> std::io::Result<()> {
    let class = match kind.class {
        Some(class) => format!("{class:?}").to_lowercase(),
        None => "class not known".to_owned(),
    };
    let without = kind.defects - kind.placed;
    let placeless = if without > 0 {
        format!(", {without} without a place")
    } else {
        String::new()
    };
    writeln!(
        out,
        "  {} ({class}): {} on {}{placeless}",
        printable(&kind.defect),
        kind.defects,
        counted(kind.panels_hit, "panel")
    )
}

fn print_answer(out: &mut impl Write, answer: &Answer) -> std::io::Result<()> {
    let can = match answer.can {
        Can::Yes => "yes",
        Can::InPart => "in part",
        Can::No => "no",
    };
    writeln!(
        out,
        "  {} {can}: {}.",
        answer.question,
        printable(&answer.because)
    )
}

/// Four digits are enough to see what a number is.
fn rounded(value: f64) -> f64 {
    if value == 0.0 {
        return 0.0;
    }
    let step = 10f64.powf(3.0 - value.abs().log10().floor());
    (value * step).round() / step
}

fn counted(count: usize, one: &str) -> String {
    format!("{count} {}", plural(count, one))
}

fn plural(count: usize, one: &str) -> String {
    if count == 1 {
        one.to_owned()
    } else {
        format!("{one}s")
    }
}

/// Text from the data on one line of a terminal.
fn printable(text: &str) -> String {
    plain(&text.replace('\n', " "))
}
