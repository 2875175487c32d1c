//! `onus compare`.

use std::io::Write;
use std::path::PathBuf;

use jiff::civil::Date;
use serde_json::json;

use super::terminal::{aligned, folded, plain};
use super::{Error, input};
use crate::change::{self, Changes, Comparison, Pick, Selection, Settings, Sides, Window};
use crate::charts::NumberStyle;
use crate::records::OnReject;
use crate::report::folder::{self, Existing};
use crate::report::{self, words::changes as words};

/// Compare defects and removal before and after a change.
///
/// The sides are picked by `--before` and `--after` (all conditions of a side
/// must hold), by the day of the change, or by the abrasive it came with.
#[derive(Debug, clap::Args)]
pub(super) struct Compare {
    /// Inspection files, folders (searched with all folders in them) or
    /// patterns such as 'inspections/*.csv'.
    #[arg(required = true, value_name = "DATA")]
    input: Vec<PathBuf>,
    /// Panels before the change, such as recipe=A; may be given several times. A
    /// column may go by the files' header, which takes a number in their unit; with
    /// our name, mm/s and N hold unless a unit stands behind it: feed_mm_s=7m/min.
    #[arg(long, value_name = "COLUMN=VALUE", required_unless_present_any = ["since", "since_abrasive"])]
    before: Vec<Pick>,
    /// Panels after the change, such as recipe=B; may be given several times.
    #[arg(long, value_name = "COLUMN=VALUE", required_unless_present_any = ["since", "since_abrasive"])]
    after: Vec<Pick>,
    /// First day of the change; panels sanded that day count as after.
    #[arg(long, value_name = "YYYY-MM-DD", conflicts_with_all = ["before", "after"], value_parser = day)]
    since: Option<Date>,
    /// The change came with this abrasive (abrasive_id), machine by machine.
    #[arg(long, value_name = "ID", conflicts_with_all = ["before", "after", "since"])]
    since_abrasive: Option<String>,
    /// Only panels sanded on this day or later.
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = day)]
    from: Option<Date>,
    /// Only panels sanded on this day or earlier.
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = day)]
    until: Option<Date>,
    /// Only panels of both sides for which this holds; may be given several times.
    #[arg(long, value_name = "COLUMN=VALUE")]
    only: Vec<Pick>,
    /// Only this kind of defect, named before looking: it need not share the
    /// level of the test with the others; may be given several times.
    #[arg(long, value_name = "DEFECT")]
    on: Vec<String>,
    /// Site file with the site's columns, units, names and limits.
    #[arg(long, value_name = "FILE")]
    site: Option<PathBuf>,
    /// Stop if anything was rejected on reading.
    #[arg(long)]
    strict: bool,
    /// Write the comparison as a folder like a report: PDF, HTML, charts, JSON.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Replace the report that DIR holds, with everything in it.
    #[arg(long, requires = "out")]
    replace: bool,
    /// Print the results as JSON; `changes` is that of findings.json.
    #[arg(long)]
    json: bool,
}

pub(super) fn run(args: &Compare, out: &mut impl Write) -> Result<(), Error> {
    let on_reject = if args.strict {
        OnReject::Stop
    } else {
        OnReject::Count
    };
    let site = input::site(args.site.as_deref(), &args.input)?;
    let records = input::records(&args.input, &site, on_reject)?;
    input::doubts(records.warnings.iter());
    let changes = change::compare(&records, &args.selection(), &Settings::from(&site.analysis))?;
    if let Some(target) = &args.out {
        let existing = if args.replace {
            Existing::Replace
        } else {
            Existing::Keep
        };
        let inputs = input::expanded(&args.input);
        let sheets = report::Sheets {
            paper: site.report.paper,
            ..report::Sheets::default()
        };
        let files = report::comparison_files(&records, changes.clone(), &site, sheets)?;
        folder::write(target, &files, existing, &inputs)?;
    }
    if args.json {
        out.write_all(as_json(&changes).as_bytes())?;
    } else {
        let numbers = NumberStyle::from(&site.report);
        for comparison in &changes.comparisons {
            out.write_all(table(comparison, &changes, &numbers).as_bytes())?;
        }
    }
    out.flush()?;
    Ok(())
}

impl Compare {
    fn selection(&self) -> Selection {
        let sides = match (&self.since, &self.since_abrasive) {
            (Some(day), _) => Sides::Since(*day),
            (None, Some(id)) => Sides::Abrasive(id.clone()),
            (None, None) => Sides::Values {
                before: self.before.clone(),
                after: self.after.clone(),
            },
        };
        Selection {
            sides,
            only: self.only.clone(),
            window: Window {
                from: self.from,
                until: self.until,
            },
            on: self.on.clone(),
        }
    }
}

fn day(text: &str) -> Result<Date, change::ChangeError> {
    text.parse().map_err(|_| change::ChangeError::NotADay {
        text: text.to_owned(),
    })
}

fn as_json(changes: &Changes) -> String {
    let comparison = changes.comparisons.first();
    report::rounded_json(&json!({
        "question": comparison.map(|c| &c.question),
        "strata": comparison.map(|c| &c.strata),
        "confounded_with": comparison.map(|c| &c.confounded_with),
        "notes": comparison.map(|c| &c.notes),
        "tests": changes.tests,
        "changes": changes,
        "removal": comparison.map(|c| &c.removal),
    }))
}

/// The comparison as text of aligned columns.
fn table(comparison: &Comparison, changes: &Changes, numbers: &NumberStyle) -> String {
    let (before, after) = words::sides(&comparison.question, numbers);
    let mut rows = vec![
        [
            "",
            "before",
            "after",
            "ratio",
            "95 % interval",
            "p adjusted",
            "verdict",
        ]
        .map(String::from),
    ];
    if let Some(ci) = comparison.changes.iter().find_map(|c| c.ratio_ci) {
        rows[0][4] = format!("{} interval", numbers.percent(ci.level, 100));
    }
    for change in &comparison.changes {
        let counts = |c: &change::Counts| {
            format!(
                "{} on {}",
                numbers.count(c.defects),
                numbers.count(c.panels)
            )
        };
        rows.push([
            change.defect.clone(),
            counts(&change.before),
            counts(&change.after),
            words::ratio(change.ratio, numbers),
            words::interval(change, numbers),
            words::p_value(change.p_adjusted, numbers),
            words::verdict_in_full(change, numbers),
        ]);
    }
    for removal in &comparison.removal {
        let (before, after) = words::removal_values(removal, numbers);
        let estimate = removal.estimate;
        rows.push([
            words::measure(removal.measure).to_owned(),
            before,
            after,
            words::ratio(estimate.and_then(|e| e.ratio), numbers),
            estimate.map_or("–".to_owned(), |e| {
                words::ratio_interval(e.ratio_ci.low, e.ratio_ci.high, numbers)
            }),
            words::p_value(removal.p_adjusted, numbers),
            words::spread_in_full(removal, numbers),
        ]);
    }
    let rows: Vec<_> = (rows.into_iter())
        .map(|row| row.map(|cell| plain(&cell)))
        .collect();
    let told = |text: String| folded(&plain(&text)) + "\n";
    let mut text = told(format!(
        "{}\n\nbefore: {before}\nafter:  {after}\n",
        words::summary(comparison, numbers)
    ));
    text += &aligned(&rows);
    text.push('\n');
    text += &told(format!(
        "Counts are defects on panels. {} {}",
        words::strata(comparison, numbers),
        words::tests(changes, numbers).unwrap_or_default()
    ));
    for note in words::notes(comparison, numbers) {
        text += &told(format!("- {note}"));
    }
    text
}
