//! Why no sheet can be written.

/// A trial that can't be planned as asked.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum TrialError {
    /// A factor that is not written as such.
    #[error("{text}: not a factor with its settings")]
    NotAFactor {
        /// What was given.
        text: String,
    },
    /// A factor that no file has.
    #[error("{name}: not a setting that can be planned")]
    UnknownFactor {
        /// What was given.
        name: String,
        /// The nearest that is known.
        near: Option<String>,
    },
    /// A factor that would not change.
    #[error("{name}: has one level only, so the trial would not move it")]
    OneLevel {
        /// The factor.
        name: String,
    },
    /// A factor given twice.
    #[error("{name}: given twice")]
    Twice {
        /// The factor.
        name: String,
    },
    /// The site's limits leave nothing of a range.
    #[error("{name}: the limits of the site leave nothing of {low} to {high}")]
    LimitsLeaveNothing {
        /// The factor.
        name: String,
        /// Asked for.
        low: f64,
        /// Asked for.
        high: f64,
        /// What the site allows, in words.
        allowed: String,
    },
    /// A setting that the site does not allow.
    #[error("{name}: {value} is outside the limits of the site")]
    OutsideLimits {
        /// The column.
        name: String,
        /// As asked for.
        value: f64,
        /// What the site allows, in words.
        allowed: String,
    },
    /// A setting outside what is usual that the site's limits don't name.
    #[error("{name} {value} is outside what is usual ({low} to {high})")]
    OutsideUsual {
        /// The column.
        name: String,
        /// As asked for.
        value: f64,
        /// The least that is usual.
        low: f64,
        /// The most.
        high: f64,
    },
    /// What must not be run together leaves too little.
    #[error("what must not be run together leaves {left} settings, too few to tell all factors")]
    CutsLeaveNothing {
        /// Settings left.
        left: usize,
    },
    /// Nothing to run.
    #[error("a trial of no panels tells nothing")]
    NoPanels,
    /// More unknowns than runs.
    #[error("{factors} factors in {runs} runs: more unknowns than runs")]
    TooFewRuns {
        /// Factors.
        factors: usize,
        /// Runs asked for.
        runs: usize,
        /// The least that would do.
        least: usize,
    },
    /// A shape has no such number of factors or runs.
    #[error("{shape} designs have no {runs} runs for {factors} factors")]
    NotOffered {
        /// The shape in words.
        shape: &'static str,
        /// Factors.
        factors: usize,
        /// Runs asked for, or 0 where none were.
        runs: usize,
        /// Runs that there are; empty where the factors are too many or few.
        offered: Vec<usize>,
    },
    /// Whole numbers with nothing in between, where effects bend.
    #[error("{name}: no setting between {low} and {high}, and a {shape} design needs one")]
    NothingBetween {
        /// The factor.
        name: String,
        /// Its ends.
        low: f64,
        /// See `low`.
        high: f64,
        /// The shape in words.
        shape: &'static str,
    },
    /// A shape that needs numbers.
    #[error("{name}: has named levels, and a {shape} design needs numbers")]
    NeedsNumbers {
        /// The factor.
        name: String,
        /// The shape in words.
        shape: &'static str,
    },
    /// The runs can't be shared out between the lots.
    #[error("{runs} runs can't be shared out to {lots} lots without hiding a factor")]
    LotsDontDivide {
        /// Runs.
        runs: usize,
        /// Lots.
        lots: usize,
    },
    /// An earlier plan can't be read.
    #[error("{path}: not a plan of onus that can be followed up: {why}")]
    NotAPlan {
        /// The file.
        path: String,
        /// Why.
        why: String,
    },
    /// An effect that is not of the plan, or that no follow-up frees.
    #[error("{effect}: {why}")]
    NoSuchEffect {
        /// As it was given.
        effect: String,
        /// Why.
        why: String,
    },
    /// A report can't be read.
    #[error("{}: not the findings of a report: {why}", path.display())]
    NotAReport {
        /// The file.
        path: std::path::PathBuf,
        /// Why.
        why: String,
    },
    /// A finding that the report doesn't have.
    #[error("{id}: the report has no such finding")]
    UnknownFinding {
        /// As it was given.
        id: String,
        /// What there is.
        known: Vec<String>,
    },
    /// Nothing is open that panels could settle.
    #[error("{id}: nothing is open that a trial could settle")]
    NothingToSettle {
        /// As it was given.
        id: String,
        /// Rivals that are open and that no run sheet settles.
        rivals: Vec<String>,
    },
    /// It would take too many panels.
    #[error("it takes more than {most} panels, the most that are planned")]
    TooManyPanels {
        /// The most that are planned.
        most: usize,
    },
    /// A share or ratio out of range.
    #[error("{what} must lie between {low} and {high}, and is {value}")]
    OutOfRange {
        /// What.
        what: &'static str,
        /// From here.
        low: f64,
        /// To here.
        high: f64,
        /// As given.
        value: f64,
    },
    /// A change that does not name two values.
    #[error("{text}: not a change from one value to another")]
    NotAChange {
        /// As given.
        text: String,
    },
    /// The records hold no such defect.
    #[error("{defect}: no such defect in the records")]
    NoSuchDefect {
        /// As given.
        defect: String,
        /// What there is.
        known: Vec<String>,
    },
    /// The model can't say how many panels it takes.
    #[error("{panels} panels say too little about {defect} to count the panels of a trial")]
    NoPanelsSaid {
        /// The defect.
        defect: String,
        /// Panels seen.
        panels: usize,
    },
    /// Settings that the report does not name.
    #[error("{}: the report does not name two settings of it to try", columns.join(", "))]
    LevelsMissing {
        /// The columns.
        columns: Vec<String>,
    },
    /// The numbers failed.
    #[error("the design could not be worked out")]
    Numbers,
}

