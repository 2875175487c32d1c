//! Run sheets keep their word: planned, run in a simulated shop and read back, they
//! tell what they said they would about as often as they said, and seldom what is
//! not so.
#![allow(clippy::print_stdout, reason = "the calibration's tables")]

use std::path::PathBuf;
use std::sync::Arc;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use serde_json::json;

use onus::change::{self, Settings, Verdict};
use onus::records::{
    DefectName, Grit, GritScale, Lay, Moment, Panel, PlannedRun, Point, Reading, Records,
};
use onus::removal;
use onus::site::Site;
use onus::stats::distributions::binomial;
use onus::trial::{
    self, ChangeRequest, Fixed, Given, Lots, Open, Place, Plan, Purpose, ReadBack, RecipeRequest,
    SettleRequest, Stays, Value, read_back, settle, turns,
};

use crate::shops::draws::{normal, poisson};

/// Chance that sheets promise, and between what it has to come out.
const POWER: f64 = 0.8;
const REACHED: (f64, f64) = (0.75, 0.9);
/// A count this unlikely would be a surprise.
const SURPRISE: f64 = 0.001;
/// Level at which sheets are read.
const ALPHA: f64 = 0.01;

/// Whether a count of shops that were told fits a chance in what was promised.
fn reaches(told: usize, shops: usize) -> bool {
    let (told, shops) = (told as u64, shops as u64);
    binomial::at_most(told, shops, REACHED.0) > SURPRISE
        && binomial::at_least(told, shops, REACHED.1) > SURPRISE
}

fn seldom(told: usize, shops: usize, chance: f64) -> bool {
    binomial::at_least(told as u64, shops as u64, chance) > SURPRISE
}

/// Share of panels that chance marks at a place.
const CHANCE: f64 = 0.01;

const LENGTH: f64 = 600.0;
const WIDTH: f64 = 400.0;

/// A question of a report.
struct Asked {
    name: &'static str,
    /// A finding as findings.json has it.
    finding: serde_json::Value,
    /// Kinds of defect that the report is about.
    defects: usize,
    /// Share of panels with a mark where it is made.
    share: f64,
    /// Who could have made it: the first one did, the others are accused wrongly.
    frames: &'static [Fixed],
}

fn finding(fields: serde_json::Value) -> serde_json::Value {
    let mut all = json!({
        "id": "F1", "machine": "M1", "defect": "nib", "rival": null, "levels": [],
        "x_mm": null, "y_mm": null, "radius_mm": null, "panels_exposed": 200,
    });
    let own = fields.as_object().unwrap().clone();
    all.as_object_mut().unwrap().extend(own);
    all
}

/// A place of unknown frame, found on a share of the panels.
fn place(name: &'static str, share: f64, y: Option<f64>, frames: &'static [Fixed]) -> Asked {
    let open = |rival: &str| json!({"rival": rival, "levels": [], "to_settle": "", "panels": null});
    let mut rivals: Vec<serde_json::Value> = Vec::new();
    if frames.contains(&Fixed::Panel) && frames.contains(&Fixed::Machine) {
        rivals.push(open("panel"));
    }
    if frames.contains(&Fixed::Table) {
        rivals.push(open("table"));
    }
    Asked {
        name,
        finding: finding(json!({
            "x_mm": 200.0, "y_mm": y, "radius_mm": 6.0, "hit_rate": share, "expected_hits": 2.0,
            "open": rivals,
        })),
        defects: 1,
        share,
        frames,
    }
}

/// A rate of unknown rival, given singly or in stretches.
fn rate(name: &'static str, share: f64, defects: usize, rival: &str, levels: [&str; 2]) -> Asked {
    Asked {
        name,
        finding: finding(json!({
            "hit_rate": share,
            "open": [{"rival": rival, "levels": levels, "to_settle": "", "panels": null}],
        })),
        defects,
        share,
        frames: &[],
    }
}

const CELL: &[Fixed] = &[Fixed::Machine, Fixed::Panel];
const TABLE: &[Fixed] = &[Fixed::Table, Fixed::Panel];
const ALL: &[Fixed] = &[Fixed::Machine, Fixed::Panel, Fixed::Table];

