//! The control chart keeps the false-alarm rate that it states, over whole
//! records: few marks, panels, shifts, days and lots that differ, few shifts;
//! and a rate that doubles or trebles is signalled within the time it states.

use std::sync::Arc;

use onus::change::{ControlChart, Week, control_charts, false_signals};
use onus::records::{DefectName, Panel, Records};
use onus::site::Analysis;
use onus::stats::distributions::binomial;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

use crate::shops::draws::{mixing, normal, poisson};
use crate::shops::panel_at;

/// A share this unlikely at the stated rate fails the promise.
const SURPRISE: f64 = 1e-3;

/// Panels a shift on average.
const A_SHIFT: f64 = 8.0;
/// Lots that return by turns.
const LOTS: usize = 12;

/// A steady process, Monday to Friday.
#[derive(Debug, Clone, Copy)]
struct Steady {
    /// Weeks before the week reported.
    weeks: i64,
    shifts_a_day: i64,
    /// Marks a panel.
    marks: f64,
    /// Shape of the gamma by which panels scatter; none if only by chance.
    panel_shape: Option<f64>,
    /// Standard deviations of ln rate between shifts, days and lots.
    shift_sd: f64,
    day_sd: f64,
    lot_sd: f64,
    /// Panels of a lot that is used up before the next; else lots come again and
    /// again in pallets of five.
    in_turn: Option<usize>,
    /// What the rate is multiplied with in the last week.
    fold: f64,
    /// In which of its shifts.
    raised: Raised,
}

/// Shifts of the last week.
#[derive(Debug, Clone, Copy)]
enum Raised {
    All,
    /// The second of every day.
    Second,
    /// The first eight.
    FirstEight,
}

/// Marks by chance alone.
const CALM: Steady = Steady {
    weeks: 4,
    shifts_a_day: 3,
    marks: 1.0,
    panel_shape: None,
    shift_sd: 0.0,
    day_sd: 0.0,
    lot_sd: 0.0,
    in_turn: None,
    fold: 1.0,
    raised: Raised::All,
};

/// Panels that scatter widely.
const CLUMPED: Steady = Steady {
    panel_shape: Some(0.3),
    ..CALM
};

impl Steady {
    fn records(&self, rng: &mut ChaCha8Rng) -> Records {
        let mut records = Records {
            defect_names: vec![DefectName {
                name: "nib".into(),
                class: None,
            }],
            ..Records::default()
        };
        let lots: Vec<f64> = (0..1000).map(|_| self.lot_sd * normal(rng)).collect();
        let mut lot = 0;
        for day in (0..7 * (self.weeks + 1)).filter(|day| day % 7 < 5) {
            let of_day = self.day_sd * normal(rng);
            for shift in 0..self.shifts_a_day {
                let of_week = day - 7 * self.weeks;
                let raised = of_week >= 0
                    && match self.raised {
                        Raised::All => true,
                        Raised::Second => shift == 1,
                        Raised::FirstEight => of_week * self.shifts_a_day + shift < 8,
                    };
                let fold = if raised { self.fold } else { 1.0 };
                let ln = of_day + self.shift_sd * normal(rng);
                let panels = poisson(A_SHIFT, rng).max(1);
                for minute in 0..panels {
                    let i = records.panels.len();
                    match self.in_turn {
                        Some(length) => lot = i / length,
                        None if i.is_multiple_of(5) => lot = rng.random_range(0..LOTS),
                        None => {}
                    }
                    let minute = 5 + 480 * shift as usize + 10 * minute;
                    records.panels.push(Panel {
                        lot: Some(Arc::from(format!("lot-{lot}"))),
                        ..panel_at(i, (day as usize, minute), (600.0, 400.0))
                    });
                    let own = self.panel_shape.map_or(1.0, |shape| mixing(shape, rng));
                    let rate = fold * self.marks * (ln + lots[lot]).exp() * own;
                    let count = poisson(rate, rng);
                    let mark = crate::shops::mark_on(i, 0, None);
                    records.defects.extend(std::iter::repeat_n(mark, count));
                }
            }
        }
        records
    }

    /// The chart of the only kind, with the last week against those before.
    fn chart(&self, seed: u64) -> ControlChart {
        self.chart_of(seed, Some(self.last_week()))
    }

    fn last_week(&self) -> Week {
        let monday: jiff::civil::Date = "2031-03-03".parse().unwrap();
        Week::of(monday + jiff::Span::new().weeks(self.weeks))
    }

