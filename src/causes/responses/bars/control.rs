//! The control of bars: do like panels that another machine or head sanded show
//! the pitch?
//!
//! What counts is the panel's own direction, for on another machine panels may lie
//! another way; each panel may have its own phase, here as there. Panels with
//! fewer than two marks can't show a pitch and don't count.

use std::collections::BTreeMap;

use crate::causes::responses::bars::evidence::{BY_CHANCE, shows_anywhere};
use crate::causes::responses::bars::findings::BarGround;
use crate::causes::rivals::control::{Control, On, Strata, Written};
use crate::causes::scan::across;
use crate::causes::{Bars, LineAxis};
use crate::records::Panel;

/// Compares panels of this stream with like ones of other machines and heads.
/// None where the panels lay across each other, which tells more, where the pitch
/// was taken to scale with the feed, or where no lot ran on both.
pub(crate) fn compare(ground: &BarGround<'_>, bars: &Bars) -> Option<Control> {
    let records = ground.records;
    let panels = &ground.stream.panels;
    let swaps = |i: usize| records.panels[i].lay.swaps_axes();
    let swapped = swaps(*panels.first()?);
    if bars.at_feed_mm_s.is_some() || panels.iter().any(|&i| swaps(i) != swapped) {
        return None;
    }
    let on_panel = match (bars.along, swapped) {
        (along, false) => along,
        (LineAxis::X, true) => LineAxis::Y,
        (LineAxis::Y, true) => LineAxis::X,
    };
    let mut marks: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
    let mut other_kinds = vec![0; records.panels.len()];
    for (k, defect) in records.defects.iter().enumerate() {
        other_kinds[defect.panel] += usize::from(defect.name != ground.stream.name);
        if let (true, Some(place)) = (defect.name == ground.stream.name, defect.place)
            && ground.frames.used[k]
        {
            let of_panel = marks.entry(defect.panel).or_default();
            of_panel.push(across(on_panel, place));
        }
    }
    let frequency = 1.0 / bars.pitch_mm;
    let mut strata = Strata::default();
    let mut count = |i: usize, on: On| {
        let panel: &Panel = &records.panels[i];
        if let Some(at) = marks.get(&i).filter(|at| at.len() > 1) {
            let written = Written {
                hit: shows_anywhere(at, frequency),
                // Bars are marks themselves: the two that every panel counted has.
                elsewhere: 2,
                other_kinds: other_kinds[i],
            };
            strata.count(panel, on, written);
        }
    };
    for &i in panels {
        count(i, On::This);
    }
    for &i in ground.others {
        count(i, On::Control);
    }
    strata.compare(BY_CHANCE)
}
