//! Places that have been put down to the wrong one.

use onus::records::{Lay, Point};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use super::floor::Column::{Inspector, Machine};
use super::floor::{Floor, Frame, NIB, Piece, SAND_THROUGH, STAIN, SWIRL, either, name};
use super::{Kind, Party, kind};

/// Three part numbers in three sizes, from three suppliers, all with their hole
/// at the same distance from the datum corner, which lies at the stop.
fn three_suppliers(floor: Floor) -> Floor {
    floor.dealt(
        |p| p.pallet,
        3,
        |p, k| {
            p.panel.part = name("D", k);
            p.panel.supplier = name("S", k);
            p.panel.lot = name("L", p.pallet);
            p.panel.length_mm = [600.0, 800.0, 450.0][k];
            p.panel.width_mm = [400.0, 500.0, 300.0][k];
        },
    )
}

/// Pallets laid as they come: all panels of one lie alike, half of them turned.
fn as_it_comes(floor: Floor) -> Floor {
    floor
        .dealt(
            |p| p.pallet,
            2,
            |p, k| {
                p.stacked = [Lay::Deg0, Lay::Deg180][k];
                p.panel.lay = p.stacked;
            },
        )
        .lots(10)
}

fn turn(lay: Lay) -> Lay {
    if lay == Lay::Deg0 {
        Lay::Deg180
    } else {
        Lay::Deg0
    }
}

/// Two machines, panel by panel, each with its own inspector.
fn two_stations(floor: Floor) -> Floor {
    floor.named(&[Machine, Inspector], |p| p.number % 2)
}

fn second(p: &Piece) -> bool {
    Piece::is(&p.panel.inspector, "I2")
}

fn both_ends(p: &Piece, rng: &mut ChaCha8Rng) -> Vec<Point> {
    let (l, w) = (p.panel.length_mm, p.panel.width_mm);
    if rng.random::<f64>() >= 0.6 {
        return Vec::new();
    }
    let mut end = |x0: f64| Point {
        x: (x0 - 20.0 * rng.random::<f64>()).abs(),
        y: w * rng.random::<f64>(),
    };
    vec![end(0.0), end(l)]
}

