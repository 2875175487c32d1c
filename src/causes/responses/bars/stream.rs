//! The bars of one stream: from what the scans of its frames saw to findings.

use crate::causes::about::About;
use crate::causes::responses::bars::evidence::Frames;
use crate::causes::responses::bars::findings::{BarGround, BarSighting, conclude_bars};
use crate::causes::responses::merge::Sighting;
use crate::causes::responses::place::Holder;
use crate::causes::{Finding, Shape, StreamData, View};
use crate::records::Records;

/// Bars seen in machine and panel are the same: those of the frame with the
/// smallest p-value stay.
fn one_frame(mut bars: Vec<BarSighting>) -> Vec<BarSighting> {
    let best = bars
        .iter()
        .min_by(|a, b| a.bars.p_value.total_cmp(&b.bars.p_value));
    if let Some(holder) = best.map(|b| b.holder) {
        bars.retain(|b| b.holder == holder);
    }
    bars
}

/// The sightings without lines half of whose marks lie on bars.
pub(crate) fn without_bars(
    sightings: Vec<Sighting>,
    views: &[View],
    on_bars: &[bool],
) -> Vec<Sighting> {
    let is_bar = |s: &Sighting| {
        let defects = s.defects(views);
        let on = defects.iter().filter(|d| on_bars[**d]).count();
        matches!(s.found.shape, Shape::Line { .. }) && 2 * on >= defects.len()
    };
    sightings.into_iter().filter(|s| !is_bar(s)).collect()
}

/// The findings of bars and whether each defect lies on a bar; `holders` and
/// `views` in the order of the scan, `others` the panels of other machines and heads.
pub(crate) fn bar_findings(
    records: &Records,
    data: &StreamData,
    about: &About,
    (holders, views, sightings): (&[Holder], &[View], &[Sighting]),
    bars: Vec<BarSighting>,
    others: &[usize],
) -> (Vec<Finding>, Vec<bool>) {
    let mut on_bars = vec![false; records.defects.len()];
    let of = |holder: Holder| {
        let at = holders.iter().position(|h| *h == holder)?;
        Some(&views[at])
    };
    let Some(machine) = of(Holder::Machine).filter(|_| !bars.is_empty()) else {
        return (Vec::new(), on_bars);
    };
    let recorded = |&i: &usize| records.panels[i].inspect_lay.is_some();
    let mut used = vec![true; records.defects.len()];
    for s in sightings
        .iter()
        .filter(|s| matches!(s.found.shape, Shape::Spot { .. }))
    {
        for &mark in &s.found.zone {
            used[views[s.view].marks[mark].defect] = false;
        }
    }
    let feeds: Vec<Option<f64>> = data
        .panels
        .iter()
        .map(|&i| records.panels[i].feed_mm_s)
        .collect();
    let ground = BarGround {
        records,
        stream: data,
        frames: Frames {
            machine,
            panel: of(Holder::Panel),
            table: of(Holder::Inspection).filter(|_| data.panels.iter().all(recorded)),
            used: &used,
        },
        feeds: &feeds,
        others,
    };
    let mut findings = Vec::new();
    for sighting in one_frame(bars) {
        if let Some((finding, defects)) = conclude_bars(about.clone(), &ground, &sighting) {
            findings.push(finding);
            for defect in defects {
                on_bars[defect] = true;
            }
        }
    }
    (findings, on_bars)
}
