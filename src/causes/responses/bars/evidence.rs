//! What decides whose bars they are: frames, feed, and the panels that show them.

use std::f64::consts::TAU;

use crate::causes::levels::FRAME_CLAIM;
use crate::causes::responses::bars::findings::BarSighting;
use crate::causes::responses::bars::phases::{Fit, Phase, fit, phasor};
use crate::causes::responses::place::Holder;
use crate::causes::scan::relative_feeds;
use crate::causes::scan::{across, stretch};
use crate::causes::verdict::Holds;
use crate::causes::{LineAxis, View};

/// Chance of a panel without bars to be taken for one with bars.
pub(crate) const BY_CHANCE: f64 = 0.1;

/// Standard normal quantile of 1 − [`BY_CHANCE`].
const QUANTILE: f64 = 1.281_551_565_544_6;

/// Marks whose phase is this near the panel's, as a cosine, lie on a bar.
const ON_A_BAR: f64 = 0.5;

/// The frames to compare, as far as they can differ.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Frames<'a> {
    pub(crate) machine: &'a View,
    pub(crate) panel: Option<&'a View>,
    /// Only where the lay at the table is recorded.
    pub(crate) table: Option<&'a View>,
    /// Marks to be used, by index into `Records::defects`.
    pub(crate) used: &'a [bool],
}

/// How one panel's marks lie to the bars.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct PanelBars {
    /// Position in the stream's panels.
    pub(crate) panel: usize,
    /// Whether it shows the bars.
    pub(crate) shows: bool,
    /// Its marks on bars, indices into `Records::defects`, nearest to one first.
    pub(crate) on_bars: Vec<usize>,
}

/// The evidence.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct BarEvidence {
    /// Where the likelihoods say that they hold.
    pub(crate) holds: Holds,
    /// ln likelihood, machine over part.
    pub(crate) machine_over_panel: f64,
    /// ln likelihood, machine over table, where its lay is recorded.
    pub(crate) machine_over_table: Option<f64>,
    /// ln likelihood of a pitch proportional to the feed over one that is the same
    /// at all feeds, where the feed varied.
    pub(crate) with_feed: Option<f64>,
    /// The middle feed, mm/s.
    pub(crate) middle_feed: Option<f64>,
    /// Whether the phase is the frame's.
    pub(crate) fixed_phase: bool,
    /// Panels with marks enough to show bars.
    pub(crate) could_show: usize,
    /// Those panels.
    pub(crate) panels: Vec<PanelBars>,
    /// Chance of a panel that could show bars to be taken for one that does.
    pub(crate) by_chance: f64,
}

/// Marks of one frame along one axis, panel by panel.
struct Places {
    panels: Vec<(usize, Vec<(f64, usize)>)>,
    length: f64,
}

impl Places {
    fn new(view: &View, along: LineAxis, used: &[bool], relative: Option<&[Option<f64>]>) -> Self {
        let mut places = Self {
            panels: Vec::new(),
            length: 0.0,
        };
        for m in view.marks.iter().filter(|m| used[m.defect]) {
            let Some(feed) = relative.map_or(Some(1.0), |r| r[m.panel]) else {
                continue;
            };
            let (low, high) = stretch(along, view.panels[m.panel].rect);
            places.length = places.length.max((high - low) / feed);
            let mark = (across(along, m.at) / feed, m.defect);
            match places.panels.last_mut() {
                Some(last) if last.0 == m.panel => last.1.push(mark),
                _ => places.panels.push((m.panel, vec![mark])),
            }
        }
        places
    }

    fn fit(&self, frequency: f64, fixed: bool) -> Option<Fit> {
        let panels: Vec<Vec<f64>> = self
            .panels
            .iter()
            .map(|(_, marks)| marks.iter().map(|m| m.0).collect())
            .collect();
        fit(&panels, frequency, self.length, fixed)
    }

    /// How each panel lies to the bars of `fit`.
    fn panels(&self, fit: &Fit) -> Vec<PanelBars> {
        let least = if fit.phase == Phase::Free { 2 } else { 1 };
        (self.panels.iter().filter(|(_, marks)| marks.len() >= least))
            .map(|(panel, marks)| {
                let at: Vec<f64> = marks.iter().map(|m| m.0).collect();
                let (re, im, n) = phasor(&at, fit.frequency);
                let (shows, angle) = match fit.phase {
                    Phase::Free => (shows_anywhere(&at, fit.frequency), im.atan2(re)),
                    Phase::Fixed(turns) => {
                        let (sin, cos) = (TAU * turns).sin_cos();
                        let needed = QUANTILE * (n / 2.0).sqrt();
                        (re * cos + im * sin >= needed.min(0.9 * n), TAU * turns)
                    }
                };
                let mut on_bars: Vec<(f64, usize)> = marks
                    .iter()
                    .map(|m| ((TAU * fit.frequency * m.0 - angle).cos(), m.1))
                    .filter(|m| m.0 >= ON_A_BAR)
                    .collect();
                on_bars.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
                PanelBars {
                    panel: *panel,
                    shows,
                    on_bars: on_bars.into_iter().map(|m| m.1).collect(),
                }
            })
            .collect()
    }
}

