//! What the room returns: terms, what cannot be told apart, risks, windows,
//! advice and diagnostics.

use serde::{Serialize, Serializer};

use super::doubts::Note;
use super::setting::Value;
use super::settings::Obstacle;
use crate::site::DefectClass;
use crate::stats::Interval;

/// A factor of the recipe, or of the panel's way through the cell, that a
/// model may hold.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Factor {
    /// Feed speed, mm/s.
    Feed,
    /// Passes over the surface.
    Passes,
    /// Exposure, passes / feed: what feed and passes do together.
    Exposure,
    /// Contact force, N.
    Force,
    /// Grit as categories.
    Grit,
    /// Grain size, µm, where three or more grits of a known scale were used.
    Grain,
    /// Panels sanded on the abrasive before.
    AbrasiveAge,
    /// One of the first panels on an abrasive.
    FreshAbrasive,
    /// Name of the recipe, where no factor behind it is recorded.
    Recipe,
    /// Machine and head.
    Cell,
    /// Part number or design.
    Part,
    /// Length and width of the panel.
    Size,
    /// Who or what measured.
    Inspector,
    /// Hour of the day.
    Hour,
    /// A further factor of the site file.
    Site(String),
}

impl Factor {
    /// As `findings.json` spells it.
    #[must_use]
    pub fn name(&self) -> &str {
        match self {
            Self::Feed => "feed_mm_s",
            Self::Passes => "passes",
            Self::Exposure => "passes/feed_mm_s",
            Self::Force => "force_n",
            Self::Grit => "grit",
            Self::Grain => "grain_um",
            Self::AbrasiveAge => "abrasive_age",
            Self::FreshAbrasive => "fresh_abrasive",
            Self::Recipe => "recipe",
            Self::Cell => "machine",
            Self::Part => "part",
            Self::Size => "size",
            Self::Inspector => "inspector",
            Self::Hour => "hour",
            Self::Site(name) => name,
        }
    }

    /// Whether it is there to be allowed for and is not part of the recipe.
    #[must_use]
    pub fn is_allowed_for(&self) -> bool {
        matches!(
            self,
            Self::Cell | Self::Part | Self::Size | Self::Inspector | Self::Hour
        )
    }

    /// The exponent that the trade's law gives for removal: depth grows with
    /// force, with the number of passes and with 1 / feed.
    ///
    /// Source: Preston (1927), J. Soc. Glass Technol. 11, 214, integrated over
    /// a pad that travels at the feed speed.
    #[must_use]
    pub fn theory(&self) -> Option<f64> {
        match self {
            Self::Feed => Some(-1.0),
            Self::Passes | Self::Exposure | Self::Force => Some(1.0),
            _ => None,
        }
    }
}

impl Serialize for Factor {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.name())
    }
}

/// What was counted as one independent setting of a factor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Unit {
    /// Panels, with lots, days and stretches of one setting as random effects.
    Mixed,
    /// Stretches of panels at one setting.
    Run,
    /// Days.
    Day,
    /// Incoming lots.
    Lot,
    /// Lives of an abrasive.
    Life,
}

/// One coefficient of a model.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Term {
    /// Its factor.
    pub factor: Factor,
    /// The power of the factor: removal (or the rate) goes with factor^exponent.
    /// None for a level, and for a factor that has values ≤ 0.
    pub exponent: Option<f64>,
    /// Interval of the exponent; none where the factor was set too few times
    /// to give one.
    pub ci: Option<Interval>,
    /// The trade's law, where it names a value.
    pub theory: Option<f64>,
    /// For a level: which.
    pub level: Option<String>,
    /// For a level: compared with which.
    pub against: Option<String>,
    /// For a level, a worn abrasive or a factor without a power: removal (or
    /// the rate) at the level, at the oldest age or at one unit more, over
    /// that at `against`, when fresh or at one unit less.
    pub ratio: Option<f64>,
    /// Interval of the ratio.
    pub ratio_ci: Option<Interval>,
    /// Two-sided, of no effect; none where no interval is given.
    pub p_value: Option<f64>,
    /// Standard error of the coefficient, on the log scale.
    pub std_error: Option<f64>,
    /// Degrees of freedom of the interval, cluster-aware.
    pub dof: Option<f64>,
    /// What was counted as one setting.
    pub unit: Unit,
    /// Variance inflation: 1 where the factor moves by itself.
    pub vif: Option<f64>,
}

