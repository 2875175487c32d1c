//! A finding in words: what, where, since when.

pub mod page;

use super::counting::{by_chance, capital, either, listed, of_panels, ordinal};
use crate::causes::{Cause, Finding, Frame, Kind, LineAxis, Period, Reason, Rival};
use crate::charts::NumberStyle;
use crate::site::FeedDirection;

/// How places are spoken of: numbers and the direction of feed.
#[derive(Debug, Clone, Copy)]
pub struct Speech<'a> {
    /// How numbers are written.
    pub numbers: &'a NumberStyle,
    /// Along which machine axis the panels feed.
    pub feed: FeedDirection,
}

/// Most levels named in what a rate goes with.
const LEVELS: usize = 3;

/// "M1", "M1, head 2", or a word where no machine is recorded.
pub fn cell_name(machine: Option<&str>, head: Option<&str>) -> String {
    match (machine, head) {
        (Some(machine), Some(head)) => format!("{machine}, head {head}"),
        (Some(machine), None) => machine.to_owned(),
        (None, Some(head)) => format!("head {head}"),
        (None, None) => "the cell".to_owned(),
    }
}

/// What it looks like: "at one place", "along one line".
pub fn shape(finding: &Finding) -> String {
    if let Some(bars) = &finding.bars {
        return super::bars::shape(bars);
    }
    if let Some(who) = carried_by(finding) {
        return who;
    }
    match finding.kind {
        Kind::Spot => "at one place".into(),
        Kind::Line => "along one line".into(),
        Kind::Side => match finding.reasons.first() {
            Some(Reason::OneEndOfAnEdge { .. }) => "at one end of one edge".into(),
            Some(Reason::OneCorner { .. }) => "at one corner".into(),
            _ => "on one side".into(),
        },
        Kind::OppositeSides => "on opposite sides".into(),
        Kind::Dwell => "at a fixed distance from the edges".into(),
        Kind::Periodic => match &finding.evidence.period {
            Some(Period::EveryKth { every, .. }) => {
                format!("on every {} panel", ordinal(*every))
            }
            None => "at a fixed interval".into(),
        },
        Kind::RidesPanel => "at one place of the panel".into(),
        Kind::Lot => "in few lots".into(),
        Kind::ThinFilm => "where the film was thin".into(),
        Kind::Abrasive => "with the age or batch of the abrasive".into(),
        Kind::Wandering | Kind::Rate => "without a fixed place".into(),
        Kind::Time => "at certain times".into(),
    }
}

/// What a rate goes with: "with recipe B", "rising with feed speed"; none of other
/// kinds.
fn carried_by(finding: &Finding) -> Option<String> {
    let own = carried_alone(finding)?;
    // Others of the same party that went with it may be meant as well.
    let cause = finding.rival.as_ref().map(Rival::cause);
    let beside = finding.open.iter().map(|o| &o.rival);
    let beside: Vec<String> = beside
        .filter(|rival| finding.cause != Cause::Undecided && Some(rival.cause()) == cause)
        .map(|rival| super::reasons::column(rival).to_owned())
        .collect();
    Some(match beside.as_slice() {
        [] => own,
        others => format!("{own} (or with {})", either(others.iter().cloned())),
    })
}

/// The same for what is named alone.
fn carried_alone(finding: &Finding) -> Option<String> {
    if !matches!(
        finding.kind,
        Kind::Rate | Kind::Lot | Kind::Abrasive | Kind::Time
    ) {
        return None;
    }
    let rival = finding.rival.as_ref()?;
    let name = super::reasons::column(rival);
    let follows = finding.reasons.iter().find_map(|reason| match reason {
        Reason::RateFollows { rises, .. } => Some(*rises),
        _ => None,
    });
    match (rival, follows) {
        (Rival::Machine | Rival::Head, _) => Some("more often than the others".into()),
        (Rival::Step, _) => Some("from one moment on".into()),
        (Rival::FirstOfDay, _) => Some("at the start of the day".into()),
        (Rival::AbrasiveAge, Some(true)) => Some("with worn abrasive".into()),
        (Rival::AbrasiveAge, Some(false)) => Some("with fresh abrasive".into()),
        (_, Some(true)) => Some(format!("rising with {name}")),
        (_, Some(false)) => Some(format!("falling with {name}")),
        _ if finding.levels.is_empty() => None,
        (Rival::Lot, _) if finding.levels.len() > 1 => {
            Some(format!("in lots {}", listed(&finding.levels, LEVELS)))
        }
        (Rival::Lot, _) => Some(format!("in lot {}", finding.levels[0])),
        (Rival::PartOfDay, _) => Some(format!("from {} o’clock", listed(&finding.levels, LEVELS))),
        (Rival::Weekday, _) => {
            let days: Vec<String> = finding.levels.iter().map(|d| format!("{d}s")).collect();
            Some(format!("on {}", listed(&days, LEVELS)))
        }
        _ => Some(format!("with {name} {}", listed(&finding.levels, LEVELS))),
    }
}

