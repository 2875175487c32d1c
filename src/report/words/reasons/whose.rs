//! Frames, lots and other machines: whose a repeat is.

use super::super::counting::{count_panels, counted, either, list};
use super::{frame, odds, p, side_name, tally};
use crate::causes::{Frame, LotsLack, Reason};
use crate::charts::NumberStyle;

pub(super) fn frames(reason: &Reason, n: &NumberStyle) -> String {
    match reason {
        Reason::HoldsInFrame {
            frame: held_in,
            rival,
            held,
            failed,
            log_ratio,
        } => {
            let mut text = format!(
                "Where {} and {} lie apart, it kept to {}: {}",
                place_in(*held_in),
                place_in(*rival),
                place_in(*held_in),
                tally(*held, n)
            );
            if failed.exposed > 0 {
                text.push_str(&format!(", against {} at the other", tally(*failed, n)));
            }
            text.push_str(&format!(" ({}).", odds(*log_ratio, n)));
            text
        }
        Reason::FramesNotSeparated {
            left, informative, ..
        } => {
            let left = either(left.iter().map(|f| frame(*f).to_owned()));
            match informative {
                0 => format!("No panel lay so that the frames differ: it may still belong {left}."),
                1 => format!(
                    "1 panel lay so that the frames differ, but it does not decide: it may still belong \
                     {left}."
                ),
                more => format!(
                    "{} panels lay so that the frames differ, but they do not decide: it may still \
                     belong {left}.",
                    n.count(*more)
                ),
            }
        }
        Reason::LayGoesWithOthers { groups: 0, .. } => {
            "How panels lay goes with their lot, part number, supplier, inspector or day: no panels alike \
             in these lay two ways, so the frames can’t be told apart."
                .to_owned()
        }
        Reason::LayGoesWithOthers { groups, log_ratio } => format!(
            "Among panels alike in lot, part number, supplier, inspector and day {} lay two ways, and \
             these don’t decide between the frames ({}).",
            counted(*groups, "group", "groups", n),
            odds(*log_ratio, n)
        ),
        Reason::EndsOfPathToo => {
            "Panels were not laid both along and across the feed, or too few of either show it: the ends of \
             the panel are the ends of the path as well, where the head touches down and lifts off."
                .to_owned()
        }
        Reason::SlopeLeansTheSameWay { more } => format!(
            "The removal readings show the head taking more at {}: the marks and the readings have one cause.",
            side_name(*more)
        ),
        Reason::TooFewToName { hits } => format!(
            "Seen on {}, or little more often than chance would: too few to name anybody.",
            count_panels(*hits, n)
        ),
        Reason::TableNotCleared { informative: 0 } => {
            "Panels lay at the inspection table just as in the cell, so the \
             table, its lamp and camera are not cleared either."
                .to_owned()
        }
        Reason::TableNotCleared { informative } => format!(
            "{} lay otherwise at the inspection table than in the cell, but the marks \
             don’t tell the two apart, so the table, its lamp and camera are not cleared either.",
            count_panels(*informative, n)
        ),
        Reason::TableClearedByControl => {
            "How panels lay at the inspection table does not clear it, but \
             panels of the other machine lay there too and do not show it."
                .to_owned()
        }
        _ => "How panels lay at the inspection table is not recorded, so the table, its lamp and \
             camera are taken on trust."
            .to_owned(),
    }
}

pub(super) fn lots(reason: &Reason, n: &NumberStyle) -> String {
    match reason {
        Reason::LotsClear { lots_hit, lots } => format!(
            "It runs through the lots ({} of {}) at an even rate, also without the two most hit: no lot brought it.",
            n.count(*lots_hit),
            n.count(*lots)
        ),
        Reason::LotsClearByTurning { lots, log_ratio } => format!(
            "Within {} lots panels were turned and the mark stayed in the machine ({}): no lot brought it.",
            n.count(*lots),
            odds(*log_ratio, n)
        ),
        Reason::LotsGather {
            lots,
            inside,
            outside,
            p_value,
        } => format!(
            "It gathers in {} {}: {} there, {} in all others ({}).",
            if lots.len() == 1 { "lot" } else { "lots" },
            list(lots.iter().cloned()),
            tally(*inside, n),
            tally(*outside, n),
            p(*p_value, n)
        ),
        Reason::LotsOpen {
            lots_hit,
            lots,
            lack,
        } => {
            let seen = format!(
                "{} of {}",
                n.count(*lots_hit),
                counted(*lots, "lot", "lots", n)
            );
            match lack {
                LotsLack::LotsHit => {
                    format!("It is seen in {seen}: too few to rule out that a lot brought it.")
                }
                LotsLack::RestNotClear(rest) => format!(
                    "It is seen in {seen}, but without the two most hit {} are left, too near to \
                     chance to rule out that lots brought it.",
                    tally(*rest, n)
                ),
                LotsLack::OneStretch => format!(
                    "It gathers in {seen}, which came once, one after the other: whatever else began \
                     or ended with them explains it as well."
                ),
                LotsLack::Uneven => format!(
                    "It is seen in {seen}, but at rates that differ from lot to lot by more than \
                     chance: that lots have a part in it is not ruled out."
                ),
            }
        }
        Reason::OneLot => "All panels are of one lot, which cannot be ruled out.".to_owned(),
        _ => "Lots are not recorded, so they are neither blamed nor cleared.".to_owned(),
    }
}

pub(super) fn control(reason: &Reason, n: &NumberStyle) -> String {
    match reason {
        Reason::ControlClears {
            lots,
            here,
            there,
            p_value,
        } => format!(
            "Another machine or head ran like panels of the same {} without it: {} here, {} there ({}, like with like).",
            if *lots == 1 {
                "lot".to_owned()
            } else {
                format!("{} lots", n.count(*lots))
            },
            tally(*here, n),
            tally(*there, n),
            p(*p_value, n)
        ),
        Reason::ControlShowsItToo { there } => format!(
            "Another machine or head shows it at the same place of the panel ({}): that points to \
             the part, or to a programme both share.",
            tally(*there, n)
        ),
        Reason::ControlShowsBarsToo { there } => format!(
            "Panels of another machine or head show bars of that pitch too ({} with marks enough): \
             that points to the part.",
            tally(*there, n)
        ),
        Reason::ShownElsewhere { machine, there } => format!(
            "Machine {machine} shows it at the same place of its own ({}): what both share may make it, \
             parts, racks, loading or the inspection.",
            tally(*there, n)
        ),
        Reason::ControlWritesLittle { there } => format!(
            "Another machine or head shows less of it on the same lots ({}), but too few marks of this and \
             other kinds are written down there to clear anybody.",
            tally(*there, n)
        ),
        Reason::SeveralParts { parts } => format!(
            "Part numbers {} show it at the same place, which speaks against their design but not \
             against a step, rack or pallet that all of them share.",
            list(parts.iter().cloned())
        ),
        _ => String::new(),
    }
}

/// A frame's place as a noun.
fn place_in(of: Frame) -> &'static str {
    match of {
        Frame::Machine => "the place in the machine",
        Frame::Panel => "the place on the panel",
        Frame::Path => "the distance from the panel's edges",
        Frame::Inspection => "the place at the inspection table",
    }
}