/// Factors that these data cannot tell apart, or one that never changed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Alias {
    /// The factors; one alone never changed.
    pub factors: Vec<Factor>,
    /// Share of the first factor's movement that the others explain, 0..1.
    pub r_squared: Option<f64>,
    /// Condition number of the factors, scaled: 1 where they move
    /// independently, above 30 hopeless.
    pub condition: Option<f64>,
    /// What can still be told: their effect together, from one end of their
    /// common movement to the other.
    pub together: Option<Together>,
}

/// The effect of factors that only ever moved together.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Together {
    /// Each factor's value at the low and at the high end of the movement, as
    /// seen on the panels there.
    pub ends: Vec<(Factor, Value, Value)>,
    /// Removal at the high end over that at the low end.
    pub ratio: f64,
    /// Its interval.
    pub ratio_ci: Option<Interval>,
}

/// Two factors whose effects depend on each other.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Interaction {
    /// The two.
    pub factors: [Factor; 2],
    /// For a level of the second: which.
    pub level: Option<String>,
    /// Change of the first's exponent per unit of the second (its logarithm,
    /// or its level).
    pub estimate: f64,
    /// Its interval.
    pub ci: Option<Interval>,
    /// Two-sided, times the number of pairs looked at.
    pub p_adjusted: f64,
}

/// How worn abrasives cut.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Wear {
    /// Panels after which half of the decay to the plateau is done; none where
    /// the decay runs evenly over the ages seen, without a plateau.
    pub half_life_panels: Option<f64>,
    /// Oldest age seen.
    pub oldest: f64,
    /// Removal at the oldest age over that of a run-in abrasive.
    pub ratio: f64,
    /// Its interval.
    pub ratio_ci: Option<Interval>,
    /// Removal on a fresh abrasive (ages 0–2) over what the decay would give.
    pub fresh_ratio: Option<f64>,
    /// Its interval.
    pub fresh_ci: Option<Interval>,
}

/// What a risk model is about.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Risked {
    /// All kinds of defect of a class.
    Class(DefectClass),
    /// One kind of defect, on all machines.
    Defect(String),
}

/// How the rate of defects goes with the recipe.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Risk {
    /// Of what.
    pub of: Risked,
    /// Its class, where known.
    pub class: Option<DefectClass>,
    /// Panels inspected.
    pub panels: usize,
    /// Panels hit.
    pub panels_hit: usize,
    /// Defects.
    pub defects: usize,
    /// Coefficients, as exponents of the rate per area.
    pub terms: Vec<Term>,
    /// Chance of such an association anywhere among the terms, if there were
    /// none: the smallest p-value times the number of terms.
    pub p_value: Option<f64>,
    /// Variance of a count is this × (mean + `extra` × mean²).
    pub dispersion: f64,
    /// See `dispersion`.
    pub extra: f64,
    /// Levels at which no panel or every panel was hit: their coefficient is
    /// held back by the penalty and its size is not to be taken literally.
    pub separated: Vec<(Factor, String)>,
    /// Panels with so many marks that their count was cut.
    pub capped_panels: usize,
}

/// What too much and too little are judged by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// Removal outside the site's limits.
    Limits,
    /// Panels with a defect of class over or under.
    Defects,
}

/// An estimate with its interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Estimate {
    /// The value.
    pub estimate: f64,
    /// Its interval; none where it cannot be told.
    pub ci: Option<Interval>,
}

