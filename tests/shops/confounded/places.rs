//! Places that keep still in the wrong frame, since lays go with something.

use onus::records::{Lay, Point};
use rand::RngExt;

use super::floor::Column::{Head, Inspector, Machine, Part, Turned};
use super::floor::{Floor, Frame, NIB, Piece, SAND_THROUGH, STAIN, SWIRL, WIDTH, name};
use super::{Kind, Party, kind};

const AT: (f64, f64) = (170.0, 120.0);

fn lay(k: usize) -> Lay {
    [Lay::Deg0, Lay::Deg180][k]
}

/// Where a place of the machine lies on a panel turned by half a turn.
fn across((x, y): (f64, f64)) -> (f64, f64) {
    (super::floor::LENGTH - x, WIDTH - y)
}

/// One half of the panels in pallets of each of two levels.
fn halves(floor: Floor, deal: fn(&mut Piece, usize)) -> Floor {
    floor.dealt(|p| p.pallet, 2, deal).lots(10)
}

fn or_zero(holds: bool, share: f64) -> f64 {
    if holds { share } else { 0.0 }
}

pub(super) fn kinds() -> Vec<Kind> {
    let mut kinds = lays();
    kinds.extend(shapes());
    kinds
}

fn lays() -> Vec<Kind> {
    const SIZES: [usize; 3] = [60, 120, 200];
    vec![
        kind("lays by supplier, one rack for both")
            .on(&SIZES, 40, |f| {
                halves(f, |p, k| {
                    p.panel.supplier = name("S", k);
                    p.panel.lay = lay(k);
                    p.stacked = lay(k);
                })
                .table_drawn()
                .marks(STAIN, 0.8)
                .place(STAIN, Frame::Pallet, AT, 0.4)
            })
            .by(Party::Part)
            .open(&["supplier", "lot", "part", "panel"]),
        kind("lays by shift, lots follow the shift")
            .on(&SIZES, 20, |f| {
                f.each(|p| {
                    p.panel.lay = lay(p.shift % 2);
                    p.stacked = p.panel.lay;
                    p.panel.lot = name("L", p.shift);
                    p.panel.inspector = name("I", p.shift % 2);
                })
                .table_drawn()
                .marks(STAIN, 0.8)
                .place(STAIN, Frame::Pallet, AT, 0.4)
            })
            .by(Party::Part)
            .open(&["lot", "part", "panel", "shift", "inspector"]),
        kind("heads face each other, one lay each")
            .on(&SIZES, 40, |f| {
                f.named(&[Head, Turned], |p| p.number % 2)
                    .lots(20)
                    .table_drawn()
                    .marks(SAND_THROUGH, 0.8)
                    .place(SAND_THROUGH, Frame::Panel, AT, 0.4)
            })
            .by(Party::Part)
            .open(&["part", "panel", "head"]),
        kind("a part number to each machine")
            .on(&SIZES, 40, |f| {
                f.named(&[Machine, Part], |p| p.number % 2)
                    .lots(20)
                    .table_drawn()
                    .marks(SAND_THROUGH, 0.8)
                    .spot(SAND_THROUGH, Frame::Panel, AT, |p| {
                        or_zero(Piece::is(&p.panel.part, "D1"), 0.5)
                    })
            })
            .by(Party::Part)
            .open(&["part", "part number", "machine", "panel"]),
        kind("a fixture that only one part number uses")
            .on(&SIZES, 40, |f| {
                halves(f, |p, k| {
                    p.panel.part = name("D", k);
                    p.panel.fixture = name("F", if k == 1 { 2 } else { p.number % 2 });
                })
                .table_drawn()
                .marks(SAND_THROUGH, 0.8)
                .spot(SAND_THROUGH, Frame::Panel, AT, |p| {
                    or_zero(Piece::is(&p.panel.part, "D2"), 0.5)
                })
            })
            .by(Party::Part)
            .open(&["part", "part number", "fixture", "panel"]),
        kind("a dented fixture that only one part number uses")
            .on(&SIZES, 40, |f| {
                halves(f, |p, k| {
                    p.panel.part = name("D", k);
                    p.panel.fixture = name("F", if k == 1 { 2 } else { p.number % 2 });
                })
                .table_drawn()
                .marks(SAND_THROUGH, 0.8)
                .spot(SAND_THROUGH, Frame::Machine, AT, |p| {
                    or_zero(Piece::is(&p.panel.fixture, "F3"), 0.5)
                })
            })
            .by(Party::Machine)
            .open(&["part", "part number", "fixture", "panel"]),
        kind("a mark of the table, table lay as in the machine")
            .on(&SIZES, 40, |f| {
                f.turned()
                    .lots(20)
                    .table_as_laid(true)
                    .marks(SWIRL, 0.8)
                    .place(SWIRL, Frame::Table, AT, 0.4)
            })
            .by(Party::Inspection)
            .open(&["table", "station", "camera", "inspection"]),
        kind("a mark of the table, table lay not recorded")
            .on(&SIZES, 40, |f| {
                f.turned()
                    .lots(20)
                    .table_as_laid(false)
                    .marks(SWIRL, 0.8)
                    .place(SWIRL, Frame::Table, AT, 0.4)
            })
            .by(Party::Inspection)
            .suspected(Party::Machine)
            .open(&["table", "station", "camera", "inspection"]),
        kind("a mark of the table, a tenth laid otherwise there")
            .on(&SIZES, 40, |f| {
                f.turned()
                    .lots(20)
                    .table_as_laid(true)
                    .drawn(|p, rng| {
                        if rng.random::<f64>() < 0.1 {
                            p.table = lay(usize::from(p.table == Lay::Deg0));
                            p.panel.inspect_lay = Some(p.table);
                        }
                    })
                    .marks(SWIRL, 0.8)
                    .place(SWIRL, Frame::Table, AT, 0.4)
            })
            .by(Party::Inspection)
            .open(&["table", "station", "camera", "inspection"]),
        kind("a place of the machine, lots lie one way each")
            .on(&SIZES, 40, |f| {
                halves(f, |p, k| p.panel.lay = lay(k))
                    .table_drawn()
                    .marks(SWIRL, 0.8)
                    .place(SWIRL, Frame::Machine, AT, 0.4)
            })
            .by(Party::Machine)
            .open(&["lot", "part", "panel"]),
        kind("machine's place sets in with a new supplier, never turned")
            .on(&SIZES, 40, |f| {
                f.each(|p| {
                    p.panel.supplier = name("S", usize::from(p.number >= 50));
                    p.hidden = usize::from(p.number >= 50);
                })
                .lots(10)
                .table_drawn()
                .marks(SWIRL, 0.8)
                .spot(SWIRL, Frame::Machine, AT, |p| or_zero(p.hidden == 1, 0.6))
            })
            .by(Party::Machine)
            .open(&["supplier", "lot", "part", "panel", "time"]),
        kind("lots with a hole end with a repair of the machine")
            .on(&SIZES, 40, |f| {
                let n = f.pieces.len();
                f.each(|p| p.hidden = usize::from(p.number < n / 2 / 10 * 10))
                    .lots(10)
                    .table_drawn()
                    .marks(SWIRL, 0.8)
                    .spot(SWIRL, Frame::Panel, AT, |p| or_zero(p.hidden == 1, 0.6))
            })
            .by(Party::Part)
            .open(&["lot", "part", "panel", "time"]),
    ]
}

