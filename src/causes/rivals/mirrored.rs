//! Does a station record mirrored or turned?

use std::collections::{BTreeMap, BTreeSet};

use super::inspector::{LEAST_PANELS, LEVEL, Stations};
use crate::causes::responses::place::Marks;
use crate::records::Records;
use crate::stats::distributions::student_t;

/// Marks that a station needs before its frame is questioned.
const LEAST_MARKS: usize = 30;

/// Cells along each axis of the map that stations are compared on.
const CELLS: usize = 16;

/// How a station may have flipped the panel frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Flip {
    X,
    Y,
    Half,
}

impl Flip {
    fn apply(self, u: f64, v: f64) -> (f64, f64) {
        match self {
            Flip::X => (1.0 - u, v),
            Flip::Y => (u, 1.0 - v),
            Flip::Half => (1.0 - u, 1.0 - v),
        }
    }

    pub(super) fn words(self) -> &'static str {
        match self {
            Flip::X => "mirrored along the panel's length",
            Flip::Y => "mirrored across the panel's width",
            Flip::Half => "turned by half a turn",
        }
    }
}

/// Stations whose marks fit the others' map better when mirrored or turned.
///
/// Map: the other stations' marks of the same kind on panels laid the same way,
/// in panel coordinates 0..1, smoothed: a place of the machine is elsewhere on
/// panels laid otherwise. Per panel of the station, the difference of mean
/// log densities with and without the flip; t-test over panels. Without a
/// flip the expected difference is negative, so false alarms are rarer than
/// the level says.
pub(super) fn mirrored(
    records: &Records,
    marks: &[Marks],
    stations: &Stations,
) -> Vec<(usize, Flip)> {
    let names = &stations.names;
    let tests = (3 * names.len()) as f64;
    let mut out = Vec::new();
    for station in 0..names.len() {
        let mut best: Option<(f64, Flip)> = None;
        let lay = |panel: usize| records.panels[panel].lay.degrees();
        let lays: BTreeSet<_> = stations.seen_by(station, true).map(lay).collect();
        let map = |kind: &Marks, of| {
            let seen = stations.seen_by(station, true).filter(|&i| lay(i) == of);
            Map::of(seen.flat_map(|i| shares(records, kind, i)))
        };
        let maps: BTreeMap<_, Vec<Map>> = (lays.into_iter())
            .map(|of| (of, marks.iter().map(|kind| map(kind, of)).collect()))
            .collect();
        for flip in [Flip::X, Flip::Y, Flip::Half] {
            let mut differences = Vec::new();
            let mut count = 0;
            for i in stations.seen_by(station, false) {
                let mut sum = 0.0;
                let mut own = 0;
                let Some(maps) = maps.get(&lay(i)) else {
                    continue;
                };
                for (kind, map) in marks.iter().zip(maps) {
                    for (u, v) in shares(records, kind, i) {
                        let (fu, fv) = flip.apply(u, v);
                        sum += (map.density(fu, fv) / map.density(u, v)).ln();
                        own += 1;
                    }
                }
                if own > 0 {
                    differences.push(sum / f64::from(own));
                    count += own;
                }
            }
            if (count as usize) < LEAST_MARKS || differences.len() < LEAST_PANELS {
                continue;
            }
            if let Some(p) = positive_mean(&differences)
                && p * tests <= LEVEL
                && best.is_none_or(|(b, _)| p < b)
            {
                best = Some((p, flip));
            }
        }
        if let Some((_, flip)) = best {
            out.push((station, flip));
        }
    }
    out
}

/// Marks of a panel as shares of its length and width.
fn shares<'a>(
    records: &'a Records,
    kind: &'a Marks,
    panel: usize,
) -> impl Iterator<Item = (f64, f64)> + 'a {
    let about = &records.panels[panel];
    kind.on(panel).iter().filter_map(move |m| {
        let p = records.defects[m.defect].place?;
        Some((p.x / about.length_mm, p.y / about.width_mm))
    })
}

/// One-sided t-test of a mean above zero.
fn positive_mean(values: &[f64]) -> Option<f64> {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0);
    (variance > 0.0).then(|| student_t::upper(mean / (variance / n).sqrt(), n - 1.0))
}

/// A smoothed map of marks over the panel.
struct Map {
    cells: Vec<f64>,
}

impl Map {
    fn of(marks: impl Iterator<Item = (f64, f64)>) -> Self {
        let mut map = Self {
            cells: vec![0.0; CELLS * CELLS],
        };
        for (u, v) in marks {
            map.cells[Self::cell(u, v)] += 1.0;
        }
        map.smooth();
        map
    }

    fn cell(u: f64, v: f64) -> usize {
        let at = |s: f64| ((s * CELLS as f64) as usize).min(CELLS - 1);
        at(v) * CELLS + at(u)
    }

    /// Binomial weights 1 2 1 along both axes, then one mark in all spread
    /// evenly over the cells so that no density is 0.
    fn smooth(&mut self) {
        let pass = |cells: &[f64], step: usize| -> Vec<f64> {
            (0..cells.len())
                .map(|i| {
                    let at = (i / step) % CELLS;
                    let low = if at > 0 { cells[i - step] } else { cells[i] };
                    let high = if at + 1 < CELLS {
                        cells[i + step]
                    } else {
                        cells[i]
                    };
                    0.25 * low + 0.5 * cells[i] + 0.25 * high
                })
                .collect()
        };
        self.cells = pass(&pass(&self.cells, 1), CELLS);
        let total: f64 = self.cells.iter().sum();
        // At least a tenth of the marks evenly: single clumps must not decide.
        let even = (total * 0.1).max(1.0) / self.cells.len() as f64;
        for c in &mut self.cells {
            *c += even;
        }
    }

    fn density(&self, u: f64, v: f64) -> f64 {
        self.cells[Self::cell(u, v)]
    }
}