/// Where it is, in words; none where the finding has no place.
pub fn place(finding: &Finding, speech: &Speech<'_>) -> Option<String> {
    let mm = |value: f64| format!("{}\u{a0}mm", speech.numbers.fixed(value, 0));
    let (x, y) = (finding.x_mm, finding.y_mm);
    match finding.frame {
        Some(Frame::Machine) | None => {
            let (along, across) = match speech.feed {
                FeedDirection::X => (x, y),
                FeedDirection::Y => (y, x),
            };
            match (along, across) {
                (Some(along), Some(across)) => Some(format!(
                    "{} along the feed and {} across it from the stop corner",
                    mm(along),
                    mm(across)
                )),
                (None, Some(across)) => Some(format!(
                    "{} across the feed from the stop corner, running along it",
                    mm(across)
                )),
                (Some(along), None) => Some(format!(
                    "{} along the feed from the stop corner, running across it",
                    mm(along)
                )),
                (None, None) => None,
            }
        }
        Some(Frame::Panel) => on_frame(
            x,
            y,
            finding.line_axis,
            "on the panel, from its datum corner",
            &mm,
        ),
        Some(Frame::Inspection) => {
            on_frame(x, y, finding.line_axis, "on the inspection table", &mm)
        }
        Some(Frame::Path) => {
            let from = |value: f64, low: &str, high: &str| {
                if value < 0.0 {
                    format!("{} from the {high} edge", mm(-value))
                } else {
                    format!("{} from the {low} edge", mm(value))
                }
            };
            let parts: Vec<String> = [
                x.map(|x| from(x, "low-x", "high-x")),
                y.map(|y| from(y, "low-y", "high-y")),
            ]
            .into_iter()
            .flatten()
            .collect();
            (!parts.is_empty()).then(|| format!("{}, as the panel lay", parts.join(" and ")))
        }
    }
}

fn on_frame(
    x: Option<f64>,
    y: Option<f64>,
    line: Option<LineAxis>,
    frame: &str,
    mm: &impl Fn(f64) -> String,
) -> Option<String> {
    let runs = match line {
        Some(LineAxis::X) => ", running along x",
        Some(LineAxis::Y) => ", running along y",
        None => "",
    };
    match (x, y) {
        (Some(x), Some(y)) => Some(format!("x {}, y {} {frame}{runs}", mm(x), mm(y))),
        (Some(x), None) => Some(format!("x {} {frame}{runs}", mm(x))),
        (None, Some(y)) => Some(format!("y {} {frame}{runs}", mm(y))),
        (None, None) => None,
    }
}

/// Title of the page of one finding, or of the same one in several cells:
/// "F1: sand-through at one place, M1".
pub fn title(findings: &[&Finding]) -> String {
    let Some(first) = findings.first() else {
        return String::new();
    };
    let names = |of: &dyn Fn(&Finding) -> String| -> String {
        listed(&findings.iter().map(|f| of(f)).collect::<Vec<_>>(), 4)
    };
    format!(
        "{}: {} {}, {}",
        names(&|f| f.id.clone()),
        first.defect,
        shape(first),
        names(&|f| cell_name(f.machine.as_deref(), f.head.as_deref()))
    )
}

/// The same finding in another cell, in a sentence.
pub fn also(other: &Finding, speech: &Speech<'_>) -> String {
    format!(
        "The same on {} ({}): {}.",
        cell_name(other.machine.as_deref(), other.head.as_deref()),
        other.id,
        of_panels(other.panels_hit, other.panels_exposed, speech.numbers)
    )
}

