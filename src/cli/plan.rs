//! `onus plan`.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::builder::NonEmptyStringValueParser;
use clap::{ArgGroup, ValueEnum};

use super::terminal::{folded, plain};
use super::{Error, input};
use crate::records::{OnReject, Records};
use crate::report;
use crate::report::folder::{self, Existing};
use crate::site::Site;
use crate::trial::{self, ChangeRequest, Earlier, Factor, Lots, Never, Open, RecipeRequest};
use crate::trial::{SettleRequest, TrialError};

/// Plan the next trial: a run sheet to fill in and a page for the shop floor.
///
/// A recipe trial moves the settings given by --factor; --settle makes the open
/// rivals of a report meet; --change puts old and new by turns; --follow frees an
/// effect of an earlier plan; --data alone settles what those data leave open. The
/// filled-in sheet is read by `onus report` like any other file.
#[derive(Debug, clap::Args)]
#[command(group(ArgGroup::new("purpose").args(["factor", "settle", "change", "follow", "data"]).required(true).multiple(true)))]
#[command(group(ArgGroup::new("source").args(["from", "data"])))]
pub(super) struct Plan {
    /// A setting and how far it may be moved, such as feed_mm_s=80..140 or
    /// grit=P240,P320; may be given several times. With --settle: the two
    /// settings of a column whose settings the report does not name.
    #[arg(long, value_name = "NAME=SETTINGS", value_parser = factor)]
    factor: Vec<Factor>,
    /// Shape of a recipe trial. Default: two-level, or d-optimal where settings
    /// are forbidden or the runs fit no standard design.
    #[arg(long, requires = "factor")]
    shape: Option<Shape>,
    /// Runs without centre runs; of a central-composite design its corners.
    #[arg(long, requires = "factor")]
    runs: Option<usize>,
    /// How often all runs are run.
    #[arg(long, default_value_t = 1)]
    repeats: usize,
    /// Lots to run it on: how many, or their names parted by commas.
    #[arg(long, value_name = "LOTS", value_parser = lots)]
    lots: Option<Lots>,
    /// Centre runs in each lot, spread over its order. Default: 3, or 2 where
    /// there are several lots.
    #[arg(long)]
    centres: Option<usize>,
    /// Settings that must not be run together, such as
    /// 'feed_mm_s=120..140&force_n=35..40'; may be given several times.
    #[arg(long, value_name = "SETTINGS", requires = "factor", value_parser = never)]
    never: Vec<Never>,
    /// Scatter of removal between panels at one setting, as a share (0.1 = 10 %).
    /// Default: that of the report given by --from, else 0.1.
    #[arg(long, allow_negative_numbers = true)]
    scatter: Option<f64>,
    /// Folder of an earlier two-level plan to follow up.
    #[arg(long, value_name = "DIR", requires = "free", conflicts_with_all = ["factor", "settle", "change"])]
    follow: Option<PathBuf>,
    /// The effect that the follow-up parts from its likes: a factor, or two as in
    /// feed_mm_s,passes.
    #[arg(long, value_name = "EFFECT", requires = "follow")]
    free: Option<String>,
    /// Settle what is open about this finding (F3), this defect, `all`, or the
    /// recipe's `factors` that could not be told apart.
    #[arg(
        long,
        value_name = "FINDING",
        requires = "source",
        conflicts_with = "change"
    )]
    settle: Option<String>,
    /// Folder of the report that left it open.
    #[arg(long, value_name = "REPORT")]
    from: Option<PathBuf>,
    /// Compare old and new by turns, such as recipe=A,B.
    #[arg(long, value_name = "COLUMN=OLD,NEW", requires = "defect", conflicts_with = "factor", value_parser = factor)]
    change: Option<Factor>,
    /// The defect that should come less often.
    #[arg(long, requires = "change", value_parser = NonEmptyStringValueParser::new())]
    defect: Option<String>,
    /// Inspection files, folders or patterns: how it runs now, or what left things
    /// open.
    #[arg(long, value_name = "DATA")]
    data: Vec<PathBuf>,
    /// Marks per panel as it runs now, where there are no data.
    #[arg(
        long,
        requires = "change",
        conflicts_with = "data",
        allow_negative_numbers = true
    )]
    rate: Option<f64>,
    /// Ratio of rates, new over old, that should be shown. Default: the site
    /// file's.
    #[arg(long, allow_negative_numbers = true)]
    ratio: Option<f64>,
    /// Chance to show it. Default: the site file's.
    #[arg(long, allow_negative_numbers = true)]
    power: Option<f64>,
    /// Level of the test that reads the sheet. Default: the report's.
    #[arg(long, allow_negative_numbers = true, conflicts_with = "change")]
    alpha: Option<f64>,
    /// Seed of the order. Default: the site file's, else 1.
    #[arg(long)]
    seed: Option<u64>,
    /// Site file with the site's units and limits. Without it an onus.toml beside
    /// the data or in the working folder is used.
    #[arg(long, value_name = "FILE")]
    site: Option<PathBuf>,
    /// Folder to write; its name is the plan's. Default: below plans/.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Replace the plan that DIR holds, with everything in it.
    #[arg(long)]
    replace: bool,
    /// Print plan.json instead of writing a folder, unless --out is given too.
    #[arg(long)]
    json: bool,
}

