//! Words on uneven removal.

pub mod page;

use crate::causes::{
    Contrast, DifferBy, EdgeToEdge, PartSign, Side, SurfaceNote, SurfaceReason, TermName,
};
use crate::charts::NumberStyle;
use crate::report::words::counting::{count_panels, counted, list};
use crate::report::words::reasons::column;

/// A side of the panel as it lies in the machine, for a fitter.
pub fn machine_side(side: Side) -> &'static str {
    match side {
        Side::LowX => "the edge at low machine x, on the stop corner's side,",
        Side::HighX => "the edge at high machine x, away from the stop corner,",
        Side::LowY => "the edge at low machine y, on the stop corner's side,",
        Side::HighY => "the edge at high machine y, away from the stop corner,",
    }
}

/// Which side takes more and by how much.
pub fn takes_more(side: &EdgeToEdge, n: &NumberStyle) -> String {
    format!(
        "{} takes {} µm more than the opposite edge ({} to {} µm)",
        machine_side(side.more),
        n.significant(side.by_um, 2),
        n.significant(side.ci.low, 2),
        n.significant(side.ci.high, 2)
    )
}

/// The reason as a sentence.
pub fn surface_reason(reason: &SurfaceReason, n: &NumberStyle) -> String {
    match reason {
        SurfaceReason::TakesMore { side, panels } => format!(
            "Over {}, {}.",
            count_panels(*panels, n),
            takes_more(side, n)
        ),
        SurfaceReason::Contrast {
            contrast,
            turned,
            panels,
        } => contrast_sentence(*contrast, *turned, *panels, n),
        SurfaceReason::Shares {
            machine,
            part,
            gauge,
        } => format!(
            "Of the unevenness within a panel {} is the same on every panel as it lay, {} differs with \
             the panels, {} is gauge and what no surface describes.",
            n.percent(*machine, 0),
            n.percent(*part, 0),
            n.percent(*gauge, 0)
        ),
        SurfaceReason::LayGoesWith(rivals) => format!(
            "How the panels lay went with {}, which may lean as well.",
            list(rivals.iter().map(|r| column(r).to_owned()))
        ),
        SurfaceReason::Sign(sign) => sign_sentence(sign, n),
        SurfaceReason::DifferBy(follows) => follows_sentence(follows, n),
        SurfaceReason::CrownReadsAsSlope => {
            "The places measured lie to one side of the panel's middle, so that a crown of the panels \
             reads as a slope: measure on an even grid."
                .to_owned()
        }
    }
}

fn contrast_sentence(contrast: Contrast, turned: usize, panels: usize, n: &NumberStyle) -> String {
    let turned = format!("{} of {}", n.count(turned), count_panels(panels, n));
    match contrast {
        Contrast::NeverTurned => "No panel was turned, so a tilt of the head and a taper that all \
             panels bring look alike."
            .to_owned(),
        Contrast::TooFewTurned => format!(
            "Turned were {turned}: too few, or all of one lot, to tell a tilt of the head from a taper \
             of the panels."
        ),
        Contrast::TurnedPanels => format!(
            "Turned were {turned}: a taper of the panels turns with them, a tilt of the head stays."
        ),
        Contrast::TurnedWithOthers => format!(
            "Turned were {turned}, but not among panels alike in all that could lean in place of the \
             machine or the panel."
        ),
        Contrast::TurnedAmongAlike => format!(
            "Turned were {turned}, compared among panels alike in lot, part number, supplier and \
             inspector where these are recorded: a taper of the panels turns with them, a tilt of the \
             head stays."
        ),
    }
}

fn follows_sentence(follows: &DifferBy, n: &NumberStyle) -> String {
    match follows {
        DifferBy::Time => {
            "Panels sanded one after the other are alike in it: a head that was moved or \
             drifts would look so, and so would panels that changed at that time."
                .to_owned()
        }
        DifferBy::TwoStates {
            panels,
            lay_recorded,
        } => format!(
            "The slopes lie about two values with little between, {} about the rarer one: two heads or \
             nests would look so{}; warp takes many values.",
            count_panels(*panels, n),
            if *lay_recorded {
                ""
            } else {
                ", and so would panels laid two ways, which nobody wrote down"
            }
        ),
        DifferBy::Column(rival) => format!(
            "They differ from one {} to another, not beyond: it may lean.",
            column(rival)
        ),
    }
}