fn asked() -> Vec<Asked> {
    let spot = Some(100.0);
    vec![
        place("turned panels, 30 %", 0.3, spot, CELL),
        place("turned panels, 10 %", 0.1, spot, CELL),
        place("a line, turned panels", 0.3, None, CELL),
        place("turned at the table", 0.3, spot, TABLE),
        place("turned in cell and at table", 0.3, spot, ALL),
        rate("two inspectors", 0.4, 1, "inspector", ["Ann", "Bo"]),
        rate(
            "two inspectors, marks crowd",
            0.8,
            1,
            "inspector",
            ["Ann", "Bo"],
        ),
        rate("two recipes in stretches", 0.5, 1, "recipe", ["A", "B"]),
        rate("the same, of five kinds", 0.5, 5, "recipe", ["A", "B"]),
    ]
}

fn sheet(asked: &Asked) -> Plan {
    let stream = |k: usize| json!({"machine": "M1", "defect": defect(k), "open": []});
    let streams: Vec<serde_json::Value> = (0..asked.defects).map(stream).collect();
    let json = json!({
        "onus": "0", "schema": 1, "levels": {"alpha": ALPHA}, "streams": streams,
        "findings": [asked.finding],
    });
    let request = SettleRequest {
        name: "t".into(),
        settle: "F1".into(),
        factors: Vec::new(),
        lots: None,
        alpha: None,
        power: POWER,
        ratio: 0.5,
        seed: 1,
    };
    let open = Open::parse(json.to_string().as_bytes(), PathBuf::new()).unwrap();
    settle(&request, &open, &Site::default()).unwrap()
}

fn clock(minutes: usize) -> Moment {
    let local =
        jiff::civil::date(2026, 3, 2).at(7, 0, 0, 0) + jiff::Span::new().minutes(minutes as i64);
    crate::shops::at_local(local)
}

/// The k-th kind of defect; the first one is asked about.
fn defect(k: usize) -> String {
    if k == 0 {
        "nib".into()
    } else {
        format!("other {k}")
    }
}

/// The sheet as it is run: a panel each, in order.
fn run(plan: &Plan) -> Records {
    let mut records = Records::default();
    let mut on_disc: (Option<(usize, Arc<str>)>, u32) = (None, 0);
    for run in &plan.runs {
        let setting = |column: &str| {
            let at = plan.columns.iter().position(|c| c == column)?;
            run.settings[at].clone()
        };
        let text = |column: &str| -> Option<Arc<str>> {
            match setting(column) {
                Some(Value::Text(text)) => Some(text.into()),
                _ => None,
            }
        };
        let number = |column: &str| match setting(column) {
            Some(Value::Number(number)) => Some(number),
            _ => None,
        };
        // A fresh abrasive at each change of grit, and in each block.
        let disc = text("grit").map(|grit| (run.block, grit));
        on_disc.1 = if on_disc.0 == disc { on_disc.1 + 1 } else { 0 };
        on_disc.0.clone_from(&disc);
        let lay = |column: &str| match number(column) {
            Some(180.0) => Lay::Deg180,
            _ => Lay::Deg0,
        };
        records.panels.push(Panel {
            id: format!("P{:05}", run.run),
            sanded_at: Some(clock(5 * run.run)),
            machine: Some("M1".into()),
            lot: Some(format!("L{}", run.block).into()),
            length_mm: LENGTH,
            width_mm: WIDTH,
            lay: lay("lay_deg"),
            inspect_lay: setting("inspect_lay_deg").map(|_| lay("inspect_lay_deg")),
            recipe: text("recipe"),
            inspector: text("inspector"),
            feed_mm_s: number("feed_mm_s"),
            force_n: number("force_n"),
            passes: number("passes"),
            grit: text("grit").map(|g| Grit::parse(&g, Some(GritScale::FepaP))),
            abrasive_age: disc.map(|_| f64::from(on_disc.1)),
            inspected: true,
            planned: Some(PlannedRun {
                plan: plan.plan.as_str().into(),
                block: Some(run.block as u32),
                run: run.run as u32,
                change: None,
            }),
            ..Panel::default()
        });
    }
    records
}

