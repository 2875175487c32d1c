//! What every finding says alike: who and what it is about, and its counts.

use std::collections::BTreeSet;

use super::{Cause, Certainty, Evidence, Finding, Kind, NextCheck, StreamData, Tally};
use crate::records::Records;
use crate::stats::proportion::clopper_pearson;

/// Who and what a finding is about.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct About {
    /// The machine, where recorded.
    pub machine: Option<String>,
    /// The head, where recorded.
    pub head: Option<String>,
    /// The defect's name.
    pub defect: String,
    /// Index into `Causes::streams`; none for what is pooled or measured.
    pub stream: Option<usize>,
}

impl About {
    /// A stream and its index into `Causes::streams`.
    pub(super) fn stream(records: &Records, data: &StreamData, index: usize) -> Self {
        Self {
            machine: data.machine.as_deref().map(String::from),
            head: data.head.as_deref().map(String::from),
            defect: records.defect_names[data.name].name.clone(),
            stream: Some(index),
        }
    }

    /// A finding of which nothing is concluded yet: panels hit, in time order, and
    /// how many of how many count.
    pub(super) fn finding(self, records: &Records, hit: &[usize], counted: Tally) -> Finding {
        let Tally { hits, exposed } = counted;
        let id = |panel: &usize| records.panels[*panel].id.clone();
        Finding {
            id: String::new(),
            machine: self.machine,
            head: self.head,
            defect: self.defect,
            cause: Cause::Undecided,
            certainty: Certainty::CannotTell,
            rival: None,
            levels: Vec::new(),
            open: Vec::new(),
            kind: Kind::Side,
            frame: None,
            x_mm: None,
            y_mm: None,
            radius_mm: None,
            line_axis: None,
            panels_hit: hits,
            panels_exposed: exposed,
            hit_rate: (exposed > 0).then(|| counted.rate()),
            hit_rate_ci: clopper_pearson(hits as u64, exposed as u64, 0.95).ok(),
            reach_mm: None,
            expected_hits: None,
            p_adjusted: None,
            first_panel: hit.first().map(id),
            last_panel: hit.last().map(id),
            onset_panel: None,
            end_panel: None,
            drift_mm_per_day: None,
            bars: None,
            lots: lots_in_order(records, hit),
            reasons: Vec::new(),
            next_check: NextCheck::None,
            evidence: Evidence {
                stream: self.stream,
                ..Evidence::default()
            },
        }
    }
}

/// Lots of the panels, in order of first panel.
fn lots_in_order(records: &Records, panels: &[usize]) -> Vec<String> {
    let mut seen = BTreeSet::new();
    (panels.iter())
        .filter_map(|&i| records.panels[i].lot.as_deref())
        .filter(|lot| seen.insert(*lot))
        .map(String::from)
        .collect()
}
