//! How the report's level is shared out: the one place where it is decided.
//!
//! `alpha` is the chance that a report on records without any repeat shows
//! one. What could accuse the machine shares it: places in the machine frame, bars
//! of one pitch, places that keep their distance from the edges as the panel lay,
//! sides, single corners, and slopes of the removal. Each part is shared equally by the streams of the
//! report; that of the slopes by the machines and heads with readings.
//!
//! Everything else has the level `alpha` per family of questions, because it
//! cannot accuse the machine: places in the panel and inspection frames (part,
//! inspection or undecided), opposite sides (part), and what a stream's rate
//! follows: lots and suppliers (part), recipe and abrasive age (recipe).

use crate::causes::rivals::frames::several_sizes;
use crate::records::Records;

/// Share of places in the machine frame, before [`machine_places`] adds what the
/// records cannot use otherwise.
const MACHINE_PLACES: f64 = 0.45;

/// Share of bars of one pitch, over both axes of the machine.
pub(super) const BARS: f64 = 0.05;

/// Share of places that keep their distance from the edges, over all corners.
pub(super) const PATH_PLACES: f64 = 0.1;

/// Share of sides, over both axes of the machine and, where panels were turned,
/// of the panel.
pub(super) const SIDES: f64 = 0.15;

/// Share of single corners, over the four of them and both frames.
pub(super) const CORNERS: f64 = 0.05;

/// Share of the slopes of removal, over both machine axes.
pub(super) const SURFACES: f64 = 0.2;

/// Share of places in the machine frame for these records: it takes over the
/// share of slopes where removal was not measured, and that of the path frame
/// where all panels are of one size. What is recorded decides, not what is seen,
/// so the level holds.
pub(super) fn machine_places(records: &Records) -> f64 {
    let inspected: Vec<usize> = (0..records.panels.len())
        .filter(|&i| records.panels[i].inspected)
        .collect();
    let slopes = if records.readings.is_empty() {
        SURFACES
    } else {
        0.0
    };
    let path = if several_sizes(records, &inspected) {
        0.0
    } else {
        PATH_PLACES
    };
    MACHINE_PLACES + slopes + path
}

/// ln 100: a frame is believed from a hundredfold likelihood on.
pub(super) const FRAME_CLAIM: f64 = 4.605_170_185_988_091;

/// Without the two most-hit lots the machine must still be so many times as
/// likely as the panel before turned panels clear the lots.
pub(super) const OTHER_LOTS: f64 = 20.0;

/// Least evidence: panels hit before anybody is named.
pub(super) const LEAST_HITS: usize = 5;

/// Least evidence: hits beyond those expected by chance before anybody is named.
pub(super) const LEAST_EXCESS: f64 = 3.0;

/// p adjusted for `tests` equal tests in a family with a share of the level,
/// so that it compares with `alpha` itself.
pub(super) fn adjusted(p_value: f64, tests: usize, share: f64) -> f64 {
    (p_value * tests as f64 / share).min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_accuses_the_machine_shares_one_level() {
        let shares = [MACHINE_PLACES, BARS, PATH_PLACES, SIDES, CORNERS, SURFACES];
        assert!(shares.iter().sum::<f64>() <= 1.0 + 1e-12);
        assert!((FRAME_CLAIM - 100.0_f64.ln()).abs() < 1e-12);
        assert_eq!(adjusted(0.001, 4, 0.2), 0.02);
        assert_eq!(adjusted(0.5, 4, 1.0), 1.0);
    }
}
