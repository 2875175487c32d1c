//! Shops in which one thing sets the rate and met everything else, and shops in
//! which nothing does.

use statrs::distribution::{ContinuousCDF, StudentsT};

use super::floor::Column::{
    Age, Batch, Disc, Feed, Fixture, Head, Inspector, Machine, Recipe, Supplier,
};
use super::floor::{Floor, ORANGE_PEEL, Piece, SAND_THROUGH, SWIRL, grit, name};
use super::rates::times;
use super::{Kind, Party, Right, kind};

/// Feeds of a trial, mm/s.
pub const FEEDS: [f64; 4] = [70.0, 100.0, 140.0, 180.0];
/// SD of ln feed over them.
const SD_OF_FEEDS: f64 = 0.356;
/// Exponent of the feed in the rate of what is left unsanded.
const EXPONENT: f64 = 1.4;
/// Log SD of the stretches' own rates in plain shops.
const STRETCHES: f64 = 0.1;
/// Level of a dedicated test, two-sided: a report's 1 % shared by four parties.
pub(super) const LEVEL: f64 = 0.0025;

/// A test that knows what to look at: log rates of the units, regressed on one
/// score.
struct Dedicated {
    /// Change of the log rate over one of the score.
    effect: f64,
    /// SD of the score over the units.
    spread: f64,
    /// Marks a panel at a middling score.
    marks: f64,
    /// Panels of a unit.
    unit: usize,
    /// Log SD of the units' own rates.
    between: f64,
}

impl Dedicated {
    fn on(effect: f64, spread: f64, marks: f64) -> Self {
        Self {
            effect,
            spread,
            marks,
            unit: 1,
            between: 0.0,
        }
    }

    fn units(self, unit: usize) -> Self {
        let between = STRETCHES;
        Self {
            unit,
            between,
            ..self
        }
    }

    /// Panels for a power of nine in ten. A panel's count has the variance
    /// m + m²/2 (the floor's gamma of shape 2), so a unit's log rate has
    /// (1/m + 1/2)/panels and the units' own; t quantiles for the few units.
    fn panels(&self) -> usize {
        let variance = (1.0 / self.marks + 0.5) / self.unit as f64 + self.between.powi(2);
        let enough = |n: &usize| {
            let t = StudentsT::new(0.0, 1.0, (n - 2) as f64).unwrap();
            let reach = t.inverse_cdf(1.0 - LEVEL / 2.0) + t.inverse_cdf(0.9);
            let error = (variance / *n as f64).sqrt() / self.spread;
            self.effect.abs() >= reach * error
        };
        (4..).find(enough).unwrap() * self.unit
    }
}

/// SD of a score that is 1 for this share and else 0.
fn share(q: f64) -> f64 {
    (q * (1.0 - q)).sqrt()
}

fn left_by_feed(p: &Piece) -> f64 {
    (p.panel.feed_mm_s.unwrap() / 115.0).powf(EXPONENT)
}

/// Feed dealt to stretches, lots that come back every few panels.
fn fed(floor: Floor, of: fn(&Piece) -> usize, marks: f64) -> onus::records::Records {
    floor
        .dealt_to(&[Feed(&FEEDS)], 4, of)
        .lots_back(5, 5)
        .swings(of, STRETCHES)
        .anywhere(ORANGE_PEEL, marks, left_by_feed)
        .records()
}

pub(super) fn kinds() -> Vec<Kind> {
    let mut kinds = of_the_recipe();
    kinds.extend(of_others());
    kinds
}