/// Whether a number given lies strictly between two others.
///
/// # Errors
///
/// [`TrialError::OutOfRange`].
pub fn in_range(
    what: &'static str,
    low: f64,
    high: f64,
    value: Option<f64>,
) -> Result<(), TrialError> {
    match value {
        Some(value) if !(value > low && value < high) => Err(TrialError::OutOfRange {
            what,
            low,
            high,
            value,
        }),
        _ => Ok(()),
    }
}

impl TrialError {
    /// What to do next.
    #[must_use]
    pub fn hint(&self) -> Option<String> {
        Some(match self {
            Self::NotAFactor { .. } => {
                "write --factor feed_mm_s=80..140 for a range, --factor grit=P240,P320 for levels".into()
            }
            Self::UnknownFactor { near, .. } => match near {
                Some(near) => format!("did you mean {near}?"),
                None => "`onus columns` lists the columns; further factors stand under [factors] in onus.toml".into(),
            },
            Self::OneLevel { name } => {
                format!("give two different settings: {name}=LOW..HIGH or {name}=ONE,OTHER")
            }
            Self::Twice { name } => format!("give {name} once"),
            Self::LimitsLeaveNothing { name, allowed, .. } => {
                format!("the site allows {name} {allowed}: choose a range inside it")
            }
            Self::OutsideLimits { name, allowed, .. } => {
                format!("the site allows {name} {allowed}")
            }
            Self::OutsideUsual {
                name, value, low, high,
            } => {
                let (low, high) = (low.min(*value), high.max(*value));
                format!(
                    "is the unit right? Where the manuals of machine, pad and abrasive allow it, write {name} = {{ low = {low}, high = {high} }} under [recipe.limits] in onus.toml"
                )
            }
            Self::CutsLeaveNothing { .. } => {
                "let --never forbid less, or give wider ranges".into()
            }
            Self::NoPanels => "give at least four runs, one repeat, one lot".into(),
            Self::TooFewRuns { least, .. } => format!("give --runs {least} or more, or fewer factors"),
            Self::NotOffered { offered, .. } if offered.is_empty() => {
                "change the number of factors, or take --shape d-optimal".into()
            }
            Self::NotOffered { offered, .. } => format!(
                "give --runs {}, or take --shape d-optimal",
                offered.iter().map(usize::to_string).collect::<Vec<_>>().join(" or ")
            ),
            Self::NeedsNumbers { .. } => {
                "take --shape two-level or d-optimal, or leave the factor at one setting".into()
            }
            Self::NothingBetween { name, .. } => {
                format!("give {name} a wider range, or take --shape two-level or d-optimal")
            }
            Self::LotsDontDivide { lots, .. } => {
                format!("give --repeats {lots}: then every lot gets all runs")
            }
            Self::NotAPlan { .. } => "give --follow the folder of an earlier plan of two-level runs, with its plan.json".into(),
            Self::NoSuchEffect { .. } => {
                "name a factor of the plan, or two as in --free feed_mm_s,passes".into()
            }
            Self::NotAReport { .. } => "give --from the folder of a report, with its findings.json".into(),
            Self::UnknownFinding { known, .. } if known.is_empty() => {
                "the report has no findings; --settle all takes its streams".into()
            }
            Self::UnknownFinding { known, .. } => format!("there are {}, or all", known.join(", ")),
            Self::NothingToSettle { rivals, .. } if rivals.is_empty() => {
                "all rivals were met and beaten".into()
            }
            Self::NothingToSettle { rivals, .. } => {
                format!("open is {}: the report's next check says what would settle it", rivals.join(", "))
            }
            Self::TooManyPanels { .. } => {
                "look for a larger difference (--ratio), ask for less (--repeats, --centres, --power), or take a setting at which it comes more often".into()
            }
            Self::OutOfRange { .. } => return None,
            Self::NotAChange { .. } => "write --change recipe=OLD,NEW".into(),
            Self::NoSuchDefect { known, .. } => format!("there are {}", known.join(", ")),
            Self::NoPanelsSaid { .. } => {
                "give --rate, the marks per panel as it runs now, instead of the data".into()
            }
            Self::LevelsMissing { columns } => {
                let each = columns.iter().map(|c| format!("--factor {c}=ONE,OTHER"));
                format!("say which: {}", each.collect::<Vec<_>>().join(" "))
            }
            Self::Numbers => "this is a fault of onus; the message helps to mend it".into(),
        })
    }

    /// Whether what was typed is wrong in itself, whatever site and report say.
    #[must_use]
    pub fn is_usage(&self) -> bool {
        matches!(
            self,
            Self::NotAFactor { .. }
                | Self::UnknownFactor { .. }
                | Self::OneLevel { .. }
                | Self::Twice { .. }
                | Self::NoPanels
                | Self::TooFewRuns { .. }
                | Self::NotOffered { .. }
                | Self::NeedsNumbers { .. }
                | Self::NothingBetween { .. }
                | Self::LotsDontDivide { .. }
                | Self::OutOfRange { .. }
                | Self::NotAChange { .. }
        )
    }
}
