//! From findings to the files of the report.

use std::collections::BTreeMap;

use jiff::civil::Date;
use rayon::prelude::*;

use super::findings::bare;
use super::front::Front;
use super::pages::{Context, comparison_pages, pages};
use super::{Document, Figure, Findings, Page, PdfError, PngError, Story, words};
use super::{findings_csv, findings_json, html, panels_csv, pdf, png, rejects_csv};
use crate::causes::Causes;
use crate::change::{Changes, Week, week_of};
use crate::charts::{ChartError, NumberStyle, Theme};
use crate::life::State;
use crate::records::Records;
use crate::site::{Paper, Site};

/// The report could not be made.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// A chart failed.
    #[error(transparent)]
    Chart(#[from] ChartError),
    /// A chart could not be made an image.
    #[error(transparent)]
    Png(#[from] PngError),
    /// The typesetting failed.
    #[error(transparent)]
    Pdf(#[from] PdfError),
}

/// How the document is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Sheets {
    /// The paper.
    pub paper: Paper,
    /// How much of it.
    pub length: Length,
}

/// How much of the document.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Length {
    /// All pages.
    #[default]
    Full,
    /// Page one and the findings alone.
    Short,
}

/// The document of a report.
///
/// # Errors
///
/// [`ChartError`] if a chart could not be drawn.
pub fn document(
    findings: &Findings<'_>,
    site: &Site,
    sheets: Sheets,
) -> Result<Document, ChartError> {
    document_of(findings, site, sheets, |context| {
        pages(context, sheets.length)
    })
}

fn document_of(
    findings: &Findings<'_>,
    site: &Site,
    sheets: Sheets,
    pages: impl Fn(&Context<'_>) -> Result<Vec<Page>, ChartError>,
) -> Result<Document, ChartError> {
    let theme = Theme {
        numbers: NumberStyle::from(&site.report).with_units_of(&findings.records.columns),
        ..Theme::default()
    };
    let story = Story::new(findings);
    let context = Context {
        findings,
        story: &story,
        site,
        theme: &theme,
    };
    let week = findings.weekly.week;
    let days = days(findings.records, week);
    Ok(Document {
        title: words::document::title(week),
        site: site.site.name.clone(),
        author: site.site.author.clone().or_else(|| site.site.name.clone()),
        period: words::document::period(week, days, &theme.numbers),
        date: days.map(|(_, last)| last),
        paper: sheets.paper,
        pages: pages(&context)?,
    })
}

/// The name of a report's folder: its week, or its first and last day.
#[must_use]
pub fn period_name(records: &Records, week: Option<Week>) -> String {
    match (week, days(records, None)) {
        (Some(week), _) => week.to_string(),
        (None, Some((first, last))) if first == last => first.to_string(),
        (None, Some((first, last))) => format!("{first}_{last}"),
        (None, None) => "undated".to_owned(),
    }
}

/// First and last day of the records, by sanding, else by inspection; of the
/// week alone where one is reported.
fn days(records: &Records, week: Option<Week>) -> Option<(Date, Date)> {
    let mut days: Option<(Date, Date)> = None;
    for panel in &records.panels {
        if week.is_some() && week_of(panel) != week {
            continue;
        }
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
    sheets: Sheets,
) -> Result<BTreeMap<String, Vec<u8>>, ReportError> {
    let numbers = NumberStyle::from(&site.report);
    let mut files = document_files(&document(findings, site, sheets)?)?;
    files.insert(
        "findings.json".to_owned(),
        findings_json(findings, &numbers).into_bytes(),
    );
    files.insert("findings.csv".to_owned(), findings_csv(findings, &numbers));
    files.insert("panels.csv".to_owned(), panels_csv(findings, &numbers));
    files.insert(
        "rejects.csv".to_owned(),
        rejects_csv(&findings.records.rejects),
    );
    Ok(files)
}

/// All files of a comparison: the same without findings.
///
/// # Errors
///
/// As [`files`].
pub fn comparison_files(
    records: &Records,
    changes: Changes,
    site: &Site,
    sheets: Sheets,
) -> Result<BTreeMap<String, Vec<u8>>, ReportError> {
    let numbers = NumberStyle::from(&site.report);
    let findings = Findings {
        changes,
        ..bare(records, Causes::default(), site)
    };
    let document = document_of(&findings, site, sheets, comparison_pages)?;
    let mut files = document_files(&document)?;
    files.insert(
        "findings.json".to_owned(),
        findings_json(&findings, &numbers).into_bytes(),
    );
    files.insert("rejects.csv".to_owned(), rejects_csv(&records.rejects));
    Ok(files)
}

/// The document as PDF and HTML, and its charts.
fn document_files(document: &Document) -> Result<BTreeMap<String, Vec<u8>>, ReportError> {
    let mut files = BTreeMap::new();
    let figures: Vec<&Figure> = document.pages.iter().flat_map(Page::figures).collect();
    let images = || -> Result<Vec<Vec<u8>>, PngError> {
        let images = figures.par_iter().map(|figure| png(&figure.svg));
        images.collect()
    };
    let (images, pdf) = rayon::join(images, || pdf(document));
    for ((figure, image), number) in figures.iter().zip(images?).zip(1..) {
        let name = format!("charts/{number:02}-{}", figure.name);
        files.insert(format!("{name}.png"), image);
        files.insert(format!("{name}.svg"), figure.svg.clone().into_bytes());
    }
    files.insert("report.pdf".to_owned(), pdf?);
    files.insert("report.html".to_owned(), html(document).into_bytes());
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
    let front = Front::new(findings);
    let worst = front.worst_first();
    let mut lines = vec![front.headline(&numbers)];
    lines.extend(front.since(&numbers));
    lines.extend(worst.iter().take(SUMMARY_LINES).map(|f| {
        format!(
            "  {} {}, {}: {}",
            f.id,
            words::causes::cause(f.cause),
            words::causes::sure(f.certainty),
            front.statement(f, &speech)
        )
    }));
    if worst.len() > SUMMARY_LINES {
        let rest = worst.len() - SUMMARY_LINES;
        lines.push(words::front::more_findings_line(rest, &numbers));
    }
    lines.extend(
        front
            .news(&numbers)
            .into_iter()
            .map(|text| format!("  {text}")),
    );
    if findings.weekly.week.is_some() {
        lines.extend(words::trend::on_page_one(&findings.weekly));
    }
    let story = Story::new(findings);
    lines.extend(words::changes::latest(&story, &numbers));
    let own = findings.worst_first().into_iter().filter_map(|f| {
        let life = findings.lives.of.get(&f.id)?;
        Some((&f.id, &f.defect, life))
    });
    let kept = (findings.lives.kept.iter()).map(|k| (&k.finding.id, &k.finding.defect, &k.life));
    lines.extend(
        own.chain(kept)
            .filter(|(_, _, life)| life.looked.open || life.life == Some(State::CannotTell))
            .take(SUMMARY_LINES)
            .map(|(id, defect, life)| words::life::line(id, defect, life, &numbers)),
    );
    lines.extend(
        findings
            .actions
            .iter()
            .rev()
            .take(SUMMARY_LINES)
            .map(|done| {
                format!(
                    "  {}",
                    words::actions::on_page(done, &site.defects.cost_unit, &numbers)
                )
            }),
    );
    let rejected = findings.records.rejects.len();
    if rejected > 0 {
        lines.push(words::front::rejects_line(rejected, &numbers));
    }
    lines
}

/// Most findings told on a terminal.
const SUMMARY_LINES: usize = 5;
