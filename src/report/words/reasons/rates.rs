//! Rates of streams without a place.

use super::super::counting::{capital, count_panels, list};
use super::{column, p};
use crate::causes::{Reason, Rival};
use crate::charts::NumberStyle;

/// "feed speed (1.8-fold)" of a rival that varies and shows nothing.
pub(super) fn excluded(reason: &Reason, n: &NumberStyle) -> Option<String> {
    let Reason::Excluded { rival, within } = reason else {
        return None;
    };
    let within = n.significant(*within, 2);
    Some(format!("{} ({within}-fold)", column(rival)))
}

/// Those together.
pub(super) fn all_excluded(rivals: &[String]) -> String {
    format!(
        "These vary and show nothing; an effect larger than given is excluded: {}.",
        list(rivals.iter().cloned())
    )
}

pub(super) fn rates(reason: &Reason, n: &NumberStyle) -> String {
    match reason {
        Reason::RateHigher {
            column: followed,
            level,
            panels,
            ratio,
            ratio_ci,
            units,
            machines,
        } => format!(
            "{} {level} ({}{}) has {} times the rate of the rest ({} to {} with 95 % certainty on either side, {} as units).",
            capital(column(followed)),
            count_panels(*panels, n),
            if *machines > 1 {
                format!(" on {} machines together", n.count(*machines))
            } else {
                String::new()
            },
            n.significant(*ratio, 2),
            n.significant(ratio_ci.0, 2),
            n.significant(ratio_ci.1, 2),
            if *units == Rival::Lot {
                "lots"
            } else {
                "panels"
            }
        ),
        Reason::MovedWith { columns } => format!(
            "It cannot be told from {}: too few panels part them, or none.",
            list(columns.iter().map(|c| column(c).to_owned()))
        ),
        Reason::RateFollows {
            rival,
            rises,
            ratio,
            units,
            machines,
            p_adjusted,
        } => format!(
            "Over {} {}{} the rate {} with the {}{} ({}).",
            n.count(*units),
            match rival {
                Rival::AbrasiveAge => "thirds of abrasive lives",
                Rival::FirstOfDay => "parts of days",
                _ => "runs of one setting",
            },
            if *machines > 1 {
                format!(" on {} machines together", n.count(*machines))
            } else {
                String::new()
            },
            if *rises { "rises" } else { "falls" },
            column(rival),
            ratio.map_or(String::new(), |r| format!(
                ", {}-fold from one end of its range to the other",
                n.significant(r, 2)
            )),
            p(*p_adjusted, n)
        ),
        Reason::RateSteps {
            panel,
            ratio,
            p_adjusted,
        } => format!(
            "The rate steps at panel {panel}: after it {} times that before ({}).",
            n.significant(*ratio, 2),
            p(*p_adjusted, n)
        ),
        Reason::StandsAgainst { rivals } => format!(
            "It still does so among panels that are alike in {}.",
            list(rivals.iter().map(|c| column(c).to_owned()))
        ),
        Reason::Excluded { rival, within } => format!(
            "{} varies and shows nothing: more than a {}-fold effect is excluded.",
            capital(column(rival)),
            n.significant(*within, 2)
        ),
        Reason::FactorNotExcluded { factor } => format!(
            "{} varies, and these panels cannot exclude that this doubles the rate.",
            capital(column(factor))
        ),
        Reason::NothingRepeats { smallest_seen } => format!(
            "Nothing repeats at one place; a repeat on {} of the panels would have been seen with 90 % probability.",
            n.percent(*smallest_seen, 100)
        ),
        Reason::TooFewToSee {
            smallest_seen,
            panels_needed,
        } => {
            let seen = smallest_seen.map_or(
                "No repeat, however frequent, would surely have been seen".to_owned(),
                |s| {
                    format!(
                        "Only a repeat on {} of the panels or more would have been seen with 90 % probability",
                        n.percent(s, 100)
                    )
                },
            );
            let needed = panels_needed.map_or(String::new(), |p| {
                format!(
                    "; for one on a fifth of the panels it takes about {}",
                    count_panels(p, n)
                )
            });
            format!("{seen}{needed}.")
        }
        Reason::SeenOnFewPanels { panels } => format!(
            "It was seen on {} only.",
            if *panels == 1 {
                "one panel".to_owned()
            } else {
                format!("{} panels", n.count(*panels))
            }
        ),
        _ => "Its places are not recorded, so nothing can be said about places.".to_owned(),
    }
}
