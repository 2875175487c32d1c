//! The scans of a stream in all frames that can differ.

use std::collections::BTreeMap;

use super::levels::{BARS, PATH_PLACES, machine_places};
use super::responses::bars::BarSighting;
use super::responses::merge::Sighting;
use super::responses::place::{Holder, day_of};
use super::rivals::frames::several_sizes;
use super::{
    Anchor, BarsBy, Clock, Pace, ScanSettings, Settings, StreamData, Tests, View, find_bars,
    find_places, follow_drift,
};
use crate::records::{Lay, Records};

/// What the scans of a stream found.
pub(super) struct Scanned {
    /// What holds each of the views.
    pub holders: Vec<Holder>,
    pub views: Vec<View>,
    pub sightings: Vec<Sighting>,
    pub bars: Vec<BarSighting>,
}

/// Scans every frame that can differ from the machine's.
pub(super) fn scan(
    records: &Records,
    settings: &Settings,
    streams: usize,
    data: &StreamData,
    (machine, of_machine): (View, Tests),
) -> Scanned {
    let mut views = vec![(Holder::Machine, machine, machine_places(records), 1)];
    if !fixed_in_machine(records, data, |_| Some(Lay::Deg0)) {
        let view = View::of(records, data, Holder::Panel);
        views.push((Holder::Panel, view, 1.0, 1));
    }
    let there = |i: usize| records.panels[i].inspect_lay;
    let as_panel = |&i: &usize| there(i).is_none_or(|lay| lay == Lay::Deg0);
    if !data.panels.iter().all(as_panel) && !fixed_in_machine(records, data, there) {
        let view = View::of(records, data, Holder::Inspection);
        views.push((Holder::Inspection, view, 1.0, 1));
    }
    if several_sizes(records, &data.panels) {
        for holder in Anchor::ALL.map(Holder::Path) {
            let view = View::of(records, data, holder);
            views.push((holder, view, PATH_PLACES, Anchor::ALL.len()));
        }
    }
    let clock = clock(records, data);
    let feeds: Vec<Option<f64>> = data
        .panels
        .iter()
        .map(|&i| records.panels[i].feed_mm_s)
        .collect();
    let mut sightings = Vec::new();
    let mut bars: Vec<BarSighting> = Vec::new();
    let swapped = |i: &usize| records.panels[*i].lay.swaps_axes();
    let across = data.panels.iter().any(swapped) && !data.panels.iter().all(swapped);
    for (at, (holder, view, share, split)) in views.iter().enumerate() {
        let scan = ScanSettings {
            alpha: settings.alpha * share,
            streams: streams * split,
        };
        let places = match holder {
            Holder::Machine => find_places(view, &scan, &of_machine),
            _ => find_places(view, &scan, &Tests::of(view, &scan)),
        };
        let found = follow_drift(view, places, &clock, &scan);
        let mut on_bars = vec![false; found.len()];
        let bar_share = match holder {
            Holder::Machine => Some(BARS),
            // bars of the panel show in the machine too unless panels lay across
            Holder::Panel if across => Some(1.0),
            _ => None,
        };
        if let Some(bar_share) = bar_share {
            let scan = ScanSettings {
                alpha: settings.alpha * bar_share,
                streams,
            };
            for b in find_bars(view, &found, &feeds, &scan) {
                for &line in &b.lines {
                    on_bars[line] = true;
                }
                let of = match b.by {
                    BarsBy::Distances => bar_share,
                    BarsBy::Lines => *share,
                };
                let p_adjusted = (b.p_adjusted / of).min(1.0);
                bars.push(BarSighting {
                    holder: *holder,
                    bars: b,
                    p_adjusted,
                });
            }
        }
        for (found, on_bars) in found.into_iter().zip(on_bars) {
            if on_bars {
                continue;
            }
            sightings.push(Sighting {
                holder: *holder,
                view: at,
                p_adjusted: (found.p_adjusted / share).min(1.0),
                found,
            });
        }
    }
    Scanned {
        holders: views.iter().map(|v| v.0).collect(),
        views: views.into_iter().map(|(_, view, _, _)| view).collect(),
        sightings,
        bars,
    }
}

/// When the stream's panels were sanded, or their order where no time is recorded,
/// and their lots as numbers.
fn clock(records: &Records, data: &StreamData) -> Clock {
    let mut numbers: BTreeMap<&str, usize> = BTreeMap::new();
    let panels = data.panels.iter().map(|&i| &records.panels[i]);
    let lots = panels.clone().map(|panel| {
        let next = numbers.len();
        Some(*numbers.entry(panel.lot.as_deref()?).or_insert(next))
    });
    let lots = lots.collect();
    let days: Vec<Option<f64>> = panels.map(day_of).collect();
    if days.iter().any(Option::is_some) {
        let pace = Pace::Days;
        return Clock { pace, days, lots };
    }
    Clock {
        pace: Pace::Panels,
        days: (0..days.len()).map(|at| Some(at as f64)).collect(),
        lots,
    }
}

/// Whether a frame in which panels lie as `lay` says, at the origin, is the
/// machine frame but for a shift that is the same on every panel.
fn fixed_in_machine(
    records: &Records,
    data: &StreamData,
    lay: impl Fn(usize) -> Option<Lay>,
) -> bool {
    let shift = |i: usize| {
        let panel = &records.panels[i];
        (lay(i)? == panel.lay).then_some((panel.lay_x_mm.to_bits(), panel.lay_y_mm.to_bits()))
    };
    let mut shifts = data.panels.iter().map(|&i| shift(i));
    match shifts.next() {
        Some(Some(first)) => shifts.all(|s| s == Some(first)),
        _ => false,
    }
}
