//! Words of the page on uneven removal.

use crate::causes::{Contrast, Surface, SurfaceCause};
use crate::charts::{Description, NumberStyle, surface};
use crate::report::words::counting::{capital, count_panels};
use crate::report::words::surface::{count_readings, takes_more};
use crate::site::FeedDirection;

/// Title of the page.
pub const TITLE: &str = "Uneven removal";

/// Heads of the table of terms.
pub const TERM_HEADS: &[(&str, bool)] = &[
    ("Cell", false),
    ("Term", false),
    ("Same on every panel, µm", true),
    ("95 % interval", true),
    ("From panel to panel, µm", true),
    ("95 % interval", true),
];

/// Caption of the table of terms.
pub const TERMS_CAPTION: &str = "The removal surfaces. Slopes are edge to edge, crowns and twist middle to edge; \
     from panel to panel is a standard deviation with the gauge taken out.";

/// The sentence under the title.
pub fn lead(surfaces: &[Surface]) -> String {
    let of = |cause: SurfaceCause| surfaces.iter().filter(|s| s.cause == cause).count();
    let cells = |n: usize| {
        if n == 1 {
            "one head".to_owned()
        } else {
            format!("{n} heads")
        }
    };
    let (machine, part) = (of(SurfaceCause::Machine), of(SurfaceCause::Part));
    match (machine, part) {
        (0, 0) if of(SurfaceCause::Undecided) > 0 && surfaces.iter().all(nothing_shows) => {
            "These readings cannot show whether removal is even.".to_owned()
        }
        (0, 0) if of(SurfaceCause::Undecided) > 0 => {
            "Removal is not the same all over the panel, and the records cannot tell whose that is."
                .to_owned()
        }
        (0, 0) => "Removal is even enough on every machine measured.".to_owned(),
        (0, part) => format!(
            "Uneven removal comes with the panels on {}; re-tilting the head would only move it.",
            cells(part)
        ),
        (machine, 0) => format!(
            "On {} the same side takes more on every panel, turned ones too: the head leans.",
            cells(machine)
        ),
        (machine, part) => format!(
            "On {} the head leans; on {} uneven removal comes with the panels.",
            cells(machine),
            cells(part)
        ),
    }
}

/// Whether neither a side nor a sign of the part is off zero.
fn nothing_shows(surface: &Surface) -> bool {
    surface.lean.sides().is_empty() && surface.signs.is_empty()
}

/// Where the surface is drawn.
pub fn drawn_on(finding: &str) -> String {
    format!("Verdict, map and slopes are on the page of {finding}.")
}

/// What a surface says, with its caution.
pub fn verdict(surface: &Surface, n: &NumberStyle) -> String {
    let mut text = String::new();
    let sides = surface.lean.sides();
    for side in &sides {
        text += &format!("{}. ", capital(&takes_more(side, n)));
    }
    text.push_str(match surface.cause {
        SurfaceCause::Machine => {
            "It stayed in the machine while panels were turned: check the head's tilt about the axis along \
             that side."
        }
        SurfaceCause::Part => {
            "The unevenness comes with the panels. Adjusting the head's tilt only moves it: check flatness, \
             supports and vacuum first."
        }
        SurfaceCause::None => "Removal is even enough: a tilt that would matter is excluded.",
        SurfaceCause::Undecided if sides.is_empty() => {
            "Whether removal is even, and whose its unevenness is, cannot be told from these readings."
        }
        SurfaceCause::Undecided => {
            "Whether head or panels make it cannot be told yet. Don't adjust the tilt on this alone: lay some \
             panels turned by half a turn, of the same lot, and measure them."
        }
    });
    if surface.cause == SurfaceCause::Machine
        && let Some(part) = surface.share_part
        && part > surface.share_machine.unwrap_or(0.0)
    {
        text.push_str(&format!(
            " The panels bring more of the unevenness than the head ({}): re-tilting helps on average, not \
             on every panel.",
            n.percent(part, 0)
        ));
    }
    text
}

