//! When: one strip per finding, a tick for each panel hit in sanding order,
//! lots shaded.

use super::axes::Axis;
use super::cause_colour;
use super::sheet::Sheet;
use super::{Anchor, ChartError, Description, FAINT, GRID, INK, MUTED, Theme, Weight};
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
#[derive(Debug, Clone, PartialEq, Default)]
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
    let right = theme.width() - 60;
    theme.chart(rows * ROW + 110, &labels.description, |sheet| {
        for (strip, row) in strips.iter().zip(0..) {
            let axis = Axis::new(0.0, strip.panels.max(1) as f64, (LEFT, right));
            draw(sheet, strip, &axis, row * ROW, labels);
        }
        let below = ((LEFT + right) / 2, rows * ROW + 20);
        sheet.label(&labels.x, below, INK, Anchor::Middle);
    })
}

fn draw(sheet: &Sheet<'_>, strip: &Strip, axis: &Axis, top: i32, labels: &Labels) {
    let (y0, y1) = (top + 290, top + 290 + STRIP);
    sheet.mark(strip.cause, (LEFT + 40, top + 90), 80);
    let bold = (Weight::Bold, INK, Anchor::Left);
    let label = sheet.wrap(&strip.label, axis.at.1 - LEFT - 110, sheet.label_pt, 1);
    sheet.lines(&label, (LEFT + 110, top + 90), sheet.label_pt, bold);

    let mut shaded = false;
    for (first, past, name) in &strip.lots {
        let (x0, x1) = (axis.place(*first as f64), axis.place(*past as f64));
        if shaded {
            sheet.fill([(x0, y0), (x1, y1)], GRID);
        }
        shaded = !shaded;
        if sheet.small_width(name) + 30 < x1 - x0 {
            sheet.small(name, ((x0 + x1) / 2, y0 - 60), MUTED, Anchor::Middle);
        }
    }
    sheet.outline([(axis.at.0, y0), (axis.at.1, y1)], 0.6, FAINT);
    ticks(sheet, strip, axis, (y0, y1));
    // A wedge on the strip's upper edge: here somebody did something.
    for &position in &strip.done {
        let x = axis.place(position as f64);
        let wedge = [(x, y0 + 50), (x - 32, y0 - 18), (x + 32, y0 - 18)];
        sheet.polygon(&wedge, INK, 1.0);
    }
    // An onset is named to the left of its line and an end to the right, so
    // that the two never meet; at the chart's ends the other way round.
    let places = |change: &[usize; 3]| change.map(|position| axis.place(position as f64));
    let onset = strip.onset.as_ref().map(places);
    let end = strip.end.as_ref().map(places);
    for (change, word, side) in [
        (onset, &labels.onset, Anchor::Right),
        (end, &labels.end, Anchor::Left),
    ] {
        let Some([earliest, best, latest]) = change else {
            continue;
        };
        let y = y1 + 50;
        sheet.line(&[(earliest, y), (latest, y)], 0.8, INK);
        for end in [earliest, latest] {
            sheet.line(&[(end, y - 15), (end, y + 15)], 0.8, INK);
        }
        sheet.line(&[(best, y0 - 20), (best, y1 + 85)], 1.2, INK);
        let width = sheet.small_width(word) + 40;
        let (x, anchor) = match side {
            Anchor::Right if best - width > axis.at.0 => (best - 30, Anchor::Right),
            Anchor::Left if best + width > axis.at.1 => (best - 30, Anchor::Right),
            _ => (best + 30, Anchor::Left),
        };
        sheet.small(word, (x, y1 + 110), INK, anchor);
    }
    let near = |x: i32| move |at: i32| (at - x).abs() < 900;
    let free = |x: i32| !onset.iter().chain(&end).flatten().copied().any(near(x));
    let (first, last) = &strip.ends;
    if free(axis.at.0) {
        sheet.small(first, (axis.at.0, y1 + 110), MUTED, Anchor::Left);
    }
    if free(axis.place(strip.panels as f64)) {
        sheet.small(last, (axis.at.1, y1 + 110), MUTED, Anchor::Right);
    }
}

/// A tick per panel hit; where panels are narrower than a tick, a column per
/// group of panels, as high as the share of them that was hit.
fn ticks(sheet: &Sheet<'_>, strip: &Strip, axis: &Axis, (y0, y1): (i32, i32)) {
    let colour = cause_colour(strip.cause);
    let width = f64::from(axis.at.1 - axis.at.0) / strip.panels.max(1) as f64;
    if width >= NARROW {
        let tick_pt = (width * 0.07).clamp(0.5, 2.2);
        for &hit in &strip.hits {
            let x = axis.place(hit as f64 + 0.5);
            sheet.line(&[(x, y0 + 15), (x, y1 - 15)], tick_pt, colour);
        }
        return;
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
            sheet.fill([(x0, y1 - high), (x1 - 4, y1)], colour);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels() -> Labels {
        Labels {
            x: "panels in sanding order".into(),
            onset: "set in".into(),
            end: "ended".into(),
            ..Labels::default()
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
