//! Who inspects what, and what that does to the counts.

use super::floor::Column::{Age, Feed, Inspector, Machine, Part, Supplier, Turned};
use super::floor::{
    Floor, Frame, NIB, ORANGE_PEEL, Piece, SAND_THROUGH, STAIN, SWIRL, either, name,
};
use super::plain::FEEDS;
use super::rates::times;
use super::{Kind, Party, kind};

const SIZES: [usize; 3] = [60, 120, 240];

fn second(p: &Piece) -> bool {
    Piece::is(&p.panel.inspector, "I2")
}

pub(super) fn kinds() -> Vec<Kind> {
    vec![
        kind("a station to each machine, one sees more")
            .on(&SIZES, 40, |f| {
                f.named(&[Machine, Inspector], |p| p.number % 2)
                    .lots_back(5, 10)
                    .marks(SWIRL, 1.5)
                    .unwritten(|p, _| either(second(p), 0.0, 0.7))
            })
            .by(Party::Inspection)
            .open(&["inspector", "station", "machine"]),
        kind("the hard parts go to one inspector")
            .on(&SIZES, 40, |f| {
                f.dealt_to(&[Part, Inspector], 2, |p| p.number / 5)
                    .lots(10)
                    .anywhere(SAND_THROUGH, 0.7, |p| times(second(p), 3.5))
            })
            .by(Party::Part)
            .open(&["part", "part number", "inspector"]),
        kind("an inspector who writes few kinds, feed by shift")
            .on(&SIZES, 20, |f| {
                f.named(&[Inspector, Feed(&[100.0, 140.0])], |p| p.shift % 2)
                    .lots_back(5, 5)
                    .marks(SWIRL, 1.0)
                    .marks(NIB, 1.0)
                    .unwritten(|p, defect| either(second(p) && defect == SWIRL, 0.9, 0.0))
            })
            .by(Party::Inspection)
            .open(&["inspector", "feed", "shift"]),
        kind("an inspector who calls swirls stains, a machine each")
            .on(&SIZES, 40, |f| {
                f.named(&[Machine, Inspector], |p| p.number % 2)
                    .lots_back(5, 10)
                    .anywhere(SWIRL, 1.5, |p| either(second(p), 0.1, 1.0))
                    .anywhere(STAIN, 1.5, |p| either(second(p), 1.0, 0.1))
            })
            .by(Party::Inspection)
            .open(&["inspector", "station", "machine"]),
        Kind::new(
            "clean panels of one machine are not exported",
            &SIZES,
            |n, seed| {
                Floor::new(n, 40, seed)
                    .named(&[Machine], |p| p.number % 2)
                    .lots_back(5, 10)
                    .marks(NIB, 0.6)
                    .marks(STAIN, 0.6)
                    .exported(|p, marks| marks > 0 || !Piece::is(&p.panel.machine, "M2"))
            },
        )
        .by(Party::Inspection),
        kind("an inspector in the lots of one supplier")
            .on(&SIZES, 40, |f| {
                f.dealt_to(&[Supplier, Inspector], 2, |p| p.pallet)
                    .lots(10)
                    .marks(NIB, 1.5)
                    .unwritten(|p, _| either(second(p), 0.0, 0.65))
            })
            .by(Party::Inspection)
            .open(&["inspector", "supplier", "lot"]),
        kind("counts cut off at one a panel by one inspector")
            .on(&SIZES, 20, |f| {
                f.dealt(
                    |p| p.shift,
                    2,
                    |p, k| {
                        p.panel.inspector = name("I", k);
                        p.panel.feed_mm_s = Some(FEEDS[k + 1]);
                    },
                )
                .lots(10)
                .marks(ORANGE_PEEL, 3.5)
                .cut_off(|p| either(second(p), 1, usize::MAX))
            })
            .by(Party::Inspection)
            .open(&["inspector", "feed"]),
        kind("a place of the part that one inspector knows of")
            .on(&SIZES, 20, |f| {
                f.named(&[Inspector, Turned], |p| p.shift % 2)
                    .lots_back(4, 5)
                    .table_drawn()
                    .marks(STAIN, 0.8)
                    .spot(STAIN, Frame::Panel, (170.0, 120.0), |p| {
                        either(second(p), 0.03, 0.5)
                    })
            })
            .by(Party::Part)
            .by(Party::Inspection)
            .open(&["inspector", "part", "panel"]),
        kind("one inspector for turned panels, place of the table")
            .on(&SIZES, 40, |f| {
                f.dealt_to(&[Inspector, Turned], 2, |p| p.number / 5)
                    .lots(20)
                    .table_as_laid(true)
                    .marks(SWIRL, 0.8)
                    .place(SWIRL, Frame::Table, (170.0, 120.0), 0.4)
            })
            .by(Party::Inspection)
            .open(&["table", "inspector", "station", "inspection"]),
        kind("an inspector tires over the shift, abrasives age with it")
            .on(&SIZES, 20, |f| {
                f.named(&[Inspector], |p| p.shift % 2)
                    .named(&[Age], |p| p.of_day % 10)
                    .lots_back(5, 7)
                    .anywhere(SWIRL, 1.2, |p| 3f64.powf(-((p.of_day % 10) as f64) / 9.0))
            })
            .by(Party::Inspection)
            .suspected(Party::Recipe)
            .open(&["age", "abrasive age", "hour", "time"]),
    ]
}