/// Shape of a recipe trial.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum Shape {
    /// Each factor low and high: full, or a standard fraction.
    TwoLevel,
    /// Twelve runs for up to eleven factors, each by itself.
    Screening,
    /// Corners, stars and middle, to see how effects bend.
    CentralComposite,
    /// The same without corners, for three to five factors.
    BoxBehnken,
    /// Runs chosen for what they tell: factors and pairs.
    DOptimal,
    /// The same with bends.
    DOptimalCurved,
}

impl From<Shape> for trial::Shape {
    fn from(shape: Shape) -> Self {
        match shape {
            Shape::TwoLevel => trial::Shape::TwoLevel,
            Shape::Screening => trial::Shape::Screening,
            Shape::CentralComposite => trial::Shape::CentralComposite,
            Shape::BoxBehnken => trial::Shape::BoxBehnken,
            Shape::DOptimal => trial::Shape::DOptimal,
            Shape::DOptimalCurved => trial::Shape::DOptimalCurved,
        }
    }
}

fn with_hint<T>(parsed: Result<T, TrialError>) -> Result<T, String> {
    parsed.map_err(|error| match error.hint() {
        Some(hint) => format!("{error}; {hint}"),
        None => error.to_string(),
    })
}

fn factor(text: &str) -> Result<Factor, String> {
    with_hint(text.parse())
}

fn lots(text: &str) -> Result<Lots, String> {
    with_hint(text.parse())
}

fn never(text: &str) -> Result<Never, String> {
    with_hint(text.parse())
}

pub(super) fn run(args: &Plan, out: &mut impl Write) -> Result<(), Error> {
    let existing = if args.replace {
        Existing::Replace
    } else {
        Existing::Keep
    };
    let mut inputs = input::expanded(&args.data);
    inputs.extend(args.from.iter().chain(&args.follow).cloned());
    let target = args.out.clone().unwrap_or_else(|| args.usual_folder());
    let writes = args.out.is_some() || !args.json;
    if writes {
        folder::check(&target, existing, &inputs)?;
    }
    let site = input::site(args.site.as_deref(), &args.data)?;
    let plan = args.plan(&site, &name_of(&target))?;
    if writes {
        let files = report::plan_files(&plan, &site)?;
        folder::write(&target, &files, existing, &inputs)?;
    }
    if args.json {
        out.write_all(report::plan_json(&plan).as_bytes())?;
        return Ok(());
    }
    for line in report::plan_summary(&plan, &site) {
        writeln!(out, "{}", folded(&plain(&line)))?;
    }
    let sheet = target.join("sheet.csv");
    writeln!(out, "{}", plain(&sheet.display().to_string()))?;
    Ok(())
}

/// What stands for the recipe's factors in --settle, and the name of findings that are
/// not written.
const FACTORS: &str = "factors";
const FINDINGS: &str = "findings of the data";

/// The plan's id: the name of its folder.
fn name_of(target: &Path) -> String {
    let name = target.file_name().unwrap_or_default();
    name.to_string_lossy().into_owned()
}

impl Plan {
    fn usual_folder(&self) -> PathBuf {
        let name = match (&self.settle, &self.change, &self.follow) {
            (Some(settle), _, _) => format!("settle-{}", settle.to_lowercase().replace(' ', "-")),
            (_, Some(change), _) => format!("change-{}", change.name),
            (_, _, Some(_)) => "follow-up".to_owned(),
            _ if self.factor.is_empty() => "settle-all".to_owned(),
            _ => "recipe-trial".to_owned(),
        };
        // A name only, whatever was typed.
        Path::new("plans").join(name.replace(['/', '\\', '.'], "-"))
    }