/// Chances at one setting of the lever.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WindowPoint {
    /// The lever's setting.
    pub setting: f64,
    /// Share of panels with too much removed, 0..1.
    pub too_much: Option<Estimate>,
    /// Share of panels with too little removed, 0..1.
    pub too_little: Option<Estimate>,
}

/// The settings of one lever between too little and too much, the others held
/// where they are.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Window {
    /// The lever.
    pub lever: Factor,
    /// Judged by what.
    pub basis: Basis,
    /// Over the range seen, evenly spaced on the log scale.
    pub points: Vec<WindowPoint>,
    /// The present setting.
    pub present: f64,
    /// The setting advised, where this lever is advised.
    pub advised: Option<f64>,
    /// Share accepted of either, 0..1.
    pub accepted_share: f64,
    /// The setting at which the larger of the two shares is least.
    pub best: Option<f64>,
    /// Settings at which neither share exceeds the accepted one; none where
    /// there is no such setting in the range seen.
    pub inside: Option<(f64, f64)>,
    /// The same with both shares at the high end of their intervals: surely inside.
    pub surely_inside: Option<(f64, f64)>,
    /// The same with both shares at the low end: perhaps inside.
    pub perhaps_inside: Option<(f64, f64)>,
}

/// A ratio of rates after a move over before it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RateChange {
    /// The class of defects.
    pub class: DefectClass,
    /// Expected rate after over before.
    pub ratio: f64,
    /// Its interval.
    pub ci: Option<Interval>,
}

/// One lever to move, the others left alone.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Advice {
    /// The lever.
    pub factor: Factor,
    /// Where it is; none for a category.
    pub from: Option<f64>,
    /// Where to try it.
    pub to: Option<f64>,
    /// For a category: present and advised level.
    pub levels: Option<(String, String)>,
    /// Mean removal expected there, µm; none without a removal model.
    pub expected_removed_um: Option<f64>,
    /// Interval of the mean removal expected.
    pub ci: Option<Interval>,
    /// Mean removal that the model gives for the present setting, µm.
    pub present_removed_um: Option<f64>,
    /// Whether the target is reached within limits and range seen.
    pub reach: Reach,
    /// What the move does to either class of defects.
    pub defects: Vec<RateChange>,
    /// Sanding time per panel after over before.
    pub cycle_time_ratio: Option<f64>,
    /// Why this lever is moved this way.
    pub aim: Aim,
}

/// What a move is meant to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Aim {
    /// Bring mean removal to the target.
    Target,
    /// Remove less: defects of class over prevail and follow removal.
    Less,
    /// Remove more: defects of class under prevail and follow removal.
    More,
}

/// How far a lever gets.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "reach", rename_all = "kebab-case")]
pub enum Reach {
    /// To the target.
    Target,
    /// A step in the right direction; no target is set.
    Step,
    /// As near to the target as whole passes or the grits at hand get.
    Nearest,
    /// To the edge of the settings seen; the target would need `needed`, for
    /// which these records are no evidence.
    EdgeOfRange {
        /// Setting that would reach the target by the model.
        needed: f64,
    },
    /// To the site's limit; the target would need `needed`.
    SiteLimit {
        /// Setting that would reach the target by the model.
        needed: f64,
    },
}

/// One panel in the removal model.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Residual {
    /// Index into `Records::panels`.
    pub panel: usize,
    /// Mean of its readings, µm.
    pub measured_um: f64,
    /// Fitted mean, lot effect included, µm.
    pub fitted_um: f64,
    /// Residual over its standard deviation.
    pub standardised: f64,
    /// Leverage, 0..1.
    pub leverage: f64,
}

/// How much one lot moves a coefficient.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LotInfluence {
    /// The lot.
    pub lot: String,
    /// Its panels.
    pub panels: usize,
    /// The factor whose coefficient moves most.
    pub factor: Factor,
    /// Change of the coefficient, in standard errors, when the lot is left out;
    /// none where the other lots tell nothing of the factor.
    pub change: Option<f64>,
}

