//! Maps of where the marks are.

use super::counting::{counted, listed};
use super::finding::{Speech, place};
use crate::causes::Finding;
use crate::charts::places::{DENSITY_FROM, Labels};
use crate::charts::{Description, NumberStyle};
use crate::site::FeedDirection;

/// Title of the page, with findings drawn in time or without.
pub fn page_title(in_time: bool) -> &'static str {
    if in_time {
        "Where and when"
    } else {
        "Where the marks are"
    }
}

/// The sentence under it; `ringed` of the findings are places in the machine.
pub fn lead(findings: usize, ringed: usize, numbers: &NumberStyle) -> String {
    let laid = "All panels laid over each other as they lay in the machine";
    match (findings, ringed) {
        (0, _) => format!("{laid}; no place stands out."),
        (_, 0) => format!("{laid}; no finding is a place in the machine."),
        (1, _) => format!("{laid}; the ringed place is the finding."),
        (n, 1) => format!(
            "{laid}; one of {} findings is a place in the machine, ringed.",
            numbers.count(n)
        ),
        (n, k) if n == k => format!("{laid}; the {} findings are ringed.", numbers.count(n)),
        (n, k) => format!(
            "{laid}; {} of {} findings are places in the machine, ringed.",
            numbers.count(k),
            numbers.count(n)
        ),
    }
}

/// Where more machines were recorded than maps fit.
pub fn cells_left_out(n: usize, numbers: &NumberStyle) -> String {
    format!(
        "{} without a map here; findings.json has their numbers.",
        counted(n, "further cell is", "further cells are", numbers)
    )
}

/// Title of a map.
pub fn title(of: &str) -> String {
    format!("Where the marks are, {of}")
}

/// The map's own texts; the description comes with the map.
pub fn labels(feed: FeedDirection) -> Labels {
    let (x, y) = match feed {
        FeedDirection::X => ("along the feed, mm", "across the feed, mm"),
        FeedDirection::Y => ("across the feed, mm", "along the feed, mm"),
    };
    Labels {
        description: Description {
            title: String::new(),
            text: String::new(),
        },
        x: x.to_owned(),
        y: y.to_owned(),
        stop_corner: "stop corner".to_owned(),
        feed: "feed".to_owned(),
        density: "darker: more marks".to_owned(),
    }
}

/// Caption of a cell's map.
pub fn caption(cell: &str, marks: usize, findings: &[&Finding], numbers: &NumberStyle) -> String {
    let marks_here = counted(marks, "mark", "marks", numbers);
    let rings = match findings.len() {
        0 => "no place of the machine is ringed".to_owned(),
        1 => "the ringed place holds more than chance would put there".to_owned(),
        _ => "the ringed places hold more than chance would put there".to_owned(),
    };
    let density = if marks > DENSITY_FROM {
        " Where marks are many, darker squares hold more of them."
    } else {
        ""
    };
    format!("{cell}: {marks_here} on all panels; {rings}.{density}")
}

/// Caption of a finding's own map.
pub fn finding_caption(finding: &Finding, marks: usize, numbers: &NumberStyle) -> String {
    let members = finding.evidence.members.len();
    format!(
        "{} of {} of {} {} to the finding{}.",
        numbers.count(members),
        counted(marks, "mark", "marks", numbers),
        finding.defect,
        if members == 1 { "belongs" } else { "belong" },
        if members < marks {
            "; grey marks do not"
        } else {
            ""
        }
    )
}

/// The map as text.
pub fn described(cell: &str, marks: usize, findings: &[&Finding], speech: &Speech<'_>) -> String {
    let rings: Vec<String> = findings
        .iter()
        .filter_map(|f| Some(format!("{} ({}) at {}", f.id, f.defect, place(f, speech)?)))
        .collect();
    let rings = if rings.is_empty() {
        "No place is ringed.".to_owned()
    } else {
        format!("Ringed: {}.", listed(&rings, 12))
    };
    format!(
        "Panels of {cell} laid over each other as they lay in the machine, with {}. {rings}",
        counted(marks, "mark", "marks", speech.numbers)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_lead_counts_what_is_ringed() {
        let numbers = NumberStyle::default();
        let end = |findings, ringed| {
            let said = lead(findings, ringed, &numbers);
            said.split_once("; ").unwrap().1.to_owned()
        };
        assert_eq!(end(0, 0), "no place stands out.");
        assert_eq!(end(2, 0), "no finding is a place in the machine.");
        assert_eq!(end(1, 1), "the ringed place is the finding.");
        assert_eq!(
            end(4, 1),
            "one of 4 findings is a place in the machine, ringed."
        );
        assert_eq!(
            end(4, 3),
            "3 of 4 findings are places in the machine, ringed."
        );
        assert_eq!(end(4, 4), "the 4 findings are ringed.");
    }
}
