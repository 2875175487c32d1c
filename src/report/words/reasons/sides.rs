//! Sides, ends and corners of the panel.

use super::super::counting::{count_panels, list};
use super::{axis_name, column, frame, odds, p, side_name};
use crate::causes::{Frame, Reason, Rival};
use crate::charts::NumberStyle;
use crate::site::DefectClass;

pub(super) fn sides(reason: &Reason, n: &NumberStyle) -> String {
    match reason {
        Reason::SideVotes {
            side,
            frame: held_in,
            votes,
            against,
            p_adjusted,
        } => format!(
            "On {} panels more of it lies at {} {}, on {} at the opposite side ({} for the whole report).",
            n.count(*votes),
            side_name(*side),
            frame(*held_in),
            n.count(*against),
            p(*p_adjusted, n)
        ),
        Reason::SignsChange {
            axis,
            panels,
            opposite,
            p_value,
        } => format!(
            "On {} of {} panels with marks of both kinds, too much lies on one side along {} and too \
             little on the other, but which side changes from panel to panel ({}).",
            n.count(*opposite),
            n.count(*panels),
            axis_name(*axis),
            p(*p_value, n)
        ),
        Reason::SignFollows { rivals } => {
            let known: Vec<String> = (rivals.iter())
                .filter(|rival| **rival != Rival::Lay)
                .map(|rival| column(rival).to_owned())
                .collect();
            let unknown = known.len() < rivals.len();
            let mut text = Vec::new();
            if unknown {
                text.push(
                    "How the panels lay was not written down: panels laid two ways under a tilted head \
                     would look so too."
                        .to_owned(),
                );
            }
            if !known.is_empty() {
                text.push(format!(
                    "Which side it is follows {}, so it need not be each panel's own.",
                    list(known.into_iter())
                ));
            }
            text.join(" ")
        }
        Reason::BothEnds {
            axis,
            panels,
            expected,
            p_value,
        } => format!(
            "On {} panels both ends along {} are marked and the middle is spared, where the number of \
             marks makes about {} expected ({}).",
            n.count(*panels),
            axis_name(*axis),
            n.significant(*expected, 2),
            p(*p_value, n)
        ),
        Reason::EndsStandOut {
            axis,
            low_ratio,
            high_ratio,
            p_value,
        } => format!(
            "Along both ends of the panel in {} lie more marks per length than along its other two \
             edges: {} times as many at the low end and {} times at the high end ({}). Edges that \
             only attract marks do so alike.",
            axis_name(*axis),
            n.significant(*low_ratio, 2),
            n.significant(*high_ratio, 2),
            p(*p_value, n)
        ),
        Reason::SideHolds {
            frame: held_in,
            votes,
            against,
            log_ratio,
        } => format!(
            "On panels laid the other way the side kept to the {}: {} for, {} against ({}).",
            match held_in {
                Frame::Machine | Frame::Path => "machine",
                Frame::Panel => "panel",
                Frame::Inspection => "inspection table",
            },
            n.count(*votes),
            n.count(*against),
            odds(*log_ratio, n)
        ),
        Reason::OneEndOfAnEdge {
            edge,
            end,
            frame: held_in,
            votes,
            against,
            p_adjusted,
        } => format!(
            "On {} panels more of it lies along the edge at {} {}, at its end towards {}, on {} at \
             the corner across; the rest of the edge is good ({} for the whole report).",
            n.count(*votes),
            side_name(*edge),
            frame(*held_in),
            side_name(*end),
            n.count(*against),
            p(*p_adjusted, n)
        ),
        Reason::OneCorner {
            sides: (x, y),
            frame: held_in,
            votes,
            against,
            p_adjusted,
        } => format!(
            "On {} panels more of it lies at the corner of {} and {} {}, on {} at the corner \
             across; the rest is good ({} for the whole report).",
            n.count(*votes),
            side_name(*x),
            side_name(*y),
            frame(*held_in),
            n.count(*against),
            p(*p_adjusted, n)
        ),
        Reason::OtherKindAcross {
            defect,
            class,
            panels,
        } => format!(
            "At the corner across {defect} leads on {}, where too {} is removed: together that is a tilt \
             across the diagonal, not a corner that lies {}.",
            count_panels(*panels, n),
            if *class == DefectClass::Over {
                "much"
            } else {
                "little"
            },
            if *class == DefectClass::Over {
                "low"
            } else {
                "high"
            }
        ),
        _ => String::new(),
    }
}
