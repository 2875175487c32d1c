//! When: one strip per finding, a tick for each panel hit in sanding order,
//! lots shaded.

use super::{
    Anchor, Area, Axis, ChartError, Colour, Description, FAINT, GRID, INK, MUTED, Theme, Weight,
    cause_colour, draw_mark, tenths,
};
use crate::causes::Cause;

/// One finding in time.
#[derive(Debug, Clone, PartialEq)]
pub struct Strip {
    /// What it is: F1 sand-through, cell A.
    pub label: String,
    /// Who makes it.
    pub cause: Cause,
    /// Panels of its stream, in sanding order: how many.
    pub panels: usize,
    /// Positions of the panels hit, rising, 0-based.
    pub hits: Vec<usize>,
    /// Runs of panels of one lot: first position, one past the last, name.
    pub lots: Vec<(usize, usize, String)>,
    /// Where it set in: earliest, best, latest position.
    pub onset: Option<[usize; 3]>,
    /// Where it ended, likewise.
    pub end: Option<[usize; 3]>,
    /// Where something was done about it: the first panel after the day.
    pub done: Vec<usize>,
    /// What the first and the last panel are called on the axis.
    pub ends: (String, String),
}

/// The texts of the chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Labels {
    /// Title and description.
    pub description: Description,
    /// Below the axis.
    pub x: String,
    /// At an onset: "set in".
    pub onset: String,
    /// At an end: "ended".
    pub end: String,
}

const LEFT: i32 = 60;
const STRIP: i32 = 240;
const ROW: i32 = 760;
/// Fewer tenths of a point per panel than this are drawn as shares.
const NARROW: f64 = 6.0;

/// Draws the strips below each other as SVG.
///
/// # Errors
///
/// [`ChartError`] if the drawing library fails.
pub fn svg(strips: &[Strip], labels: &Labels, theme: &Theme) -> Result<String, ChartError> {
    let rows = i32::try_from(strips.len()).unwrap_or(1).max(1);
    let height = f64::from(rows * ROW + 110) / 10.0;
    let right = tenths(theme.width_pt) - 60;
    theme.chart(height, &labels.description, |area| {
        for (strip, row) in strips.iter().zip(0..) {
            let axis = Axis::new(0.0, strip.panels.max(1) as f64, (LEFT, right));
            draw(theme, area, strip, &axis, row * ROW, labels)?;
        }
        let look = (Weight::Regular, INK, Anchor::Middle);
        theme.text(
            area,
            &labels.x,
            ((LEFT + right) / 2, rows * ROW + 20),
            theme.label_pt,
            look,
        )
    })
}

fn draw(
    theme: &Theme,
    area: &Area<'_>,
    strip: &Strip,
    axis: &Axis,
    top: i32,
    labels: &Labels,
) -> Result<(), ChartError> {
    let (y0, y1) = (top + 290, top + 290 + STRIP);
    draw_mark(theme, area, strip.cause, (LEFT + 40, top + 90), 80)?;
    let bold = (Weight::Bold, INK, Anchor::Left);
    let room = axis.at.1 - LEFT - 110;
    let label = theme.wrap(&strip.label, room, theme.label_pt, 1);
    theme.lines(area, &label, (LEFT + 110, top + 90), theme.label_pt, bold)?;

    let mut shaded = false;
    for (first, past, name) in &strip.lots {
        let (x0, x1) = (axis.place(*first as f64), axis.place(*past as f64));
        if shaded {
            theme.fill(area, [(x0, y0), (x1, y1)], GRID)?;
        }
        shaded = !shaded;
        let fits = theme.text_width(name, theme.small_pt, Weight::Regular) + 30 < x1 - x0;
        if fits {
            let look = (Weight::Regular, MUTED, Anchor::Middle);
            theme.text(area, name, ((x0 + x1) / 2, y0 - 60), theme.small_pt, look)?;
        }
    }
    theme.outline(area, [(axis.at.0, y0), (axis.at.1, y1)], 0.6, FAINT)?;
    ticks(theme, area, strip, axis, (y0, y1))?;
    // A wedge on the strip's upper edge: here somebody did something.
    for &position in &strip.done {
        let x = axis.place(position as f64);
        let wedge = [(x, y0 + 50), (x - 32, y0 - 18), (x + 32, y0 - 18)];
        theme.fill_polygon(area, &wedge, INK, 1.0)?;
    }
    // An onset is named to the left of its line and an end to the right, so
    // that the two never meet; at the chart's ends the other way round.
    let changes = [
        (strip.onset, &labels.onset, Anchor::Right),
        (strip.end, &labels.end, Anchor::Left),
    ];
    for (change, word, side) in changes {
        let Some([earliest, best, latest]) = change else {
            continue;
        };
        let at = |position: usize| axis.place(position as f64);
        let y = y1 + 50;
        theme.line(area, &[(at(earliest), y), (at(latest), y)], 0.8, INK)?;
        for end in [at(earliest), at(latest)] {
            theme.line(area, &[(end, y - 15), (end, y + 15)], 0.8, INK)?;
        }
        theme.line(area, &[(at(best), y0 - 20), (at(best), y1 + 85)], 1.2, INK)?;
        let width = theme.text_width(word, theme.small_pt, Weight::Regular) + 40;
        let (x, anchor) = match side {
            Anchor::Right if at(best) - width > axis.at.0 => (at(best) - 30, Anchor::Right),
            Anchor::Left if at(best) + width > axis.at.1 => (at(best) - 30, Anchor::Right),
            _ => (at(best) + 30, Anchor::Left),
        };
        let look = (Weight::Regular, INK, anchor);
        theme.text(area, word, (x, y1 + 110), theme.small_pt, look)?;
    }
    let y = y1 + 110;
    let free = |position: usize| {
        let near = |change: Option<[usize; 3]>| {
            change.is_some_and(|[a, b, c]| {
                let x = axis.place(position as f64);
                [a, b, c]
                    .iter()
                    .any(|&p| (axis.place(p as f64) - x).abs() < 900)
            })
        };
        !near(strip.onset) && !near(strip.end)
    };
    if free(0) {
        let look = (Weight::Regular, MUTED, Anchor::Left);
        theme.text(area, &strip.ends.0, (axis.at.0, y), theme.small_pt, look)?;
    }
    if free(strip.panels) {
        let look = (Weight::Regular, MUTED, Anchor::Right);
        theme.text(area, &strip.ends.1, (axis.at.1, y), theme.small_pt, look)?;
    }
    Ok(())
}

