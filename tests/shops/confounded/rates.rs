//! Rates that follow something which goes with the cause, or with nothing.

use onus::records::Point;
use rand::RngExt;

use super::floor::Column::{Age, Disc, Feed, Fixture, Lot, Machine, Part, Recipe};
use super::floor::{Floor, NIB, ORANGE_PEEL, Piece, SAND_THROUGH, SWIRL, grit, name};
use super::plain::FEEDS;
use super::{Kind, Party, kind};

const SIZES: [usize; 3] = [60, 120, 240];

/// `worse` where it holds, else 1.
pub(super) fn times(holds: bool, worse: f64) -> f64 {
    if holds { worse } else { 1.0 }
}

pub(super) fn kinds() -> Vec<Kind> {
    let mut kinds = settings();
    kinds.extend(habits());
    kinds
}

fn settings() -> Vec<Kind> {
    vec![
        kind("a grit for each part")
            .on(&SIZES, 40, |f| {
                f.dealt(
                    |p| p.pallet,
                    2,
                    |p, k| {
                        p.panel.part = name("D", k);
                        p.panel.grit = grit([320, 240][k]);
                    },
                )
                .lots(10)
                .anywhere(SWIRL, 0.8, |p| times(Piece::is(&p.panel.part, "D2"), 3.0))
            })
            .by(Party::Part)
            .open(&["part", "part number", "grit"]),
        kind("a recipe for each part, its settings differ all the same")
            .on(&SIZES, 40, |f| {
                f.dealt_to(&[Part, Recipe], 2, |p| p.pallet)
                    .dealt_to(&[Feed(&FEEDS)], 4, |p| p.number)
                    .lots(10)
                    .anywhere(SWIRL, 0.8, |p| times(Piece::is(&p.panel.recipe, "R2"), 4.0))
            })
            .by(Party::Recipe)
            .open(&["recipe", "part", "part number"]),
        kind("marks written at the middle of six fields, more along the edges").on(
            &[200],
            20,
            |f| {
                f.turned()
                    .table_drawn()
                    .lots_back(5, 6)
                    .with(|f| f.at_edges = 0.6)
                    .marks(SAND_THROUGH, 1.2)
                    .marks(SWIRL, 0.5)
                    .rewritten(|p, at, _| {
                        let field = |v: f64, of: f64, n: f64| {
                            ((v / of * n).floor().clamp(0.0, n - 1.0) + 0.5) * of / n
                        };
                        Point {
                            x: field(at.x, p.panel.length_mm, 3.0),
                            y: field(at.y, p.panel.width_mm, 2.0),
                        }
                    })
            },
        ),
        kind("fixture by part, the part is bad")
            .on(&SIZES, 40, |f| {
                f.dealt_to(&[Part, Fixture], 3, |p| p.pallet)
                    .lots(10)
                    .anywhere(SAND_THROUGH, 0.6, |p| {
                        times(Piece::is(&p.panel.part, "D3"), 4.0)
                    })
            })
            .by(Party::Part)
            .open(&["part", "part number", "fixture"]),
        kind("feed set by lot, a lot is bad")
            .on(&SIZES, 40, |f| {
                f.each(|p| {
                    let lot = p.number / 10;
                    p.panel.lot = name("L", lot);
                    p.panel.feed_mm_s = Some(FEEDS[lot * 3 % 4]);
                })
                .anywhere(ORANGE_PEEL, 0.8, |p| times(p.number / 10 % 6 == 2, 5.0))
            })
            .by(Party::Part)
            .open(&["lot", "feed"]),
        kind("disc changed at every lot, a disc is bad")
            .on(&SIZES, 40, |f| {
                f.named(&[Lot, Disc], |p| p.number / 15)
                    .named(&[Age], |p| p.number % 15)
                    .anywhere(SWIRL, 0.8, |p| times(p.number / 15 % 4 == 1, 4.0))
            })
            .by(Party::Recipe)
            .open(&["lot", "disc", "abrasive", "batch"]),
        kind("lots, feed and inspector follow the shift, lots are bad")
            .on(&SIZES, 20, |f| {
                f.each(|p| {
                    let night = p.shift % 2;
                    p.panel.lot = name("L", p.shift);
                    p.panel.supplier = name("S", night);
                    p.panel.inspector = name("I", night);
                    p.panel.feed_mm_s = Some([100.0, 140.0][night]);
                })
                .anywhere(ORANGE_PEEL, 0.8, |p| times(p.shift % 2 == 1, 3.0))
            })
            .by(Party::Part)
            .open(&["supplier", "lot", "inspector", "feed", "shift"]),
        kind("machine by shift, nights are worse")
            .on(&SIZES, 20, |f| {
                f.named(&[Machine], |p| p.shift % 2)
                    .lots_back(5, 5)
                    .anywhere(SAND_THROUGH, 0.8, |p| times(p.shift % 2 == 1, 3.0))
            })
            .open(&["shift", "time", "machine"]),
        kind("days unlike, feed by shift, lots return").on(&SIZES, 20, |f| {
            f.dealt_to(&[Feed(&FEEDS)], 4, |p| p.shift)
                .lots_back(5, 10)
                .swings(|p| p.day, 0.6)
                .swings(|p| p.shift, 0.3)
                .marks(ORANGE_PEEL, 1.0)
        }),
        kind("rate wanders, feed held for 15 panels, lots of 20").on(&SIZES, 40, |f| {
            f.dealt_to(&[Feed(&FEEDS)], 4, |p| p.number / 15)
                .lots(20)
                .wanders(0.7, 0.95)
                .marks(ORANGE_PEEL, 1.0)
        }),
        kind("rate wanders, abrasive ages, two fixtures by pallet").on(&SIZES, 40, |f| {
            f.dealt_to(&[Fixture], 2, |p| p.pallet)
                .named(&[Age], |p| p.number % 30)
                .named(&[Disc], |p| p.number / 30)
                .wanders(0.7, 0.95)
                .marks(SWIRL, 1.0)
        }),
        kind("feed raised step by step while an inspector learns")
            .on(&SIZES, 20, |f| {
                let n = f.pieces.len();
                f.each(|p| {
                    p.panel.feed_mm_s = Some(FEEDS[4 * p.number / n]);
                    p.panel.inspector = name("I", 0);
                    p.luck = (1.5 * p.number as f64 / n as f64).exp();
                })
                .lots(10)
                .marks(ORANGE_PEEL, 0.7)
            })
            .by(Party::Inspection)
            .open(&["time", "trend", "step", "lot", "feed"]),
        kind("supplier, batch and inspector new on one day")
            .on(&SIZES, 20, |f| {
                let n = f.pieces.len();
                f.each(|p| {
                    let late = usize::from(p.day >= n / 40);
                    p.hidden = late;
                    p.panel.supplier = name("S", late);
                    p.panel.abrasive_id = name("B", late);
                    p.panel.inspector = name("I", late);
                    p.panel.lot = name("L", p.pallet);
                })
                .anywhere(SAND_THROUGH, 0.6, |p| times(p.hidden == 1, 4.0))
            })
            .by(Party::Part)
            .open(&["supplier", "batch", "abrasive", "inspector", "time", "step"]),
        kind("thin film of some lots, feed by lot")
            .on(&[60, 120], 40, |f| {
                let thin = |p: &Piece| p.number / 10 % 4 == 1;
                f.named(&[Lot], |p| p.number / 10)
                    .named(&[Feed(&FEEDS)], |p| p.number / 10 % 4)
                    .read(
                        move |p| Some(if thin(p) { 26.0 } else { 45.0 }),
                        |p, _, _| 2200.0 / p.panel.feed_mm_s.unwrap(),
                    )
                    .anywhere(SAND_THROUGH, 0.3, move |p| times(thin(p), 6.0))
            })
            .by(Party::Part)
            .open(&["lot", "film", "feed"]),
    ]
}

