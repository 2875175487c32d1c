//! A confidence interval.

use serde::{Serialize, Serializer, ser::SerializeTuple};

/// A confidence interval; written to JSON as `[low, high]`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Lower limit, may be −∞.
    pub low: f64,
    /// Upper limit, may be ∞.
    pub high: f64,
    /// Nominal coverage, 0..1.
    pub level: f64,
}

impl Serialize for Interval {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut pair = serializer.serialize_tuple(2)?;
        pair.serialize_element(&self.low)?;
        pair.serialize_element(&self.high)?;
        pair.end()
    }
}
