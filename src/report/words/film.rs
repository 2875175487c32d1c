//! Words on the film before and after sanding.

use super::counting::count_panels;
use super::finding::cell_name;
use crate::causes::{FilmLeft, Reason};
use crate::charts::NumberStyle;

/// A reason on the film as a sentence; empty for other reasons.
pub(super) fn film_reason(reason: &Reason, n: &NumberStyle) -> String {
    match reason {
        Reason::FilmThinner {
            marked,
            unmarked,
            by_um,
            by_ci,
            lots,
            p_adjusted,
        } => format!(
            "Before sanding, the film of {} with marks was {} µm thinner than that of {} without ({} to {} µm; {}; \
             {}).",
            count_panels(*marked, n),
            n.significant(*by_um, 2),
            n.count(*unmarked),
            n.significant(by_ci.low, 2),
            n.significant(by_ci.high, 2),
            if *lots {
                "lots as units"
            } else {
                "panels of the same lot and recipe compared"
            },
            super::reasons::p(*p_adjusted, n)
        ),
        Reason::FilmThinOnSide {
            by_um,
            by_ci,
            panels,
            even,
        } => format!(
            "Before sanding, the film was {} µm thinner in that half of the panel ({} to {} µm, {}){}.",
            n.significant(*by_um, 2),
            n.significant(by_ci.low, 2),
            n.significant(by_ci.high, 2),
            count_panels(*panels, n),
            match even {
                Some(true) => ", and no more is removed there",
                Some(false) => ", and more is removed there too",
                None => "; whether more is removed there was not measured",
            }
        ),
        Reason::RemovalBesideFilm {
            more_um,
            more_ci,
            film_outweighs,
        } => format!(
            "Removal on them was {} µm {} ({} to {} µm): {}.",
            n.significant(more_um.abs(), 2),
            if *more_um < 0.0 { "less" } else { "more" },
            n.significant(
                if *more_um < 0.0 {
                    -more_ci.high
                } else {
                    more_ci.low
                },
                2
            ),
            n.significant(
                if *more_um < 0.0 {
                    -more_ci.low
                } else {
                    more_ci.high
                },
                2
            ),
            if *film_outweighs {
                "the film fell short by more than that, so it is too little film rather than too much removed"
            } else {
                "it may be too much removed as well as too little film"
            }
        ),
        Reason::RemovalNotMeasured => {
            "Removal was not measured on these panels, so that it cannot be cleared.".to_owned()
        }
        _ => String::new(),
    }
}

/// Heading of the part of the page on the film left.
pub const FILM_HEADING: &str = "Film left after sanding";

/// Caption of the table of the film left.
pub fn film_caption(least_um: f64, n: &NumberStyle) -> String {
    format!(
        "Where less than {} µm of film is left. The expected share of the area is the Normal tail of film before less \
         removal, places and panels together; the gauge's own scatter makes it err to the high side. Beside \
         it, what was counted.",
        n.significant(least_um, 3)
    )
}

/// Heads of the table of the film left.
pub const FILM_HEADS: &[(&str, bool)] = &[
    ("Cell", false),
    ("Film, µm", true),
    ("Removed, µm", true),
    ("Left varies by, µm", true),
    ("Expected share", true),
    ("95 % interval", true),
    ("Places below", true),
    ("Panels with too much removed", true),
];

/// One row of that table.
pub fn film_row(left: &FilmLeft, n: &NumberStyle) -> Vec<String> {
    let dash = || "–".to_owned();
    let of = |k: usize, all: usize| format!("{} of {}", n.count(k), n.count(all));
    vec![
        cell_name(left.machine.as_deref(), left.head.as_deref()),
        n.fixed(left.film_um, 1),
        n.fixed(left.removed_um, 1),
        left.left_sd_um.map_or_else(dash, |sd| n.fixed(sd, 1)),
        left.share_below.map_or_else(dash, |s| share(s, n)),
        left.share_ci.map_or_else(dash, |ci| {
            if ci.high < SMALLEST {
                share(ci.high, n)
            } else {
                format!("{} to {}", share(ci.low, n), share(ci.high, n))
            }
        }),
        of(left.places_below, left.places),
        of(left.panels_over, left.inspected),
    ]
}

/// Smaller shares of the area are not written out.
const SMALLEST: f64 = 1e-5;

fn share(share: f64, n: &NumberStyle) -> String {
    if share < SMALLEST {
        format!("under {} %", n.fixed(0.001, 3))
    } else {
        format!("{} %", n.significant(100.0 * share, 2))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::Interval;

    #[test]
    fn thin_film_is_told_from_too_much_removal_in_words() {
        let ci = |low, high| Interval {
            low,
            high,
            level: 0.95,
        };
        let n = NumberStyle::default();
        let film = film_reason(
            &Reason::FilmThinner {
                marked: 12,
                unmarked: 88,
                by_um: 6.2,
                by_ci: ci(4.1, 8.3),
                lots: false,
                p_adjusted: 0.0004,
            },
            &n,
        );
        assert!(
            film.starts_with("Before sanding, the film of 12 panels with marks was 6.2 µm thinner")
        );
        let say = |film_outweighs| {
            film_reason(
                &Reason::RemovalBesideFilm {
                    more_um: 0.4,
                    more_ci: ci(-0.3, 1.1),
                    film_outweighs,
                },
                &n,
            )
        };
        assert!(say(true).contains("too little film rather than too much removed"));
        assert!(say(false).contains("as well as"));
    }

    #[test]
    fn tiny_shares_are_not_written_out() {
        let n = NumberStyle::default();
        assert_eq!(share(0.0212, &n), "2.1 %");
        assert_eq!(share(3e-9, &n), "under 0.001 %");
    }
}