fn shapes() -> Vec<Kind> {
    const SIZES: [usize; 3] = [60, 120, 200];
    vec![
        kind("symmetric holes, half turns")
            .on(&SIZES, 40, |f| {
                f.turned()
                    .lots(20)
                    .table_drawn()
                    .marks(SAND_THROUGH, 0.8)
                    .place(SAND_THROUGH, Frame::Panel, AT, 0.35)
                    .place(SAND_THROUGH, Frame::Panel, across(AT), 0.35)
            })
            .by(Party::Part)
            .open(&["part", "panel"]),
        kind("symmetric holes, half turns, one marks more")
            .on(&SIZES, 40, |f| {
                f.turned_by(0.3)
                    .lots(20)
                    .table_drawn()
                    .marks(SAND_THROUGH, 0.8)
                    .place(SAND_THROUGH, Frame::Panel, AT, 0.5)
                    .place(SAND_THROUGH, Frame::Panel, across(AT), 0.2)
            })
            .by(Party::Part)
            .open(&["part", "panel"]),
        kind("stripe below a hole")
            .on(&SIZES, 40, |f| {
                f.turned().lots(20).table_drawn().marks(SWIRL, 0.8).planted(
                    SWIRL,
                    Frame::Machine,
                    |p, rng| {
                        // dust that the head drags along from the part's hole
                        let hole = p.panel.to_machine(Point { x: 215.0, y: 110.0 });
                        if rng.random::<f64>() >= 0.5 {
                            return Vec::new();
                        }
                        vec![Point {
                            x: hole.x,
                            y: hole.y + (WIDTH - hole.y) * rng.random::<f64>(),
                        }]
                    },
                )
            })
            .by(Party::Part)
            .open(&["part", "panel"]),
        kind("corner of the part, few turned, of one lot")
            .on(&SIZES, 40, |f| {
                f.each(|p| {
                    if p.pallet % 6 == 1 {
                        p.panel.lay = Lay::Deg180;
                    }
                })
                .lots(10)
                .table_drawn()
                .marks(SAND_THROUGH, 0.4)
                .planted(SAND_THROUGH, Frame::Panel, |p, rng| {
                    let hit = rng.random::<f64>() < 0.6 && p.panel.lay == Lay::Deg0;
                    let at = |rng: &mut rand_chacha::ChaCha8Rng| Point {
                        x: 50.0 * rng.random::<f64>(),
                        y: 50.0 * rng.random::<f64>(),
                    };
                    if hit { vec![at(rng)] } else { Vec::new() }
                })
            })
            .by(Party::Part)
            .open(&["part", "panel", "lot"]),
        kind("holes at one distance from two edges, sizes turned by size")
            .on(&SIZES, 40, |f| {
                f.dealt(
                    |p| p.pallet,
                    3,
                    |p, k| {
                        p.panel.part = name("D", k);
                        p.panel.length_mm = [600.0, 800.0, 450.0][k];
                        p.panel.width_mm = [400.0, 500.0, 300.0][k];
                        p.panel.lay = lay(usize::from(k == 1));
                        p.panel.lot = name("L", p.pallet);
                    },
                )
                .table_drawn()
                .marks(SAND_THROUGH, 0.6)
                .planted(SAND_THROUGH, Frame::Panel, |p, rng| {
                    let corner = Point { x: 70.0, y: 60.0 };
                    let far = Point {
                        x: p.panel.length_mm - 70.0,
                        y: p.panel.width_mm - 60.0,
                    };
                    let at = if p.panel.lay == Lay::Deg0 {
                        corner
                    } else {
                        far
                    };
                    if rng.random::<f64>() < 0.5 {
                        vec![at]
                    } else {
                        Vec::new()
                    }
                })
            })
            .by(Party::Part)
            .open(&["part", "panel", "part number", "lot"]),
        kind("places clicked on a grid of 100 mm")
            .on(&SIZES, 40, |f| {
                f.turned()
                    .lots(20)
                    .table_drawn()
                    .marks(NIB, 1.5)
                    .rewritten(|_, at, _| Point {
                        x: (at.x / 100.0).round() * 100.0,
                        y: (at.y / 100.0).round() * 100.0,
                    })
            })
            .by(Party::Inspection),
        kind("one inspector writes no place but the corner")
            .on(&SIZES, 40, |f| {
                f.turned()
                    .lots(20)
                    .dealt_to(&[Inspector], 2, |p| p.shift)
                    .table_drawn()
                    .marks(NIB, 1.5)
                    .rewritten(|p, at, rng| {
                        if Piece::is(&p.panel.inspector, "I2") && rng.random::<f64>() < 0.4 {
                            Point { x: 0.0, y: 0.0 }
                        } else {
                            at
                        }
                    })
            })
            .by(Party::Inspection),
        kind("top of the stack is dented after sanding, by pallet turned")
            .on(&SIZES, 40, |f| {
                halves(f, |p, k| {
                    p.panel.lay = lay(k);
                    p.stacked = p.panel.lay;
                })
                .table_drawn()
                .marks(STAIN, 0.6)
                .spot(STAIN, Frame::Machine, AT, |p| {
                    or_zero(p.of_pallet >= 7, 0.8)
                })
            })
            // a gripper, the unloading, the stack are among what a place may be
            .by(Party::Machine)
            .open(&["lot", "part", "panel"]),
        kind("racks mark the panel after sanding, turned back for the rack")
            .on(&SIZES, 40, |f| {
                halves(f, |p, k| p.panel.lay = lay(k))
                    .table_drawn()
                    .marks(STAIN, 0.8)
                    .place(STAIN, Frame::Panel, AT, 0.4)
            })
            .by(Party::Part)
            .open(&["lot", "part", "panel"]),
        kind("clumps of marks, lots lie one way each").on(&SIZES, 40, |f| {
            halves(f, |p, k| p.panel.lay = lay(k))
                .with(|f| {
                    f.clump = 2.0;
                    f.at_edges = 0.7;
                })
                .table_drawn()
                .marks(SWIRL, 3.0)
        }),
    ]
}
