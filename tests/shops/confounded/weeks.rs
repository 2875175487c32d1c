//! What follows the calendar, and what else does.

use super::floor::{Floor, Frame, NIB, ORANGE_PEEL, Piece, SAND_THROUGH, STAIN, SWIRL, name};
use super::plain::FEEDS;
use super::rates::times;
use super::{Kind, Party, Right};

const SIZES: [usize; 3] = [60, 120, 240];

pub(super) fn kinds() -> Vec<Kind> {
    vec![
        Kind::new(
            "new lot each morning, first five panels are bad",
            &SIZES,
            |n, seed| {
                Floor::new(n, 20, seed)
                    .each(|p| {
                        p.panel.lot = name("L", p.day);
                        p.panel.abrasive_age = Some((p.number % 30) as f64);
                    })
                    .anywhere(SWIRL, 0.6, |p| times(p.of_day < 5, 4.0))
                    .records()
            },
        )
        .right(Right::Open(&["first of the day", "time", "lot"])),
        Kind::new(
            "lots of five, the first of the day meets the bad mornings",
            &SIZES,
            |n, seed| {
                Floor::new(n, 20, seed)
                    .each(|p| {
                        // the morning's lot always comes from S1
                        p.panel.supplier = name("S", usize::from(p.of_day >= 5));
                        p.panel.lot = name("L", p.number / 5);
                    })
                    .anywhere(SWIRL, 0.6, |p| times(p.of_day < 5, 4.0))
                    .records()
            },
        )
        .open(&["first of the day", "supplier", "lot"]),
        Kind::new(
            "machine wears over the week, repaired on Mondays",
            &SIZES,
            |n, seed| {
                Floor::new(n, 12, seed)
                    .each(|p| {
                        p.panel.lot = name("L", p.day);
                        // Fridays run slower, for the clean-up
                        p.panel.feed_mm_s = Some(FEEDS[usize::from(p.day % 5 != 4)]);
                        p.panel.supplier = name("S", usize::from(p.day % 5 >= 3));
                    })
                    .anywhere(SAND_THROUGH, 0.5, |p| 1.5f64.powi((p.day % 5) as i32))
                    .records()
            },
        )
        .by(Party::Machine)
        .open(&["time", "supplier", "lot", "feed", "trend", "weekday"]),
        Kind::new(
            "supplier by weekday, damp days at the week's end",
            &SIZES,
            |n, seed| {
                Floor::new(n, 12, seed)
                    .each(|p| p.panel.supplier = name("S", usize::from(p.day % 5 >= 3)))
                    .lots(6)
                    .swings(|p| p.day, 0.3)
                    .anywhere(NIB, 0.7, |p| times(p.day % 5 >= 3, 2.5))
                    .records()
            },
        )
        .suspected(Party::Part)
        .open(&["supplier", "lot", "weekday", "time"]),
        Kind::new("days unlike, a supplier to each day", &SIZES, |n, seed| {
            Floor::new(n, 20, seed)
                .dealt(|p| p.day, 2, |p, k| p.panel.supplier = name("S", k))
                .each(|p| p.panel.lot = name("L", 2 * p.day + p.shift % 2))
                .swings(|p| p.day, 0.7)
                .anywhere(NIB, 1.0, |_| 1.0)
                .records()
        }),
        Kind::new(
            "days unlike, an inspector and a recipe to each day",
            &SIZES,
            |n, seed| {
                Floor::new(n, 15, seed)
                    .dealt(
                        |p| p.day,
                        2,
                        |p, k| {
                            p.panel.inspector = name("I", k);
                            p.panel.recipe = name("R", k);
                        },
                    )
                    .lots_back(4, 5)
                    .swings(|p| p.day, 0.7)
                    .anywhere(SAND_THROUGH, 1.0, |_| 1.0)
                    .records()
            },
        ),
        Kind::new(
            "days unlike, machines side by side, fixtures by day",
            &SIZES,
            |n, seed| {
                Floor::new(n, 20, seed)
                    .each(|p| p.panel.machine = name("M", p.number % 2))
                    .dealt(|p| p.day, 3, |p, k| p.panel.fixture = name("F", k))
                    .lots_back(4, 10)
                    .swings(|p| p.day, 0.7)
                    .anywhere(SAND_THROUGH, 1.0, |_| 1.0)
                    .records()
            },
        ),
        Kind::new(
            "top panels of pallets are damp, discs last twelve panels",
            &SIZES,
            |n, seed| {
                Floor::new(n, 40, seed)
                    .each(|p| {
                        p.panel.lot = name("L", p.pallet / 2);
                        p.panel.abrasive_age = Some((p.number % 12) as f64);
                        p.panel.abrasive_id = name("A", p.number / 12);
                    })
                    .anywhere(ORANGE_PEEL, 0.7, |p| times(p.of_pallet < 2, 4.0))
                    .records()
            },
        )
        .by(Party::Part),
        Kind::new(
            "a place of the part, weeks of one supplier, turned since",
            &SIZES,
            |n, seed| {
                Floor::new(n, 12, seed)
                    .each(|p| {
                        // the new supplier's parts come turned, with its own hole
                        let late = p.number >= n / 2;
                        p.panel.supplier = name("S", usize::from(late));
                        p.hidden = usize::from(late);
                        if late {
                            p.panel.lay = onus::records::Lay::Deg180;
                        }
                        p.panel.lot = name("L", p.pallet);
                    })
                    .table_drawn()
                    .anywhere(STAIN, 0.8, |_| 1.0)
                    .spot(STAIN, Frame::Machine, (200.0, 140.0), |p| {
                        if p.hidden == 1 { 0.35 } else { 0.45 }
                    })
                    .records()
            },
        )
        .by(Party::Part)
        .open(&["supplier", "part", "panel", "lot", "time"]),
        Kind::new(
            "warm-up after every break, fixtures start with F1",
            &SIZES,
            |n, seed| {
                Floor::new(n, 20, seed)
                    .each(|p| p.panel.fixture = name("F", p.of_day / 5))
                    .lots_back(4, 8)
                    .anywhere(SAND_THROUGH, 0.6, |p| times(p.of_day < 5, 4.0))
                    .records()
            },
        )
        .right(Right::Open(&["first of the day", "fixture", "time"])),
        Kind::new(
            "a rush of marks on one day that had its own grit",
            &SIZES,
            |n, seed| {
                Floor::new(n, 20, seed)
                    .each(|p| {
                        let trial = p.day == 1;
                        p.panel.grit = super::floor::grit(if trial { 400 } else { 320 });
                        p.panel.lot = name("L", p.number / 7);
                        p.luck = times(trial, 5.0);
                    })
                    .anywhere(SWIRL, 0.6, |_| 1.0)
                    .records()
            },
        )
        .open(&["grit", "time", "step", "lot"]),
        Kind::new(
            "two machines, lots by machine, one lot family is bad",
            &SIZES,
            |n, seed| {
                Floor::new(n, 40, seed)
                    .each(|p| {
                        let machine = p.number % 2;
                        p.panel.machine = name("M", machine);
                        p.panel.lot = name(["K", "L"][machine], p.number / 20);
                    })
                    .anywhere(NIB, 0.6, |p| times(Piece::is(&p.panel.machine, "M2"), 3.0))
                    .records()
            },
        )
        .by(Party::Part)
        .open(&["lot", "machine"]),
    ]
}
