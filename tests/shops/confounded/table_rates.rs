//! Rates that have been put down to the wrong one.

use super::floor::{Floor, ORANGE_PEEL, Piece, SAND_THROUGH, SWIRL, name};
use super::plain::FEEDS;
use super::{Kind, Party, Right};

pub(super) fn kinds() -> Vec<Kind> {
    vec![
        Kind::new(
            "recipe trial, settings held for 45 panels, lots at the same pace",
            &[180, 300],
            |n, seed| {
                Floor::new(n, 45, seed)
                    .lots(43)
                    .dealt(
                        |p| p.number / 45,
                        4,
                        |p, k| {
                            p.panel.feed_mm_s = Some(FEEDS[k]);
                            p.panel.passes = Some([2.0, 2.0, 1.0, 3.0][k]);
                        },
                    )
                    .anywhere(ORANGE_PEEL, 1.0, |p| {
                        let exposure = p.panel.passes.unwrap() / p.panel.feed_mm_s.unwrap();
                        (exposure * 50.0).powf(-1.5)
                    })
                    .records()
            },
        )
        .by(Party::Recipe)
        .open(&["lot", "time", "feed", "passes", "recipe"]),
        Kind::new(
            "a bad abrasive batch, a lot to each batch",
            &[80, 160],
            |n, seed| {
                Floor::new(n, 40, seed)
                    .lots(20)
                    .each(|p| p.panel.abrasive_id = name("B", p.number / 20))
                    .anywhere(
                        SWIRL,
                        0.8,
                        |p| {
                            if p.number / 20 % 4 == 1 { 3.0 } else { 1.0 }
                        },
                    )
                    .records()
            },
        )
        .by(Party::Recipe)
        .open(&["lot", "batch", "disc", "abrasive", "time"]),
        Kind::new(
            "rate doubles with the abrasive's age, a lot to each life",
            &[80, 160],
            |n, seed| {
                Floor::new(n, 40, seed)
                    .lots(40)
                    .each(|p| p.panel.abrasive_age = Some((p.number % 40) as f64))
                    .anywhere(ORANGE_PEEL, 0.8, |p| {
                        2f64.powf(p.panel.abrasive_age.unwrap() / 39.0)
                    })
                    .records()
            },
        )
        .by(Party::Recipe)
        .open(&["age", "abrasive age", "first of the day", "time"]),
        Kind::new(
            "feed goes with the inspector",
            &[60, 120, 240],
            |n, seed| {
                Floor::new(n, 40, seed)
                    .lots(15)
                    .dealt(
                        |p| p.shift,
                        2,
                        |p, k| {
                            p.panel.inspector = name("I", k);
                            p.panel.feed_mm_s = Some([100.0, 140.0][k]);
                        },
                    )
                    .anywhere(ORANGE_PEEL, 0.8, |p| {
                        if Piece::is(&p.panel.inspector, "I2") {
                            3.0
                        } else {
                            1.0
                        }
                    })
                    .records()
            },
        )
        .by(Party::Inspection)
        .open(&["inspector", "feed"]),
        Kind::new("own recipe for each part", &[60, 120, 240], |n, seed| {
            Floor::new(n, 40, seed)
                .dealt(
                    |p| p.pallet,
                    2,
                    |p, k| {
                        p.panel.part = name("D", k);
                        p.panel.recipe = name("R", k);
                        p.panel.feed_mm_s = Some([100.0, 140.0][k]);
                        p.panel.lot = name("L", p.pallet);
                    },
                )
                .anywhere(ORANGE_PEEL, 0.8, |p| {
                    if Piece::is(&p.panel.part, "D2") {
                        3.0
                    } else {
                        1.0
                    }
                })
                .records()
        })
        .by(Party::Part)
        .open(&["part", "part number", "recipe", "feed"]),
        Kind::new(
            "fresh disc for each pallet, pallets are lots",
            &[80, 160, 240],
            |n, seed| {
                Floor::new(n, 40, seed)
                    .each(|p| {
                        p.panel.lot = name("L", p.pallet);
                        p.panel.abrasive_id = name("A", p.pallet);
                        p.panel.abrasive_age = Some(p.of_pallet as f64);
                    })
                    .anywhere(SWIRL, 0.8, |p| if p.pallet % 5 == 2 { 4.0 } else { 1.0 })
                    .records()
            },
        )
        .by(Party::Part)
        .open(&["lot", "disc", "abrasive", "batch"]),
        Kind::new(
            "marks at random, two part numbers crossed with five lots, one week",
            &[40, 80, 160],
            |n, seed| {
                Floor::new(n, n / 5, seed)
                    .turned()
                    .drawn(|p, rng| {
                        use rand::RngExt;
                        p.panel.part = name("D", rng.random_range(0..2));
                    })
                    .each(|p| p.panel.lot = name("L", p.number / 4 % 5))
                    .anywhere(SAND_THROUGH, 1.2, |_| 1.0)
                    .records()
            },
        ),
        Kind::new(
            "a rare kind, one supplier with small lots",
            &[60, 120, 240],
            |n, seed| {
                Floor::new(n, 40, seed)
                    .turned()
                    .each(|p| {
                        let small = p.pallet % 4 == 3;
                        p.panel.supplier = name("S", usize::from(small));
                        let lot = if small {
                            100 + p.number / 3
                        } else {
                            p.number / 40
                        };
                        p.panel.lot = name("L", lot);
                    })
                    .anywhere(SWIRL, 0.12, |_| 1.0)
                    .records()
            },
        ),
        Kind::new(
            "first five of the day, a disc for each day",
            &[120, 280],
            |n, seed| {
                Floor::new(n, 20, seed)
                    .lots_back(6, 8)
                    .each(|p| {
                        p.panel.abrasive_id = name("A", p.day);
                        p.panel.abrasive_age = Some(p.of_day as f64);
                    })
                    .anywhere(SWIRL, 0.6, |p| if p.of_day < 5 { 4.0 } else { 1.0 })
                    .records()
            },
        )
        .right(Right::Open(&[
            "first of the day",
            "age",
            "abrasive age",
            "time",
        ])),
        Kind::new(
            "a step in time, supplier and batch changed that day",
            &[80, 160],
            |n, seed| {
                Floor::new(n, 20, seed)
                    .each(|p| {
                        let late = usize::from(p.day >= n / 40);
                        p.hidden = late;
                        p.panel.supplier = name("S", late);
                        p.panel.abrasive_id = name("B", late);
                        p.panel.lot = name("L", p.pallet);
                    })
                    .anywhere(SAND_THROUGH, 0.6, |p| if p.hidden == 1 { 4.0 } else { 1.0 })
                    .records()
            },
        )
        .open(&["supplier", "batch", "disc", "abrasive", "time", "step"]),
    ]
}
