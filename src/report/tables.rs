//! `findings.csv`, `panels.csv` and `rejects.csv`.
//!
//! What people open is written for their spreadsheet: with a decimal comma the
//! cells are parted by semicolons. What programs read (`rejects.csv`) is plain.
//!
//! Text that a spreadsheet would run as a formula gets an apostrophe in front,
//! as spreadsheets themselves mark text.

use crate::charts::NumberStyle;
use crate::records::{Lost, Reject};

use super::{Findings, words};
use crate::site::DecimalMark;

/// Text as a cell that no spreadsheet runs: what begins with a formula's sign
/// is marked as text, controls are replaced. Plain numbers stay.
#[must_use]
pub(super) fn cell(text: &str) -> String {
    let clean: String = text
        .chars()
        .map(|c| match c {
            '\n' | '\r' | '\t' => ' ',
            c if c.is_control() => '\u{fffd}',
            c => c,
        })
        .collect();
    let first = clean.trim_start().chars().next();
    let runs = matches!(
        first,
        Some('=' | '+' | '-' | '@' | '|' | '%' | '＝' | '＋' | '－' | '＠')
    ) || text.starts_with(['\t', '\r', '\n']);
    let clean = guarded(&clean);
    if runs && clean.trim().parse::<f64>().is_err() {
        format!("'{clean}")
    } else {
        clean
    }
}

/// Signs of a formula after a semicolon, where some programs part cells, are
/// marked like those at the start.
fn guarded(text: &str) -> String {
    let mut parts = text.split(';');
    let mut out = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        out.push(';');
        let bare = part.trim_start();
        if bare.starts_with(['=', '+', '-', '@']) && bare.trim_end().parse::<f64>().is_err() {
            out += &part[..part.len() - bare.len()];
            out.push('\'');
            out += bare;
        } else {
            out += part;
        }
    }
    out
}

/// Characters of a rejected value that are shown.
const SHOWN: usize = 200;

fn shortened(value: &str) -> String {
    match value.char_indices().nth(SHOWN) {
        Some((end, _)) => cell(&format!("{}…", &value[..end])),
        None => cell(value),
    }
}

/// The findings as a table, one row each; `reasons` and `next` in words.
#[must_use]
pub fn findings_csv(findings: &Findings<'_>, numbers: &NumberStyle) -> Vec<u8> {
    let number = |value: Option<f64>| value.map_or(String::new(), |v| short_number(v, numbers));
    let name = |value: &Option<String>| value.as_deref().map_or(String::new(), cell);
    let header = [
        "id",
        "machine",
        "head",
        "defect",
        "cause",
        "kind",
        "frame",
        "x_mm",
        "y_mm",
        "radius_mm",
        "line_axis",
        "panels_hit",
        "panels_exposed",
        "hit_rate",
        "hit_rate_low",
        "hit_rate_high",
        "expected_hits",
        "p_adjusted",
        "first_panel",
        "last_panel",
        "onset_panel",
        "end_panel",
        "drift_mm_per_day",
        "lots",
        "reasons",
        "next_check",
        "certainty",
        "life",
        "since_report",
        "last_seen",
        "state",
    ];
    let rows = findings.causes.findings.iter().map(|f| {
        let life = findings.lives.of.get(&f.id);
        let state = findings.standings.get(&f.id);
        let reasons: Vec<String> = f
            .reasons
            .iter()
            .map(|r| words::reason(r, numbers))
            .collect();
        let next = words::next_check(&f.next_check, numbers);
        vec![
            f.id.clone(),
            name(&f.machine),
            name(&f.head),
            cell(&f.defect),
            word(&f.cause),
            word(&f.kind),
            f.frame.map_or(String::new(), |frame| word(&frame)),
            number(f.x_mm),
            number(f.y_mm),
            number(f.radius_mm),
            f.line_axis.map_or(String::new(), |axis| word(&axis)),
            f.panels_hit.to_string(),
            f.panels_exposed.to_string(),
            number(f.hit_rate),
            number(f.hit_rate_ci.map(|ci| ci.low)),
            number(f.hit_rate_ci.map(|ci| ci.high)),
            number(f.expected_hits),
            number(f.p_adjusted),
            name(&f.first_panel),
            name(&f.last_panel),
            name(&f.onset_panel),
            name(&f.end_panel),
            number(f.drift_mm_per_day),
            cell(&f.lots.join("; ")),
            cell(&reasons.join(" ")),
            next.as_deref().map_or(String::new(), cell),
            word(&f.certainty),
            life.and_then(|l| l.life)
                .map_or(String::new(), |s| word(&s)),
            life.and_then(|l| l.since_report.clone())
                .unwrap_or_default(),
            life.and_then(|l| l.last_seen)
                .map_or(String::new(), |d| d.to_string()),
            state.map_or(String::new(), word),
        ]
    });
    table(&header, rows, delimiter(numbers))
}

