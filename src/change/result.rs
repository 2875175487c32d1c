//! What a comparison says: plain structs, written to JSON as they are.

use serde::Serialize;

use super::assess::Fits;
use super::doubts::{Confounder, Note};
use super::rivals::Rival;
use crate::site::DefectClass;
use crate::stats::Interval;

/// All comparisons of a run; `tests` counts every test that was made.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Changes {
    /// One per change, in time order.
    pub comparisons: Vec<Comparison>,
    /// How many tests were made over all comparisons. The kinds of one comparison
    /// share its level (Holm), and so do its measures of removal.
    pub tests: usize,
}

/// The comparisons' items one after the other: the `changes` of `findings.json`.
impl Serialize for Changes {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_seq(self.comparisons.iter().flat_map(|c| c.changes.iter()))
    }
}

/// One change: what was compared, and what came of every kind of defect.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Comparison {
    /// What is compared with what.
    pub question: Question,
    /// One per kind of defect, in the order of the names.
    pub changes: Vec<Change>,
    /// Removal: its mean, its spread from panel to panel and within panels, as
    /// far as readings carry it.
    pub removal: Vec<RemovalChange>,
    /// What the estimate allows for.
    pub strata: StratumUse,
    /// What else changed with it.
    pub confounded_with: Vec<Confounder>,
    /// Doubts that concern all kinds.
    pub notes: Vec<Note>,
    /// Whether old and new took turns.
    #[serde(skip)]
    pub(super) by_turns: bool,
}

/// What is compared with what.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "by")]
pub enum Question {
    /// Panels that match one set of `column=value` against another.
    Values {
        /// All of these hold on the before side.
        before: Vec<(String, String)>,
        /// All of these hold on the after side.
        after: Vec<(String, String)>,
    },
    /// Panels sanded on or after a day against those sanded earlier.
    Since {
        /// First day of the change, `YYYY-MM-DD`.
        day: String,
        /// What else holds for panels of both sides.
        only: Vec<(String, String)>,
    },
    /// From the first panel on an abrasive against the panels before it.
    Abrasive {
        /// `abrasive_id` of the new abrasive.
        id: String,
        /// What else holds for panels of both sides.
        only: Vec<(String, String)>,
    },
    /// A change of `recipe` found in the time order of a machine's panels.
    Recipe {
        /// Machine, where recorded.
        machine: Option<String>,
        /// Head, where recorded.
        head: Option<String>,
        /// Recipe before.
        from: String,
        /// Recipe after.
        to: String,
        /// First panel on the new recipe.
        first_panel: String,
        /// How often panels went from one to the other or back: in turns from three on.
        turns: usize,
        /// Whether it is known which of the two is the old one.
        old: Old,
    },
    /// Old and new of a plan, by turns.
    Plan {
        /// Id of the plan.
        plan: String,
        /// What changes.
        column: String,
        /// Its old setting.
        old: String,
        /// Its new setting.
        new: String,
    },
    /// An ISO week against the weeks before it.
    Week {
        /// `YYYY-Www`.
        week: String,
    },
}

/// Whether it is known which of two recipes is the old one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Old {
    /// It ran first.
    Known,
    /// They took turns from the start, and no plan says which is the old one: the two
    /// differ or don't, and none helped or hurt.
    NotKnown,
}

impl Question {
    /// Whether the sides are an old and a new one.
    #[must_use]
    pub fn has_old(&self) -> bool {
        !matches!(
            self,
            Self::Recipe {
                old: Old::NotKnown,
                ..
            }
        )
    }
}

/// Before or after the change.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Side {
    /// Before.
    Before,
    /// After.
    After,
}

/// What a comparison would have to rest on if it went on as the records went.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Needed {
    /// Panels in all, shared between the sides like the present ones.
    pub panels: usize,
    /// Lots that these panels come from, filled like the present ones; none
    /// where lots are not recorded.
    pub lots: Option<usize>,
    /// Days on which they are sanded, filled like the present ones.
    pub days: usize,
    /// The unit that is short: where it is days, lots or runs, more panels of
    /// the same ones would not do instead.
    pub short_of: Unit,
    /// The same with old and new by turns; none where it can't be said.
    pub alternating: Option<Alternating>,
}