fn mark(records: &mut Records, panel: usize, name: usize, place: Option<Point>) {
    records
        .defects
        .push(crate::shops::mark_on(panel, name, place));
}

/// Where a place that stays in a frame lies on a panel; a half turn is its own inverse.
fn on_panel(panel: &Panel, frame: Fixed, at: Point) -> Point {
    let lay = match frame {
        Fixed::Machine => panel.lay,
        Fixed::Panel => Lay::Deg0,
        Fixed::Table => panel.inspect_lay.unwrap_or_default(),
    };
    lay.place(at, LENGTH, WIDTH)
}

/// Marks of a place that `owner` makes, and of the background at all frames' places.
fn marked_place(plan: &Plan, asked: &Asked, owner: Fixed, rng: &mut ChaCha8Rng) -> Records {
    let mut records = run(plan);
    let is_line = asked.finding["y_mm"].is_null();
    for at in 0..records.panels.len() {
        let panel = records.panels[at].clone();
        let spot = Point {
            x: 200.0,
            y: if is_line {
                rng.random_range(0.0..WIDTH)
            } else {
                100.0
            },
        };
        // Chance alone marks each frame's place on a hundredth of the panels; the
        // share of the report counts that in.
        let made = (asked.share - CHANCE) / (1.0 - CHANCE);
        if rng.random_bool(made) {
            mark(&mut records, at, 0, Some(on_panel(&panel, owner, spot)));
        }
        let mut places = asked
            .frames
            .iter()
            .map(|f| on_panel(&panel, *f, spot))
            .collect::<Vec<_>>();
        places.dedup();
        for place in places {
            if rng.random_bool(CHANCE) {
                mark(&mut records, at, 0, Some(place));
            }
        }
    }
    named(records, asked)
}

/// Marks one at a time at a rate that `ratio` changes at the second level.
fn marked_rate(plan: &Plan, asked: &Asked, ratio: f64, rng: &mut ChaCha8Rng) -> Records {
    let mut records = run(plan);
    let rate = -(1.0 - asked.share).ln();
    for at in 0..records.panels.len() {
        let panel = &records.panels[at];
        let second =
            panel.recipe.as_deref() == Some("B") || panel.inspector.as_deref() == Some("Bo");
        for name in 0..asked.defects {
            let mean = if second && name == 0 {
                ratio * rate
            } else {
                rate
            };
            for _ in 0..poisson(mean, rng) {
                mark(&mut records, at, name, None);
            }
        }
    }
    named(records, asked)
}

fn named(mut records: Records, asked: &Asked) -> Records {
    let name = |k| DefectName {
        name: defect(k),
        class: None,
    };
    records.defect_names = (0..asked.defects).map(name).collect();
    records.defects.sort_by_key(|d| d.panel);
    records
}

fn read(records: &Records, asked: &Asked) -> ReadBack {
    let place = Place {
        finding: "F1".into(),
        machine: Some("M1".into()),
        head: None,
        defect: "nib".into(),
        x_mm: asked.finding["x_mm"].as_f64(),
        y_mm: asked.finding["y_mm"].as_f64(),
        reach_mm: 9.0,
        fixed: Fixed::Machine,
    };
    let places = if asked.frames.is_empty() {
        vec![]
    } else {
        vec![place]
    };
    read_back(records, &places).remove(0)
}

/// How many of so many shops the sheet told right, and wrong where somebody else or
/// nobody did it.
struct Word {
    panels: usize,
    said: f64,
    right: usize,
    wrong: Vec<usize>,
}