fn of_the_recipe() -> Vec<Kind> {
    let feed = Dedicated::on(EXPONENT, SD_OF_FEEDS, 1.0).panels();
    let feed_in = |unit| {
        let test = Dedicated::on(EXPONENT, SD_OF_FEEDS, 1.0).units(unit);
        test.panels()
    };
    vec![
        kind("plain: feed by panel")
            .on(&[200], 40, |f| {
                let floor = f;
                floor
                    .dealt_to(&[Feed(&FEEDS)], 4, |p| p.number)
                    .lots_back(5, 5)
                    .anywhere(ORANGE_PEEL, 1.0, left_by_feed)
            })
            .plainly(Party::Recipe)
            .against(feed),
        Kind::new("plain: feed by shift", &[280], |n, seed| {
            fed(Floor::new(n, 20, seed), |p| p.shift, 1.0)
        })
        .plainly(Party::Recipe)
        .against(feed_in(10)),
        Kind::new("plain: feed by day", &[280], |n, seed| {
            fed(Floor::new(n, 20, seed), |p| p.day, 1.0)
        })
        .plainly(Party::Recipe)
        .against(feed_in(20)),
        Kind::new("plain: feed by week", &[280], |n, seed| {
            fed(Floor::new(n, 4, seed), Piece::week, 1.0)
        })
        .plainly(Party::Recipe)
        .against(feed_in(20)),
        kind("plain: a recipe's name, its settings beside it")
            .on(&[280], 20, |f| {
                f.dealt_to(&[Recipe], 2, |p| p.shift)
                    .dealt_to(&[Feed(&FEEDS)], 4, |p| p.number)
                    .lots_back(5, 5)
                    .swings(|p| p.shift, STRETCHES)
                    .anywhere(SWIRL, 0.6, |p| times(Piece::is(&p.panel.recipe, "R2"), 3.0))
            })
            .plainly(Party::Recipe)
            .against(Dedicated::on(3f64.ln(), share(0.5), 1.0).units(10).panels()),
        kind("plain: grit")
            .on(&[240], 40, |f| {
                f.dealt(
                    |p| p.number / 8,
                    2,
                    |p, k| p.panel.grit = grit([320, 240][k]),
                )
                .lots_back(5, 6)
                .swings(|p| p.number / 8, STRETCHES)
                .anywhere(SWIRL, 0.63, |p| {
                    let coarse = p.panel.grit.as_ref().unwrap().label == "P240";
                    times(coarse, 2.5)
                })
            })
            .plainly(Party::Recipe)
            .against(
                Dedicated::on(2.5f64.ln(), share(0.5), 1.0)
                    .units(8)
                    .panels(),
            ),
        kind("plain: abrasive age")
            .on(&[280], 40, |f| {
                f.named(&[Age], |p| p.number % 12).lots_back(5, 5).anywhere(
                    ORANGE_PEEL,
                    0.87,
                    |p| 3f64.powf(p.panel.abrasive_age.unwrap() / 11.0),
                )
            })
            .plainly(Party::Recipe)
            // ages 0 to 11 over 11
            .against(Dedicated::on(3f64.ln(), 0.314, 1.5).panels()),
        kind("plain: abrasive worn out in the last third, two machines with discs of their own")
            .on(&[280], 40, |f| {
                f.named(&[Machine], |p| p.number % 2)
                    .named(&[Age], |p| p.number / 2 % 16)
                    .lots_back(5, 5)
                    .anywhere(SAND_THROUGH, 0.4, |p| {
                        times(p.panel.abrasive_age > Some(10.0), 4.0)
                    })
            })
            .plainly(Party::Recipe)
            .against(Dedicated::on(4f64.ln(), share(0.31), 0.8).panels()),
        kind("plain: abrasive batch")
            .on(&[280], 40, |f| {
                f.dealt_to(&[Batch], 2, |p| p.pallet)
                    .lots_back(5, 6)
                    .swings(|p| p.pallet, STRETCHES)
                    .anywhere(SWIRL, 0.63, |p| {
                        times(Piece::is(&p.panel.abrasive_id, "B2"), 2.5)
                    })
            })
            .plainly(Party::Recipe)
            .against(
                Dedicated::on(2.5f64.ln(), share(0.5), 1.0)
                    .units(10)
                    .panels(),
            ),
        kind("plain: one disc of four, put on again and again")
            .on(&[240], 40, |f| {
                f.dealt_to(&[Disc], 4, |p| p.number / 8)
                    .lots_back(5, 6)
                    .swings(|p| p.number / 8, STRETCHES)
                    .anywhere(SWIRL, 0.73, |p| {
                        times(Piece::is(&p.panel.abrasive_id, "A3"), 3.5)
                    })
            })
            .plainly(Party::Recipe)
            .against(
                Dedicated::on(3.5f64.ln(), share(0.25), 1.0)
                    .units(8)
                    .panels(),
            ),
    ]
}