/// The line of page one: what, where, on how many panels.
pub fn statement(finding: &Finding, speech: &Speech<'_>) -> String {
    let cell = cell_name(finding.machine.as_deref(), finding.head.as_deref());
    let hits = of_panels(finding.panels_hit, finding.panels_exposed, speech.numbers);
    let place = place(finding, speech).map_or(String::new(), |place| format!("; {place}"));
    let since = match (&finding.onset_panel, &finding.end_panel) {
        (Some(first), Some(last)) => format!(", from panel {first} to panel {last}"),
        (Some(first), None) => format!(", since panel {first}"),
        (None, Some(last)) => format!(", until panel {last}"),
        (None, None) => String::new(),
    };
    format!(
        "{} {} on {cell}: {hits}{since}{place}.",
        capital(&finding.defect),
        shape(finding)
    )
}

/// The sentence under the title of the finding's page.
pub fn lead(finding: &Finding, speech: &Speech<'_>) -> String {
    let numbers = speech.numbers;
    let span = match (&finding.onset_panel, &finding.end_panel) {
        (Some(_), Some(_)) => " between its first and its last",
        (Some(_), None) => " since it set in",
        (None, Some(_)) => " until it ended",
        (None, None) => "",
    };
    let hits = of_panels(finding.panels_hit, finding.panels_exposed, numbers) + span;
    let chance = finding.expected_hits.map_or(String::new(), |expected| {
        format!(
            "; chance alone would put it on {}",
            by_chance(expected, numbers)
        )
    });
    let when = match (&finding.onset_panel, &finding.end_panel) {
        (Some(first), Some(last)) => {
            format!(" It set in at panel {first} and ended at panel {last}.")
        }
        (Some(first), None) => format!(" It set in at panel {first} and goes on."),
        (None, Some(last)) => format!(" It ended at panel {last}."),
        (None, None) => String::new(),
    };
    let drift = finding.drift_mm_per_day.map_or(String::new(), |drift| {
        format!(
            " The place moves by {}\u{a0}mm a week.",
            numbers.significant(7.0 * drift, 2)
        )
    });
    let who = match finding.cause {
        Cause::Undecided => " Who makes it can’t be told yet.".to_owned(),
        cause => format!(" This is {}.", super::causes::consistent_with(cause)),
    };
    let place =
        place(finding, speech).map_or(String::new(), |place| format!("{}: ", capital(&place)));
    format!("{place}{hits}{chance}.{when}{drift}{who}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::made::spot;

    fn speech(numbers: &NumberStyle) -> Speech<'_> {
        Speech {
            numbers,
            feed: FeedDirection::X,
        }
    }

    #[test]
    fn a_place_is_told_from_the_stop_corner_along_the_feed() {
        let numbers = NumberStyle::default();
        let mut finding = spot();
        assert_eq!(
            statement(&finding, &speech(&numbers)),
            "Sand-through at one place on M1: 38 of 120 panels; 412\u{a0}mm along the feed and \
             88\u{a0}mm across it from the stop corner."
        );
        let across = Speech {
            numbers: &numbers,
            feed: FeedDirection::Y,
        };
        assert!(
            place(&finding, &across)
                .unwrap()
                .starts_with("88\u{a0}mm along")
        );
        finding.kind = Kind::Line;
        finding.x_mm = None;
        finding.line_axis = Some(LineAxis::X);
        assert!(statement(&finding, &speech(&numbers)).contains("running along it"));
    }

    #[test]
    fn one_panel_is_singular_and_an_onset_is_told() {
        let numbers = NumberStyle::default();
        let mut finding = spot();
        finding.panels_hit = 1;
        finding.panels_exposed = 1;
        finding.onset_panel = Some("P0040".into());
        let text = statement(&finding, &speech(&numbers));
        assert!(text.contains("1 of 1 panel, since panel P0040;"), "{text}");
        assert!(lead(&finding, &speech(&numbers)).contains("set in at panel P0040 and goes on"));
    }

    #[test]
    fn the_lead_never_says_more_than_consistent_with() {
        let numbers = NumberStyle::default();
        let mut finding = spot();
        assert!(lead(&finding, &speech(&numbers)).contains("consistent with the machine"));
        finding.cause = Cause::Undecided;
        assert!(lead(&finding, &speech(&numbers)).contains("can’t be told yet"));
    }

    #[test]
    fn path_places_are_told_from_their_edges() {
        let numbers = NumberStyle::default();
        let mut finding = spot();
        finding.frame = Some(Frame::Path);
        finding.x_mm = Some(-30.0);
        assert_eq!(
            place(&finding, &speech(&numbers)).unwrap(),
            "30\u{a0}mm from the high-x edge and 88\u{a0}mm from the low-y edge, as the panel lay"
        );
    }
}
