//! A recorded time: an instant for ordering, a local clock time for days,
//! shifts and weeks.

/// When something happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Moment {
    /// The instant; wall-clock times without any zone are taken as if in UTC,
    /// which keeps their order.
    pub instant: jiff::Timestamp,
    /// The clock on the site's wall.
    pub local: jiff::civil::DateTime,
}
