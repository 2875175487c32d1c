//! What a band holds without a repeat, told by the ground beside it.
//!
//! A band as wide is laid at every place beside the one in question, and the panels
//! that it hits there are counted, on average over its places. So many marks on one
//! panel count for what they can hit, neither for more nor for less, and what lies
//! in the band itself can't raise what is expected of it. The denser side counts:
//! with the mean of both every band along the end of a crowded side would stand
//! out.

use crate::causes::scan::LineAxis;
use crate::causes::scan::axis::{across, stretch};
use crate::causes::scan::field::marks::Field;
use crate::causes::scan::field::weights::band_crowding_anywhere;
use crate::causes::scan::lines::background::Bands;
use crate::causes::scan::lines::pooled::Pooled;
use crate::causes::scan::sharpness::Zone;
use crate::causes::scan::spots::background::{LEFT_OUT_MM, WINDOW_MM};

/// Reserve of a panel's chance: 1 − (1 − chance)^reserve.
const RESERVE: f64 = 1.1;

/// Bands nearer than this to the edge of a panel beside them lie on another ground,
/// mm: an edge that takes five times the marks of the others, 15 mm deep on average,
/// still shows 40 mm from it.
const EDGE_GROUND_MM: f64 = 60.0;

/// Least length of the ground on one side of a band, mm.
const LEAST_MM: f64 = 30.0;

/// A chance of 1 would have no logarithm.
const ALL_BUT_SURE: f64 = 1.0 - 1e-9;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    Below,
    Above,
}

/// What the ground on one side tells.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Ground {
    /// Panels that a band there hits, with the reserve.
    hits: f64,
    /// Σ of the squares of the panels' chances.
    squares: f64,
}

/// Of each panel, the share of the ground from which a band meets a mark of it.
#[derive(Debug, Clone)]
pub(crate) struct PanelShares {
    share: Vec<f64>,
    /// How far across the line the panel's share is counted up.
    reached: Vec<f64>,
    touched: Vec<usize>,
}

impl PanelShares {
    pub(crate) fn new(panels: usize) -> Self {
        Self {
            share: vec![0.0; panels],
            reached: vec![f64::NEG_INFINITY; panels],
            touched: Vec::new(),
        }
    }

    fn ground(&self) -> Ground {
        let mut ground = Ground {
            hits: 0.0,
            squares: 0.0,
        };
        for &panel in &self.touched {
            let share = self.share[panel].min(ALL_BUT_SURE);
            let chance = -(RESERVE * (-share).ln_1p()).exp_m1();
            ground.hits += chance;
            ground.squares += chance * chance;
        }
        ground
    }

    /// Without the reserve, which only adds.
    fn least(&self) -> Ground {
        let shares = self.touched.iter().map(|&panel| self.share[panel]);
        Ground {
            hits: shares.map(|share| share.min(ALL_BUT_SURE)).sum(),
            squares: 0.0,
        }
    }

    fn clear(&mut self) {
        for panel in self.touched.drain(..) {
            self.share[panel] = 0.0;
            self.reached[panel] = f64::NEG_INFINITY;
        }
    }
}

/// Panels hit by the band around `centre` without a repeat. None where it comes
/// near an edge of a panel, where the ground beside it is another, or where
/// earlier rounds left no ground beside it.
pub(crate) fn beside(
    bands: &Bands,
    centre: f64,
    half_width: f64,
    shares: &mut PanelShares,
) -> Option<Pooled> {
    told_by(bands, centre, half_width, shares, PanelShares::ground)
}

/// The same with an expectation that is at most the full one, at a fraction of its
/// price; the shape is not that of the full one.
pub(crate) fn beside_at_least(
    bands: &Bands,
    centre: f64,
    half_width: f64,
    shares: &mut PanelShares,
) -> Option<Pooled> {
    told_by(bands, centre, half_width, shares, PanelShares::least)
}

fn told_by(
    bands: &Bands,
    centre: f64,
    half_width: f64,
    shares: &mut PanelShares,
    ground: fn(&PanelShares) -> Ground,
) -> Option<Pooled> {
    let panels = panels_crossed(bands.field, bands.along, centre)?;
    let sides: Vec<Ground> = [Side::Below, Side::Above]
        .into_iter()
        .filter_map(|side| {
            share_out(bands, side, centre, half_width, shares)?;
            Some(ground(shares))
        })
        .collect();
    let denser = sides.iter().map(|s| s.hits).max_by(f64::total_cmp)?;
    let hits: f64 = sides.iter().map(|s| s.hits).sum();
    let squares: f64 = sides.iter().map(|s| s.squares).sum();
    let like_panels = if squares > 0.0 {
        hits * hits / squares
    } else {
        0.0
    };
    // one mark more, so that no marks are not no risk
    let one = RESERVE * half_width / ((WINDOW_MM - LEFT_OUT_MM) * bands.field.unit);
    let chance = (denser / panels).min(ALL_BUT_SURE);
    Some(Pooled {
        panels,
        expected: one - panels * (-chance).ln_1p(),
        shape: 1.0 + like_panels,
    })
}

/// How many panels a band around `centre` crosses; none near the edge of any.
fn panels_crossed(field: &Field, along: LineAxis, centre: f64) -> Option<f64> {
    // beside the band, on the ground left out, and before the edge's own ground
    let inside = (2.0 * LEFT_OUT_MM + LEAST_MM) * field.unit;
    let mut panels = 0.0;
    for kind in &field.kinds {
        let (low, high) = stretch(along, kind.rect);
        let depth = (centre - low).min(high - centre);
        if depth >= inside {
            panels += kind.panels;
        } else if depth > -EDGE_GROUND_MM * field.unit {
            return None;
        }
    }
    (panels >= 1.0).then_some(panels)
}

