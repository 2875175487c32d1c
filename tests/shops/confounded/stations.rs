//! Who inspects what, and what that does to the counts.

use super::floor::{Floor, Frame, NIB, ORANGE_PEEL, Piece, SAND_THROUGH, STAIN, SWIRL, name};
use super::plain::FEEDS;
use super::rates::times;
use super::{Kind, Party};

const SIZES: [usize; 3] = [60, 120, 240];

fn second(p: &Piece) -> bool {
    Piece::is(&p.panel.inspector, "I2")
}

pub(super) fn kinds() -> Vec<Kind> {
    vec![
        Kind::new(
            "a station to each machine, one sees more",
            &SIZES,
            |n, seed| {
                Floor::new(n, 40, seed)
                    .each(|p| {
                        p.panel.machine = name("M", p.number % 2);
                        p.panel.inspector = name("I", p.number % 2);
                    })
                    .lots_back(5, 10)
                    .anywhere(SWIRL, 1.5, |_| 1.0)
                    .unwritten(|p, _| if second(p) { 0.0 } else { 0.7 })
                    .records()
            },
        )
        .by(Party::Inspection)
        .open(&["inspector", "station", "machine"]),
        Kind::new("the hard parts go to one inspector", &SIZES, |n, seed| {
            Floor::new(n, 40, seed)
                .dealt(
                    |p| p.number / 5,
                    2,
                    |p, k| {
                        p.panel.part = name("D", k);
                        p.panel.inspector = name("I", k);
                    },
                )
                .lots(10)
                .anywhere(SAND_THROUGH, 0.7, |p| times(second(p), 3.5))
                .records()
        })
        .by(Party::Part)
        .open(&["part", "part number", "inspector"]),
        Kind::new(
            "an inspector who writes few kinds, feed by shift",
            &SIZES,
            |n, seed| {
                Floor::new(n, 20, seed)
                    .each(|p| {
                        p.panel.inspector = name("I", p.shift % 2);
                        p.panel.feed_mm_s = Some([100.0, 140.0][p.shift % 2]);
                    })
                    .lots_back(5, 5)
                    .anywhere(SWIRL, 1.0, |_| 1.0)
                    .anywhere(NIB, 1.0, |_| 1.0)
                    .unwritten(|p, defect| {
                        if second(p) && defect == SWIRL {
                            0.9
                        } else {
                            0.0
                        }
                    })
                    .records()
            },
        )
        .by(Party::Inspection)
        .open(&["inspector", "feed", "shift"]),
        Kind::new(
            "an inspector who calls swirls stains, a machine each",
            &SIZES,
            |n, seed| {
                Floor::new(n, 40, seed)
                    .each(|p| {
                        p.panel.machine = name("M", p.number % 2);
                        p.panel.inspector = name("I", p.number % 2);
                    })
                    .lots_back(5, 10)
                    .anywhere(SWIRL, 1.5, |p| if second(p) { 0.1 } else { 1.0 })
                    .anywhere(STAIN, 1.5, |p| if second(p) { 1.0 } else { 0.1 })
                    .records()
            },
        )
        .by(Party::Inspection)
        .open(&["inspector", "station", "machine"]),
        Kind::new(
            "an inspector in the lots of one supplier",
            &SIZES,
            |n, seed| {
                Floor::new(n, 40, seed)
                    .dealt(
                        |p| p.pallet,
                        2,
                        |p, k| {
                            p.panel.supplier = name("S", k);
                            p.panel.inspector = name("I", k);
                        },
                    )
                    .lots(10)
                    .anywhere(NIB, 1.5, |_| 1.0)
                    .unwritten(|p, _| if second(p) { 0.0 } else { 0.65 })
                    .records()
            },
        )
        .by(Party::Inspection)
        .open(&["inspector", "supplier", "lot"]),
        Kind::new(
            "counts cut off at one a panel by one inspector",
            &SIZES,
            |n, seed| {
                Floor::new(n, 20, seed)
                    .dealt(
                        |p| p.shift,
                        2,
                        |p, k| {
                            p.panel.inspector = name("I", k);
                            p.panel.feed_mm_s = Some(FEEDS[k + 1]);
                        },
                    )
                    .lots(10)
                    .anywhere(ORANGE_PEEL, 3.5, |_| 1.0)
                    .cut_off(|p| if second(p) { 1 } else { usize::MAX })
                    .records()
            },
        )
        .by(Party::Inspection)
        .open(&["inspector", "feed"]),
        Kind::new(
            "a place of the part that one inspector knows of",
            &SIZES,
            |n, seed| {
                Floor::new(n, 20, seed)
                    .each(|p| {
                        p.panel.inspector = name("I", p.shift % 2);
                        p.panel.lay =
                            [onus::records::Lay::Deg0, onus::records::Lay::Deg180][p.shift % 2];
                    })
                    .lots_back(4, 5)
                    .table_drawn()
                    .anywhere(STAIN, 0.8, |_| 1.0)
                    .spot(STAIN, Frame::Panel, (170.0, 120.0), |p| {
                        if second(p) { 0.03 } else { 0.5 }
                    })
                    .records()
            },
        )
        .by(Party::Part)
        .by(Party::Inspection)
        .open(&["inspector", "part", "panel"]),
        Kind::new(
            "one inspector for turned panels, place of the table",
            &SIZES,
            |n, seed| {
                Floor::new(n, 40, seed)
                    .dealt(
                        |p| p.number / 5,
                        2,
                        |p, k| {
                            p.panel.inspector = name("I", k);
                            p.panel.lay = [onus::records::Lay::Deg0, onus::records::Lay::Deg180][k];
                        },
                    )
                    .lots(20)
                    .table_as_laid(true)
                    .anywhere(SWIRL, 0.8, |_| 1.0)
                    .spot(SWIRL, Frame::Table, (170.0, 120.0), |_| 0.4)
                    .records()
            },
        )
        .by(Party::Inspection)
        .open(&["table", "inspector", "station", "inspection"]),
        Kind::new(
            "an inspector tires over the shift, abrasives age with it",
            &SIZES,
            |n, seed| {
                Floor::new(n, 20, seed)
                    .each(|p| {
                        p.panel.inspector = name("I", p.shift % 2);
                        p.panel.abrasive_age = Some((p.of_day % 10) as f64);
                    })
                    .lots_back(5, 7)
                    .anywhere(SWIRL, 1.2, |p| 3f64.powf(-((p.of_day % 10) as f64) / 9.0))
                    .records()
            },
        )
        .by(Party::Inspection)
        .suspected(Party::Recipe)
        .open(&["age", "abrasive age", "hour", "time"]),
    ]
}
