//! From findings to the files of the report.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::pages::{Context, pages};
use super::{Document, Findings, Page, PdfError, words};
use super::{findings_csv, findings_json, html, pdf, rejects_csv};
use crate::charts::{ChartError, NumberStyle, Theme};
use crate::records::Records;
use crate::site::{Paper, Site};

/// The report could not be made.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// A chart failed.
    #[error(transparent)]
    Chart(#[from] ChartError),
    /// The typesetting failed.
    #[error(transparent)]
    Pdf(#[from] PdfError),
}

/// The document of a report.
///
/// # Errors
///
/// [`ChartError`] if a chart could not be drawn.
pub fn document(
    findings: &Findings<'_>,
    site: &Site,
    paper: Paper,
) -> Result<Document, ChartError> {
    let theme = Theme {
        numbers: NumberStyle::from(&site.report),
        ..Theme::default()
    };
    let context = Context {
        findings,
        site,
        theme: &theme,
    };
    let days = days(findings.records);
    Ok(Document {
        title: words::front::DOCUMENT_TITLE.to_owned(),
        site: site.site.name.clone(),
        author: site.site.author.clone().or_else(|| site.site.name.clone()),
        period: words::document::period(days, &theme.numbers),
        date: days.map(|(_, last)| last),
        paper,
        pages: pages(&context)?,
    })
}

/// First and last day of the records, by sanding, else by inspection.
fn days(records: &Records) -> Option<(Date, Date)> {
    let mut days: Option<(Date, Date)> = None;
    for panel in &records.panels {
        let Some(at) = panel.sanded_at.or(panel.inspected_at) else {
            continue;
        };
        let day = at.local.date();
        days = Some(days.map_or((day, day), |(first, last)| (first.min(day), last.max(day))));
    }
    days
}

/// All files of the report by their names in the folder.
///
/// # Errors
///
/// [`ReportError`] if a chart or the PDF could not be made.
pub fn files(
    findings: &Findings<'_>,
    site: &Site,
    paper: Paper,
) -> Result<BTreeMap<String, Vec<u8>>, ReportError> {
    let numbers = NumberStyle::from(&site.report);
    let document = document(findings, site, paper)?;
    let mut files = BTreeMap::new();
    let figures = document.pages.iter().flat_map(Page::figures);
    for (number, figure) in figures.enumerate() {
        let name = format!("charts/{:02}-{}.svg", number + 1, figure.name);
        files.insert(name, figure.svg.clone().into_bytes());
    }
    files.insert("report.pdf".to_owned(), pdf(&document)?);
    files.insert("report.html".to_owned(), html(&document).into_bytes());
    files.insert(
        "findings.json".to_owned(),
        findings_json(findings, &numbers).into_bytes(),
    );
    files.insert(
        "findings.csv".to_owned(),
        findings_csv(&findings.causes.findings, &numbers),
    );
    files.insert(
        "rejects.csv".to_owned(),
        rejects_csv(&findings.records.rejects),
    );
    Ok(files)
}

/// The answer in a few lines, for a terminal.
#[must_use]
pub fn summary(findings: &Findings<'_>, site: &Site) -> Vec<String> {
    let numbers = NumberStyle::from(&site.report);
    let speech = words::finding::Speech {
        numbers: &numbers,
        feed: site.frames.feed_direction,
    };
    let worst = findings.worst_first();
    let input = &findings.records.input;
    let mut lines = vec![words::front::headline(&worst, input, &numbers)];
    lines.extend(worst.iter().take(SUMMARY_LINES).map(|f| {
        format!(
            "  {} {}, {}: {}",
            f.id,
            words::causes::cause(f.cause),
            words::causes::sure(f.certainty),
            words::finding::statement(f, &speech)
        )
    }));
    if worst.len() > SUMMARY_LINES {
        let rest = worst.len() - SUMMARY_LINES;
        lines.push(words::front::more_findings_line(rest, &numbers));
    }
    if findings.weekly.week.is_some() {
        let lines_of = words::trend::on_page_one(&findings.weekly, &numbers);
        lines.extend(lines_of.into_iter().take(1));
    }
    let previous = findings.weekly.previous.iter().take(SUMMARY_LINES);
    lines.extend(previous.map(|old| words::trend::previous_line(old, &numbers)));
    let rejected = findings.records.rejects.len();
    if rejected > 0 {
        lines.push(words::front::rejects_line(rejected, &numbers));
    }
    lines
}

/// Most findings told on a terminal.
const SUMMARY_LINES: usize = 5;
