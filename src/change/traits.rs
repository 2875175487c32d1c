//! The columns that can change together with the change.

use super::Confounder;

/// The columns that the estimate allows for or that can change together with the
/// change.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Trait {
    Stream,
    Lot,
    Supplier,
    Inspector,
    Part,
    Size,
    AbrasiveAge,
    AbrasiveId,
    Fixture,
    Lay,
    /// Four hours of the production day.
    DayPart,
    /// Hour of the production day.
    Hour,
    Weekday,
    Feed,
    Passes,
    Force,
    Grit,
}

impl Trait {
    /// Names of the columns it stands for.
    pub(super) fn columns(self) -> &'static [&'static str] {
        match self {
            Self::Stream => &["machine", "head"],
            Self::Lot => &["lot"],
            Self::Supplier => &["supplier"],
            Self::Inspector => &["inspector"],
            Self::Part => &["part"],
            Self::Size => &["length_mm", "width_mm"],
            Self::AbrasiveAge => &["abrasive_age"],
            Self::AbrasiveId => &["abrasive_id"],
            Self::Fixture => &["fixture"],
            Self::Lay => &["lay_deg"],
            Self::DayPart | Self::Hour => &["time of day"],
            Self::Weekday => &["weekday"],
            Self::Feed => &["feed_mm_s"],
            Self::Passes => &["passes"],
            Self::Force => &["force_n"],
            Self::Grit => &["grit"],
        }
    }

    pub(super) fn confounder(self) -> Option<Confounder> {
        match self {
            Self::Stream => Some(Confounder::Machine),
            Self::Lot => Some(Confounder::Lot),
            Self::Supplier => Some(Confounder::Supplier),
            Self::Inspector => Some(Confounder::Inspector),
            Self::Part | Self::Size => Some(Confounder::Part),
            Self::AbrasiveId => Some(Confounder::AbrasiveId),
            Self::Fixture => Some(Confounder::Fixture),
            Self::Lay => Some(Confounder::Lay),
            Self::DayPart | Self::Hour => Some(Confounder::TimeOfDay),
            Self::Weekday => Some(Confounder::Weekday),
            Self::Feed | Self::Passes | Self::Force | Self::Grit => Some(Confounder::Settings),
            Self::AbrasiveAge => None,
        }
    }
}