/// Panels in all if old and new alternate in blocks inside every lot and day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Alternating {
    /// Panels in all, half on either side.
    pub panels: usize,
    /// Panels of a block.
    pub block_panels: usize,
}

/// What was counted on one side.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Counts {
    /// Panels inspected.
    pub panels: usize,
    /// Defects of the kind.
    pub defects: usize,
    /// Panels with at least one.
    pub panels_hit: usize,
    /// Area inspected, m².
    pub area_m2: f64,
}

/// One kind of defect, before against after.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Change {
    /// The defect's name.
    pub defect: String,
    /// Its class, where known.
    pub class: Option<DefectClass>,
    /// What is compared with what.
    pub question: Question,
    /// All panels before, whether or not they enter the stratified ratio.
    pub before: Counts,
    /// All panels after.
    pub after: Counts,
    /// Rates per m² over all panels, after over before; none without defects before.
    pub crude_ratio: Option<f64>,
    /// Rates per m², after over before, with lots, days and what else varies
    /// allowed for; none without defects before.
    pub ratio: Option<f64>,
    /// Its interval, holding with those of the other kinds of the comparison
    /// jointly at the level: it leaves out 1 exactly where `p_adjusted` is at most
    /// 1 − level. An infinite upper limit is `null` in JSON.
    pub ratio_ci: Option<Interval>,
    /// Two-sided p-value of ratio 1.
    pub p: Option<f64>,
    /// `p` adjusted for all kinds of the comparison (Holm 1979).
    pub p_adjusted: Option<f64>,
    /// The ratio among panels alike in everything recorded, as a check; none
    /// where none were sanded both ways.
    pub matched_ratio: Option<f64>,
    /// How interval and test came about.
    pub method: Option<Method>,
    /// Whether the opposite class got worse; none where no kind of the opposite
    /// class is in the records.
    pub opposite: Option<Margin>,
    /// The answer.
    pub verdict: Verdict,
    /// Columns of what else changed, where that is why nothing can be said.
    pub confounded_with: Vec<Confounder>,
    /// Panels in all, in lots like these and shared between the sides like
    /// these, that would show the ratio of interest; none where it can't be said.
    pub panels_needed: Option<usize>,
    /// The same if old and new alternate in blocks inside every lot and day.
    pub panels_needed_alternating: Option<usize>,
    /// Panels of such a block.
    pub block_panels: Option<usize>,
    /// How far lots, days and panels differ.
    pub scatter: Option<Scatter>,
    /// Counts by lot, in time order of the lots' first panels.
    pub by_lot: Vec<LotCounts>,
    /// Doubts about this kind.
    pub notes: Vec<Note>,
    /// The same with lots and days.
    pub needed: Option<Needed>,
    /// What interval and `needed` are worked out from.
    #[serde(skip)]
    pub(super) fits: Option<Fits>,
    /// What time may have done instead, the best last, with what it says.
    #[serde(skip)]
    pub(super) rivals: Vec<(Note, Rival)>,
}

/// A ratio with interval and test.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Estimate {
    /// After over before; none without a before.
    pub ratio: Option<f64>,
    /// Its interval.
    pub ratio_ci: Interval,
    /// Two-sided p-value of ratio 1, agreeing with the interval.
    pub p: f64,
}

/// Counts of one lot on one machine.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LotCounts {
    /// The lot; none where panels have none.
    pub lot: Option<String>,
    /// Before.
    pub before: Counts,
    /// After.
    pub after: Counts,
}

