//! What goes with the hour of the day, with the size of the panels, with one
//! episode; and days that nobody wrote down.

use super::floor::{Floor, Frame, NIB, ORANGE_PEEL, Piece, SAND_THROUGH, STAIN, SWIRL, name};
use super::rates::times;
use super::{Kind, Party};

const SIZES: [usize; 2] = [120, 240];

/// The second half of a shift.
fn late(p: &Piece) -> bool {
    hour(p) % 8 >= 4
}

/// Hours since the first shift began.
fn hour(p: &Piece) -> i8 {
    p.panel.sanded_at.unwrap().local.hour() - 6
}

pub(super) fn kinds() -> Vec<Kind> {
    vec![
        Kind::new(
            "a machine for each half of the shift, late panels are worse",
            &SIZES,
            |n, seed| {
                Floor::new(n, 40, seed)
                    .each(|p| p.panel.machine = name("M", usize::from(late(p))))
                    .lots_back(5, 6)
                    .anywhere(SAND_THROUGH, 0.6, |p| times(late(p), 3.0))
                    .records()
            },
        )
        .open(&["hour"]),
        Kind::new(
            "a fixture and an inspector from the middle of the shift, late panels are worse",
            &SIZES,
            |n, seed| {
                Floor::new(n, 40, seed)
                    .each(|p| {
                        p.panel.fixture = name("F", usize::from(late(p)));
                        p.panel.inspector = name("I", usize::from(late(p)));
                    })
                    .lots_back(5, 6)
                    .anywhere(SWIRL, 0.6, |p| times(late(p), 3.0))
                    .records()
            },
        )
        .open(&["hour"]),
        Kind::new(
            "feed lowered in the evening, evenings are worse",
            &SIZES,
            |n, seed| {
                Floor::new(n, 40, seed)
                    .each(|p| {
                        p.panel.feed_mm_s = Some(if hour(p) < 10 { 120.0 } else { 90.0 });
                    })
                    .lots_back(5, 6)
                    .anywhere(SWIRL, 0.6, |p| times(hour(p) >= 10, 3.0))
                    .records()
            },
        )
        .open(&["hour"]),
        Kind::new(
            "a fresh disc at every shift's start, the air warms up",
            &SIZES,
            |n, seed| {
                Floor::new(n, 40, seed)
                    .each(|p| {
                        p.panel.abrasive_id = name("A", p.shift);
                        p.panel.abrasive_age = Some((p.of_day % 20) as f64);
                    })
                    .lots_back(5, 6)
                    .anywhere(ORANGE_PEEL, 0.8, |p| {
                        4f64.powf(f64::from(hour(p) % 8) / 8.0)
                    })
                    .records()
            },
        )
        .open(&["hour"]),
        Kind::new(
            "a machine for each size, one size is hard",
            &SIZES,
            |n, seed| {
                Floor::new(n, 40, seed)
                    .each(|p| {
                        let small = p.number % 2 == 1;
                        p.panel.machine = name("M", usize::from(small));
                        p.panel.length_mm = if small { 500.0 } else { 600.0 };
                    })
                    .lots_back(5, 6)
                    .anywhere(NIB, 0.6, |p| times(p.panel.length_mm < 550.0, 3.5))
                    .records()
            },
        )
        .by(Party::Part)
        .open(&["size"]),
        Kind::new(
            "a loose stop for thirty panels inside one lot of sixty",
            &SIZES,
            |n, seed| {
                Floor::new(n, 40, seed)
                    .lots(60)
                    .table_as_laid(true)
                    .anywhere(STAIN, 0.3, |_| 1.0)
                    .spot(STAIN, Frame::Machine, (210.0, 150.0), |p| {
                        if (75..105).contains(&p.number) {
                            0.6
                        } else {
                            0.0
                        }
                    })
                    .records()
            },
        )
        .by(Party::Machine)
        .open(&["time", "lot"]),
        Kind::new(
            "days unlike and not written down, fixture and supplier by day",
            &SIZES,
            |n, seed| {
                Floor::new(n, 15, seed)
                    .dealt(
                        |p| p.day,
                        2,
                        |p, k| {
                            p.panel.fixture = name("F", k);
                            p.panel.supplier = name("S", k);
                        },
                    )
                    .swings(|p| p.day, 0.7)
                    .each(|p| p.panel.sanded_at = None)
                    .anywhere(SWIRL, 1.0, |_| 1.0)
                    .records()
            },
        ),
        Kind::new(
            "hours of the day not written down, an inspector from noon",
            &SIZES,
            |n, seed| {
                Floor::new(n, 30, seed)
                    .each(|p| {
                        p.panel.inspector = name("I", usize::from(hour(p) >= 6));
                        p.luck = times(hour(p) >= 6, 3.0);
                        p.panel.sanded_at = None;
                    })
                    .lots_back(5, 7)
                    .anywhere(SWIRL, 0.6, |_| 1.0)
                    .records()
            },
        )
        .open(&["day"]),
    ]
}
