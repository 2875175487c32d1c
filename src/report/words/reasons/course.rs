//! What a repeat follows, and since when.

use super::super::counting::ordinal;
use super::{abrasive, column, p, tally, together};
use crate::causes::{Pace, Reason};
use crate::charts::NumberStyle;

pub(super) fn course(reason: &Reason, n: &NumberStyle) -> String {
    match reason {
        Reason::FollowsLevel {
            column: followed,
            level,
            inside,
            outside,
            alone,
        } => format!(
            "It follows {} {level}: {} there, {} elsewhere{}.",
            column(followed),
            tally(*inside, n),
            tally(*outside, n),
            if *alone {
                ""
            } else {
                ", but it is not absent elsewhere"
            }
        ),
        Reason::BeganWithRecipe { recipe } => format!(
            "It is seen under recipe {recipe}, which ran in one stretch only: anything else that \
             began then explains it as well."
        ),
        Reason::FollowsAge {
            end,
            mean_of_hits,
            mean_of_all,
            p_value,
        } => format!(
            "It comes with {} abrasive: panels hit had an age of {} on average, all panels {} ({}).",
            abrasive(*end),
            n.significant(*mean_of_hits, 2),
            n.significant(*mean_of_all, 2),
            p(*p_value, n)
        ),
        Reason::EveryKth {
            every,
            slips,
            p_value,
        } => format!(
            "It comes on every {} panel in sanding order{} ({}).",
            ordinal(*every),
            if *slips {
                ", with slips, as when a nest is skipped"
            } else {
                ""
            },
            p(*p_value, n)
        ),
        Reason::SetIn {
            panel,
            between,
            together_with,
        } => format!(
            "It set in at panel {panel} (95 % between {} and {}).{}",
            between.0,
            between.1,
            together(together_with)
        ),
        Reason::Ended {
            panel,
            between,
            together_with,
        } => format!(
            "It ended at panel {panel} (95 % between {} and {}).{}",
            between.0,
            between.1,
            together(together_with)
        ),
        Reason::Drifts { pace, mm } => {
            let (times, span) = match pace {
                Pace::Days => (7.0, "a week"),
                Pace::Panels => (100.0, "every hundred panels"),
            };
            format!(
                "The place moves by about {} mm {span}.",
                n.significant(times * mm, 2)
            )
        }
        _ => String::new(),
    }
}
