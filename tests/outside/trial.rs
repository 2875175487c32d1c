//! Plans of recipe trials against published designs, through the binary: generators,
//! resolution, words and runs of fractions, Box–Behnken and Plackett–Burman runs,
//! stars of rotatable composites, and determinants that no design can exceed.

use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;

use serde_json::{Value, json};

use crate::published::published;

/// Eleven further factors, none of which is hard to change.
fn site() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let names: Vec<String> = (1..=11).map(|i| format!("s{i} = \"number\"\n")).collect();
    let text = format!("[factors]\n{}", names.concat());
    std::fs::write(folder.path().join("onus.toml"), text).unwrap();
    folder
}

/// `plan.json` of a trial of so many factors from −1 to 1, without centre runs.
fn plan(factors: usize, more: &[&str]) -> Value {
    let folder = site();
    let factors = (1..=factors).map(|i| format!("--factor=s{i}=-1..1"));
    let more = more.iter().map(|arg| (*arg).to_owned());
    let args: Vec<String> = ["--centres".to_owned(), "0".to_owned()]
        .into_iter()
        .chain(factors)
        .chain(more)
        .collect();
    planned(folder.path(), &args)
}

/// `onus plan --json` in a folder.
fn planned(folder: &Path, args: &[String]) -> Value {
    let done = Command::new(env!("CARGO_BIN_EXE_onus"))
        .current_dir(folder)
        .args(["plan", "--json"])
        .args(args)
        .output()
        .unwrap();
    assert!(
        done.status.success(),
        "{}",
        String::from_utf8_lossy(&done.stderr)
    );
    serde_json::from_slice(&done.stdout).unwrap()
}

/// Settings of the runs as planned, in the order of the plan.
fn settings(plan: &Value) -> Vec<Vec<f64>> {
    let runs = plan["runs"].as_array().unwrap();
    let row = |run: &Value| {
        let values = run["settings"].as_array().unwrap().iter();
        values.map(|v| v.as_f64().unwrap()).collect()
    };
    runs.iter().map(row).collect()
}

fn sorted(rows: &[Vec<f64>]) -> Vec<Vec<i64>> {
    let mut out: Vec<Vec<i64>> = rows
        .iter()
        .map(|row| row.iter().map(|v| (v * 1e6).round() as i64).collect())
        .collect();
    out.sort();
    out
}

fn texts(json: &Value) -> Vec<&str> {
    json.as_array()
        .unwrap()
        .iter()
        .map(|t| t.as_str().unwrap())
        .collect()
}

/// The place of a factor's letter; I is left out.
fn place(letter: char) -> usize {
    "ABCDEFGHJKL".find(letter).unwrap()
}

fn product(row: &[f64], word: &str) -> f64 {
    word.chars().map(|letter| row[place(letter)]).product()
}

#[test]
fn fractions_have_the_published_generators_resolution_and_words() {
    for row in published("fractional_factorial_2level.csv") {
        let factors = row.count("factors") as usize;
        let made = plan(
            factors,
            &["--runs", row.text("runs"), "--shape", "two-level"],
        );
        let design = &made["recipe"];
        let generators: Vec<&str> = row.text("generators").split(' ').collect();
        assert_eq!(texts(&design["generators"]), generators, "{made}");
        assert_eq!(design["resolution"].as_u64(), Some(row.count("resolution")));
        let words: BTreeSet<&str> = texts(&design["defining_words"]).into_iter().collect();
        let wanted: BTreeSet<&str> = row.text("defining_words").split(' ').collect();
        assert_eq!(words, wanted);
        // The runs themselves: all different, every word constant over them.
        let runs = settings(&made);
        assert_eq!(runs.len() as u64, row.count("runs"));
        let mut different = sorted(&runs);
        different.dedup();
        assert_eq!(different.len(), runs.len());
        for word in wanted {
            assert!(runs.iter().all(|run| product(run, word) == 1.0), "{word}");
        }
    }
}

