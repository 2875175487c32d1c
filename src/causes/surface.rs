//! Uneven removal: a tilted head or warped panels.

use serde::Serialize;

use crate::stats::Interval;

/// Unevenness of removal on one machine and head.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Surface {
    /// The machine, where recorded.
    pub machine: Option<String>,
    /// The head, where recorded.
    pub head: Option<String>,
    /// Panels with enough readings.
    pub panels: usize,
    /// Along the machine's x axis.
    pub slope_x: Slope,
    /// Along the machine's y axis.
    pub slope_y: Slope,
    /// Share of the unevenness that is the same on every panel, 0..1.
    pub share_machine: Option<f64>,
    /// Share that differs from panel to panel, 0..1.
    pub share_part: Option<f64>,
    /// Share of gauge and unmodelled, 0..1.
    pub share_gauge: Option<f64>,
    /// Who makes it.
    pub cause: SurfaceCause,
}

/// Slope of removal along one machine axis.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Slope {
    /// The part that every panel shares.
    pub machine: Option<f64>,
    /// Its 95 % interval.
    pub machine_ci: Option<Interval>,
    /// Panel-to-panel standard deviation.
    pub part_sd: Option<f64>,
    /// `um per half length` or `um per half width`.
    pub unit: &'static str,
}

/// Who makes the unevenness.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum SurfaceCause {
    /// The same tilt on every panel.
    Machine,
    /// It comes with the panels.
    Part,
    /// Even enough.
    None,
    /// The data cannot tell.
    Undecided,
}