fn word(asked: &Asked, shops: usize) -> Word {
    let plan = sheet(asked);
    let count = |told: &(dyn Fn(&mut ChaCha8Rng) -> bool + Sync)| {
        let shop = |shop: &u64| told(&mut ChaCha8Rng::seed_from_u64(700 + shop));
        (0..shops as u64).into_par_iter().filter(shop).count()
    };
    let stays = |owner: Fixed, accused: Fixed, rng: &mut ChaCha8Rng| {
        let back = read(&marked_place(&plan, asked, owner, rng), asked);
        let told = back.turned.first().map(|t| t.stays(ALPHA));
        told == Some(Stays::In(accused))
    };
    let goes_with = |ratio: f64, rng: &mut ChaCha8Rng| {
        let back = read(&marked_rate(&plan, asked, ratio, rng), asked);
        let column = plan.columns.last().unwrap();
        let own = back.shown.iter().filter(|s| s.column == *column);
        own.filter(|s| s.p_adjusted <= ALPHA)
            .map(|s| s.defect.clone())
            .collect::<Vec<_>>()
    };
    let Purpose::Settle(contrasts) = &plan.purpose else {
        panic!("a sheet that settles")
    };
    let (right, wrong) = match asked.frames {
        [first, others @ ..] => (
            count(&|rng| stays(*first, *first, rng)),
            (others.iter())
                .map(|other| count(&|rng| stays(*other, *first, rng)))
                .collect(),
        ),
        [] => (
            count(&|rng| goes_with(0.5, rng).iter().any(|d| d == "nib")),
            vec![count(&|rng| !goes_with(1.0, rng).is_empty())],
        ),
    };
    Word {
        panels: plan.runs.len(),
        said: contrasts.iter().map(|c| c.power).fold(1.0, f64::min),
        right,
        wrong,
    }
}

fn keeps_its_word(asked: &Asked, shops: usize) {
    let word = word(asked, shops);
    let share = |told: usize| 100.0 * told as f64 / shops as f64;
    let wrong: Vec<String> = word
        .wrong
        .iter()
        .map(|w| format!("{:.2} %", share(*w)))
        .collect();
    let row = format!(
        "| {} | {} | {:.0} % | {:.1} % | {} |",
        asked.name,
        word.panels,
        100.0 * word.said,
        share(word.right),
        wrong.join(", ")
    );
    println!("{row}");
    assert!(reaches(word.right, shops), "{row}");
    for wrong in word.wrong {
        assert!(seldom(wrong, shops, ALPHA), "{row}");
    }
}

#[test]
fn sheets_that_settle_reach_their_power_and_accuse_nobody_wrongly() {
    for asked in asked() {
        keeps_its_word(&asked, 150);
    }
}

#[test]
fn a_sheet_changes_in_stretches_what_cannot_be_changed_panel_by_panel() {
    let given = |name: &str| {
        let asked = asked().into_iter().find(|a| a.name == name).unwrap();
        match &sheet(&asked).purpose {
            Purpose::Settle(contrasts) => contrasts[0].given,
            other => panic!("{other:?}"),
        }
    };
    assert_eq!(given("turned panels, 30 %"), Given::Singly);
    assert_eq!(given("two recipes in stretches"), Given::InStretches);
}

/// Old and new by turns, read by `onus compare`'s own function: the ratio planned for
/// is shown as often as promised.
fn turns_keep_their_word(rate: f64, ratio: f64, shops: usize) {
    let request = ChangeRequest {
        name: "t".into(),
        column: "recipe".into(),
        values: ["A".into(), "B".into()],
        defect: "nib".into(),
        marks_per_panel: Some(rate),
        ratio,
        power: POWER,
        lots: None,
        seed: 1,
    };
    let settings = Settings::default();
    let plan = turns(&request, None, &Site::default()).unwrap();
    let pick = |value: &str| format!("recipe={value}").parse().unwrap();
    let selection = change::Selection {
        sides: change::Sides::Values {
            before: vec![pick("A")],
            after: vec![pick("B")],
        },
        only: Vec::new(),
        window: change::Window::default(),
        on: vec!["nib".into()],
    };
    let asked = Asked {
        share: 1.0 - (-rate).exp(),
        ..self::rate("", 0.5, 1, "recipe", ["A", "B"])
    };
    let called = |true_ratio: f64| {
        let helped = |shop: &u64| {
            let mut rng = ChaCha8Rng::seed_from_u64(900 + shop);
            let records = marked_rate(&plan, &asked, true_ratio, &mut rng);
            let changes = change::compare(&records, &selection, &settings).unwrap();
            changes.comparisons[0].changes[0].verdict == Verdict::Helped
        };
        (0..shops as u64).into_par_iter().filter(helped).count()
    };
    let (helped, wrongly) = (called(ratio), called(1.0));
    let share = |told: usize| 100.0 * told as f64 / shops as f64;
    let row = format!(
        "| old and new by turns, {rate} marks a panel, ratio {ratio} | {} | {:.0} % | {:.1} % | {:.2} % |",
        plan.runs.len(),
        100.0 * POWER,
        share(helped),
        share(wrongly)
    );
    println!("{row}");
    assert!(reaches(helped, shops), "{row}");
    assert!(
        seldom(wrongly, shops, (1.0 - settings.level) / 2.0),
        "{row}"
    );
}

