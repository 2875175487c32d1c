//! Marks along both ends of the panels, more than edges alone attract: a warped
//! panel, or one that sags.
//!
//! Edges attract marks of all kinds, and the ground that any edge has must not
//! pass for a warp. So bands along the two ends of an axis are compared with bands
//! of the same depth along the other two edges of the same panels, corners left
//! out of all four. Panels are the units: of each, the share of an end in its
//! marks in the three bands, which without a warp is that of the end's length. Both
//! ends have to stand out, as the panels are and as they lay: one side of the
//! machine marks both ends of panels that were turned, but never both its own.

use crate::causes::responses::ends::opposite::{EITHER_WAY, KindMarks, ends_of_what, finding};
use crate::causes::responses::ends::votes::shares;
use crate::causes::{Finding, Frame, LineAxis, Reason};
use crate::records::Records;

/// Depth of the bands: this share of the panel's shorter side.
const DEPTH: f64 = 1.0 / 6.0;

/// Share of an edge's length at either end that belongs to the corners.
const CORNER: f64 = 0.2;

/// Edges may differ so much of themselves.
const ALIKE_WITHIN: f64 = 1.5;

/// As the panels lay, each end must stand out at this level.
const AS_THEY_LAY: f64 = 0.01;

/// Quarter-turned panels that say whether the pattern turned with them.
const LEAST_ACROSS: usize = 5;

/// A panel's marks in the four bands of a frame: at the low and the high end of
/// the axis, and along the other two edges together; and the bands' lengths.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Bands {
    low: f64,
    high: f64,
    aside: f64,
    end_mm: f64,
    aside_mm: f64,
}

/// What one end shows against the other two edges, over all panels.
#[derive(Debug, Clone, Copy, PartialEq)]
struct End {
    p_value: f64,
    /// Marks per length over those of the other edges.
    ratio: f64,
}

/// Marks along both ends of `axis`; of `taken` marks, which belong to places and
/// lines, none counts. `tests` are all that share `alpha`.
pub(crate) fn ends_stand_out(
    records: &Records,
    kind: KindMarks<'_>,
    taken: &[bool],
    panels: &[usize],
    axis: LineAxis,
    (alpha, tests): (f64, usize),
) -> Option<Finding> {
    let in_frame = |frame: Frame| -> Vec<(usize, Bands)> {
        panels
            .iter()
            .map(|&panel| (panel, bands(records, kind, taken, panel, (frame, axis))))
            .collect()
    };
    let own = in_frame(Frame::Panel);
    let [low, high] = ends(&own);
    let p_value = low.p_value.max(high.p_value);
    let p_adjusted = (p_value * tests as f64).min(1.0);
    if p_adjusted > alpha {
        return None;
    }
    let lain = in_frame(Frame::Machine);
    if ends(&lain).iter().any(|end| end.p_value > AS_THEY_LAY) {
        return None;
    }
    let across: Vec<(usize, Bands)> = own
        .iter()
        .filter(|(panel, _)| records.panels[*panel].lay.swaps_axes())
        .copied()
        .collect();
    let marked = across.iter().filter(|(_, b)| b.all() > 0.0).count();
    if marked >= LEAST_ACROSS && ends(&across).iter().any(|end| end.ratio < 1.0) {
        return None;
    }
    let with_marks = || own.iter().filter(|(_, b)| b.all() > 0.0);
    let expected = with_marks()
        .map(|(_, b)| {
            let ends = 2.0 * b.end_mm / (2.0 * b.end_mm + b.aside_mm);
            1.0 - (1.0 - ends).powf(b.all())
        })
        .sum();
    let hit: Vec<usize> = with_marks()
        .filter(|(_, b)| b.low + b.high > 0.0)
        .map(|(panel, _)| *panel)
        .collect();
    let mut out = finding(
        records,
        kind.name,
        (&hit, with_marks().count()),
        p_adjusted,
        Reason::EndsStandOut {
            axis,
            low_ratio: low.ratio,
            high_ratio: high.ratio,
            p_value,
        },
        expected,
    );
    out.evidence.members = hit
        .iter()
        .flat_map(|&panel| at_ends(records, kind, taken, panel, axis))
        .collect();
    out.evidence.members.sort_unstable();
    let along: Vec<(usize, Bands)> = own
        .iter()
        .filter(|(panel, _)| !records.panels[*panel].lay.swaps_axes())
        .copied()
        .collect();
    let holds = |bands: &[(usize, Bands)]| ends(bands).iter().all(|e| e.p_value <= EITHER_WAY);
    if !holds(&across) || !holds(&along) {
        out = ends_of_what(out);
    }
    Some(out)
}

