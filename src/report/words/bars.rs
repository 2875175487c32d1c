//! Bars of one pitch, in words.

use super::reasons::{frame as in_frame, odds, p};
use crate::causes::{BarPitch, Frame, LineAxis, Reason};
use crate::charts::NumberStyle;

/// Below the folded distances.
pub const PART: &str = "distance past a whole pitch, in pitches";

/// At the left axis of the folded distances.
pub const PAIRS: &str = "pairs of marks";

/// "in bars 40 mm apart".
pub fn shape(bars: &BarPitch) -> String {
    format!("in bars {:.0}\u{a0}mm apart", bars.pitch_mm)
}

/// Caption of the folded distances.
pub fn folded(id: &str, bars: &BarPitch, numbers: &NumberStyle) -> String {
    format!(
        "{id}: distances between marks of one panel crowd at multiples of {} mm.",
        numbers.significant(bars.pitch_mm, 3)
    )
}

/// The reason as a sentence with its numbers.
pub(super) fn reason(reason: &Reason, n: &NumberStyle) -> String {
    match reason {
        Reason::Bars {
            pitch_mm,
            pitch_ci,
            along,
            frame,
            hits,
            could_show,
            expected,
            same_places,
            p_adjusted,
        } => {
            let between = pitch_ci.map_or(String::new(), |ci| {
                format!(
                    " (95 % between {} and {})",
                    n.significant(ci.low, 4),
                    n.significant(ci.high, 4)
                )
            });
            format!(
                "Bars along {} stand {} mm apart{between}{}: {} of the {} panels with marks enough show \
                 them, where chance would have about {} look like it ({} for the whole report).",
                axis(*along, *frame),
                n.significant(*pitch_mm, 4),
                if *same_places {
                    ", at the same places on all panels"
                } else {
                    ", starting anew on every panel"
                },
                n.count(*hits),
                n.count(*could_show),
                n.significant(*expected, 2),
                p(*p_adjusted, n)
            )
        }
        Reason::PitchFollowsFeed {
            hertz,
            at_feed_mm_s,
            log_ratio,
        } => format!(
            "The pitch is proportional to the feed ({}), as something that turns or vibrates leaves it: \
             {} bars a second; the pitch given is that at {} mm/s.",
            odds(*log_ratio, n),
            n.significant(*hertz, 3),
            n.significant(*at_feed_mm_s, 3)
        ),
        Reason::PitchStaysAtAllFeeds { log_ratio } => format!(
            "The pitch is the same at all feeds ({}), as something with that spacing leaves it: slats, \
             supports, rollers, or the panel's own core.",
            odds(*log_ratio, n)
        ),
        Reason::PitchAndFeedUntold { feed_varied } => if *feed_varied {
            "The feed varied too little to tell whether the pitch follows it."
        } else {
            "The feed did not vary or is not recorded, so it can't be told whether the pitch follows it."
        }
        .to_owned(),
        Reason::TurnsKeepDirection => {
            "No panel was turned by a quarter: bars keep their direction, so machine and part look alike."
                .to_owned()
        }
        Reason::BarsHold {
            frame: held,
            rival,
            log_ratio,
        } => format!(
            "The bars keep their direction and places {}, not {} ({}).",
            in_frame(*held),
            in_frame(*rival),
            odds(*log_ratio, n)
        ),
        _ => String::new(),
    }
}

fn axis(along: LineAxis, frame: Frame) -> &'static str {
    match (along, frame) {
        (LineAxis::X, Frame::Panel) => "panel x",
        (LineAxis::Y, Frame::Panel) => "panel y",
        (LineAxis::X, _) => "machine x",
        (LineAxis::Y, _) => "machine y",
    }
}