#[test]
fn old_and_new_by_turns_reach_their_power() {
    turns_keep_their_word(0.8, 0.5, 60);
}

/// A recipe trial: what is asked and how its factors act.
struct Tried {
    name: &'static str,
    factors: &'static [&'static str],
    runs: Option<usize>,
    lots: usize,
    repeats: usize,
    /// The factor whose shown ratio is tried.
    of: &'static str,
    /// SD of ln removal between stretches of one grit.
    between: f64,
}

const TRIED: [Tried; 4] = [
    Tried {
        name: "two factors, twice",
        factors: &["feed_mm_s=80..140", "force_n=20..40"],
        runs: None,
        lots: 1,
        repeats: 2,
        of: "feed_mm_s",
        between: 0.0,
    },
    Tried {
        name: "three factors, two lots",
        factors: &["feed_mm_s=80..140", "force_n=20..40", "passes=2..6"],
        runs: None,
        lots: 2,
        repeats: 2,
        of: "passes",
        between: 0.0,
    },
    Tried {
        name: "half fraction of four",
        factors: &[
            "feed_mm_s=80..140",
            "force_n=20..40",
            "passes=2..6",
            "grit=P240,P320",
        ],
        runs: Some(8),
        lots: 2,
        repeats: 2,
        of: "feed_mm_s",
        between: 0.05,
    },
    Tried {
        name: "grit in stretches, four lots",
        factors: &["feed_mm_s=80..140", "force_n=20..40", "grit=P240,P320"],
        runs: None,
        lots: 4,
        repeats: 4,
        of: "grit",
        between: 0.0,
    },
];

/// Scatter between panels, and of a reading as a share.
const SCATTER: f64 = 0.1;
const GAUGE: f64 = 0.02;

fn trial_of(tried: &Tried) -> Plan {
    let request = RecipeRequest {
        name: "t".into(),
        factors: tried.factors.iter().map(|f| f.parse().unwrap()).collect(),
        shape: None,
        runs: tried.runs,
        repeats: tried.repeats,
        lots: Lots::Count(tried.lots),
        centres: None,
        never: Vec::new(),
        follow: None,
        scatter: Some(SCATTER),
        seed: 1,
    };
    trial::recipe(&request, &Site::default()).unwrap()
}

/// Readings of the trial, the factor's ends apart by a ratio.
fn read_trial(plan: &Plan, tried: &Tried, ratio: f64, rng: &mut ChaCha8Rng) -> Records {
    let mut records = run(plan);
    let Purpose::Recipe(design) = &plan.purpose else {
        panic!("a recipe trial")
    };
    let at = design
        .factors
        .iter()
        .position(|f| f.name == tried.of)
        .unwrap();
    let grit = design.factors.iter().position(|f| f.name == "grit");
    let lots: Vec<f64> = (0..tried.lots).map(|_| 0.1 * normal(rng)).collect();
    let (mut stretch, mut last) = (0.0, None);
    for (panel, run) in plan.runs.iter().enumerate() {
        let own = (run.block, grit.map(|g| run.coded[g] > 0.0));
        if last != Some(own) {
            last = Some(own);
            stretch = tried.between * normal(rng);
        }
        let effect = ratio.ln() * run.coded[at] / 2.0;
        let panel_ln =
            20.0_f64.ln() + lots[run.block - 1] + effect + stretch + SCATTER * normal(rng);
        for k in 0..9 {
            records.readings.push(Reading {
                panel,
                place: Some(Point {
                    x: LENGTH * (f64::from(k % 3) + 0.5) / 3.0,
                    y: WIDTH * (f64::from(k / 3) + 0.5) / 3.0,
                }),
                removed_um: Some((panel_ln + GAUGE * normal(rng)).exp()),
                film_um: None,
            });
        }
    }
    records
}