/// An alias chain is right if its effects are the same column of signs over all
/// runs, and complete if no two different chains or lone effects are.
#[test]
fn effects_are_named_together_exactly_where_their_signs_agree_over_all_runs() {
    for row in published("fractional_factorial_2level.csv") {
        let factors = row.count("factors") as usize;
        let made = plan(
            factors,
            &["--runs", row.text("runs"), "--shape", "two-level"],
        );
        let runs = settings(&made);
        let letters: Vec<char> = "ABCDEFGHJ".chars().take(factors).collect();
        let mut effects: Vec<String> = letters.iter().map(char::to_string).collect();
        for (i, a) in letters.iter().enumerate() {
            effects.extend(letters[i + 1..].iter().map(|b| format!("{a}{b}")));
        }
        let signs = |effect: &str| -> Vec<i8> {
            runs.iter().map(|run| product(run, effect) as i8).collect()
        };
        let chains: Vec<Vec<&str>> = made["recipe"]["aliases"]
            .as_array()
            .unwrap()
            .iter()
            .map(|chain| texts(&chain["words"]))
            .collect();
        let together = |a: &str, b: &str| chains.iter().any(|c| c.contains(&a) && c.contains(&b));
        for (i, a) in effects.iter().enumerate() {
            for b in &effects[i + 1..] {
                assert_eq!(together(a, b), signs(a) == signs(b), "{a} and {b}");
            }
        }
    }
}

#[test]
fn box_behnken_runs_are_the_published_ones() {
    let folder = site();
    let done = Command::new(env!("CARGO_BIN_EXE_onus"))
        .current_dir(folder.path())
        .args(["plan", "--json", "--shape", "box-behnken", "--centres", "3"])
        .args((1..=3).map(|i| format!("--factor=s{i}=-1..1")))
        .output()
        .unwrap();
    let made: Value = serde_json::from_slice(&done.stdout).unwrap();
    let wanted: Vec<Vec<f64>> = published("box_behnken_3_factors.csv")
        .iter()
        .map(|row| ["x1", "x2", "x3"].map(|c| row.number(c)).to_vec())
        .collect();
    assert_eq!(sorted(&settings(&made)), sorted(&wanted));
}

#[test]
fn stars_of_composites_lie_where_they_make_them_rotatable() {
    for row in published("central_composite_rotatable_alpha.csv") {
        let factors = row.count("factors") as usize;
        let corners = row.text("factorial_runs");
        let made = plan(
            factors,
            &["--shape", "central-composite", "--runs", corners],
        );
        let alpha = made["recipe"]["alpha"].as_f64().unwrap();
        // Nine decimals are published, nine digits written.
        assert!(
            (alpha - row.number("alpha")).abs() < 5e-9 * alpha,
            "{alpha}"
        );
        let runs = settings(&made);
        let stars = |run: &&Vec<f64>| run.iter().filter(|v| **v != 0.0).count() == 1;
        assert_eq!(
            runs.iter().filter(stars).count() as u64,
            row.count("axial_runs")
        );
        // The range given holds the stars: nothing is run beyond it.
        assert!(runs.iter().flatten().all(|v| v.abs() <= 1.0));
        assert_eq!(
            runs.len() as u64,
            row.count("factorial_runs") + row.count("axial_runs")
        );
    }
}

#[test]
fn the_screening_design_is_the_published_one() {
    let made = plan(11, &["--shape", "screening"]);
    let columns = ["A", "B", "C", "D", "E", "F", "G", "H", "J", "K", "L"];
    let wanted: Vec<Vec<f64>> = published("plackett_burman_12.csv")
        .iter()
        .map(|row| columns.map(|c| row.number(c)).to_vec())
        .collect();
    assert_eq!(sorted(&settings(&made)), sorted(&wanted));
}

