//! A stream's marks outside the places found.

use crate::causes::StreamData;
use crate::records::Records;

/// A stream and its marks outside the places found.
pub(crate) struct Remainder<'a> {
    /// The stream.
    pub data: &'a StreamData,
    /// Marks on each of its panels, those of places found left out.
    pub marks: Vec<f64>,
}

impl<'a> Remainder<'a> {
    /// Counts the stream's defects that are not `taken`.
    pub(crate) fn new(records: &Records, data: &'a StreamData, taken: &[bool]) -> Self {
        let mut marks = vec![0.0; data.panels.len()];
        for &d in data.defects.iter().filter(|&&d| !taken[d]) {
            let panel = records.defects[d].panel;
            if let Ok(at) = data.panels.binary_search(&panel) {
                marks[at] += 1.0;
            }
        }
        Self { data, marks }
    }
}