    fn plan(&self, site: &Site, name: &str) -> Result<trial::Plan, Error> {
        let seed = self.seed.unwrap_or(site.analysis.seed);
        let name = name.to_owned();
        let ratio = self.ratio.unwrap_or(site.analysis.ratio_of_interest);
        let power = self.power.unwrap_or(site.analysis.power);
        let records = if self.data.is_empty() {
            None
        } else {
            Some(input::records(&self.data, site, OnReject::Count)?)
        };
        trial::in_range("--scatter", 0.0, 3.0, self.scatter)?;
        trial::in_range("--alpha", 0.0, 0.5, self.alpha)?;
        trial::in_range("--power", 0.0, 1.0, self.power)?;
        trial::in_range("--ratio", 0.0, 1.0, self.ratio)?;
        let settles = match &self.settle {
            None if self.change.is_none() && self.follow.is_none() && self.factor.is_empty() => {
                Some(trial::ALL)
            }
            settle => settle.as_deref(),
        };
        if let Some(settle) = settles {
            return self.settle(settle, records.as_ref(), site, &name);
        }
        if let (Some(change), Some(defect)) = (&self.change, &self.defect) {
            let request = ChangeRequest {
                name,
                column: change.name.clone(),
                values: change.two_values()?,
                defect: defect.clone(),
                marks_per_panel: self.rate,
                ratio,
                power,
                lots: self.lots.clone(),
                seed,
            };
            return Ok(trial::turns(&request, records.as_ref(), site)?);
        }
        let open = self.from.as_deref().map(Open::read).transpose()?;
        let scatter = open.and_then(|open| open.scatter());
        self.recipe(self.factor.clone(), scatter, site, &name)
    }

    /// What a report, or these data, left open.
    fn settle(
        &self,
        settle: &str,
        records: Option<&Records>,
        site: &Site,
        name: &str,
    ) -> Result<trial::Plan, Error> {
        let open = match (&self.from, records) {
            (Some(from), _) => Open::read(from)?,
            (None, Some(records)) => {
                let findings = report::find(records, site);
                let json = report::findings_json(&findings, &(&site.report).into());
                Open::parse(json.as_bytes(), PathBuf::from(FINDINGS))?
            }
            (None, None) => return Err(TrialError::NoPanels.into()),
        };
        let request = SettleRequest {
            name: name.to_owned(),
            settle: settle.to_owned(),
            factors: self.factor.clone(),
            lots: self.lots.clone(),
            alpha: self.alpha,
            power: self.power.unwrap_or(site.analysis.power),
            ratio: self.ratio.unwrap_or(site.analysis.ratio_of_interest),
            seed: self.seed.unwrap_or(site.analysis.seed),
        };
        let recipe_only = settle == trial::ALL && !open.asks() && !open.factors().is_empty();
        if settle == FACTORS || recipe_only {
            let (factors, notes) = trial::factors_left(&open, &self.factor, records, site)?;
            let mut plan = self.recipe(factors, open.scatter(), site, name)?;
            plan.notes.extend(notes);
            return Ok(plan);
        }
        Ok(trial::settle(&request, &open, site)?)
    }

    /// A recipe trial of these factors, or a follow-up.
    fn recipe(
        &self,
        factors: Vec<Factor>,
        scatter: Option<f64>,
        site: &Site,
        name: &str,
    ) -> Result<trial::Plan, Error> {
        let follow = match (&self.follow, &self.free) {
            (Some(folder), Some(effect)) => Some((Earlier::load(folder)?, effect.clone())),
            _ => None,
        };
        let request = RecipeRequest {
            name: name.to_owned(),
            factors,
            shape: self.shape.map(trial::Shape::from),
            runs: self.runs,
            repeats: self.repeats,
            lots: self.lots.clone().unwrap_or(Lots::Count(1)),
            centres: self.centres,
            never: self.never.clone(),
            follow,
            scatter: self.scatter.or(scatter),
            seed: self.seed.unwrap_or(site.analysis.seed),
        };
        Ok(trial::recipe(&request, site)?)
    }
}
