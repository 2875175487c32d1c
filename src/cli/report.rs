//! `onus report`.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::ValueEnum;

use super::terminal::{Stages, folded, plain};
use super::{Error, input};
use crate::change::{self, Week};
use crate::life::{Actions, Past};
use crate::records::OnReject;
use crate::report::folder::{self, Existing};
use crate::report::{self, Stage};
use crate::site;

/// Read inspection files and write a report folder.
#[derive(Debug, clap::Args)]
pub(super) struct Report {
    /// Inspection files, folders (searched with all folders in them) or
    /// patterns such as 'inspections/*.csv'.
    #[arg(required = true, value_name = "INPUT")]
    input: Vec<PathBuf>,
    /// Folder to write; it appears whole or not at all. Without it and without
    /// --json: reports/ and the period.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Site file with the site's columns, units, names and limits. Without it
    /// an onus.toml beside the input or in the working folder is used.
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
    /// Folder of the last report: its findings keep their numbers, and the
    /// report says what became of each.
    #[arg(long, value_name = "FOLDER")]
    previous: Option<PathBuf>,
    /// Your list of what was done (date, finding or machine and defect, done,
    /// state), instead of the site file's: every action is tested.
    #[arg(long, value_name = "FILE")]
    actions: Option<PathBuf>,
    /// Page one and the findings alone.
    #[arg(long)]
    short: bool,
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
            actions: None,
            short: false,
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
    let mut site = input::site(args.site.as_deref(), &inputs)?;
    if let Some(actions) = &args.actions {
        site.report.actions = Some(actions.clone());
    }
    let asked = asked(args, &site)?;
    let records = input::records(&args.input, &site, on_reject)?;
    let records = match args.week {
        Some(week) => change::until_week(records, week),
        None => records,
    };
    let target = match &args.out {
        Some(target) => Some(target.clone()),
        None if args.json => None,
        None => {
            let target = Path::new(REPORTS).join(report::period_name(&records, args.week));
            folder::check(&target, existing, &inputs)?;
            Some(target)
        }
    };
    let stages = Stages::default();
    let told = |stage| match stage {
        Stage::Repeats(done, of) if done > 0 => stages.at(done, of),
        other => stages.begin(other.name()),
    };
    let findings = report::find_asked(&records, &site, &asked, &told)?;
    stages.end();
    input::doubts(findings.warnings());
    if let Some(target) = &target {
        let sheets = report::Sheets {
            paper: args.paper.map_or(site.report.paper, site::Paper::from),
            length: if args.short {
                report::Length::Short
            } else {
                report::Length::Full
            },
        };
        stages.begin("pages");
        let files = report::files(&findings, &site, sheets)?;
        stages.end();
        folder::write(target, &files, existing, &inputs)?;
    }
    if args.json {
        let numbers = (&site.report).into();
        out.write_all(report::findings_json(&findings, &numbers).as_bytes())?;
    } else if let Some(target) = &target {
        for line in report::summary(&findings, &site) {
            writeln!(out, "{}", folded(&plain(&line)))?;
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

/// Where reports go by themselves.
const REPORTS: &str = "reports";

/// The last report, what was done, and the week.
fn asked(args: &Report, site: &site::Site) -> Result<report::Asked, Error> {
    let past = args.previous.as_deref().map(Past::read).transpose()?;
    let actions = match &site.report.actions {
        Some(path) => Actions::read(path)?,
        None => Actions::default(),
    };
    for complaint in &actions.complaints {
        super::terminal::tell(&format!("warning: {complaint}"));
    }
    Ok(report::Asked {
        past,
        actions,
        week: args.week,
    })
}