/// Every panel that shows a finding, with where the mark was written: what to
/// fetch and to look at.
#[must_use]
pub fn panels_csv(findings: &Findings<'_>, numbers: &NumberStyle) -> Vec<u8> {
    let records = findings.records;
    let rows = findings.causes.findings.iter().flat_map(|f| {
        f.evidence.hits.iter().map(|hit| {
            let origin = records.origins.get(hit.defect);
            let file = origin.and_then(|o| records.sources.get(o.file as usize));
            let panel = records.panels.get(hit.panel);
            vec![
                f.id.clone(),
                panel.map_or(String::new(), |p| cell(&p.id)),
                file.map_or(String::new(), |file| cell(&file.to_string_lossy())),
                origin.map_or(String::new(), |o| o.line.to_string()),
                short_number(hit.on_panel.x, numbers),
                short_number(hit.on_panel.y, numbers),
            ]
        })
    });
    let header = ["finding", "panel_id", "file", "line", "x_mm", "y_mm"];
    table(&header, rows, delimiter(numbers))
}

/// The rejects as a table, in the order given.
#[must_use]
pub fn rejects_csv(rejects: &[Reject]) -> Vec<u8> {
    let rows = rejects.iter().map(|r| {
        vec![
            cell(&r.file.to_string_lossy()),
            r.line.map_or(String::new(), |line| line.to_string()),
            r.column.as_deref().map_or(String::new(), cell),
            r.value.as_deref().map_or(String::new(), shortened),
            match r.lost {
                Lost::Value => "value",
                Lost::Row => "row",
                Lost::Panel => "panel",
                Lost::File => "file",
            }
            .to_owned(),
            cell(&r.why),
        ]
    });
    let header = ["file", "line", "column", "value", "lost", "why"];
    table(&header, rows, b',')
}

/// What parts the cells where numbers are written so.
fn delimiter(numbers: &NumberStyle) -> u8 {
    match numbers.decimal {
        DecimalMark::Point => b',',
        DecimalMark::Comma => b';',
    }
}

/// A number to four significant figures with the site's decimal mark, without
/// marks between thousands; blank where it can't be written.
fn short_number(value: f64, numbers: &NumberStyle) -> String {
    if !value.is_finite() {
        return String::new();
    }
    // Decimal rounding by way of text is the same on every platform.
    let rounded: f64 = format!("{value:.3e}").parse().unwrap_or(value);
    let text = if rounded == 0.0 {
        "0".to_owned()
    } else {
        rounded.to_string()
    };
    match numbers.decimal {
        DecimalMark::Point => text,
        DecimalMark::Comma => text.replace('.', ","),
    }
}

/// The word of an enum as `findings.json` writes it.
fn word(value: &impl serde::Serialize) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(word)) => word,
        _ => String::new(),
    }
}

fn table(header: &[&str], rows: impl Iterator<Item = Vec<String>>, delimiter: u8) -> Vec<u8> {
    let mut writer = csv::WriterBuilder::new()
        .delimiter(delimiter)
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    // Writing rows of equal length to memory does not fail.
    let _ = writer.write_record(header);
    for row in rows {
        let _ = writer.write_record(row);
    }
    writer.into_inner().unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_spreadsheet_would_run_is_marked_as_text() {
        assert_eq!(cell("=cmd|'/C calc'!A0"), "'=cmd|'/C calc'!A0");
        assert_eq!(cell("@SUM(A1)"), "'@SUM(A1)");
        assert_eq!(cell(" +1+1"), "' +1+1");
        assert_eq!(cell("\t=1"), "' =1");
        assert_eq!(cell("-M4"), "'-M4");
        assert_eq!(cell("-12.5"), "-12.5");
        assert_eq!(cell("A-12"), "A-12");
        assert_eq!(cell("a;=1+1; -2;@x"), "a;'=1+1; -2;'@x");
        assert_eq!(cell("a\u{1b}[31mb"), "a\u{fffd}[31mb");
    }

    #[test]
    fn a_long_value_is_cut_where_it_is_shown() {
        assert_eq!(shortened(&"ä".repeat(200)), "ä".repeat(200));
        assert_eq!(shortened(&"ä".repeat(900)), format!("{}…", "ä".repeat(200)));
    }

    #[test]
    fn numbers_are_short_and_have_the_sites_decimal_mark() {
        let point = NumberStyle::default();
        let comma = NumberStyle {
            decimal: DecimalMark::Comma,
            ..point
        };
        assert_eq!(short_number(1234.567, &point), "1235");
        assert_eq!(short_number(-0.000_123_456, &comma), "-0,0001235");
        assert_eq!(short_number(f64::NAN, &point), "");
        assert_eq!(delimiter(&comma), b';');
    }

    #[test]
    fn a_reject_is_a_line_that_reads_back() {
        let reject = Reject {
            file: "lot, 7.csv".into(),
            line: Some(12),
            column: Some("x_mm".into()),
            value: Some("=1+\"1\"".into()),
            lost: Lost::Row,
            why: "not a number".into(),
        };
        let bytes = rejects_csv(&[reject]);
        let mut reader = csv::Reader::from_reader(bytes.as_slice());
        let row = reader.records().next().unwrap().unwrap();
        let cells: Vec<&str> = row.iter().collect();
        assert_eq!(
            cells,
            [
                "lot, 7.csv",
                "12",
                "x_mm",
                "'=1+\"1\"",
                "row",
                "not a number"
            ]
        );
    }
}
