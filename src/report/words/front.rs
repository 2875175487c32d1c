//! Page one: the headline and what stands under it.

use super::causes;
use super::counting::{capital, count_panels, counted, listed, of_panels};
use super::finding::{cell_name, shape};
use crate::causes::{Cause, Finding, Stream};
use crate::charts::{CAUSES, NumberStyle};
use crate::records::{InputCounts, Records, WarningCode};

/// Heading of the statements.
pub const FOUND: &str = "What we found";
/// Heading of the steps.
pub const DO_FIRST: &str = "What to do first";
/// The one sentence on top. `findings` come worst first.
pub fn headline(findings: &[&Finding], input: &InputCounts, numbers: &NumberStyle) -> String {
    if findings.is_empty() && input.inspected_panels == 0 {
        return "No inspected panel, so nothing can be said about defects".to_owned();
    }
    if findings.is_empty() && input.defects == 0 {
        let panels = counted(
            input.inspected_panels,
            "inspected panel",
            "inspected panels",
            numbers,
        );
        if !input.names_defects {
            return format!("No file says which defects were seen on {panels}");
        }
        if input.lost_defects > 0 {
            let marks = counted(input.lost_defects, "defect", "defects", numbers);
            return format!(
                "{} could not be used, none is left on {panels}",
                capital(&marks)
            );
        }
        let lost = input.rejected_rows + input.rows_lost_with_panels;
        // what was lost may well have held the defects
        if 10 * lost > input.inspected_panels {
            let rows = counted(lost, "row", "rows", numbers);
            return format!(
                "{} could not be used, no defect is left on {panels}",
                capital(&rows)
            );
        }
        return format!("No defect on {panels}");
    }
    let of = |cause: Cause| findings.iter().filter(|f| f.cause == cause).count();
    let worst = |cause: Cause| findings.iter().find(|f| f.cause == cause);
    let about = |f: &Finding| {
        format!(
            "{} {} on {}",
            f.defect,
            shape(f),
            of_panels(f.panels_hit, f.panels_exposed, numbers)
        )
    };
    if let Some(f) = worst(Cause::Machine) {
        let cell = cell_name(f.machine.as_deref(), f.head.as_deref());
        let others = of(Cause::Machine) - 1;
        return if others == 0 {
            format!("{} leaves {}", capital(&cell), about(f))
        } else {
            format!(
                "{} leaves {}; {} to a machine",
                capital(&cell),
                about(f),
                counted(
                    others,
                    "more finding points",
                    "more findings point",
                    numbers
                )
            )
        };
    }
    if let Some(f) = findings.iter().find(|f| f.cause != Cause::Undecided) {
        return format!(
            "{}: {}",
            capital(&about(f)),
            causes::consistent_with(f.cause)
        );
    }
    let recorded = input.defects + input.lost_defects;
    match findings {
        [] if 10 * input.lost_defects > recorded => format!(
            "{} of {} defects could not be used; of the rest none repeats",
            numbers.count(input.lost_defects),
            numbers.count(recorded)
        ),
        [] => "No defect repeats: nothing points to the machine".to_owned(),
        [f] => format!(
            "{} repeats; who makes it can’t be told yet",
            capital(&about(f))
        ),
        all => format!(
            "{}; who makes them can’t be told yet",
            counted(all.len(), "repeat", "repeats", numbers)
        ),
    }
}

/// The sentence under the headline: how many panels, and what the rest is.
pub fn support(
    findings: &[&Finding],
    streams: &[Stream],
    input: &InputCounts,
    numbers: &NumberStyle,
) -> String {
    let mut text = match (input.inspected_panels, input.panels_hit()) {
        (0, _) if input.panels > 0 => format!(
            "{} measured, none inspected for defects.",
            count_panels(input.panels, numbers)
        ),
        (0, _) => "The files hold no inspected panel.".to_owned(),
        (_, 0) if !input.names_defects => {
            "No file has a column for defects, so no panel counts as good or bad.".to_owned()
        }
        (_, 0) if input.lost_defects > 0 => format!(
            "{} recorded on rows that could not be used; rejects.csv says why.",
            capital(&counted(
                input.lost_defects,
                "defect was",
                "defects were",
                numbers
            ))
        ),
        (1, 0) => "The one panel inspected has no defect.".to_owned(),
        (n, 0) => format!(
            "All {} panels inspected are without a defect.",
            numbers.count(n)
        ),
        (n, hit) => format!(
            "{} inspected had at least one defect.",
            of_panels(hit, n, numbers)
        ),
    };
    let repeats = findings.len();
    if repeats > 0 {
        let by_cause: Vec<String> = CAUSES
            .iter()
            .filter_map(|&cause| {
                let n = findings.iter().filter(|f| f.cause == cause).count();
                (n > 0).then(|| {
                    let word = match cause {
                        Cause::Undecided => "not known yet".to_owned(),
                        cause => causes::consistent_with(cause).to_owned(),
                    };
                    if repeats == 1 {
                        word
                    } else {
                        format!("{} {word}", numbers.count(n))
                    }
                })
            })
            .collect();
        text += &format!(
            " {}: {}.",
            capital(&counted(repeats, "finding", "findings", numbers)),
            listed(&by_cause, 5)
        );
    } else if input.defects > 0 {
        let limits: Vec<f64> = streams
            .iter()
            .filter_map(|s| s.smallest_repeat_seen)
            .collect();
        let worst = limits.iter().copied().fold(0.0, f64::max);
        text += &if limits.len() == streams.len() && worst > 0.0 {
            format!(
                " A place marked on {} of the panels or more would have been seen.",
                numbers.percent(worst, input.panels)
            )
        } else {
            " For some kinds there were too few panels to see a repeat; page 'What could have been missed' says which.".to_owned()
        };
    }
    text
}