impl Bands {
    fn all(&self) -> f64 {
        self.low + self.high + self.aside
    }
}

/// Where in the bands a mark at the shares (u, v) of an extent lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Band {
    Low,
    High,
    Aside,
}

fn band_of((u, v): (f64, f64), (along, across): (f64, f64)) -> Option<Band> {
    let depth = DEPTH * along.min(across);
    let middle = |share: f64| (CORNER..=1.0 - CORNER).contains(&share);
    if middle(v) && u * along < depth {
        Some(Band::Low)
    } else if middle(v) && (1.0 - u) * along < depth {
        Some(Band::High)
    } else if middle(u) && v.min(1.0 - v) * across < depth {
        Some(Band::Aside)
    } else {
        None
    }
}

/// The panel's bands at the ends of its own `axis`, low and high as `frame` says.
fn bands(
    records: &Records,
    kind: KindMarks<'_>,
    taken: &[bool],
    panel: usize,
    (frame, axis): (Frame, LineAxis),
) -> Bands {
    let about = &records.panels[panel];
    // the panel's own axis, wherever it lay in the frame
    let turned = frame == Frame::Machine && about.lay.swaps_axes();
    let along_x = (axis == LineAxis::X) != turned;
    let (width, height) = frame.extent(about);
    let (along, across) = if along_x {
        (width, height)
    } else {
        (height, width)
    };
    let mut out = Bands {
        low: 0.0,
        high: 0.0,
        aside: 0.0,
        end_mm: across * (1.0 - 2.0 * CORNER),
        aside_mm: 2.0 * along * (1.0 - 2.0 * CORNER),
    };
    for mark in kind.marks.on(panel) {
        if taken[mark.defect] {
            continue;
        }
        let Some((u, v)) = shares(records, mark.defect, panel, frame) else {
            continue;
        };
        let place = if along_x { (u, v) } else { (v, u) };
        match band_of(place, (along, across)) {
            Some(Band::Low) => out.low += 1.0,
            Some(Band::High) => out.high += 1.0,
            Some(Band::Aside) => out.aside += 1.0,
            None => {}
        }
    }
    out
}

/// Marks of a panel in the bands at the ends of its own axis.
fn at_ends(
    records: &Records,
    kind: KindMarks<'_>,
    taken: &[bool],
    panel: usize,
    axis: LineAxis,
) -> Vec<usize> {
    let about = &records.panels[panel];
    let (length, width) = (about.length_mm, about.width_mm);
    let at_end = |defect: usize| {
        let (u, v) = shares(records, defect, panel, Frame::Panel)?;
        let band = match axis {
            LineAxis::X => band_of((u, v), (length, width)),
            LineAxis::Y => band_of((v, u), (width, length)),
        };
        matches!(band, Some(Band::Low | Band::High)).then_some(defect)
    };
    let marks = kind.marks.on(panel).iter();
    marks
        .filter(|mark| !taken[mark.defect])
        .filter_map(|mark| at_end(mark.defect))
        .collect()
}

/// Low and high end against the other two edges.
fn ends(panels: &[(usize, Bands)]) -> [End; 2] {
    [|b: &Bands| b.low, |b: &Bands| b.high].map(|own| end(panels, own))
}

