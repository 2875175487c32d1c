//! What the recipe model is in doubt about, worded by the report.

use serde::Serialize;

use super::result::Factor;
use crate::site::DefectClass;

/// A doubt about the recipe model, worded by the report.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "note", rename_all = "kebab-case")]
pub enum Note {
    /// An exponent has the wrong sign by more than chance allows over all
    /// factors: a data alarm (confounding, unit, frame), not a discovery.
    WrongSign {
        /// The factor.
        factor: Factor,
        /// Its exponent.
        exponent: f64,
    },
    /// It is off the trade's law, though the sign is right.
    OffTheory {
        /// The factor.
        factor: Factor,
        /// Its exponent.
        exponent: f64,
        /// Chance of such a distance on any of the factors, if all kept the law.
        p_adjusted: f64,
    },
    /// The factor was set too few times to give an interval.
    FewSettings {
        /// The factor.
        factor: Factor,
    },
    /// Too many panels lack the factor; it is left out.
    MostlyMissing {
        /// The factor.
        factor: Factor,
        /// Share of panels without it, 0..1.
        share: f64,
    },
    /// Panels without some factor are left out.
    Incomplete {
        /// How many.
        panels: usize,
    },
    /// Fewer panels than the coefficients need.
    TooFewPanels {
        /// Panels with readings and all factors.
        panels: usize,
        /// Panels that the smallest model needs.
        needed: usize,
    },
    /// No factor of the recipe varies, so there is nothing to fit.
    NothingVaries,
    /// The mean removal of all panels is not positive.
    NoRemoval,
    /// The fit did not settle; no coefficient is given.
    NotConverged,
    /// Grits whose scale is unknown enter as labels only.
    GritWithoutScale {
        /// The labels.
        labels: Vec<String>,
    },
    /// Passes that are not whole numbers.
    PassesNotWhole {
        /// Panels with them.
        panels: usize,
    },
    /// Panel means at or below zero, kept on the natural scale.
    NonPositiveMeans {
        /// How many.
        panels: usize,
    },
    /// Replicated settings scatter less than the model misses them by.
    LackOfFit {
        /// The p-value.
        p_value: f64,
    },
    /// Residuals follow one another in time: something drifts that is not in the model.
    Drift {
        /// Correlation of neighbours.
        lag_one: f64,
    },
    /// One lot decides a coefficient.
    LotDecides {
        /// The lot.
        lot: String,
        /// The factor.
        factor: Factor,
        /// Change in standard errors when it is left out; none where the other
        /// lots tell nothing of the factor.
        change: Option<f64>,
    },
    /// One panel has an unusual pull on the fit.
    PanelDecides {
        /// Its id.
        panel: String,
        /// Its leverage.
        leverage: f64,
    },
    /// The model explains nearly everything, which shop data rarely allow.
    TooGood {
        /// Share explained.
        r_squared: f64,
    },
    /// Only one lot: its hardness and the recipe cannot be told apart from
    /// the next lot's.
    OneLot,
    /// Mean removal is at the target already.
    OnTarget {
        /// The target, µm.
        target_um: f64,
        /// Mean removal at the present setting, µm.
        present_um: f64,
    },
    /// Too much and too little occur side by side: no lever cures both.
    BothClasses {
        /// Share of panels with a defect of class over, 0..1.
        over: f64,
        /// Share of panels with a defect of class under, 0..1.
        under: f64,
    },
    /// The target asks for more removal while too much prevails, or for less
    /// while too little does: no lever moves both the right way.
    TargetAgainstDefects {
        /// The class that prevails.
        class: DefectClass,
        /// Share of panels with a defect of that class, 0..1.
        share: f64,
        /// The target, µm.
        target_um: f64,
        /// Mean removal at the present setting, µm.
        present_um: f64,
    },
    /// No lever has an effect that these records know well enough, or room to move.
    NoLever,
    /// Parts differ, but there are too many for the panels at hand.
    PartsLeftOut {
        /// Part numbers.
        parts: usize,
    },
}

impl Note {
    /// Whether it says why no lever is advised, rather than how far the model
    /// can be trusted.
    #[must_use]
    pub fn says_why_no_lever(&self) -> bool {
        matches!(
            self,
            Self::OnTarget { .. }
                | Self::BothClasses { .. }
                | Self::TargetAgainstDefects { .. }
                | Self::NoLever
        )
    }
}
