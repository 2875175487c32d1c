//! Who may have made it, by name, and whom that blames.

use crate::causes::Cause;

/// What may have made a repeat or a rate: a column of the records, a frame, or
/// a time. Each is compared with the others among panels alike in them.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Rival {
    /// The machine.
    Machine,
    /// The sanding head.
    Head,
    /// The panel itself: the place turns with it.
    Panel,
    /// The inspection table, lamp or camera.
    Table,
    /// Nest or stop.
    Fixture,
    /// Recipe name.
    Recipe,
    /// Who or what inspected.
    Inspector,
    /// Incoming lot.
    Lot,
    /// Supplier.
    Supplier,
    /// Part number.
    Part,
    /// The panel's size.
    Size,
    /// How the panel lay in the cell.
    Lay,
    /// Feed speed.
    Feed,
    /// Passes.
    Passes,
    /// Contact force.
    Force,
    /// Grit.
    Grit,
    /// Age of the abrasive.
    AbrasiveAge,
    /// Disc, belt or batch.
    AbrasiveId,
    /// The sanding done: passes × force / feed.
    SandingDone,
    /// Film thickness before sanding.
    Film,
    /// The day.
    Day,
    /// The day of the week.
    Weekday,
    /// The shift.
    Shift,
    /// The hour of the day.
    Hour,
    /// Three hours of the clock that come round every day.
    PartOfDay,
    /// The first panels of a day.
    FirstOfDay,
    /// A step at one moment.
    Step,
    /// A further factor of the site.
    Factor(String),
}

impl Rival {
    /// A name for files that programs read.
    #[must_use]
    pub fn code(&self) -> &str {
        match self {
            Rival::Machine => "machine",
            Rival::Head => "head",
            Rival::Panel => "panel",
            Rival::Table => "table",
            Rival::Fixture => "fixture",
            Rival::Recipe => "recipe",
            Rival::Inspector => "inspector",
            Rival::Lot => "lot",
            Rival::Supplier => "supplier",
            Rival::Part => "part",
            Rival::Size => "panel size",
            Rival::Lay => "lay_deg",
            Rival::Feed => "feed_mm_s",
            Rival::Passes => "passes",
            Rival::Force => "force_n",
            Rival::Grit => "grit",
            Rival::AbrasiveAge => "abrasive_age",
            Rival::AbrasiveId => "abrasive_id",
            Rival::SandingDone => "sanding done",
            Rival::Film => "film_um",
            Rival::Day => "day",
            Rival::Weekday => "weekday",
            Rival::Shift => "shift",
            Rival::Hour => "hour of the day",
            Rival::PartOfDay => "part of the day",
            Rival::FirstOfDay => "first of the day",
            Rival::Step => "step in time",
            Rival::Factor(name) => name,
        }
    }

    /// Whom a rival stands for.
    pub(crate) fn cause(&self) -> Cause {
        match self {
            Rival::Machine | Rival::Head | Rival::Fixture => Cause::Machine,
            Rival::Lot
            | Rival::Supplier
            | Rival::Part
            | Rival::Size
            | Rival::Film
            | Rival::Panel => Cause::Part,
            Rival::Recipe
            | Rival::Feed
            | Rival::Passes
            | Rival::Force
            | Rival::Grit
            | Rival::SandingDone
            | Rival::AbrasiveAge
            | Rival::AbrasiveId
            | Rival::Factor(_) => Cause::Recipe,
            Rival::Inspector | Rival::Table => Cause::Inspection,
            Rival::Lay
            | Rival::Day
            | Rival::Weekday
            | Rival::Shift
            | Rival::Hour
            | Rival::PartOfDay
            | Rival::FirstOfDay
            | Rival::Step => Cause::Undecided,
        }
    }

    /// Time, and how panels lay: rivals of everybody, met level by level.
    pub(crate) fn is_met_by_all(&self) -> bool {
        self.is_met_only() || *self == Rival::Weekday
    }

    /// Those of them that are never shown themselves: what goes with them has a name
    /// of its own, or none.
    pub(crate) fn is_met_only(&self) -> bool {
        matches!(self, Rival::Lay | Rival::Day | Rival::Hour)
    }

    /// Time that is told where the rate follows it, and nobody's rival: hours and days
    /// are met in its place.
    pub(crate) fn is_told_only(&self) -> bool {
        *self == Rival::PartOfDay
    }
}

impl serde::Serialize for Rival {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.code())
    }
}