/// Whether marks at these places show the pitch, whatever its phase.
pub(crate) fn shows_anywhere(at: &[f64], frequency: f64) -> bool {
    let (re, im, n) = phasor(at, frequency);
    (re * re + im * im) / (n * n) >= least_share(n)
}

/// |Σ e^{iθ}|²/n² that `n` uniform phases exceed with chance [`BY_CHANCE`]: exact
/// for two marks, from the exponential limit, which is a little above, for more.
fn least_share(n: f64) -> f64 {
    if n <= 2.0 {
        0.5 * (1.0 + (std::f64::consts::PI * BY_CHANCE).cos())
    } else {
        -BY_CHANCE.ln() / n
    }
}

/// Weighs frames and feed, and tells which panels show the bars.
pub(crate) fn weigh(
    frames: &Frames<'_>,
    sighting: &BarSighting,
    feeds: &[Option<f64>],
) -> Option<BarEvidence> {
    let along = sighting.bars.along;
    let frequency = 1.0 / sighting.bars.pitch_mm;
    let both = |view: &View, along| {
        let places = Places::new(view, along, frames.used, None);
        let fits = [false, true].map(|fixed| places.fit(frequency, fixed));
        best(fits.into_iter().flatten()).map(|fit| (fit, places))
    };
    let across_lays = |view: &View| {
        let axes = [LineAxis::Y, LineAxis::X];
        let fits = axes.into_iter().filter_map(|along| both(view, along));
        fits.max_by(|a, b| a.0.log_ratio.total_cmp(&b.0.log_ratio))
    };
    let (same, of_part) = match (sighting.holder, frames.panel) {
        (Holder::Panel, Some(panel)) => (across_lays(frames.machine)?, both(panel, along)),
        (_, panel) => (both(frames.machine, along)?, panel.and_then(across_lays)),
    };
    let relative = relative_feeds(feeds);
    let with_feed = relative.as_ref().and_then(|(relative, _)| {
        let places = Places::new(frames.machine, along, frames.used, Some(relative));
        Some((places.fit(frequency, false)?, places))
    });
    let of_table = frames.table.and_then(across_lays);
    let part = of_part.as_ref().map_or(same.0.log_ratio, |f| f.0.log_ratio);
    let feed_log_ratio = with_feed.as_ref().map(|f| f.0.log_ratio - same.0.log_ratio);
    let machine = same.0.log_ratio + feed_log_ratio.unwrap_or(0.0).max(0.0);
    let machine_over_panel = machine - part;
    let machine_over_table = of_table.as_ref().map(|f| machine - f.0.log_ratio);
    let part_over_table = of_table.as_ref().map(|f| part - f.0.log_ratio);
    let holds = if machine_over_panel >= FRAME_CLAIM
        && machine_over_table.is_none_or(|r| r >= FRAME_CLAIM)
    {
        Holds::Machine
    } else if machine_over_panel <= -FRAME_CLAIM && part_over_table.is_none_or(|r| r >= FRAME_CLAIM)
    {
        Holds::Panel
    } else if machine_over_table.is_some_and(|r| r <= -FRAME_CLAIM)
        && part_over_table.is_some_and(|r| r <= -FRAME_CLAIM)
    {
        Holds::Inspection
    } else {
        Holds::Untold
    };
    let chosen = match holds {
        Holds::Panel => of_part.unwrap_or(same),
        Holds::Inspection => of_table.unwrap_or(same),
        _ if feed_log_ratio.is_some_and(|r| r > 0.0) => with_feed.unwrap_or(same),
        _ => same,
    };
    let panels = chosen.1.panels(&chosen.0);
    Some(BarEvidence {
        holds,
        machine_over_panel,
        machine_over_table,
        with_feed: feed_log_ratio,
        middle_feed: relative.map(|r| r.1),
        fixed_phase: chosen.0.phase != Phase::Free,
        could_show: panels.len(),
        panels,
        by_chance: BY_CHANCE,
    })
}

fn best(fits: impl Iterator<Item = Fit>) -> Option<Fit> {
    fits.max_by(|a, b| a.log_ratio.total_cmp(&b.log_ratio))
}