/// Removal, before against after.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RemovalChange {
    /// What is compared.
    pub measure: Measure,
    /// Panels measured before.
    pub panels_before: usize,
    /// Panels measured after.
    pub panels_after: usize,
    /// Mean of the measure before, µm.
    pub before_um: f64,
    /// Mean of the measure after, µm.
    pub after_um: f64,
    /// After over before, its interval joint with those of the other measures;
    /// none where it can't be formed.
    pub estimate: Option<Estimate>,
    /// Adjusted for all measures of the comparison (Holm 1979).
    pub p_adjusted: Option<f64>,
    /// Whether it moved.
    pub verdict: Spread,
    /// Panels, lots and days that would show the ratio of interest, where there
    /// are too few.
    pub needed: Option<Needed>,
    /// What interval and `needed` are worked out from.
    #[serde(skip)]
    pub(super) fits: Option<Fits>,
    /// Columns of what else changed, where that is why nothing can be said.
    pub confounded_with: Vec<Confounder>,
}

/// What of the removal is compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Measure {
    /// Mean of the panel means.
    Mean,
    /// Mean distance of panels' means from those before them of the same lot, side
    /// and, where panels of a lot share days, day: spread from panel to panel.
    BetweenPanels,
    /// Mean of the standard deviations within a panel.
    WithinPanel,
}

/// What can be said of a removal measure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Spread {
    /// Less of it after.
    #[serde(rename = "less")]
    Less,
    /// More of it after.
    #[serde(rename = "more")]
    More,
    /// No difference shown, and one of interest is left out by the interval.
    #[serde(rename = "no difference shown")]
    NoDifferenceShown,
    /// The interval holds both no difference and one of interest.
    #[serde(rename = "too few panels")]
    TooFewPanels,
    /// Something else changed with it.
    #[serde(rename = "not identifiable")]
    NotIdentifiable,
}

/// The answer for a kind of defect.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
pub enum Verdict {
    /// Fewer defects, adjusted for all tests, and the opposite class not worse.
    #[serde(rename = "helped")]
    Helped,
    /// More defects, adjusted for all tests.
    #[serde(rename = "hurt")]
    Hurt,
    /// No difference shown although one of interest would have been.
    #[serde(rename = "no difference shown")]
    NoDifferenceShown,
    /// One of two recipes has fewer, adjusted for all tests; which is the old one is
    /// not known.
    #[serde(rename = "differs")]
    Differs,
    /// Neither a difference nor its absence is shown.
    #[serde(rename = "too few panels")]
    TooFewPanels,
    /// Something else changed with it.
    #[serde(rename = "not identifiable")]
    NotIdentifiable,
}

/// Non-inferiority of the opposite class.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Margin {
    /// The opposite class.
    pub class: DefectClass,
    /// Ratio of its rates; none without defects before.
    pub ratio: Option<f64>,
    /// One-sided upper limit at the level of the report.
    pub upper: f64,
    /// The margin that the limit must stay below.
    pub margin: f64,
    /// Whether it does.
    pub holds: bool,
    /// Panels on both sides together that would show it with the chance of the
    /// settings if the opposite class is in truth unchanged; none where it holds
    /// or can't be told.
    pub panels_needed: Option<usize>,
    /// What that is worked out from.
    #[serde(skip)]
    pub(super) fits: Fits,
}

/// How interval and test came about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Method {
    /// Exact conditional test, twice the smaller tail: few marks.
    ExactConditional,
    /// Log-linear model with lots and days as random effects.
    Mixed,
}

/// A unit that can be short.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Unit {
    /// Panels.
    Panels,
    /// Days.
    Days,
    /// Lots.
    Lots,
}

/// How far units differ, as standard deviations of ln rate; none where they are
/// not recorded.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Scatter {
    /// Variance of panels of the same mean μ beyond that of single marks, over μ².
    pub panels: f64,
    /// Between days.
    pub days: Option<f64>,
    /// Between lots.
    pub lots: Option<f64>,
    /// How much a day's rate resembles that of the day before, where days differ, 0..1.
    pub day_memory: Option<f64>,
}

/// What the estimate allows for, and how many panels alike in all of it were
/// sanded both ways.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize)]
pub struct StratumUse {
    /// Columns whose values the estimate allows for.
    pub by: Vec<String>,
    /// Groups of panels alike in these that carry both sides.
    pub strata: usize,
    /// Lots that carry both sides.
    pub lots: usize,
    /// Panels before in these groups.
    pub panels_before: usize,
    /// Panels after in these groups.
    pub panels_after: usize,
}