/// Labels of the four numbers.
pub fn inspected_label(n: usize) -> &'static str {
    if n == 1 {
        "panel inspected"
    } else {
        "panels inspected"
    }
}

/// Label of the share of panels with a defect.
pub const WITH_DEFECT: &str = "with at least one defect";

/// Label of the number of findings: "findings: 1 machine, 2 part".
pub fn findings_label(findings: &[&Finding], numbers: &NumberStyle) -> String {
    let parts: Vec<String> = CAUSES
        .iter()
        .filter_map(|&cause| {
            let n = findings.iter().filter(|f| f.cause == cause).count();
            (n > 0).then(|| format!("{} {}", numbers.count(n), causes::cause(cause)))
        })
        .collect();
    let noun = if findings.len() == 1 {
        "finding"
    } else {
        "findings"
    };
    if parts.is_empty() {
        noun.to_owned()
    } else {
        format!("{noun}: {}", parts.join(", "))
    }
}

/// Label of the cost.
pub const COST: &str = "cost of panels with a defect";

/// Label of the panels hit by findings.
pub const PANELS_IN_FINDINGS: &str = "panels that show these findings";

/// A stream without a place, as a line of page one.
pub fn stream_statement(stream: &Stream, numbers: &NumberStyle) -> String {
    let cell = cell_name(stream.machine.as_deref(), stream.head.as_deref());
    let hit = of_panels(stream.panels_hit, stream.panels, numbers);
    let what = capital(&stream.defect);
    match (stream.cause, stream.smallest_repeat_seen) {
        (Cause::Part, Some(limit)) => format!(
            "{what} wanders over the panels of {cell}: {hit}, no place repeats (one on {} of the panels would have been seen).",
            numbers.percent(limit, stream.panels)
        ),
        (Cause::Recipe, _) => {
            format!("{what} follows the recipe on {cell}: {hit}, no place repeats.")
        }
        (Cause::Undecided, Some(limit)) => format!(
            "{what} on {cell}: {hit}, no place repeats (one on {} of the panels would have been seen); who makes it can’t be told yet.",
            numbers.percent(limit, stream.panels)
        ),
        _ => format!(
            "{what} shows no place on {cell}: {hit}; the panels are too few to rule one out."
        ),
    }
}

/// The last line where there are more findings than page one holds.
pub fn more_findings(n: usize, numbers: &NumberStyle) -> String {
    format!(
        "{} on the following pages.",
        capital(&counted(n, "further finding", "further findings", numbers))
    )
}

/// What a terminal is told where there are more findings than it shows.
pub fn more_findings_line(n: usize, numbers: &NumberStyle) -> String {
    format!(
        "  {} in the report.",
        counted(n, "further finding is", "further findings are", numbers)
    )
}

/// What a terminal is told of rejects.
pub fn rejects_line(n: usize, numbers: &NumberStyle) -> String {
    format!(
        "{} set aside on reading; rejects.csv says why.",
        counted(n, "thing was", "things were", numbers)
    )
}

/// What the report says of rejects on page one.
pub fn rejects_note(input: &InputCounts, values: usize, numbers: &NumberStyle) -> Option<String> {
    let parts: Vec<String> = [
        (values, "value was", "values were"),
        (input.rejected_rows, "row was", "rows were"),
        (input.rejected_panels, "panel was", "panels were"),
        (input.skipped_files, "file was", "files were"),
    ]
    .into_iter()
    .filter(|(n, _, _)| *n > 0)
    .map(|(n, one, many)| counted(n, one, many, numbers))
    .collect();
    (!parts.is_empty()).then(|| {
        // "3 rows were and 1 panel was set aside" reads badly; the verb goes once.
        let nouns: Vec<String> = parts
            .iter()
            .map(|p| {
                p.trim_end_matches(" was")
                    .trim_end_matches(" were")
                    .to_owned()
            })
            .collect();
        format!(
            "Set aside on reading: {}. rejects.csv says why.",
            listed(&nouns, 4)
        )
    })
}