/// P(shares so large) for independent shares in 0..1 with given means is at most
/// e^(−n·D), D the divergence of their mean from the mean of the means, both as
/// Bernoulli chances, whatever their distributions.
///
/// Source: Hoeffding (1963), Journal of the American Statistical Association
/// 58, 13–30, theorem 1.
fn end(panels: &[(usize, Bands)], own: fn(&Bands) -> f64) -> End {
    let (mut n, mut seen, mut even) = (0.0, 0.0, 0.0);
    let (mut marks, mut aside, mut end_mm, mut aside_mm) = (0.0, 0.0, 0.0, 0.0);
    for (_, b) in panels {
        end_mm += b.end_mm;
        aside_mm += b.aside_mm;
        let here = own(b) + b.aside;
        if here > 0.0 {
            n += 1.0;
            seen += own(b) / here;
            even += ALIKE_WITHIN * b.end_mm / (ALIKE_WITHIN * b.end_mm + b.aside_mm);
            marks += own(b);
            aside += b.aside;
        }
    }
    if n == 0.0 || aside_mm == 0.0 || end_mm == 0.0 {
        return End {
            p_value: 1.0,
            ratio: 0.0,
        };
    }
    let ratio = (marks / end_mm) / ((aside + 0.5) / aside_mm);
    let (seen, even) = (seen / n, even / n);
    if seen <= even {
        return End {
            p_value: 1.0,
            ratio,
        };
    }
    let part = |a: f64, b: f64| if a > 0.0 { a * (a / b).ln() } else { 0.0 };
    let divergence = part(seen, even) + part(1.0 - seen, 1.0 - even);
    End {
        p_value: (-n * divergence).exp(),
        ratio,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::made;
    use crate::causes::responses::place::Marks;
    use crate::records::{Lay, Panel, Point};
    use crate::site::DefectClass;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    #[derive(Clone, Copy, PartialEq)]
    enum Shape {
        /// Both ends of the panel.
        Ends,
        /// All edges alike.
        Edges,
        /// Corners.
        Corners,
        /// One side of the machine, half of the panels turned.
        MachineSide,
        /// Both ends of the machine, some panels lying across.
        MachineEnds,
    }

    fn made(shape: Shape, seed: u64) -> Records {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut records = made::records(&[("sand-through", Some(DefectClass::Over))]);
        for i in 0..150 {
            let lay = match (shape, rng.random_range(0..4)) {
                (Shape::MachineEnds, 0) => Lay::Deg90,
                (_, 1 | 2) => Lay::Deg180,
                _ => Lay::Deg0,
            };
            let panel = Panel {
                lay,
                ..made::panel(i, 700.0, 450.0)
            };
            for _ in 0..rng.random_range(0..3) {
                let place = place(shape, &panel, &mut rng);
                records.defects.push(made::mark(i, 0, Some(place)));
            }
            records.panels.push(panel);
        }
        records
    }

    fn place(shape: Shape, panel: &Panel, rng: &mut ChaCha8Rng) -> Point {
        let (length, width) = (panel.length_mm, panel.width_mm);
        let mut near = |mean: f64| -mean * (1.0 - rng.random::<f64>()).ln();
        let (deep, deep2) = (near(30.0).min(200.0), near(30.0).min(200.0));
        let (a, b): (bool, bool) = (rng.random(), rng.random());
        let (u, v): (f64, f64) = (rng.random(), rng.random());
        let x_end = Point::new(if a { deep } else { length - deep }, v * width);
        match shape {
            Shape::Ends => x_end,
            Shape::Edges if u * (length + width) < width => x_end,
            Shape::Edges => Point::new(v * length, if b { deep } else { width - deep }),
            Shape::Corners => Point::new(x_end.x, if b { deep2 } else { width - deep2 }),
            Shape::MachineSide => Point {
                x: if panel.lay == Lay::Deg180 {
                    length - deep
                } else {
                    deep
                },
                y: v * width,
            },
            Shape::MachineEnds if panel.lay == Lay::Deg90 => {
                Point::new(v * length, if b { deep } else { width - deep })
            }
            Shape::MachineEnds => x_end,
        }
    }

    #[test]
    fn only_marks_at_both_ends_of_the_panel_itself_are_named() {
        let named = |shape| {
            let found = |seed: &u64| {
                let records = made(shape, *seed);
                let marks = Marks::of(&records, 0);
                let kind = KindMarks {
                    name: 0,
                    marks: &marks,
                };
                let panels: Vec<usize> = (0..records.panels.len()).collect();
                let taken = vec![false; records.defects.len()];
                [LineAxis::X, LineAxis::Y].into_iter().any(|axis| {
                    ends_stand_out(&records, kind, &taken, &panels, axis, (0.01, 2)).is_some()
                })
            };
            (0..40).filter(found).count()
        };
        assert_eq!(named(Shape::Ends), 40);
        for shape in [
            Shape::Edges,
            Shape::Corners,
            Shape::MachineSide,
            Shape::MachineEnds,
        ] {
            assert_eq!(named(shape), 0);
        }
    }

    #[test]
    fn the_bound_is_hoeffdings() {
        // Ten panels, each all its marks at the low end of a square panel's axis:
        // e^(−10·ln(1/p)) = p¹⁰, p = 1.5/(1.5 + 2).
        let bands = Bands {
            low: 3.0,
            high: 0.0,
            aside: 0.0,
            end_mm: 100.0,
            aside_mm: 200.0,
        };
        let panels: Vec<(usize, Bands)> = (0..10).map(|i| (i, bands)).collect();
        let [low, high] = ends(&panels);
        let expected = (1.5_f64 / 3.5).powi(10);
        assert!((low.p_value / expected - 1.0).abs() < 1e-9);
        assert_eq!(high.p_value, 1.0);
    }
}
