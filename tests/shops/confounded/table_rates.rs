//! Rates that have been put down to the wrong one.

use super::floor::Column::{Age, Batch, Disc, Feed, Inspector, Lot, Part, Recipe};
use super::floor::{Floor, ORANGE_PEEL, Piece, SAND_THROUGH, SWIRL, either, name};
use super::plain::FEEDS;
use super::{Kind, Party, Right, kind};

pub(super) fn kinds() -> Vec<Kind> {
    vec![
        kind("recipe trial, settings held for 45 panels, lots at the same pace")
            .on(&[180, 300], 45, |f| {
                f.lots(43)
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
            })
            .by(Party::Recipe)
            .open(&["lot", "time", "feed", "passes", "recipe"]),
        kind("a bad abrasive batch, a lot to each batch")
            .on(&[80, 160], 40, |f| {
                f.lots(20)
                    .named(&[Batch], |p| p.number / 20)
                    .anywhere(SWIRL, 0.8, |p| either(p.number / 20 % 4 == 1, 3.0, 1.0))
            })
            .by(Party::Recipe)
            .open(&["lot", "batch", "disc", "abrasive", "time"]),
        kind("rate doubles with the abrasive's age, a lot to each life")
            .on(&[80, 160], 40, |f| {
                f.lots(40)
                    .named(&[Age], |p| p.number % 40)
                    .anywhere(ORANGE_PEEL, 0.8, |p| {
                        2f64.powf(p.panel.abrasive_age.unwrap() / 39.0)
                    })
            })
            .by(Party::Recipe)
            .open(&["age", "abrasive age", "first of the day", "time"]),
        kind("feed goes with the inspector")
            .on(&[60, 120, 240], 40, |f| {
                f.lots(15)
                    .dealt_to(&[Inspector, Feed(&[100.0, 140.0])], 2, |p| p.shift)
                    .anywhere(ORANGE_PEEL, 0.8, |p| {
                        either(Piece::is(&p.panel.inspector, "I2"), 3.0, 1.0)
                    })
            })
            .by(Party::Inspection)
            .open(&["inspector", "feed"]),
        kind("own recipe for each part")
            .on(&[60, 120, 240], 40, |f| {
                f.dealt_to(&[Part, Recipe, Feed(&[100.0, 140.0])], 2, |p| p.pallet)
                    .named(&[Lot], |p| p.pallet)
                    .anywhere(ORANGE_PEEL, 0.8, |p| {
                        either(Piece::is(&p.panel.part, "D2"), 3.0, 1.0)
                    })
            })
            .by(Party::Part)
            .open(&["part", "part number", "recipe", "feed"]),
        kind("fresh disc for each pallet, pallets are lots")
            .on(&[80, 160, 240], 40, |f| {
                f.named(&[Lot, Disc], |p| p.pallet)
                    .named(&[Age], |p| p.of_pallet)
                    .anywhere(SWIRL, 0.8, |p| either(p.pallet % 5 == 2, 4.0, 1.0))
            })
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
                    .named(&[Lot], |p| p.number / 4 % 5)
                    .marks(SAND_THROUGH, 1.2)
                    .records()
            },
        ),
        kind("a rare kind, one supplier with small lots").on(&[60, 120, 240], 40, |f| {
            f.turned()
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
                .marks(SWIRL, 0.12)
        }),
        kind("first five of the day, a disc for each day")
            .on(&[120, 280], 20, |f| {
                f.lots_back(6, 8)
                    .named(&[Disc], |p| p.day)
                    .named(&[Age], |p| p.of_day)
                    .anywhere(SWIRL, 0.6, |p| either(p.of_day < 5, 4.0, 1.0))
            })
            .right(Right::Open(&[
                "first of the day",
                "age",
                "abrasive age",
                "time",
            ])),
        kind("a step in time, supplier and batch changed that day")
            .on(&[80, 160], 20, |f| {
                let n = f.pieces.len();
                f.each(|p| {
                    let late = usize::from(p.day >= n / 40);
                    p.hidden = late;
                    p.panel.supplier = name("S", late);
                    p.panel.abrasive_id = name("B", late);
                    p.panel.lot = name("L", p.pallet);
                })
                .anywhere(SAND_THROUGH, 0.6, |p| either(p.hidden == 1, 4.0, 1.0))
            })
            .open(&["supplier", "batch", "disc", "abrasive", "time", "step"]),
    ]
}