/// What page one says where the data may mislead: too much was lost, or places
/// bear no verdict.
pub fn alarms(records: &Records) -> Vec<String> {
    let lost = records
        .warnings
        .iter()
        .filter(|warning| warning.code == WarningCode::ManyLost)
        .map(|warning| warning.text.clone());
    let mut held: Vec<String> = records
        .held
        .iter()
        .map(|h| format!("{}.", h.reason))
        .collect();
    held.sort();
    held.dedup();
    lost.chain(held).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::made::spot;

    fn input() -> InputCounts {
        InputCounts {
            panels: 121,
            inspected_panels: 120,
            clean_panels: 41,
            defects: 431,
            ..InputCounts::default()
        }
    }

    #[test]
    fn a_machine_finding_is_the_headline() {
        let numbers = NumberStyle::default();
        let one = spot();
        assert_eq!(
            headline(&[&one], &input(), &numbers),
            "M1 leaves sand-through at one place on 38 of 120 panels"
        );
        let mut two = spot();
        two.cause = Cause::Part;
        assert_eq!(
            headline(&[&two], &input(), &numbers),
            "Sand-through at one place on 38 of 120 panels: consistent with the incoming part"
        );
        assert!(
            headline(&[&one, &one], &input(), &numbers)
                .ends_with("; 1 more finding points to a machine")
        );
    }

    #[test]
    fn a_good_week_says_so_and_what_could_have_been_missed() {
        let numbers = NumberStyle::default();
        assert!(headline(&[], &input(), &numbers).starts_with("No defect repeats"));
        let text = support(&[], &[crate::causes::made::stream()], &input(), &numbers);
        assert!(text.starts_with("79 of 120 panels inspected"), "{text}");
        assert!(
            text.contains("12\u{a0}% of the panels or more would have been seen"),
            "{text}"
        );
    }

    #[test]
    fn no_panels_and_no_defects_have_their_own_headline() {
        let numbers = NumberStyle::default();
        assert!(headline(&[], &InputCounts::default(), &numbers).starts_with("No inspected panel"));
        let clean = InputCounts {
            panels: 1,
            inspected_panels: 1,
            clean_panels: 1,
            names_defects: true,
            ..InputCounts::default()
        };
        assert_eq!(
            headline(&[], &clean, &numbers),
            "No defect on 1 inspected panel"
        );
        let lost = InputCounts {
            rows_lost_with_panels: 12,
            ..clean
        };
        assert_eq!(
            headline(&[], &lost, &numbers),
            "12 rows could not be used, no defect is left on 1 inspected panel"
        );
        let marks = InputCounts {
            lost_defects: 431,
            ..clean
        };
        assert_eq!(
            headline(&[], &marks, &numbers),
            "431 defects could not be used, none is left on 1 inspected panel"
        );
        assert!(support(&[], &[], &marks, &numbers).starts_with("431 defects were recorded"));
        let unnamed = InputCounts {
            names_defects: false,
            ..clean
        };
        assert_eq!(
            headline(&[], &unnamed, &numbers),
            "No file says which defects were seen on 1 inspected panel"
        );
        assert_eq!(
            support(&[], &[], &clean, &numbers),
            "The one panel inspected has no defect."
        );
    }

    #[test]
    fn panels_that_were_only_measured_are_not_called_inspected() {
        let numbers = NumberStyle::default();
        let measured = InputCounts {
            panels: 12,
            readings: 72,
            ..InputCounts::default()
        };
        assert!(headline(&[], &measured, &numbers).starts_with("No inspected panel"));
        assert_eq!(
            support(&[], &[], &measured, &numbers),
            "12 panels measured, none inspected for defects."
        );
        let tilt = spot();
        assert!(
            headline(&[&tilt], &measured, &numbers).starts_with("M1 leaves"),
            "a finding of readings leads though nothing was inspected"
        );
    }

    #[test]
    fn rejects_are_told_on_page_one() {
        let numbers = NumberStyle::default();
        assert_eq!(rejects_note(&input(), 0, &numbers), None);
        let counts = InputCounts {
            rejected_rows: 3,
            rejected_panels: 1,
            ..input()
        };
        assert_eq!(
            rejects_note(&counts, 1, &numbers).unwrap(),
            "Set aside on reading: 1 value, 3 rows and 1 panel. rejects.csv says why."
        );
    }
}
