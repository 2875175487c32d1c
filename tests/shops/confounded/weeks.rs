//! What follows the calendar, and what else does.

use super::floor::Column::{Age, Disc, Fixture, Inspector, Lot, Machine, Recipe, Supplier};
use super::floor::{
    Floor, Frame, NIB, ORANGE_PEEL, Piece, SAND_THROUGH, STAIN, SWIRL, either, name,
};
use super::plain::FEEDS;
use super::rates::times;
use super::{Kind, Party, Right, kind};

const SIZES: [usize; 3] = [60, 120, 240];

pub(super) fn kinds() -> Vec<Kind> {
    vec![
        kind("new lot each morning, first five panels are bad")
            .on(&SIZES, 20, |f| {
                f.named(&[Lot], |p| p.day)
                    .named(&[Age], |p| p.number % 30)
                    .anywhere(SWIRL, 0.6, |p| times(p.of_day < 5, 4.0))
            })
            .right(Right::Open(&["first of the day", "time", "lot"])),
        kind("lots of five, the first of the day meets the bad mornings")
            .on(&SIZES, 20, |f| {
                f.each(|p| {
                    // the morning's lot always comes from S1
                    p.panel.supplier = name("S", usize::from(p.of_day >= 5));
                    p.panel.lot = name("L", p.number / 5);
                })
                .anywhere(SWIRL, 0.6, |p| times(p.of_day < 5, 4.0))
            })
            .open(&["first of the day", "supplier", "lot"]),
        kind("machine wears over the week, repaired on Mondays")
            .on(&SIZES, 12, |f| {
                f.each(|p| {
                    p.panel.lot = name("L", p.day);
                    // Fridays run slower, for the clean-up
                    p.panel.feed_mm_s = Some(FEEDS[usize::from(p.day % 5 != 4)]);
                    p.panel.supplier = name("S", usize::from(p.day % 5 >= 3));
                })
                .anywhere(SAND_THROUGH, 0.5, |p| 1.5f64.powi((p.day % 5) as i32))
            })
            .by(Party::Machine)
            .open(&["time", "supplier", "lot", "feed", "trend", "weekday"]),
        kind("supplier by weekday, damp days at the week's end")
            .on(&SIZES, 12, |f| {
                f.named(&[Supplier], |p| usize::from(p.day % 5 >= 3))
                    .lots(6)
                    .swings(|p| p.day, 0.3)
                    .anywhere(NIB, 0.7, |p| times(p.day % 5 >= 3, 2.5))
            })
            .suspected(Party::Part)
            .open(&["supplier", "lot", "weekday", "time"]),
        kind("days unlike, a supplier to each day").on(&SIZES, 20, |f| {
            f.dealt_to(&[Supplier], 2, |p| p.day)
                .named(&[Lot], |p| 2 * p.day + p.shift % 2)
                .swings(|p| p.day, 0.7)
                .marks(NIB, 1.0)
        }),
        kind("days unlike, an inspector and a recipe to each day").on(&SIZES, 15, |f| {
            f.dealt_to(&[Inspector, Recipe], 2, |p| p.day)
                .lots_back(4, 5)
                .swings(|p| p.day, 0.7)
                .marks(SAND_THROUGH, 1.0)
        }),
        kind("days unlike, machines side by side, fixtures by day").on(&SIZES, 20, |f| {
            f.named(&[Machine], |p| p.number % 2)
                .dealt_to(&[Fixture], 3, |p| p.day)
                .lots_back(4, 10)
                .swings(|p| p.day, 0.7)
                .marks(SAND_THROUGH, 1.0)
        }),
        kind("top panels of pallets are damp, discs last twelve panels")
            .on(&SIZES, 40, |f| {
                f.named(&[Lot], |p| p.pallet / 2)
                    .named(&[Age], |p| p.number % 12)
                    .named(&[Disc], |p| p.number / 12)
                    .anywhere(ORANGE_PEEL, 0.7, |p| times(p.of_pallet < 2, 4.0))
            })
            .by(Party::Part),
        kind("a place of the part, weeks of one supplier, turned since")
            .on(&SIZES, 12, |f| {
                let n = f.pieces.len();
                f.each(|p| {
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
                .marks(STAIN, 0.8)
                .spot(STAIN, Frame::Machine, (200.0, 140.0), |p| {
                    either(p.hidden == 1, 0.35, 0.45)
                })
            })
            .by(Party::Part)
            .open(&["supplier", "part", "panel", "lot", "time"]),
        kind("warm-up after every break, fixtures start with F1")
            .on(&SIZES, 20, |f| {
                f.named(&[Fixture], |p| p.of_day / 5)
                    .lots_back(4, 8)
                    .anywhere(SAND_THROUGH, 0.6, |p| times(p.of_day < 5, 4.0))
            })
            .right(Right::Open(&["first of the day", "fixture", "time"])),
        kind("a rush of marks on one day that had its own grit")
            .on(&SIZES, 20, |f| {
                f.each(|p| {
                    let trial = p.day == 1;
                    p.panel.grit = super::floor::grit(if trial { 400 } else { 320 });
                    p.panel.lot = name("L", p.number / 7);
                    p.luck = times(trial, 5.0);
                })
                .marks(SWIRL, 0.6)
            })
            .open(&["grit", "time", "step", "lot"]),
        kind("two machines, lots by machine, one lot family is bad")
            .on(&SIZES, 40, |f| {
                f.each(|p| {
                    let machine = p.number % 2;
                    p.panel.machine = name("M", machine);
                    p.panel.lot = name(["K", "L"][machine], p.number / 20);
                })
                .anywhere(NIB, 0.6, |p| times(Piece::is(&p.panel.machine, "M2"), 3.0))
            })
            .by(Party::Part)
            .open(&["lot", "machine"]),
        kind("two machines, the bad lots go to one of them and nobody writes lots down")
            .on(&SIZES, 40, |f| {
                f.each(|p| p.panel.machine = name("M", p.pallet % 2))
                    .anywhere(NIB, 0.6, |p| times(Piece::is(&p.panel.machine, "M2"), 3.0))
            })
            .by(Party::Part)
            .open(&["lot"]),
    ]
}
