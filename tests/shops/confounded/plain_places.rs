//! Shops in which the machine marks a place and panels lay both ways.

use onus::records::Point;
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use statrs::distribution::{Binomial, DiscreteCDF};

use super::super::draws::normal;
use super::floor::Column::Head;
use super::floor::{Floor, Frame, LENGTH, Piece, SAND_THROUGH, STAIN, SWIRL, WIDTH, either, name};
use super::plain::LEVEL;
use super::{Kind, Party};

const AT: (f64, f64) = (170.0, 120.0);

/// Panels that a test needs which knows the place: it has to be seen among the
/// panels of each lay, half of all, at the level and with 95 % power each, where
/// `by_chance` of the panels have an ordinary mark there.
fn dedicated(share: f64, by_chance: f64) -> usize {
    let shown = 1.0 - (1.0 - share) * (1.0 - by_chance);
    let enough = |n: &u64| {
        let chance = Binomial::new(by_chance, *n).unwrap();
        let least = (1..=*n).find(|k| chance.sf(k - 1) <= LEVEL);
        least.is_some_and(|k| Binomial::new(shown, *n).unwrap().sf(k - 1) >= 0.95)
    };
    2 * usize::try_from((2..).find(enough).unwrap()).unwrap()
}

/// Share of panels with an ordinary mark within 10 mm of a place: one mark a
/// panel, seven in ten of them anywhere.
fn near_a_place(marks: f64) -> f64 {
    1.0 - (-0.7 * marks * std::f64::consts::PI * 100.0 / 240_000.0).exp()
}

fn laid(n: usize, seed: u64) -> Floor {
    Floor::new(n, 40, seed)
        .turned()
        .lots_back(5, 8)
        .table_drawn()
}

/// One mark, with this chance, in a box at the machine's lowest corner.
fn in_box(share: f64, x: f64, y: f64) -> impl Fn(&Piece, &mut ChaCha8Rng) -> Vec<Point> {
    move |_, rng| {
        let hit = rng.random::<f64>() < share;
        let at = Point {
            x: x * rng.random::<f64>(),
            y: y * rng.random::<f64>(),
        };
        if hit { vec![at] } else { Vec::new() }
    }
}