    fn chart_of(&self, seed: u64, week: Option<Week>) -> ControlChart {
        let records = self.records(&mut ChaCha8Rng::seed_from_u64(seed));
        control_charts(&records, &Analysis::default(), week, &[]).remove(0)
    }
}

/// Chance of an alarm among so many points, one being given every `every` points.
fn stated(every: f64, points: usize) -> f64 {
    1.0 - (1.0 - 1.0 / every).powi(i32::try_from(points).unwrap())
}

/// Charts, and what they stated and did.
#[derive(Debug, Default)]
struct Tally {
    charts: u64,
    /// Charts with a signal by limits or runs, and their stated mean chance.
    alarms: u64,
    stated_alarms: f64,
    /// The same for the weighted mean.
    shifts: u64,
    stated_shifts: f64,
    /// The same for either, as it is stated for all charts of a report.
    either: u64,
    stated_either: f64,
}

fn tally(shop: Steady, runs: u64, seed: u64) -> Tally {
    let charts: Vec<ControlChart> = (0..runs)
        .into_par_iter()
        .map(|run| shop.chart(seed + run))
        .collect();
    let mut tally = Tally::default();
    for chart in charts.iter().filter(|c| c.centre.is_some()) {
        let small = chart.small_shift.as_ref().unwrap();
        let points = chart.points.len();
        tally.charts += 1;
        tally.alarms += u64::from(chart.points.iter().any(|p| !p.signals.is_empty()));
        tally.stated_alarms += stated(chart.points_to_false_alarm.unwrap(), points);
        tally.shifts += u64::from(small.first_signal.is_some());
        tally.stated_shifts += stated(small.points_to_false_alarm, points);
        tally.either += u64::from(chart.first_signal().is_some());
        tally.stated_either += false_signals(std::slice::from_ref(chart)).min(1.0);
    }
    tally.stated_alarms /= tally.charts as f64;
    tally.stated_shifts /= tally.charts as f64;
    tally.stated_either /= tally.charts as f64;
    tally
}

/// What is steady.
fn shops() -> Vec<(&'static str, Steady)> {
    let lots = Steady {
        lot_sd: 0.6,
        ..CALM
    };
    let few = Steady {
        weeks: 2,
        shifts_a_day: 1,
        ..CALM
    };
    let marks = |marks: f64| Steady { marks, ..CALM };
    vec![
        ("1 mark on 20 panels", marks(0.05)),
        ("1 mark on 5 panels", marks(0.2)),
        ("1 mark a panel", marks(1.0)),
        ("4 marks a panel", marks(4.0)),
        ("panels scatter", CLUMPED),
        (
            "panels scatter, 1 mark on 5",
            Steady {
                marks: 0.2,
                ..CLUMPED
            },
        ),
        (
            "shifts differ",
            Steady {
                shift_sd: 0.3,
                ..marks(2.0)
            },
        ),
        (
            "days differ",
            Steady {
                day_sd: 0.4,
                ..marks(2.0)
            },
        ),
        (
            "days differ, one shift a day",
            Steady {
                shifts_a_day: 1,
                weeks: 6,
                day_sd: 0.3,
                ..CALM
            },
        ),
        ("lots differ and return", lots),
        (
            "lots of 30 in turn",
            Steady {
                in_turn: Some(30),
                ..lots
            },
        ),
        (
            "lots of 60 in turn",
            Steady {
                in_turn: Some(60),
                ..lots
            },
        ),
        (
            "five shifts before",
            Steady {
                weeks: 1,
                shifts_a_day: 1,
                ..CALM
            },
        ),
        (
            "five shifts before, panels scatter",
            Steady {
                weeks: 1,
                shifts_a_day: 1,
                ..CLUMPED
            },
        ),
        ("ten shifts before", few),
        (
            "ten shifts before, panels scatter",
            Steady {
                panel_shape: Some(0.3),
                ..few
            },
        ),
        (
            "one week before, days differ",
            Steady {
                weeks: 1,
                day_sd: 0.3,
                ..CALM
            },
        ),
    ]
}