/// Shares of the ground on one side; none where there is none.
fn share_out(
    bands: &Bands,
    side: Side,
    centre: f64,
    half_width: f64,
    shares: &mut PanelShares,
) -> Option<()> {
    let field = bands.field;
    let mut grounds = Vec::with_capacity(field.kinds.len());
    for kind in &field.kinds {
        let (low, high) = stretch(bands.along, kind.rect);
        let pieces = pieces(bands, side, centre, (low, high));
        let length: f64 = pieces.iter().map(|p| p.1 - p.0).sum();
        let crossed = centre > low && centre < high;
        if crossed && length < LEAST_MM * field.unit {
            return None;
        }
        grounds.push((pieces, length));
    }
    shares.clear();
    let (window, left_out) = (WINDOW_MM * field.unit, LEFT_OUT_MM * field.unit);
    let middle = 0.5 * (window + left_out);
    let middle = match side {
        Side::Below => centre - middle,
        Side::Above => centre + middle,
    };
    for &i in bands.within(middle, 0.5 * (window - left_out) + half_width) {
        let point = &field.points[i];
        let (panel, u) = (point.panel, across(bands.along, point.at));
        let Some(kind) = field.kind_of[panel] else {
            continue;
        };
        let (pieces, length) = &grounds[kind];
        for &(from, to) in pieces {
            let low = (u - half_width).max(from).max(shares.reached[panel]);
            let high = (u + half_width).min(to);
            if high > low {
                if shares.share[panel] == 0.0 {
                    shares.touched.push(panel);
                }
                shares.reached[panel] = high;
                shares.share[panel] +=
                    band_crowding_anywhere(half_width, point.grain_mm) * (high - low) / length;
            }
        }
    }
    Some(())
}

/// The ground on one side of a band on panels from `low` to `high` that it crosses,
/// neither near the band nor near an edge, without what earlier rounds emptied.
fn pieces(bands: &Bands, side: Side, centre: f64, (low, high): (f64, f64)) -> Vec<(f64, f64)> {
    if centre <= low || centre >= high {
        return Vec::new();
    }
    let unit = bands.field.unit;
    let (window, left_out) = (WINDOW_MM * unit, LEFT_OUT_MM * unit);
    let whole = match side {
        Side::Below => ((centre - window).max(low + left_out), centre - left_out),
        Side::Above => (centre + left_out, (centre + window).min(high - left_out)),
    };
    let mut pieces = vec![whole];
    for zone in &bands.field.emptied {
        let Zone::Band {
            along,
            at,
            half_width,
        } = *zone
        else {
            continue;
        };
        if along == bands.along {
            let halves = |(from, to): (f64, f64)| {
                [
                    (from, to.min(at - half_width)),
                    (from.max(at + half_width), to),
                ]
            };
            pieces = pieces.into_iter().flat_map(halves).collect();
        }
    }
    pieces.retain(|(from, to)| to > from);
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::scan::lines;
    use crate::causes::scan::worked_cases::{PLAIN, view};
    use approx::assert_relative_eq;

    /// Forty panels of six marks about 100 mm apart across, moved from panel to
    /// panel; a stripe of 30 mm on either side may be empty because its marks were
    /// taken out.
    fn striped(emptied: bool) -> Field {
        let mut marks = Vec::new();
        for i in 0..40_usize {
            for k in 0..6_usize {
                let x = ((97 * i + 101 * k) % 600) as f64 + 0.25;
                let out = [225.0..255.0, 345.0..375.0].iter().any(|s| s.contains(&x));
                if !(emptied && out) {
                    marks.push((i, x, (53 * i % 400) as f64));
                }
            }
        }
        let mut field = Field::whole(&view(&[PLAIN; 40], &marks, 0.0));
        if emptied {
            field.emptied.extend([240.0, 360.0].map(|at| Zone::Band {
                along: LineAxis::Y,
                at,
                half_width: 15.0,
            }));
        }
        field
    }

    /// Six marks a panel on 600 mm, too far apart for a band of 16 mm to meet two: it
    /// meets 6 · 16/600 of the panels, also where part of the ground was emptied.
    #[test]
    fn what_an_earlier_round_emptied_is_no_ground() {
        for emptied in [false, true] {
            let field = striped(emptied);
            let bands = lines::bands(&field, LineAxis::Y);
            let mut shares = PanelShares::new(field.panels());
            let pooled = beside(&bands, 300.0, 8.0, &mut shares).unwrap();
            let chance = -(-pooled.expected / 40.0).exp_m1();
            assert_relative_eq!(chance, 0.16 * RESERVE, max_relative = 0.12);
        }
    }

    #[test]
    fn a_band_near_an_edge_or_amid_emptied_ones_has_no_ground() {
        let mut field = striped(false);
        let mut shares = PanelShares::new(field.panels());
        assert!(beside(&lines::bands(&field, LineAxis::Y), 80.0, 8.0, &mut shares).is_none());
        for at in [240.0, 360.0] {
            field.emptied.push(Zone::Band {
                along: LineAxis::Y,
                at,
                half_width: 35.0,
            });
        }
        assert!(beside(&lines::bands(&field, LineAxis::Y), 300.0, 8.0, &mut shares).is_none());
    }
}