/// Number of readings and panels, mean removal and gauge.
pub fn measured(surface: &Surface, n: &NumberStyle) -> String {
    let mut text = format!(
        "{} on {}",
        count_readings(surface.readings, n),
        count_panels(surface.panels, n)
    );
    if let Some(removed) = surface.removed_um {
        text.push_str(&format!(", mean removal {} µm", n.significant(removed, 3)));
    }
    if let Some(gauge) = surface.gauge_sd_um {
        text.push_str(&format!(
            ", one reading good to {} µm (standard deviation: gauge and what no surface describes)",
            n.significant(gauge, 2)
        ));
    }
    text.push('.');
    text
}

/// Caption of the map.
pub fn map_caption(cell: &str, surface: &Surface) -> String {
    let shared = match surface.contrast {
        Contrast::NeverTurned | Contrast::TooFewTurned => {
            "the surface all panels share as they lay (head and panels together)"
        }
        Contrast::TurnedPanels | Contrast::TurnedWithOthers | Contrast::TurnedAmongAlike => {
            "the surface all panels share as they lay"
        }
    };
    format!("{cell}: {shared}. Heavy lines: more is taken than on average; light ones: less.")
}

/// The map's own texts.
pub fn map_labels(cell: &str, feed: FeedDirection, alt: &str) -> surface::map::Labels {
    let (x, y) = match feed {
        FeedDirection::X => ("along the feed, mm", "across the feed, mm"),
        FeedDirection::Y => ("across the feed, mm", "along the feed, mm"),
    };
    surface::map::Labels {
        description: Description {
            title: format!("Removal surface, {cell}"),
            text: alt.to_owned(),
        },
        x: x.to_owned(),
        y: y.to_owned(),
        stop_corner: "stop corner".to_owned(),
        feed: "feed".to_owned(),
        key: "µm more (+) or less (−) than the mean".to_owned(),
        flat: "flat".to_owned(),
    }
}

/// Caption of the cloud.
pub fn cloud_caption(cell: &str, surface: &Surface) -> String {
    let tells = match surface.cause {
        SurfaceCause::Machine => "the machine's slope lies off zero",
        SurfaceCause::Part => "the cloud is wide, and it is the panels that differ",
        SurfaceCause::None => "all lie close around zero",
        SurfaceCause::Undecided => "what they share may be the head's or the panels'",
    };
    format!(
        "{cell}: every panel's own slopes; {tells}. The ellipse holds what they share with 95 % confidence."
    )
}

/// The cloud's own texts.
pub fn cloud_labels(cell: &str, turned: usize, told: bool, alt: &str) -> surface::cloud::Labels {
    surface::cloud::Labels {
        description: Description {
            title: format!("Slopes of single panels, {cell}"),
            text: alt.to_owned(),
        },
        x: "more at high x, µm edge to edge".to_owned(),
        y: "more at high y, µm edge to edge".to_owned(),
        panels: "a panel".to_owned(),
        turned: (turned > 0).then(|| "a turned panel".to_owned()),
        mean: if told {
            "the machine, with its 95 % region".to_owned()
        } else {
            "what all share, with its 95 % region".to_owned()
        },
    }
}

/// Caption of the shares.
pub const SHARES_CAPTION: &str = "Whose the unevenness within a panel is: the same on every panel as it lay, \
     different from panel to panel, or gauge.";

/// The texts of the shares.
pub fn shares_labels() -> surface::shares::Labels {
    surface::shares::Labels {
        description: Description {
            title: "Shares of the unevenness".to_owned(),
            text: SHARES_CAPTION.to_owned(),
        },
        measure: "share of the unevenness within a panel, %".to_owned(),
        machine: "the machine's".to_owned(),
        untold: "same on every panel, untold".to_owned(),
        part: "with the panels".to_owned(),
        gauge: "gauge and the rest".to_owned(),
    }
}