/// Lack of fit against panels at the same setting.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LackOfFit {
    /// Settings with at least two panels.
    pub replicated: usize,
    /// F ratio.
    pub statistic: f64,
    /// Its degrees of freedom.
    pub dof: (f64, f64),
    /// Its p-value.
    pub p_value: f64,
}

/// What a statistician would ask for.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Diagnostics {
    /// Panels in the model.
    pub panels: usize,
    /// Coefficients, intercept included.
    pub coefficients: usize,
    /// Panel-to-panel scatter, as a share of the mean (log-scale SD).
    pub panel_sd: f64,
    /// Lot-to-lot scatter, the same; none where lots are not recorded.
    pub lot_sd: Option<f64>,
    /// Day-to-day scatter, the same; none where days are not recorded.
    pub day_sd: Option<f64>,
    /// Scatter from one stretch at a setting to the next, the same; none where
    /// settings change with the panel, or with the lot or day.
    pub run_sd: Option<f64>,
    /// Share of the variance of ln panel mean that the fixed terms explain.
    pub r_squared: f64,
    /// Condition number of the scaled design.
    pub condition: f64,
    /// Lack of fit, where settings are replicated.
    pub lack_of_fit: Option<LackOfFit>,
    /// Correlation of neighbouring residuals in sanding order.
    pub lag_one: Option<f64>,
    /// Lots by influence, strongest first.
    pub lots: Vec<LotInfluence>,
    /// One per panel, in time order.
    #[serde(skip)]
    pub residuals: Vec<Residual>,
}

/// One point of an effect curve.
#[derive(Debug, Clone, PartialEq)]
pub struct EffectPoint {
    /// The factor's value.
    pub at: f64,
    /// Mean removal, µm, the other factors held at the present setting.
    pub removed_um: f64,
    /// Interval of the mean.
    pub ci: Option<Interval>,
}

/// The effect of one factor on removal, with the data it rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct Effect {
    /// The factor.
    pub factor: Factor,
    /// The curve; empty for a category.
    pub curve: Vec<EffectPoint>,
    /// Levels with mean removal and interval; empty for a number.
    pub levels: Vec<(String, Estimate)>,
    /// Whether the law is a power (log axes).
    pub power: bool,
    /// Panels: factor's value (or index of the level) and removal adjusted to
    /// the present setting of the other factors and the mean lot, µm.
    pub data: Vec<(f64, f64)>,
    /// The present setting, where it is a number.
    pub present: Option<f64>,
}

/// The recipe model, its limits and the advice.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Removal {
    /// What was fitted, `ln removed_um`; none where readings or varying
    /// factors do not allow a removal model.
    pub model: Option<&'static str>,
    /// Coefficients of the removal model.
    pub terms: Vec<Term>,
    /// Factors that cannot be told apart; one alone never changed.
    pub inseparable: Vec<Vec<Factor>>,
    /// The same with condition and common effect.
    pub aliases: Vec<Alias>,
    /// Interactions that the data carry.
    pub interactions: Vec<Interaction>,
    /// How abrasives wear.
    pub wear: Option<Wear>,
    /// Rates of defects against the recipe: classes, then kinds.
    pub risks: Vec<Risk>,
    /// Windows, the lever first advised first.
    pub windows: Vec<Window>,
    /// Levers in the trade's order.
    pub advice: Vec<Advice>,
    /// What comes before any lever; advice is empty while this is not.
    pub held: Vec<Obstacle>,
    /// Diagnostics of the removal model.
    pub diagnostics: Option<Diagnostics>,
    /// Doubts.
    pub notes: Vec<Note>,
    /// For the charts.
    #[serde(skip)]
    pub effects: Vec<Effect>,
}
