//! `onus report`.

use std::io::Write;
use std::path::PathBuf;

use clap::ValueEnum;

use super::terminal::plain;
use super::{Error, input};
use crate::change::{self, Week};
use crate::records::OnReject;
use crate::report;
use crate::report::folder::{self, Existing};
use crate::site;

/// Read inspection files and write a report folder.
#[derive(Debug, clap::Args)]
pub(super) struct Report {
    /// Inspection files, folders (searched with all folders in them) or
    /// patterns such as 'inspections/*.csv'.
    #[arg(required = true, value_name = "INPUT")]
    input: Vec<PathBuf>,
    /// Folder to write; it appears whole or not at all.
    #[arg(long, value_name = "DIR", required_unless_present = "json")]
    out: Option<PathBuf>,
    /// Site file with the site's columns, units, names and limits.
    #[arg(long, value_name = "FILE")]
    site: Option<PathBuf>,
    /// Replace the report that DIR holds, with everything in it.
    #[arg(long)]
    replace: bool,
    /// Stop if anything was rejected on reading.
    #[arg(long)]
    strict: bool,
    /// Print findings.json.
    #[arg(long)]
    json: bool,
    /// Report this ISO week, such as 2026-W47, against the weeks before it;
    /// panels sanded later are left out.
    #[arg(long, value_name = "WEEK")]
    week: Option<Week>,
    /// Folder of the last report: says what became of its findings.
    #[arg(long, value_name = "FOLDER")]
    previous: Option<PathBuf>,
    /// Paper of the PDF, instead of the site file's.
    #[arg(long)]
    paper: Option<Paper>,
}

impl Report {
    /// A plain report on one folder by a site file, replacing an older one.
    pub(super) fn on(input: PathBuf, site: PathBuf, out: PathBuf) -> Self {
        Self {
            input: vec![input],
            out: Some(out),
            site: Some(site),
            replace: true,
            strict: false,
            json: false,
            week: None,
            previous: None,
            paper: None,
        }
    }
}

/// Paper of the PDF.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum Paper {
    /// 210 × 297 mm.
    A4,
    /// 8.5 × 11 in.
    Letter,
}

impl From<Paper> for site::Paper {
    fn from(paper: Paper) -> Self {
        match paper {
            Paper::A4 => site::Paper::A4,
            Paper::Letter => site::Paper::Letter,
        }
    }
}

pub(super) fn run(args: &Report, out: &mut impl Write) -> Result<(), Error> {
    let existing = if args.replace {
        Existing::Replace
    } else {
        Existing::Keep
    };
    let on_reject = if args.strict {
        OnReject::Stop
    } else {
        OnReject::Count
    };
    let inputs = input::expanded(&args.input);
    if let Some(target) = &args.out {
        folder::check(target, existing, &inputs)?;
    }
    let site = input::site(args.site.as_deref())?;
    let records = input::records(&args.input, &site, on_reject)?;
    let records = match args.week {
        Some(week) => change::until_week(records, week),
        None => records,
    };
    let mut findings = report::find(&records, &site);
    if args.week.is_some() {
        findings.weekly = change::weekly(&records, &site.analysis, args.week)?;
    }
    if let Some(folder) = &args.previous {
        findings.weekly.previous = change::previous_findings(folder, &records, &findings.causes)?;
    }
    input::doubts(findings.warnings());
    if let Some(target) = &args.out {
        let paper = args.paper.map_or(site.report.paper, site::Paper::from);
        let files = report::files(&findings, &site, paper)?;
        folder::write(target, &files, existing, &inputs)?;
    }
    if args.json {
        let numbers = (&site.report).into();
        out.write_all(report::findings_json(&findings, &numbers).as_bytes())?;
    } else if let Some(target) = &args.out {
        for line in report::summary(&findings, &site) {
            writeln!(out, "{}", plain(&line))?;
        }
        writeln!(
            out,
            "{}",
            plain(&target.join("report.pdf").display().to_string())
        )?;
    }
    out.flush()?;
    Ok(())
}
