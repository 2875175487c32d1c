//! How many panels a change still takes, in words.

use crate::change::{Comparison, Needed, Question, Unit};
use crate::charts::NumberStyle;
use crate::report::words::counting::listed;

/// How many panels it takes in all, over how many lots or days.
pub fn needed(n: &Needed, numbers: &NumberStyle) -> String {
    let about = |n: usize| numbers.significant(n as f64, 2);
    let over = match (n.short_of, n.lots) {
        (Unit::Lots, Some(lots)) => format!(" from {} lots", about(lots)),
        (Unit::Days, _) => format!(" over {} days", about(n.days)),
        _ => String::new(),
    };
    let turns = n.alternating.filter(|a| a.panels < n.panels);
    let instead = match turns {
        Some(a) if out_of_reach(n) => format!(
            "; alternate in blocks of {} within days instead: about {}",
            a.block_panels,
            about(a.panels)
        ),
        Some(a) => format!(
            ", or about {} alternating in blocks of {}",
            about(a.panels),
            a.block_panels
        ),
        None => String::new(),
    };
    format!("about {} in all{over}{instead}", about(n.panels))
}

/// Working days, a quarter of a year, beyond which a number of panels is no advice.
const MOST_DAYS: usize = 60;

/// Whether days differ so much that running on as before would take too long.
/// Old and new in turn within each day would not meet what days bring.
const fn out_of_reach(needed: &Needed) -> bool {
    matches!(needed.short_of, Unit::Days) && needed.days > MOST_DAYS
}

/// What is short where it is not panels, for kinds with too few.
pub(super) fn short_of(comparison: &Comparison) -> Vec<String> {
    if matches!(comparison.question, Question::Week { .. }) {
        return Vec::new();
    }
    let kinds = |unit: Unit| -> Vec<String> {
        let all = comparison.changes.iter();
        all.filter(|c| c.needed.is_some_and(|n| n.short_of == unit))
            .map(|c| c.defect.clone())
            .collect()
    };
    [
        (Unit::Lots, "lots", "of the same lots"),
        (Unit::Days, "days", "on the same days"),
    ]
    .into_iter()
    .filter_map(|(unit, what, same)| {
        let kinds = kinds(unit);
        (!kinds.is_empty()).then(|| {
            format!(
                "{}: it is {what} that are short; more panels {same} would not do instead.",
                listed(&kinds, 3)
            )
        })
    })
    .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn more_of_the_same_is_no_advice_where_days_would_take_months() {
        let needed = |days, short_of| Needed {
            panels: 20 * days,
            lots: None,
            days,
            short_of,
            alternating: None,
        };
        assert!(out_of_reach(&needed(480, Unit::Days)));
        assert!(!out_of_reach(&needed(60, Unit::Days)));
        assert!(!out_of_reach(&needed(480, Unit::Panels)));
    }
}