/// A saturated design of n runs for n − 1 factors has |X'X| = |X|², and |X| is at
/// most the largest determinant of a matrix of −1 and 1; exchanges reach it.
#[test]
fn saturated_d_optimal_designs_reach_the_largest_determinant() {
    for row in published("largest_determinants.csv") {
        let n = row.count("n") as usize;
        let made = plan(n - 1, &["--shape", "d-optimal", "--runs", row.text("n")]);
        let determinant = made["recipe"]["determinant"].as_f64().unwrap();
        let wanted = row.number("determinant").powi(2);
        assert!(
            (determinant - wanted).abs() < 1e-6 * wanted,
            "{n}: {determinant}"
        );
    }
}

/// Quadratic regression in one factor on −1..1: the D-optimal design puts a third of
/// the runs at each of −1, 0, 1, where |X'X| = 4 (n/3)³. Source: Fedorov (1972),
/// Theory of Optimal Experiments, chapter 2; Smith (1918), Biometrika 12, 1–85.
#[test]
fn a_bend_in_one_factor_is_looked_for_at_both_ends_and_the_middle() {
    for runs in [3, 6, 9] {
        let made = plan(
            1,
            &["--shape", "d-optimal-curved", "--runs", &runs.to_string()],
        );
        let determinant = made["recipe"]["determinant"].as_f64().unwrap();
        let third = f64::from(runs) / 3.0;
        assert!(
            (determinant - 4.0 * third.powi(3)).abs() < 1e-6,
            "{determinant}"
        );
        let settings = settings(&made).concat();
        for level in [-1.0, 0.0, 1.0] {
            assert_eq!(
                settings.iter().filter(|v| **v == level).count(),
                runs as usize / 3
            );
        }
    }
}

/// Panels turned in one lot are read by Fisher's exact test: as many as its power, by
/// enumeration, asks for. Its power is a saw's edge in the number of panels, ours is
/// simulated to ± .013.
#[test]
fn a_turn_sheet_of_one_lot_has_the_panels_of_fishers_test() {
    for row in published("fisher_sizes.csv") {
        let folder = tempfile::tempdir().unwrap();
        let (share, without) = (row.number("share"), row.number("without"));
        let findings = json!({
            "schema": 1, "levels": {"alpha": row.number("alpha")}, "streams": [],
            "findings": [{
                "id": "F1", "defect": "nib", "machine": "M1", "x_mm": 200.0, "y_mm": 100.0,
                "hit_rate": share, "panels_exposed": 1000, "expected_hits": 1000.0 * without,
                "open": [{"rival": "panel", "levels": [], "to_settle": "", "panels": null}],
            }],
        });
        std::fs::write(folder.path().join("findings.json"), findings.to_string()).unwrap();
        let args = [
            "--settle",
            "F1",
            "--from",
            ".",
            "--lots",
            "1",
            "--power",
            row.text("power"),
        ];
        let made = planned(folder.path(), &args.map(str::to_owned));
        let side = made["runs"].as_array().unwrap().len() as f64 / 2.0;
        let wanted = row.number("panels_a_side");
        assert!(
            (side - wanted).abs() <= (0.05 * wanted).max(2.0),
            "{row:?}: {side}"
        );
    }
}

/// Old and new by turns with marks that come one at a time: as many marks as the exact
/// conditional test of two rates needs by enumeration, and up to a fifth more for the
/// scatter of lots, days and panels that made-up records don't exclude.
#[test]
fn old_and_new_by_turns_take_the_marks_of_the_exact_test() {
    for row in published("rate_ratio_sizes.csv") {
        let folder = tempfile::tempdir().unwrap();
        let args = [
            "--change",
            "recipe=A,B",
            "--defect",
            "nib",
            "--rate",
            row.text("rate"),
            "--ratio",
            row.text("ratio"),
            "--power",
            row.text("power"),
        ];
        let change = planned(folder.path(), &args.map(str::to_owned))["change"].clone();
        let of = |key: &str| change[key].as_f64().unwrap();
        let rate = row.number("rate");
        assert!(
            (of("marks_per_panel") / rate - 1.0).abs() < 0.01,
            "{row:?}: {change}"
        );
        let ratio = of("panels_needed") / 2.0 / row.number("panels_a_side");
        assert!((0.97..1.2).contains(&ratio), "{row:?}: {ratio}");
    }
}