pub(super) fn kinds() -> Vec<Kind> {
    vec![
        Kind::new("plain: a spot", &[60, 100], |n, seed| {
            laid(n, seed)
                .marks(SAND_THROUGH, 1.0)
                .place(SAND_THROUGH, Frame::Machine, AT, 0.3)
                .records()
        })
        .plainly(Party::Machine)
        .at(Frame::Machine, AT.0, AT.1)
        .against(dedicated(0.3, near_a_place(1.0))),
        Kind::new("plain: a faint spot", &[110], |n, seed| {
            laid(n, seed)
                .marks(SAND_THROUGH, 1.0)
                .place(SAND_THROUGH, Frame::Machine, AT, 0.15)
                .records()
        })
        .plainly(Party::Machine)
        .at(Frame::Machine, AT.0, AT.1)
        .against(dedicated(0.15, near_a_place(1.0))),
        Kind::new(
            "plain: a spot that set in with new lots",
            &[160],
            |n, seed| {
                Floor::new(n, 40, seed)
                    .turned()
                    .lots(40)
                    .table_drawn()
                    .marks(SAND_THROUGH, 1.0)
                    .spot(SAND_THROUGH, Frame::Machine, AT, |p| {
                        either(p.number >= 80, 0.3, 0.0)
                    })
                    .records()
            },
        )
        .plainly(Party::Machine)
        .at(Frame::Machine, AT.0, AT.1)
        .against(2 * dedicated(0.3, near_a_place(1.0))),
        Kind::new("plain: a spot on one head", &[120], |n, seed| {
            laid(n, seed)
                .dealt_to(&[Head], 2, |p| p.number)
                .marks(SAND_THROUGH, 1.0)
                .spot(SAND_THROUGH, Frame::Machine, AT, |p| {
                    either(Piece::is(&p.panel.head, "H2"), 0.3, 0.0)
                })
                .records()
        })
        .plainly(Party::Machine)
        .at(Frame::Machine, AT.0, AT.1)
        // half of the panels run under it
        .against(2 * dedicated(0.3, near_a_place(1.0))),
        Kind::new(
            "plain: a spot since a change of the abrasive",
            &[160],
            |n, seed| {
                laid(n, seed)
                    .each(|p| {
                        p.panel.abrasive_id = name("A", p.number / 40);
                        p.hidden = usize::from(p.number >= 80);
                    })
                    .marks(SWIRL, 0.8)
                    .spot(SWIRL, Frame::Machine, AT, |p| {
                        either(p.hidden == 1, 0.35, 0.0)
                    })
                    .records()
            },
        )
        .plainly(Party::Machine)
        // a torn disc marks a place as well
        .by(Party::Recipe)
        .at(Frame::Machine, AT.0, AT.1)
        .against(2 * dedicated(0.35, near_a_place(0.8))),
        Kind::new("plain: a line", &[100], |n, seed| {
            laid(n, seed)
                .marks(SWIRL, 1.0)
                .planted(SWIRL, Frame::Machine, |_, rng| {
                    let draw = |rng: &mut ChaCha8Rng| Point {
                        x: 215.0 + 2.0 * (rng.random::<f64>() - 0.5),
                        y: WIDTH * rng.random::<f64>(),
                    };
                    if rng.random::<f64>() < 0.4 {
                        (0..rng.random_range(1..3)).map(|_| draw(rng)).collect()
                    } else {
                        Vec::new()
                    }
                })
                .records()
        })
        .plainly(Party::Machine)
        .at(Frame::Machine, 215.0, None::<f64>)
        // within 7 mm of the line
        .against(dedicated(0.4, 0.7 * 14.0 / 600.0)),
        Kind::new("plain: a broad band", &[160], |n, seed| {
            laid(n, seed)
                .marks(SWIRL, 0.8)
                .planted(SWIRL, Frame::Machine, |_, rng| {
                    let draw = |rng: &mut ChaCha8Rng| Point {
                        x: LENGTH * rng.random::<f64>(),
                        y: 140.0 + 15.0 * normal(rng),
                    };
                    if rng.random::<f64>() < 0.4 {
                        (0..rng.random_range(1..4)).map(|_| draw(rng)).collect()
                    } else {
                        Vec::new()
                    }
                })
                .records()
        })
        .plainly(Party::Machine)
        // within two standard deviations of its middle
        .against(dedicated(0.4, 0.8 * 60.0 / 400.0)),
        Kind::new("plain: a side", &[100], |n, seed| {
            laid(n, seed)
                .marks(SAND_THROUGH, 0.7)
                .planted(SAND_THROUGH, Frame::Machine, in_box(0.5, 45.0, WIDTH))
                .records()
        })
        .plainly(Party::Machine)
        // a sixth of the ordinary marks lie along that side
        .against(dedicated(0.5, 0.7 / 6.0)),
        Kind::new("plain: a corner", &[80], |n, seed| {
            laid(n, seed)
                .marks(SAND_THROUGH, 0.7)
                .planted(SAND_THROUGH, Frame::Machine, in_box(0.5, 60.0, 50.0))
                .records()
        })
        .plainly(Party::Machine)
        // a twenty-fifth of the ordinary marks lie in that corner
        .against(dedicated(0.5, 0.7 / 25.0)),
        Kind::new("plain: a place of the part", &[60, 100], |n, seed| {
            laid(n, seed)
                .marks(STAIN, 1.0)
                .place(STAIN, Frame::Panel, AT, 0.3)
                .records()
        })
        .plainly(Party::Part)
        .at(Frame::Panel, AT.0, AT.1)
        .against(dedicated(0.3, near_a_place(1.0))),
        Kind::new("plain: a mark of the table", &[60, 100], |n, seed| {
            laid(n, seed)
                .marks(STAIN, 1.0)
                .place(STAIN, Frame::Table, AT, 0.3)
                .records()
        })
        .plainly(Party::Inspection)
        .at(Frame::Table, AT.0, AT.1)
        .against(dedicated(0.3, near_a_place(1.0))),
    ]
}
