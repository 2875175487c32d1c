//! What to do next. Numbers only: the report puts them into words.

use super::{AbrasiveEnd, Rival, Side};

/// What to do next; worded by the report.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum NextCheck {
    /// Nothing.
    #[default]
    None,
    /// Lay this many panels turned by half a turn.
    TurnPanels {
        /// How many.
        panels: usize,
    },
    /// Lay this many panels shifted or turned by a quarter: a half turn can't
    /// tell a place in the panel's middle.
    ShiftPanels {
        /// How many.
        panels: usize,
    },
    /// Turn this many panels at the inspection table.
    TurnAtTable {
        /// How many.
        panels: usize,
    },
    /// Write down how panels lie at the inspection table.
    RecordTableLay,
    /// Lay this many panels turned by half a turn, others alike in the rival as
    /// usual.
    TurnAmongAlike {
        /// How many.
        panels: usize,
        /// What went with the lay so far.
        rival: Rival,
    },
    /// Look at the inspection table, lamp and camera at the place.
    CheckTable,
    /// Run more lots before anything is adjusted.
    MoreLots {
        /// Lots with hits that would clear them.
        lots: usize,
    },
    /// Let another inspector look at the same panels.
    SecondInspector {
        /// Who alone sees it.
        inspector: String,
    },
    /// Check a station's origin and axes: its marks fit mirrored or turned.
    CheckStation {
        /// The station or inspector.
        inspector: String,
    },
    /// Look at the machine where the place lies.
    CheckPlace,
    /// Look at what turns or vibrates at this frequency.
    CheckTurning {
        /// Bars per second.
        hertz: f64,
    },
    /// Look at what is spaced like this: slats, supports, rollers.
    CheckSpacing {
        /// Spacing, mm.
        pitch_mm: f64,
    },
    /// Run panels at another feed and see whether the pitch follows.
    VaryFeed {
        /// How many.
        panels: usize,
    },
    /// Lay panels turned by a quarter: bars of the machine keep their direction.
    TurnAcross {
        /// How many.
        panels: usize,
    },
    /// Look at the nest that comes every k-th panel.
    CheckEveryKth {
        /// The period.
        every: usize,
    },
    /// Look at one machine or head: others sand the same panels with fewer marks.
    CheckMachine {
        /// Which.
        machine: String,
    },
    /// Look at one nest.
    CheckFixture {
        /// Which.
        fixture: String,
    },
    /// Look at path starts, ends and reversals.
    CheckPath,
    /// Look at the line: step-over, pad edge, force drift.
    CheckStepOver,
    /// Check the head's tilt.
    CheckHeadTilt {
        /// The side that takes more, machine frame; none where the kind of
        /// defect doesn't say.
        takes_more: Option<Side>,
    },
    /// Check the head's tilt about both axes.
    CheckDiagonalTilt {
        /// The corner that takes more, machine frame: its side along x, along y.
        takes_more: (Side, Side),
    },
    /// Check the panels' flatness and support; tilting the head won't cure it.
    CheckFlatness,
    /// The same, where the head leans as well: both have to be put right.
    CheckFlatnessToo,
    /// Check the stand-off and the travel of the compliance, not the tilt.
    CheckStandOff,
    /// Check the height of one corner: support, stop, warp.
    CheckCorner,
    /// Look at the incoming lots.
    CheckLots {
        /// Which.
        lots: Vec<String>,
    },
    /// Look at the supplier.
    CheckSupplier {
        /// Who.
        supplier: String,
    },
    /// Look at the step before: design, press, spray pattern, handling.
    CheckUpstream,
    /// Look at the abrasive's first or last panels.
    CheckAbrasive {
        /// Which end.
        end: AbrasiveEnd,
    },
    /// Look at the recipe that carries it.
    CheckRecipe {
        /// Its name.
        recipe: String,
    },
    /// Move one factor alone, in blocks.
    TryFactor {
        /// Which.
        factor: Rival,
    },
    /// Change one thing with another held, so that the two meet.
    MakeMeet {
        /// What to change.
        rival: Rival,
        /// Its levels in question.
        levels: Vec<String>,
        /// What to hold.
        held: Rival,
    },
    /// Too little removed: with the force in order slow down first, then more
    /// passes, then coarser grit, force last.
    SlowDownFirst,
    /// Too much removed: check the contact force, then speed up, then finer grit.
    CheckForceThenSpeedUp,
    /// Don't adjust: seen on too few panels.
    DontAdjust {
        /// Panels that show it.
        panels: usize,
    },
    /// Look at panels before sanding: no place in the machine stands out.
    CheckIncoming,
    /// Put the records right: columns or units are in doubt.
    MendRecords,
    /// Inspect so many panels more.
    MorePanels {
        /// How many in all.
        panels: usize,
    },
    /// Look at the film thickness of incoming panels.
    CheckFilm,
    /// Measure removal at more places, evenly over the panel.
    MeasureGrid {
        /// Readings per panel.
        readings: usize,
    },
}