fn habits() -> Vec<Kind> {
    vec![
        kind("operator slows down after bad panels, rate wanders").on(&SIZES, 40, |f| {
            let n = f.pieces.len();
            let mut floor = f.lots(20).wanders(0.8, 0.9);
            let mut feed = 1;
            for i in 0..n {
                floor.pieces[i].panel.feed_mm_s = Some(FEEDS[feed]);
                let mean = floor.pieces[i].luck;
                let marks = floor.ordinary(i, ORANGE_PEEL, mean);
                feed = match marks {
                    0 => (feed + 1).min(3),
                    1 => feed,
                    _ => feed.saturating_sub(1),
                };
            }
            floor
        }),
        kind("disc thrown away after a bad panel, rate wanders").on(&SIZES, 40, |f| {
            let n = f.pieces.len();
            let mut floor = f.lots(20).wanders(0.8, 0.9);
            let (mut age, mut disc) = (0, 0);
            for i in 0..n {
                let panel = &mut floor.pieces[i].panel;
                panel.abrasive_age = Some(f64::from(age));
                panel.abrasive_id = name("A", disc);
                let mean = floor.pieces[i].luck;
                age += 1;
                if floor.ordinary(i, SWIRL, mean) > 2 {
                    age = 0;
                    disc += 1;
                }
            }
            floor
        }),
        kind("lot looked up only for panels with marks").on(&SIZES, 40, |f| {
            let n = f.pieces.len();
            let mut floor = f.swings(|p| p.day, 0.3);
            for i in 0..n {
                let mean = floor.pieces[i].luck;
                let bad = floor.ordinary(i, SAND_THROUGH, mean) > 0;
                let looked_up = bad || floor.rng.random::<f64>() < 0.2;
                floor.pieces[i].panel.lot = name("L", i / 10).filter(|_| looked_up);
            }
            floor
        }),
        kind("disc written down mostly where a panel was bad").on(&SIZES, 40, |f| {
            let n = f.pieces.len();
            let mut floor = f.lots(10);
            for i in 0..n {
                let bad = floor.ordinary(i, SWIRL, 0.8) > 1;
                let written = bad || floor.rng.random::<f64>() < 0.3;
                let panel = &mut floor.pieces[i].panel;
                panel.abrasive_id = name("A", i / 15 % 2).filter(|_| written);
            }
            floor
        }),
        Kind::new(
            "clean panels not exported, nibs by lot",
            &SIZES,
            |n, seed| {
                // whoever has many nibs is exported, with or without orange peel
                Floor::new(n, 40, seed)
                    .lots_back(6, 10)
                    .dealt_to(&[Feed(&FEEDS)], 4, |p| p.number)
                    .anywhere(NIB, 0.5, |p| times(Piece::is(&p.panel.lot, "L2"), 6.0))
                    .marks(ORANGE_PEEL, 0.5)
                    .exported(|_, marks| marks > 0)
            },
        )
        .made(NIB, Party::Part),
        kind("one wrecked panel").on(&SIZES, 40, |f| {
            let n = f.pieces.len();
            let mut floor = f
                .turned()
                .lots(10)
                .dealt_to(&[Fixture], 4, |p| p.number)
                .dealt_to(&[Feed(&FEEDS)], 4, |p| p.pallet)
                .marks(SWIRL, 0.6);
            floor.mixing = 50.0;
            floor.ordinary(n / 3, SWIRL, 60.0);
            floor
        }),
        kind("each panel its own lot, supplier and disc").on(&SIZES, 40, |f| {
            f.each(|p| {
                p.panel.lot = name("L", p.number);
                p.panel.supplier = name("S", p.number);
                p.panel.abrasive_id = name("A", p.number);
                p.panel.abrasive_age = Some(0.0);
            })
            .marks(SWIRL, 1.0)
        }),
        kind("feed and lot written for every third panel").on(&SIZES, 40, |f| {
            f.each(|p| {
                if p.number % 3 == 0 {
                    p.panel.feed_mm_s = Some(FEEDS[p.number / 3 % 4]);
                    p.panel.lot = name("L", p.pallet);
                }
            })
            .swings(|p| p.day, 0.4)
            .marks(ORANGE_PEEL, 1.0)
        }),
    ]
}
