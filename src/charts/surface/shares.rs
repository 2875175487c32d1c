//! Shares of unevenness: machine, part and gauge as one bar.

use crate::causes::Cause;
use crate::charts::axes::Axis;
use crate::charts::sheet::{At, Sheet};
use crate::charts::{Anchor, ChartError, Description, FAINT, INK, MUTED, PAPER, Theme};

/// One bar.
#[derive(Debug, Clone, PartialEq)]
pub struct Bar {
    /// Whose: the machine and head.
    pub label: String,
    /// The same on every panel as it lay, 0..1.
    pub machine: f64,
    /// Whose mark that share has: the machine's, or undecided.
    pub machine_cause: Cause,
    /// With the panels, 0..1.
    pub part: f64,
    /// Gauge and unmodelled, 0..1.
    pub gauge: f64,
}

/// The texts of the chart.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Labels {
    /// Title and description.
    pub description: Description,
    /// What the bars measure.
    pub measure: String,
    /// The same on every panel as it lay, where turned panels told it from the
    /// panels' own.
    pub machine: String,
    /// The same, where they did not.
    pub untold: String,
    /// With the panels.
    pub part: String,
    /// Gauge and unmodelled.
    pub gauge: String,
}

const LEFT: i32 = 900;
const TOP: i32 = 240;
const STEP: i32 = 250;
const HEIGHT: i32 = 140;
/// From a key's mark to its name, and from that to the next mark.
const KEY_MARK: i32 = 150;
const KEY_GAP: i32 = 100;

/// Draws one bar for every machine and head, as SVG.
///
/// # Errors
///
/// [`ChartError`] if the drawing library fails.
pub fn svg(bars: &[Bar], labels: &Labels, theme: &Theme) -> Result<String, ChartError> {
    let axis = Axis::new(0.0, 100.0, (LEFT, theme.width() - 120));
    let bottom = TOP + STEP * i32::try_from(bars.len().max(1)).unwrap_or(1);
    let key = key(bars, labels);
    theme.chart(bottom + 330, &labels.description, |sheet| {
        let wide = |name: &str| KEY_MARK + theme.small_width(name) + KEY_GAP;
        let total: i32 = key.iter().map(|k| wide(k.1)).sum();
        let mut x = LEFT.min(theme.width() - total + KEY_GAP).max(40);
        for (cause, name) in key {
            part(sheet, [(x, 40), (x + 110, 110)], cause);
            sheet.small(name, (x + KEY_MARK, 75), INK, Anchor::Left);
            x += wide(name);
        }
        let mut middle = TOP + STEP / 2;
        for bar in bars {
            sheet.row_name(&bar.label, LEFT, middle);
            let mut reach = 0.0;
            for (cause, share) in [
                (Some(bar.machine_cause), bar.machine),
                (Some(Cause::Part), bar.part),
                (None, bar.gauge),
            ] {
                let from = axis.place(100.0 * reach);
                reach += share;
                let to = axis.place(100.0 * reach);
                if to > from {
                    let (y0, y1) = (middle - HEIGHT / 2, middle + HEIGHT / 2);
                    part(sheet, [(from, y0), (to, y1)], cause);
                }
            }
            middle += STEP;
        }
        sheet.line(&[(LEFT, TOP), (LEFT, bottom)], 0.6, FAINT);
        sheet.bottom_axis(&axis, bottom, &labels.measure);
    })
}

/// Every look that occurs among the bars, with its name.
fn key<'a>(bars: &[Bar], labels: &'a Labels) -> Vec<(Option<Cause>, &'a str)> {
    let occurs = |cause| bars.iter().any(|b| b.machine_cause == cause);
    let mut out = Vec::new();
    if occurs(Cause::Machine) {
        out.push((Some(Cause::Machine), labels.machine.as_str()));
    }
    if occurs(Cause::Undecided) {
        out.push((Some(Cause::Undecided), labels.untold.as_str()));
    }
    out.push((Some(Cause::Part), labels.part.as_str()));
    out.push((None, labels.gauge.as_str()));
    out
}

/// A part in its cause's look; the gauge, which is nobody's, in upright lines.
fn part(sheet: &Sheet<'_>, corners: [At; 2], cause: Option<Cause>) {
    let Some(cause) = cause else {
        sheet.fill(corners, PAPER);
        let [(x0, y0), (x1, y1)] = corners;
        for x in (x0 + 30..x1).step_by(40) {
            sheet.line(&[(x, y0), (x, y1)], 0.7, MUTED);
        }
        sheet.outline(corners, 0.6, MUTED);
        return;
    };
    sheet.hatch(corners, cause);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels() -> Labels {
        Labels {
            measure: "share of the unevenness, %".into(),
            machine: "the machine's".into(),
            untold: "same on every panel".into(),
            part: "with the panels".into(),
            gauge: "gauge".into(),
            ..Labels::default()
        }
    }

    fn bar(machine_cause: Cause) -> Bar {
        Bar {
            label: "M1".into(),
            machine: 0.3,
            machine_cause,
            part: 0.5,
            gauge: 0.2,
        }
    }

    #[test]
    fn the_bar_names_its_parts_and_its_measure() {
        let svg = svg(&[bar(Cause::Machine)], &labels(), &Theme::default()).unwrap();
        for text in [
            "with the panels",
            "gauge",
            "share of the unevenness, %",
            "M1",
        ] {
            assert!(svg.contains(text), "{text}");
        }
        assert!(svg.contains("#D55E00") && svg.contains("#009E73"));
    }

    #[test]
    fn the_key_has_the_looks_of_the_bars_and_no_others() {
        let looks = |bars: &[Bar]| -> Vec<Option<Cause>> {
            key(bars, &labels()).into_iter().map(|k| k.0).collect()
        };
        let (machine, untold) = (bar(Cause::Machine), bar(Cause::Undecided));
        let rest = [Some(Cause::Part), None];
        assert_eq!(
            looks(&[machine.clone(), untold.clone()]),
            [&[Some(Cause::Machine), Some(Cause::Undecided)], &rest[..]].concat()
        );
        assert_eq!(
            looks(&[machine]),
            [&[Some(Cause::Machine)], &rest[..]].concat()
        );
        assert_eq!(
            looks(&[untold]),
            [&[Some(Cause::Undecided)], &rest[..]].concat()
        );
    }
}
