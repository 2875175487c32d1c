//! Strips of panels in sanding order.

use super::counting::{listed, of_panels};
use super::finding::cell_name;
use crate::causes::Finding;
use crate::charts::strips::Labels;
use crate::charts::{Description, NumberStyle};

/// Heading above the strips of all findings.
pub const HEADING: &str = "Since when";

/// The chart's own texts; the description comes with the chart.
pub fn labels() -> Labels {
    Labels {
        description: Description {
            title: String::new(),
            text: String::new(),
        },
        x: "panels in sanding order; lots shaded in turn".to_owned(),
        onset: "set in".to_owned(),
        end: "ended".to_owned(),
    }
}

/// Title of the chart.
pub fn title(findings: &[&Finding]) -> String {
    let ids: Vec<String> = findings.iter().map(|f| f.id.clone()).collect();
    format!("When: {}", listed(&ids, 6))
}

/// Label of a strip.
pub fn label(finding: &Finding, numbers: &NumberStyle) -> String {
    format!(
        "{} {}, {}: {}",
        finding.id,
        finding.defect,
        cell_name(finding.machine.as_deref(), finding.head.as_deref()),
        of_panels(finding.panels_hit, finding.panels_exposed, numbers)
    )
}

/// What is seen.
pub fn caption(findings: &[&Finding], something_done: bool) -> String {
    let ticks = if something_done {
        "Each tick is a panel that shows the finding, a wedge stands where something was done about it"
    } else {
        "Each tick is a panel that shows the finding"
    };
    match findings {
        [one] => match (&one.onset_panel, &one.end_panel) {
            (Some(first), _) => format!("{ticks}; it set in at panel {first}."),
            (None, Some(last)) => format!("{ticks}; it ended at panel {last}."),
            (None, None) => format!("{ticks}; no beginning or end stands out."),
        },
        _ => format!("{ticks}, panels in the order they were sanded."),
    }
}

/// The strips as text.
pub fn described(findings: &[&Finding], numbers: &NumberStyle) -> String {
    let each: Vec<String> = findings
        .iter()
        .map(|f| {
            let from = match (&f.first_panel, &f.last_panel) {
                (Some(first), Some(last)) => format!(", from panel {first} to panel {last}"),
                _ => String::new(),
            };
            format!("{}{from}", label(f, numbers))
        })
        .collect();
    format!(
        "Panels in sanding order with those hit. {}.",
        listed(&each, 12)
    )
}