pub(super) fn kinds() -> Vec<Kind> {
    let mut kinds = vec![
        kind("hole at one distance from the stop corner, three suppliers, never turned")
            .on(&[40, 80, 160], 40, |f| {
                three_suppliers(f)
                    .table_drawn()
                    .marks(SAND_THROUGH, 0.6)
                    .place(SAND_THROUGH, Frame::Panel, (130.0, 90.0), 0.5)
            })
            .by(Party::Part)
            .open(&["part", "part number", "design", "upstream"]),
        kind("strap dent of pallets laid as they come")
            .on(&[60, 120, 200], 40, |f| {
                as_it_comes(f).table_drawn().marks(STAIN, 0.6).place(
                    STAIN,
                    Frame::Pallet,
                    (160.0, 110.0),
                    0.5,
                )
            })
            .by(Party::Part)
            .open(&["part", "lot", "panel"]),
        kind("strap dent, a fifth turned inside pallets")
            .on(&[60, 120, 200], 40, |f| {
                as_it_comes(f)
                    .drawn(|p, rng| {
                        if rng.random::<f64>() < 0.2 {
                            p.panel.lay = turn(p.panel.lay);
                        }
                    })
                    .table_drawn()
                    .marks(STAIN, 0.6)
                    .place(STAIN, Frame::Pallet, (160.0, 110.0), 0.5)
            })
            .by(Party::Part)
            .open(&["part", "lot", "panel"]),
        kind("left and right parts, the few turned panels from one supplier")
            .on(&[60, 120, 200], 40, |f| {
                f.dealt(
                    |p| p.pallet,
                    6,
                    |p, k| {
                        let right = k == 0;
                        p.panel.part = Some(["LEFT", "RIGHT"][usize::from(right)].into());
                        p.panel.supplier = name("S", usize::from(right));
                        p.panel.lay = [Lay::Deg0, Lay::Deg180][usize::from(right)];
                        p.panel.lot = name("L", p.pallet);
                    },
                )
                .table_drawn()
                .marks(SAND_THROUGH, 0.6)
                // the right part is the left one turned about its middle
                .place(SAND_THROUGH, Frame::Machine, (150.0, 110.0), 0.5)
            })
            .by(Party::Part)
            .open(&["part", "supplier", "lot", "panel"]),
        kind("one station writes few marks of a place of the part")
            .on(&[60, 120, 240], 40, |f| {
                two_stations(f)
                    .lots(10)
                    .table_drawn()
                    .marks(SAND_THROUGH, 0.8)
                    .place(SAND_THROUGH, Frame::Panel, (170.0, 120.0), 0.5)
                    .unwritten(|p, _| either(second(p), 0.85, 0.0))
            })
            .by(Party::Part)
            .by(Party::Inspection)
            .open(&["inspector", "station", "part", "panel"]),
        kind("another machine's station does not record this kind at all")
            .on(&[60, 120, 240], 40, |f| {
                two_stations(f)
                    .lots(10)
                    .table_drawn()
                    .marks(SAND_THROUGH, 0.6)
                    .marks(NIB, 0.8)
                    .place(SAND_THROUGH, Frame::Panel, (170.0, 120.0), 0.5)
                    .unwritten(|p, defect| either(second(p) && defect == SAND_THROUGH, 1.0, 0.0))
            })
            .made(SAND_THROUGH, Party::Part)
            .by(Party::Inspection)
            .open(&["inspector", "station", "part", "panel"]),
        kind("place of the part, many lays")
            .on(&[100, 160], 40, |f| {
                let lays = [Lay::Deg0, Lay::Deg90, Lay::Deg180, Lay::Deg270];
                f.drawn(|p, rng| {
                    p.panel.length_mm = 1200.0;
                    p.panel.width_mm = 600.0;
                    p.panel.lay = lays[rng.random_range(0..4)];
                    p.panel.lay_x_mm = 10.0 * f64::from(rng.random_range(0..4_u32));
                })
                .lots(20)
                .table_drawn()
                .marks(SAND_THROUGH, 0.8)
                .place(SAND_THROUGH, Frame::Panel, (746.0, 248.0), 0.4)
            })
            .plainly(Party::Part)
            .at(Frame::Panel, 746.0, 248.0),
        kind("two machines, the same place at the same rate, never turned")
            .on(&[60, 120, 240], 40, |f| {
                f.named(&[Machine], |p| p.number % 2)
                    .lots(20)
                    .table_drawn()
                    .marks(SAND_THROUGH, 0.8)
                    .place(SAND_THROUGH, Frame::Panel, (170.0, 120.0), 0.4)
            })
            .by(Party::Part)
            .open(&["part", "panel", "lot"]),
        kind("place of the part, few turned, coarsely written")
            .on(&[60, 100, 160], 40, |f| {
                f.with(|f| f.error_mm = 8.0)
                    .turned_by(0.25)
                    .lots(15)
                    .table_drawn()
                    .marks(SWIRL, 1.5)
                    .place(SWIRL, Frame::Panel, (230.0, 160.0), 0.45)
            })
            .by(Party::Part)
            .open(&["part", "panel", "lot"]),
        kind("faint place of the machine, turned inside its lots")
            .on(&[160], 40, |f| {
                f.turned().lots(20).table_drawn().marks(SWIRL, 1.0).place(
                    SWIRL,
                    Frame::Machine,
                    (150.0, 110.0),
                    0.12,
                )
            })
            .plainly(Party::Machine)
            .at(Frame::Machine, 150.0, 110.0),
        kind("tilted head, readings and marks agree")
            .on(&[100], 40, |f| {
                f.turned()
                    .lots(20)
                    .table_drawn()
                    .read(|_| None, |_, u, _| 22.0 - 5.0 * u)
                    .marks(SAND_THROUGH, 0.2)
                    .planted(SAND_THROUGH, Frame::Machine, |p, rng| {
                        let rect = p.panel.machine_rect();
                        if rng.random::<f64>() >= 0.5 {
                            return Vec::new();
                        }
                        vec![Point {
                            x: 60.0 * rng.random::<f64>(),
                            y: rect.height() * rng.random::<f64>(),
                        }]
                    })
            })
            .plainly(Party::Machine),
    ];
    if let Some(tilted) = kinds.last_mut() {
        tilted.findings = Some(1);
    }
    for (name, party) in [
        (
            "both ends marked by the machine, half turns only",
            Party::Machine,
        ),
        ("both ends marked on the part, half turns only", Party::Part),
    ] {
        let kind = kind(name).on(&[60, 120], 40, |f| {
            f.turned()
                .lots(15)
                .table_drawn()
                .marks(SAND_THROUGH, 0.4)
                .planted(SAND_THROUGH, Frame::Machine, both_ends)
        });
        kinds.push(kind.by(party).open(&["part", "panel", "machine"]));
    }
    kinds
}