fn of_others() -> Vec<Kind> {
    vec![
        kind("plain: one lot of six that come back")
            .on(&[240], 40, |f| {
                f.lots_back(6, 8)
                    .swings(|p| p.number / 8, STRETCHES)
                    .anywhere(SWIRL, 0.8, |p| times(Piece::is(&p.panel.lot, "L3"), 4.0))
            })
            .plainly(Party::Part)
            .against(
                Dedicated::on(4f64.ln(), share(1.0 / 6.0), 1.0)
                    .units(8)
                    .panels(),
            ),
        kind("plain: supplier, a new lot every ten panels")
            .on(&[300], 40, |f| {
                f.dealt_to(&[Supplier], 2, |p| p.pallet)
                    .lots(10)
                    .swings(|p| p.pallet, STRETCHES)
                    .anywhere(SWIRL, 0.63, |p| {
                        times(Piece::is(&p.panel.supplier, "S2"), 2.5)
                    })
            })
            .plainly(Party::Part)
            .against(
                Dedicated::on(2.5f64.ln(), share(0.5), 1.0)
                    .units(10)
                    .panels(),
            ),
        kind("plain: one fixture of four")
            .on(&[160], 40, |f| {
                f.dealt_to(&[Fixture], 4, |p| p.number)
                    .lots_back(5, 10)
                    .anywhere(SAND_THROUGH, 0.7, |p| {
                        times(Piece::is(&p.panel.fixture, "F3"), 4.0)
                    })
            })
            .plainly(Party::Machine)
            .against(Dedicated::on(4f64.ln(), share(0.25), 1.0).panels()),
        kind("plain: inspector")
            .on(&[240], 40, |f| {
                f.dealt_to(&[Inspector], 2, |p| p.number / 5)
                    .lots_back(5, 10)
                    .swings(|p| p.number / 5, STRETCHES)
                    .anywhere(SWIRL, 0.8, |p| {
                        times(Piece::is(&p.panel.inspector, "I2"), 2.5)
                    })
            })
            .plainly(Party::Inspection)
            .against(
                Dedicated::on(2.5f64.ln(), share(0.5), 1.25)
                    .units(5)
                    .panels(),
            ),
        kind("plain: a machine four times its neighbour, on the same lots")
            .on(&[110], 40, |f| {
                f.named(&[Machine], |p| p.number % 2)
                    .lots_back(5, 6)
                    .anywhere(SAND_THROUGH, 0.5, |p| {
                        times(Piece::is(&p.panel.machine, "M2"), 4.0)
                    })
            })
            .plainly(Party::Machine)
            .against(Dedicated::on(4f64.ln(), share(0.5), 1.0).panels()),
        kind("plain: a machine dealt panel by panel, discs of its own")
            .on(&[240], 12, |f| {
                f.dealt_to(&[Machine], 2, |p| p.number)
                    .lots_back(5, 6)
                    .each(|p| {
                        let machine = p.panel.machine.clone().unwrap_or_default();
                        p.panel.abrasive_id = Some(format!("{machine}-{}", p.number / 30).into());
                    })
                    .anywhere(SAND_THROUGH, 0.5, |p| {
                        times(Piece::is(&p.panel.machine, "M2"), 4.0)
                    })
            })
            .plainly(Party::Machine)
            .against(Dedicated::on(4f64.ln(), share(0.5), 1.0).panels()),
        kind("plain: a head dealt panel by panel")
            .on(&[160], 12, |f| {
                f.dealt_to(&[Head], 2, |p| p.number)
                    .lots_back(5, 6)
                    .anywhere(SAND_THROUGH, 0.5, |p| {
                        times(Piece::is(&p.panel.head, "H2"), 4.0)
                    })
            })
            .plainly(Party::Machine)
            .against(Dedicated::on(4f64.ln(), share(0.5), 1.0).panels()),
        kind("plain: first five of the day")
            .on(&[280], 20, |f| {
                f.lots_back(5, 6)
                    .anywhere(SWIRL, 0.6, |p| times(p.of_day < 5, 4.0))
            })
            .right(Right::Time)
            .against(Dedicated::on(4f64.ln(), share(0.25), 0.85).panels()),
        kind("plain: three hours of every day")
            .on(&[224], 32, |f| {
                f.lots_back(5, 6).anywhere(SWIRL, 0.4, |p| {
                    let hour = p.panel.sanded_at.unwrap().local.hour();
                    times((12..15).contains(&hour), 4.5)
                })
            })
            .right(Right::Time)
            .against(Dedicated::on(4.5f64.ln(), share(0.19), 0.6).panels()),
        kind("plain: Mondays")
            .on(&[300], 10, |f| {
                f.lots_back(5, 6)
                    .anywhere(SWIRL, 0.5, |p| times(p.day % 5 == 0, 4.0))
            })
            .right(Right::Time)
            .against(Dedicated::on(4f64.ln(), share(0.2), 0.8).units(10).panels()),
        kind("plain: a step in time")
            .on(&[180], 12, |f| {
                f.lots_back(5, 6)
                    .each(|p| p.hidden = usize::from(p.number >= 90))
                    .anywhere(SWIRL, 0.6, |p| times(p.hidden == 1, 3.0))
            })
            .right(Right::Time)
            .against(Dedicated::on(3f64.ln(), share(0.5), 1.0).units(12).panels()),
        kind("plain: it wanders and nothing varies")
            .on(&[60, 120, 240], 40, |f| {
                f.turned().table_drawn().marks(SWIRL, 1.2)
            })
            .right(Right::Wanders),
        kind("plain: it wanders in clumps, never turned")
            .on(&[80, 200], 40, |f| {
                f.with(|f| f.clump = 1.0).table_drawn().marks(SWIRL, 1.5)
            })
            .right(Right::Wanders),
    ]
}