fn sign_sentence(sign: &PartSign, n: &NumberStyle) -> String {
    let um = |value: f64| n.significant(value, 2);
    match sign {
        PartSign::TaperAlongLength { more, by_um, .. } => format!(
            "The panel's own end at {} x takes {} µm more, however it lay: that came with the panels.",
            low_or_high(*more),
            um(*by_um)
        ),
        PartSign::TaperAlongWidth { more, by_um, .. } => format!(
            "The panel's own side at {} y takes {} µm more, however it lay: that came with the panels.",
            low_or_high(*more),
            um(*by_um)
        ),
        PartSign::PanelsDiffer { term, sd_um, .. } => format!(
            "Panels differ among themselves in their {} by {} µm (standard deviation, {}), more than the \
             gauge does; a tilt of the head that nobody moves is the same on every panel, warp is not.",
            term_name(*term),
            um(*sd_um),
            reach(*term)
        ),
        PartSign::SharedBend { term, by_um, .. } => format!(
            "All panels share a {} of {} µm ({}): their form, their support or the pad; turning panels \
             cannot tell which.",
            term_name(*term),
            um(by_um.abs()),
            if *by_um > 0.0 {
                "the ends take more than the middle"
            } else {
                "the middle takes more than the ends"
            }
        ),
    }
}

/// A term's name.
pub fn term_name(term: TermName) -> &'static str {
    match term {
        TermName::SlopeX => "slope along x",
        TermName::SlopeY => "slope along y",
        TermName::CrownX => "crown along x",
        TermName::CrownY => "crown along y",
        TermName::Twist => "twist",
    }
}

fn reach(term: TermName) -> &'static str {
    match term {
        TermName::SlopeX | TermName::SlopeY => "edge to edge",
        TermName::CrownX | TermName::CrownY | TermName::Twist => "middle to edge",
    }
}

fn low_or_high(side: Side) -> &'static str {
    match side {
        Side::LowX | Side::LowY => "low",
        Side::HighX | Side::HighY => "high",
    }
}

/// A doubt or an omission as a sentence.
pub fn surface_note(note: &SurfaceNote, n: &NumberStyle) -> String {
    match note {
        SurfaceNote::SlopesOnly { panels } => format!(
            "On {} there were too few readings for crown and twist: slopes only.",
            count_panels(*panels, n)
        ),
        SurfaceNote::OneAxisOnly { panels } => format!(
            "On {} readings lie along one line: only the slope along it was fitted.",
            count_panels(*panels, n)
        ),
        SurfaceNote::TooFewPlaces { panels } => format!(
            "{} left out: readings at one place, or too few for a slope.",
            count_panels(*panels, n)
        ),
        SurfaceNote::WithoutPlace { readings } => format!(
            "{} of removal carry no place and were left out.",
            count_readings(*readings, n)
        ),
        SurfaceNote::OnePanel => {
            "One panel: what is the machine's and what is the panel's can't be told.".to_owned()
        }
        SurfaceNote::ConstantReadings => {
            "Every reading is the same number: is the gauge stuck?".to_owned()
        }
        SurfaceNote::GaugeUnknown => {
            "No panel has a reading to spare, so gauge and panels can't be parted; intervals of the \
             machine's slopes hold."
                .to_owned()
        }
        SurfaceNote::CrownReadsAsSlope => {
            "The places measured lie so that a crown reads as a slope: neither is called the machine's."
                .to_owned()
        }
        SurfaceNote::TooSmallToMatter { by_um } => format!(
            "A slope of {} µm edge to edge is off zero, but too small to matter.",
            n.significant(*by_um, 2)
        ),
        SurfaceNote::NotAboveZero { readings } => format!(
            "{} of zero or below: honest readings of a thin cut, kept.",
            count_readings(*readings, n)
        ),
    }
}

fn count_readings(readings: usize, n: &NumberStyle) -> String {
    counted(readings, "reading", "readings", n)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::Interval;

    #[test]
    fn a_fitter_reads_side_and_size() {
        let side = EdgeToEdge {
            more: Side::HighX,
            by_um: 1.62,
            ci: Interval {
                low: 1.1,
                high: 2.14,
                level: 0.95,
            },
        };
        let text = takes_more(&side, &NumberStyle::default());
        assert!(
            text.contains("high machine x") && text.contains("1.6 µm more"),
            "{text}"
        );
        assert!(text.contains("1.1 to 2.1 µm"), "{text}");
    }

    #[test]
    fn the_part_carries_the_warning_about_re_tilting() {
        let sign = PartSign::PanelsDiffer {
            term: TermName::SlopeX,
            sd_um: 3.0,
            p_value: 1e-9,
        };
        let text = surface_reason(&SurfaceReason::Sign(sign), &NumberStyle::default());
        assert!(
            text.contains("slope along x") && text.contains("edge to edge"),
            "{text}"
        );
    }

    #[test]
    fn one_panel_is_singular() {
        let n = NumberStyle::default();
        let note = surface_note(&SurfaceNote::SlopesOnly { panels: 1 }, &n);
        assert!(note.starts_with("On 1 panel there"), "{note}");
    }
}
