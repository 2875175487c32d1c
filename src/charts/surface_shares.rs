//! Shares of unevenness: machine, part and gauge as one bar.

use super::{Anchor, Axis, ChartError, Description, FAINT, GRID, INK, MUTED, Theme, Weight, hatch};
use crate::causes::Cause;

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
#[derive(Debug, Clone, PartialEq)]
pub struct Labels {
    /// Title and description.
    pub description: Description,
    /// What the bars measure.
    pub measure: String,
    /// Names of the three parts.
    pub parts: [String; 3],
}

const LEFT: i32 = 900;
const TOP: i32 = 240;
const STEP: i32 = 250;
const HEIGHT: i32 = 140;

/// Draws one bar for every machine and head, as SVG.
///
/// # Errors
///
/// [`ChartError`] if the drawing library fails.
pub fn svg(bars: &[Bar], labels: &Labels, theme: &Theme) -> Result<String, ChartError> {
    let right = (theme.width_pt * 10.0) as i32 - 120;
    let axis = Axis::new(0.0, 100.0, (LEFT, right));
    let bottom = TOP + STEP * i32::try_from(bars.len().max(1)).unwrap_or(1);
    let shared = if bars.iter().all(|b| b.machine_cause == Cause::Machine) {
        Cause::Machine
    } else {
        Cause::Undecided
    };
    theme.chart(
        f64::from(bottom + 330) / 10.0,
        &labels.description,
        |area| {
            let mut x = LEFT;
            for (cause, name) in [Some(shared), Some(Cause::Part), None]
                .iter()
                .zip(&labels.parts)
            {
                part(theme, area, [(x, 40), (x + 110, 110)], *cause)?;
                let look = (Weight::Regular, INK, Anchor::Left);
                theme.text(area, name, (x + 150, 75), theme.small_pt, look)?;
                x += 150 + theme.text_width(name, theme.small_pt, Weight::Regular) + 100;
            }
            for (i, bar) in bars.iter().enumerate() {
                let middle = TOP + STEP * i32::try_from(i).unwrap_or(0) + STEP / 2;
                let look = (Weight::Regular, INK, Anchor::Right);
                let lines = theme.wrap(&bar.label, LEFT - 130, theme.label_pt, 2);
                let up = if lines.len() > 1 { 62 } else { 0 };
                theme.lines(area, &lines, (LEFT - 80, middle - up), theme.label_pt, look)?;
                let mut reach = 0.0;
                let shares = [
                    (Some(bar.machine_cause), bar.machine),
                    (Some(Cause::Part), bar.part),
                    (None, bar.gauge),
                ];
                for (cause, share) in shares {
                    let (from, to) = (
                        axis.place(100.0 * reach),
                        axis.place(100.0 * (reach + share)),
                    );
                    reach += share;
                    if to > from {
                        let corners = [(from, middle - HEIGHT / 2), (to, middle + HEIGHT / 2)];
                        part(theme, area, corners, cause)?;
                    }
                }
            }
            theme.line(area, &[(LEFT, TOP), (LEFT, bottom)], 0.6, FAINT)?;
            theme.bottom_axis(area, &axis, bottom, &labels.measure)
        },
    )
}

/// A part in its cause's look; the gauge, which is nobody's, in grey.
fn part(
    theme: &Theme,
    area: &super::Area<'_>,
    corners: [(i32, i32); 2],
    cause: Option<Cause>,
) -> Result<(), ChartError> {
    match cause {
        Some(cause) => hatch(theme, area, corners, cause),
        None => {
            theme.fill(area, corners, GRID)?;
            theme.outline(area, corners, 0.6, MUTED)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bar_names_its_parts_and_its_measure() {
        let labels = Labels {
            description: Description {
                title: "Shares".into(),
                text: "Bar".into(),
            },
            measure: "share of the unevenness, %".into(),
            parts: [
                "same on every panel".into(),
                "with the panels".into(),
                "gauge".into(),
            ],
        };
        let bar = Bar {
            label: "M1".into(),
            machine: 0.3,
            machine_cause: Cause::Machine,
            part: 0.5,
            gauge: 0.2,
        };
        let svg = svg(&[bar], &labels, &Theme::default()).unwrap();
        for text in [
            "same on every panel",
            "with the panels",
            "gauge",
            "share of the unevenness, %",
            "M1",
        ] {
            assert!(svg.contains(text), "{text}");
        }
        assert!(svg.contains("#D55E00") && svg.contains("#009E73"));
    }
}
