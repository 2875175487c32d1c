//! What goes with the hour of the day, with the size of the panels, with one
//! episode; and days that nobody wrote down.

use rand::RngExt;

use super::floor::Column::{Age, Disc, Fixture, Inspector, Machine, Supplier};
use super::floor::{
    Floor, Frame, NIB, ORANGE_PEEL, Piece, SAND_THROUGH, STAIN, SWIRL, either, name,
};
use super::rates::times;
use super::{Kind, Party, kind};

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
        kind("a machine for each half of the shift, late panels are worse")
            .on(&SIZES, 40, |f| {
                f.named(&[Machine], |p| usize::from(late(p)))
                    .lots_back(5, 6)
                    .anywhere(SAND_THROUGH, 0.6, |p| times(late(p), 3.0))
            })
            .open(&["hour"]),
        kind("a fixture and an inspector from the middle of the shift, late panels are worse")
            .on(&SIZES, 40, |f| {
                f.named(&[Fixture, Inspector], |p| usize::from(late(p)))
                    .lots_back(5, 6)
                    .anywhere(SWIRL, 0.6, |p| times(late(p), 3.0))
            })
            .open(&["hour"]),
        kind("feed lowered in the evening, evenings are worse")
            .on(&SIZES, 40, |f| {
                f.each(|p| {
                    p.panel.feed_mm_s = Some(if hour(p) < 10 { 120.0 } else { 90.0 });
                })
                .lots_back(5, 6)
                .anywhere(SWIRL, 0.6, |p| times(hour(p) >= 10, 3.0))
            })
            .open(&["hour"]),
        kind("a fresh disc at every shift's start, the air warms up")
            .on(&SIZES, 40, |f| {
                f.named(&[Disc], |p| p.shift)
                    .named(&[Age], |p| p.of_day % 20)
                    .lots_back(5, 6)
                    .anywhere(ORANGE_PEEL, 0.8, |p| {
                        4f64.powf(f64::from(hour(p) % 8) / 8.0)
                    })
            })
            .open(&["hour"]),
        kind("a machine for each size, one size is hard")
            .on(&SIZES, 40, |f| {
                f.each(|p| {
                    let small = p.number % 2 == 1;
                    p.panel.machine = name("M", usize::from(small));
                    p.panel.length_mm = if small { 500.0 } else { 600.0 };
                })
                .lots_back(5, 6)
                .anywhere(NIB, 0.6, |p| times(p.panel.length_mm < 550.0, 3.5))
            })
            .by(Party::Part)
            .open(&["size"]),
        kind("a loose stop for thirty panels inside one lot of sixty")
            .on(&SIZES, 40, |f| {
                f.lots(60).table_as_laid(true).marks(STAIN, 0.3).spot(
                    STAIN,
                    Frame::Machine,
                    (210.0, 150.0),
                    |p| either((75..105).contains(&p.number), 0.6, 0.0),
                )
            })
            .by(Party::Machine)
            .open(&["time", "lot"]),
        kind("a day gone wrong, seven in ten of its panels of a lot that came then")
            .on(&SIZES, 30, |f| {
                f.lots_back(5, 6)
                    .drawn(|p, rng| {
                        if p.day == 2 && rng.random::<f64>() < 0.7 {
                            p.panel.lot = name("L", 8);
                        }
                    })
                    .anywhere(SWIRL, 0.5, |p| times(p.day == 2, 4.5))
            })
            .open(&["day", "step"]),
        kind("days unlike and not written down, fixture and supplier by day").on(&SIZES, 15, |f| {
            f.dealt_to(&[Fixture, Supplier], 2, |p| p.day)
                .swings(|p| p.day, 0.7)
                .each(|p| p.panel.sanded_at = None)
                .marks(SWIRL, 1.0)
        }),
        kind("hours of the day not written down, an inspector from noon")
            .on(&SIZES, 30, |f| {
                f.each(|p| {
                    p.panel.inspector = name("I", usize::from(hour(p) >= 6));
                    p.luck = times(hour(p) >= 6, 3.0);
                    p.panel.sanded_at = None;
                })
                .lots_back(5, 7)
                .marks(SWIRL, 0.6)
            })
            .open(&["day"]),
    ]
}