/// A tick per panel hit; where panels are narrower than a tick, a column per
/// group of panels, as high as the share of them that was hit.
fn ticks(
    theme: &Theme,
    area: &Area<'_>,
    strip: &Strip,
    axis: &Axis,
    (y0, y1): (i32, i32),
) -> Result<(), ChartError> {
    let colour: Colour = cause_colour(strip.cause);
    let width = f64::from(axis.at.1 - axis.at.0) / strip.panels.max(1) as f64;
    if width >= NARROW {
        let tick_pt = (width * 0.07).clamp(0.5, 2.2);
        for &hit in &strip.hits {
            let x = axis.place(hit as f64 + 0.5);
            theme.line(area, &[(x, y0 + 15), (x, y1 - 15)], tick_pt, colour)?;
        }
        return Ok(());
    }
    let group = (30.0 / width).ceil() as usize;
    for first in (0..strip.panels).step_by(group) {
        let past = (first + group).min(strip.panels);
        let from = strip.hits.partition_point(|&h| h < first);
        let to = strip.hits.partition_point(|&h| h < past);
        if to > from {
            let share = (to - from) as f64 / (past - first) as f64;
            let high = (share * f64::from(y1 - y0 - 20)).ceil().max(8.0) as i32;
            let (x0, x1) = (axis.place(first as f64), axis.place(past as f64));
            theme.fill(area, [(x0, y1 - high), (x1 - 4, y1)], colour)?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels() -> Labels {
        Labels {
            description: Description {
                title: "When".into(),
                text: "Strips".into(),
            },
            x: "panels in sanding order".into(),
            onset: "set in".into(),
            end: "ended".into(),
        }
    }

    fn strip(panels: usize) -> Strip {
        Strip {
            label: "F1 sand-through".into(),
            cause: Cause::Machine,
            panels,
            hits: (panels / 2..panels).step_by(3).collect(),
            lots: vec![
                (0, panels / 2, "L1".into()),
                (panels / 2, panels, "L2".into()),
            ],
            onset: Some([panels / 2 - 2, panels / 2, panels / 2 + 3]),
            end: None,
            done: vec![panels - 5],
            ends: ("first".into(), "last".into()),
        }
    }

    #[test]
    fn every_panel_hit_is_a_tick_and_the_onset_is_named() {
        let text = svg(&[strip(120)], &labels(), &Theme::default()).unwrap();
        assert_eq!(
            text.matches("#D55E00").count(),
            20 + 1,
            "ticks and the mark"
        );
        assert_eq!(text.matches("<polygon").count(), 1, "what was done");
        for word in ["set in", "L1", "L2", "panels in sanding order"] {
            assert!(text.contains(&format!(">{word}</text>")), "{word}");
        }
    }

    #[test]
    fn ten_thousand_panels_become_shares() {
        let text = svg(&[strip(10_000)], &labels(), &Theme::default()).unwrap();
        assert!(text.matches("#D55E00").count() < 200);
    }

    #[test]
    fn no_finding_gives_an_empty_chart() {
        assert!(svg(&[], &labels(), &Theme::default()).is_ok());
    }
}
