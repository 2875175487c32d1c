//! What stands against a comparison's answer: what else changed, and what makes it
//! less sure.

use serde::Serialize;

use super::Side;
use crate::site::DefectClass;
use crate::stats::Interval;

/// What else changed with the change.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
pub enum Confounder {
    /// Lots.
    #[serde(rename = "lot")]
    Lot,
    /// Suppliers.
    #[serde(rename = "supplier")]
    Supplier,
    /// Part numbers, or the mix of panel sizes.
    #[serde(rename = "part")]
    Part,
    /// Machines.
    #[serde(rename = "machine")]
    Machine,
    /// Inspectors.
    #[serde(rename = "inspector")]
    Inspector,
    /// Discs, belts or batches of abrasive.
    #[serde(rename = "abrasive_id")]
    AbrasiveId,
    /// Nests or stops.
    #[serde(rename = "fixture")]
    Fixture,
    /// How panels lay in the cell.
    #[serde(rename = "lay_deg")]
    Lay,
    /// Hours of the day, day after day.
    #[serde(rename = "time of day")]
    TimeOfDay,
    /// Days of the week, week after week.
    #[serde(rename = "weekday")]
    Weekday,
    /// Settings of the recipe other than the one that is asked about.
    #[serde(rename = "settings")]
    Settings,
    /// Clean panels, exported on one side only.
    #[serde(rename = "clean panels")]
    CleanPanels,
    /// A trend was already under way.
    #[serde(rename = "trend")]
    Trend,
    /// The rate stepped on another day.
    #[serde(rename = "step on another day")]
    Step,
}

/// A doubt that belongs beside the verdict.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "note")]
pub enum Note {
    /// Crude and stratified ratio point in different directions: the mix of
    /// lots, machines or parts moved, not the rate inside them.
    DirectionsDiffer {
        /// Over all panels.
        crude: f64,
        /// With lots, machines and parts allowed for.
        allowed: f64,
    },
    /// The change followed a bad spell; its panels are left out.
    BadSpellLeftOut {
        /// First panel of the spell.
        first_panel: String,
        /// Panels left out.
        panels: usize,
        /// Rate in the spell over the rate before it.
        rate_ratio: f64,
        /// The ratio with the spell kept in.
        ratio_with_spell: Option<f64>,
    },
    /// The rate was already falling or rising before the change.
    TrendBefore {
        /// Factor on the rate over the whole before side.
        factor: f64,
        /// Two-sided p-value of no trend.
        p: f64,
    },
    /// The rate moved evenly all along, which accounts for the counts better than the
    /// change does, or may hide what the change did.
    TrendUnderWay {
        /// The last day's rate over the first day's.
        factor: f64,
        /// The change's ratio with that allowed for.
        beside: f64,
        /// Its interval.
        beside_ci: Interval,
    },
    /// A step on another day accounts for the counts better than the change does.
    StepOnAnotherDay {
        /// First day of the new rate, where panels of it have a time.
        day: Option<jiff::civil::Date>,
        /// Days with panels from it to the change; negative where it came later.
        days_earlier: i64,
        /// Rate from then on over the rate before.
        factor: f64,
        /// The change's ratio with that allowed for.
        beside: f64,
        /// Its interval.
        beside_ci: Interval,
    },
    /// Defects that came with the part changed as well, which sanding can't
    /// move: look at the inspection and the incoming parts first.
    IncomingMoved {
        /// Ratio of their rates.
        ratio: f64,
        /// Its p-value.
        p: f64,
    },
    /// An inspector worked on one side only or mostly.
    InspectorsDiffer {
        /// Share of the after panels whose inspector saw no panel before.
        new_share: f64,
    },
    /// Panels without a lot: what their lots did is not allowed for.
    LotMissing {
        /// How many.
        panels: usize,
    },
    /// Lots came one after the other: few ran both ways, so mostly lots before are
    /// compared with lots after, by the scatter between lots.
    LotsInTurn {
        /// Lots before.
        before: usize,
        /// Lots after.
        after: usize,
        /// Lots on both sides.
        both: usize,
    },
    /// Lots are not recorded; differences between them can't be allowed for.
    LotsNotRecorded,
    /// Each side is one day: how far days differ can't be seen, so the interval
    /// takes them to differ as days usually do.
    OneDayEach,
    /// The sides lie far apart: anything may have changed in between.
    ApartInTime {
        /// Days between them.
        days: usize,
    },
    /// No kind was counted on one side; only the limit on the other side of 1 is known.
    NoDefects {
        /// Which side.
        side: Side,
    },
    /// The kind fell, but the opposite class is not shown to be no worse.
    OppositeClass {
        /// The opposite class.
        class: DefectClass,
    },
    /// Neighbouring days resemble each other, so a slow drift can pass for the
    /// change; the interval is widened for it.
    DaysAlike {
        /// Mean correlation of a day with the one before, 0..1.
        memory: f64,
    },
    /// Panels that match neither side or lack the time that would place them.
    PanelsOutside {
        /// How many.
        panels: usize,
    },
}
