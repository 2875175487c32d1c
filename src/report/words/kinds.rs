//! The chart of the kinds of defect.

use super::causes;
use super::counting::{capital, count_panels, counted, listed};
use crate::causes::Cause;
use crate::charts::NumberStyle;
use crate::charts::kinds::Bar;
use crate::report::ranking::KindRow;

/// Title of the chart.
pub const TITLE: &str = "Kinds of defect by who makes them";

/// At a kind without a cost where others have one.
pub const NO_COST: &str = "no cost given";

/// Label of the bar of all further kinds.
pub fn other_kinds(n: usize, numbers: &NumberStyle) -> String {
    counted(n, "other kind", "other kinds", numbers)
}

/// What the bars measure.
pub fn measure(unit: Option<&str>) -> String {
    match unit {
        Some(unit) => format!("cost of panels with the defect, {unit}"),
        None => "panels with the defect".to_owned(),
    }
}

/// What is seen: the heaviest kind and who makes it.
pub fn caption(kinds: &[KindRow], unit: Option<&str>, numbers: &NumberStyle) -> String {
    let Some(first) = kinds.first() else {
        return "No defect was recorded.".to_owned();
    };
    let on = count_panels(first.panels, numbers);
    let by = match (unit, kinds.len()) {
        (Some(_), 1) => "has a cost".to_owned(),
        (Some(_), _) => "costs most".to_owned(),
        (None, 1) => format!("is on {on}"),
        (None, _) => format!("is on {on}, more than any other kind"),
    };
    let whole = match first.by_cause.as_slice() {
        [(Cause::Undecided, _)] => "who makes it is not known yet".to_owned(),
        [(cause, _)] => causes::consistent_with(*cause).to_owned(),
        parts => {
            let parts: Vec<String> = parts
                .iter()
                .map(|&(cause, panels)| {
                    format!("{} {}", numbers.count(panels), causes::cause(cause))
                })
                .collect();
            format!("of its panels {}", listed(&parts, 5))
        }
    };
    let unpriced: Vec<String> = kinds
        .iter()
        .filter(|k| unit.is_some() && k.cost.is_none())
        .map(|k| k.name.clone())
        .collect();
    let missing = if unpriced.is_empty() {
        String::new()
    } else {
        format!(" No cost is given for {}.", listed(&unpriced, 3))
    };
    format!("{} {by}: {whole}.{missing}", capital(&first.name))
}

/// The bars as text.
pub fn described(bars: &[Bar], unit: Option<&str>) -> String {
    let unit = unit.unwrap_or("panels");
    let bars: Vec<String> = bars
        .iter()
        .map(|bar| {
            let causes: Vec<String> = bar
                .parts
                .iter()
                .filter(|p| p.1 > 0.0)
                .map(|p| causes::cause(p.0).to_owned())
                .collect();
            if bar.written == NO_COST {
                return format!("{}: {NO_COST}", bar.label);
            }
            format!(
                "{} {} {unit} ({})",
                bar.label,
                bar.written,
                listed(&causes, 5)
            )
        })
        .collect();
    format!("Bars, longest first: {}.", bars.join("; "))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(name: &str, by_cause: Vec<(Cause, usize)>, cost: Option<f64>) -> KindRow {
        KindRow {
            name: name.into(),
            class: None,
            panels: by_cause.iter().map(|p| p.1).sum(),
            defects: 1,
            by_cause,
            cost,
        }
    }

    #[test]
    fn the_caption_names_the_heaviest_kind_and_what_has_no_cost() {
        let numbers = NumberStyle::default();
        let kinds = [
            row(
                "sand-through",
                vec![(Cause::Machine, 30), (Cause::Part, 8)],
                Some(100.0),
            ),
            row("nib", vec![(Cause::Part, 50)], None),
        ];
        assert_eq!(
            caption(&kinds, Some("min"), &numbers),
            "Sand-through costs most: of its panels 30 machine and 8 part. No cost is given for nib."
        );
        assert_eq!(
            caption(&kinds[1..], None, &numbers),
            "Nib is on 50 panels: consistent with the incoming part."
        );
        assert_eq!(caption(&[], None, &numbers), "No defect was recorded.");
    }
}