#[test]
fn a_steady_process_gives_no_more_false_alarms_than_stated() {
    for (k, (name, shop)) in shops().into_iter().enumerate() {
        let tally = tally(shop, 100, 1000 * (k as u64 + 1));
        assert!(tally.charts >= 90, "{name}: {tally:?}");
        let no_more =
            |seen: u64, stated: f64| binomial::at_least(seen, tally.charts, stated) > SURPRISE;
        assert!(
            no_more(tally.alarms, tally.stated_alarms),
            "{name}: {tally:?}"
        );
        assert!(
            no_more(tally.shifts, tally.stated_shifts),
            "{name}: {tally:?}"
        );
        assert!(
            no_more(tally.either, tally.stated_either),
            "{name}: {tally:?}"
        );
    }
}

/// The table of all shops, for DEVELOPERS.md.
#[test]
#[ignore = "minutes"]
#[allow(clippy::print_stdout, reason = "the table")]
fn calibration_of_control_charts() {
    for (k, (name, shop)) in shops().into_iter().enumerate() {
        let tally = tally(shop, 1000, 100_000 + 10_000 * k as u64);
        let percent = |x: f64| format!("{:.1} %", 100.0 * x);
        let share = |n: u64| percent(n as f64 / tally.charts as f64);
        println!(
            "| {name} | {} | {} | {} | {} |",
            share(tally.alarms),
            percent(tally.stated_alarms),
            share(tally.shifts),
            percent(tally.stated_shifts)
        );
    }
}

/// Within the stated average number of points at least half are signalled, for a
/// time to signal is skewed to the right.
fn is_signalled_in_time(shop: Steady, seed: u64) {
    let runs: u64 = 100;
    let in_time = |run: &u64| {
        let chart = shop.chart(seed + run);
        let small = chart.small_shift.as_ref().unwrap();
        let within = chart.points_to_doubling.unwrap().ceil() as usize;
        let first = chart.points.iter().position(|p| !p.base).unwrap();
        assert!(chart.points.len() - first >= within.min(15), "{within}");
        (first..chart.points.len())
            .take(within)
            .any(|k| !chart.points[k].signals.is_empty() || small.values[k].abs() > small.limits[k])
    };
    let seen = (0..runs).into_par_iter().filter(in_time).count() as u64;
    assert!(
        binomial::at_most(seen, runs, 0.5) > SURPRISE,
        "{shop:?}: {seen} of {runs}"
    );
}

#[test]
fn a_rate_that_doubles_or_trebles_is_signalled_in_the_time_stated() {
    let clumped = Steady {
        panel_shape: Some(1.0),
        ..CALM
    };
    let days = Steady {
        day_sd: 0.2,
        marks: 2.0,
        ..CALM
    };
    let few = Steady { marks: 0.2, ..CALM };
    for (k, shop) in [CALM, clumped, days, few].into_iter().enumerate() {
        for fold in [2.0, 3.0] {
            is_signalled_in_time(Steady { fold, ..shop }, 50_000 + 1000 * k as u64);
        }
    }
}

/// Ten times the rate in one of the day's shifts for a week, told of that week, or
/// in eight shifts in a row, with no week named too, signals from its first shift
/// on in at least 19 of 20 charts.
#[test]
fn a_tenfold_rate_signals() {
    const OFTEN: f64 = 0.95;
    let step = Steady { fold: 10.0, ..CALM };
    let shops = [
        step,
        Steady { marks: 0.2, ..step },
        Steady {
            panel_shape: Some(1.0),
            ..step
        },
        Steady {
            day_sd: 0.2,
            marks: 2.0,
            ..step
        },
    ];
    for (k, shop) in shops.into_iter().enumerate() {
        let week = Some(shop.last_week());
        let cases = [
            (Raised::Second, week),
            (Raised::FirstEight, week),
            (Raised::FirstEight, None),
        ];
        for (raised, week) in cases {
            let shop = Steady { raised, ..shop };
            let runs: u64 = 100;
            let signals = |run: &u64| {
                let chart = shop.chart_of(70_000 + 1000 * k as u64 + run, week);
                let small = chart.small_shift.as_ref().unwrap();
                let first = chart.points.len() - 15;
                (first..chart.points.len()).any(|k| {
                    !chart.points[k].signals.is_empty() || small.values[k].abs() > small.limits[k]
                })
            };
            let seen = (0..runs).into_par_iter().filter(signals).count() as u64;
            assert!(
                binomial::at_most(seen, runs, OFTEN) > SURPRISE,
                "{shop:?}, {week:?}: {seen} of {runs}"
            );
        }
    }
}