/// The ratio that is said to be shown is shown as often as promised, and the interval
/// is as wide as expected.
fn trial_keeps_its_word(tried: &Tried, shops: usize) {
    let plan = trial_of(tried);
    let Purpose::Recipe(design) = &plan.purpose else {
        panic!("a recipe trial")
    };
    let said = design
        .precision
        .iter()
        .find(|p| p.factor == tried.of)
        .unwrap();
    let is_own = |name: &str| name == tried.of || (tried.of == "grit" && name == "grain_um");
    let read = |ratio: f64, seed: u64| {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let records = read_trial(&plan, tried, ratio, &mut rng);
        let found = removal::fit(
            &records,
            &removal::Settings::from_site(&Site::default()),
            &removal::Held::default(),
        );
        let terms = found.map(|f| f.terms).unwrap_or_default();
        terms.into_iter().find(|t| is_own(t.factor.name()))
    };
    let shown = |ratio: f64| {
        let shown = |shop: &u64| {
            read(ratio, 500 + shop).is_some_and(|t| t.p_value.is_some_and(|p| p <= 0.05))
        };
        (0..shops as u64).into_par_iter().filter(shown).count()
    };
    let mut widths: Vec<f64> = (0..shops.min(100) as u64)
        .filter_map(|shop| {
            let term = read(1.0, 500 + shop)?;
            let ln = |ci: onus::stats::Interval| onus::stats::Interval {
                low: ci.low.ln(),
                high: ci.high.ln(),
                ..ci
            };
            let ci = term.ci.or(term.ratio_ci.map(ln))?;
            Some((ci.high - ci.low) / 2.0)
        })
        .collect();
    widths.sort_by(f64::total_cmp);
    let middle = widths.get(widths.len() / 2).copied().unwrap_or(f64::NAN);
    let (right, wrong) = (shown(said.shown_ratio), shown(1.0));
    let share = |told: usize| 100.0 * told as f64 / shops as f64;
    let expected = said.half_width_exponent.unwrap_or(said.half_width_ln);
    let row = format!(
        "| recipe: {}, {} | {} | {} 80 % | {:.1} % | {:.1} % | half width {middle:.3}, said {expected:.3}",
        tried.name,
        tried.of,
        plan.runs.len(),
        if said.at_best { "at best" } else { "" },
        share(right),
        share(wrong),
    );
    println!("{row}");
    assert!(seldom(wrong, shops, 0.05), "{row}");
    // What is said at best holds where stretches differ by nothing but their panels.
    if said.at_best {
        assert!(
            binomial::at_most(right as u64, shops as u64, REACHED.0) > SURPRISE,
            "{row}"
        );
    } else {
        assert!(reaches(right, shops), "{row}");
        assert!((middle / expected - 1.0).abs() < 0.1, "{row}");
    }
}

#[test]
#[ignore = "calibration: a minute"]
fn calibration_of_run_sheets() {
    println!("| sheet | panels | said | told | wrongly |");
    for asked in asked() {
        keeps_its_word(&asked, 4000);
    }
}

#[test]
#[ignore = "calibration: minutes"]
fn calibration_of_turns() {
    for (rate, ratio) in [(0.8, 0.5), (0.2, 0.5), (0.8, 0.7)] {
        turns_keep_their_word(rate, ratio, 300);
    }
}

#[test]
#[ignore = "calibration: a minute"]
fn calibration_of_recipe_trials() {
    for tried in &TRIED {
        trial_keeps_its_word(tried, 400);
    }
}
