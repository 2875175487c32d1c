//! Published data sets as panels, lots and factors through the binary: exponents,
//! errors, degrees of freedom and intervals of `findings.json` against R.
//!
//! The scripts that made the values lie in `fixtures/published/scripts/`.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use serde_json::Value;

use crate::published::{Row, published};
use crate::shops::files::report_on;

/// A data set whose rows are panels, in the order of the file.
struct Set {
    name: &'static str,
    /// Column with a panel's removal.
    removal: &'static str,
    /// Factors that are numbers, and those that are words.
    numbers: &'static [&'static str],
    words: &'static [&'static str],
    /// Column that tells the lots apart.
    lot: Option<&'static str>,
    /// Columns that tell the days apart.
    day: &'static [&'static str],
    /// Column with how many readings a panel has, of which `removal` are 1 and the
    /// others 0; one reading without it.
    readings: Option<&'static str>,
}

const PLAIN: Set = Set {
    name: "",
    removal: "",
    numbers: &[],
    words: &[],
    lot: None,
    day: &[],
    readings: None,
};

const SETS: [Set; 10] = [
    Set {
        name: "rubber",
        removal: "loss",
        numbers: &["hard", "tens"],
        ..PLAIN
    },
    Set {
        name: "stackloss",
        removal: "loss",
        numbers: &["air", "water", "acid"],
        ..PLAIN
    },
    // six stretches of nine panels at one setting
    Set {
        name: "warpbreaks",
        removal: "breaks",
        words: &["wool", "tension"],
        ..PLAIN
    },
    Set {
        name: "penicillin",
        removal: "diameter",
        words: &["sample"],
        lot: Some("plate"),
        ..PLAIN
    },
    // a number that is zero on some panels has no power
    Set {
        name: "sleepstudy",
        removal: "Reaction",
        numbers: &["Days"],
        lot: Some("Subject"),
        ..PLAIN
    },
    Set {
        name: "ceramic_strength",
        removal: "strength",
        numbers: &["table_speed", "down_feed", "wheel_grit"],
        words: &["batch"],
        lot: Some("lab"),
        ..PLAIN
    },
    // panels with 2 to 34 readings
    Set {
        name: "cbpp",
        removal: "incidence",
        words: &["period"],
        lot: Some("herd"),
        readings: Some("size"),
        ..PLAIN
    },
    Set {
        name: "npk",
        removal: "yield",
        words: &["n", "p", "k"],
        lot: Some("block"),
        ..PLAIN
    },
    Set {
        name: "ergo_stool",
        removal: "effort",
        words: &["stool"],
        lot: Some("subject"),
        ..PLAIN
    },
    // whole plots as days inside lots: variety moves between days, nitrogen within
    Set {
        name: "oats",
        removal: "yield",
        words: &["variety"],
        numbers: &["nitro"],
        lot: Some("block"),
        day: &["block", "variety"],
        ..PLAIN
    },
];

impl Set {
    fn factors(&self) -> impl Iterator<Item = &'static str> {
        self.words.iter().chain(self.numbers).copied()
    }

    /// The set as an inspection file.
    fn csv(&self) -> String {
        let mut text = "panel_id,length_mm,width_mm,lot,sanded_at".to_owned();
        for factor in self.factors() {
            text += &format!(",{factor}");
        }
        text += ",removed_um\n";
        let mut days: BTreeMap<String, usize> = BTreeMap::new();
        for (i, row) in published(&format!("{}.csv", self.name)).iter().enumerate() {
            let lot = self.lot.map_or("", |column| row.text(column));
            let mut facts = format!("P{i:03},600,400,{lot},");
            if !self.day.is_empty() {
                let day: String = self.day.iter().map(|column| row.text(column)).collect();
                let next = days.len();
                let date = jiff::civil::date(2026, 3, 2)
                    + jiff::Span::new().days(*days.entry(day).or_insert(next) as i64);
                facts += &format!("{date}T12:{:02}:00Z", i % 60);
            }
            for factor in self.factors() {
                facts += &format!(",{}", row.text(factor));
            }
            let removal = row.text(self.removal);
            match self.readings {
                None => writeln!(text, "{facts},{removal}").unwrap(),
                Some(column) => {
                    for k in 0..row.count(column) {
                        let reading = u8::from(k < row.count(self.removal));
                        writeln!(text, "{facts},{reading}").unwrap();
                    }
                }
            }
        }
        text
    }

    fn site(&self) -> String {
        site(self.words, self.numbers)
    }
}

fn site(words: &[&str], numbers: &[&str]) -> String {
    let mut text = "[factors]\n".to_owned();
    let kinds = words.iter().map(|w| (w, "text"));
    for (name, kind) in kinds.chain(numbers.iter().map(|n| (n, "number"))) {
        writeln!(text, "{name} = \"{kind}\"").unwrap();
    }
    text
}

/// A term with its interval on the log scale.
struct Told {
    name: String,
    power: bool,
    estimate: f64,
    std_error: f64,
    dof: f64,
    ci: [f64; 2],
    unit: String,
}

fn told(term: &Value) -> Told {
    let factor = term["factor"].as_str().unwrap();
    let name = term["level"]
        .as_str()
        .map_or(factor.to_owned(), |level| format!("{factor} {level}"));
    let number = |value: &Value| value.as_f64().unwrap_or_else(|| panic!("{name}: {term}"));
    let power = !term["exponent"].is_null();
    let (estimate, ci) = if power {
        (number(&term["exponent"]), &term["ci"])
    } else {
        (number(&term["ratio"]).ln(), &term["ratio_ci"])
    };
    let limit = |k: usize| {
        let value = number(&ci[k]);
        if power { value } else { value.ln() }
    };
    Told {
        power,
        estimate,
        std_error: number(&term["std_error"]),
        dof: number(&term["dof"]),
        ci: [limit(0), limit(1)],
        unit: term["unit"].as_str().unwrap().to_owned(),
        name,
    }
}

/// Where the number of readings weighs fully or not at all, only the variances of
/// groups are searched for; steps there end at a ten-thousandth of a standard
/// deviation, which moves estimates far less.
const SETTLED: f64 = 5e-6;
/// How far the number of readings weighs is searched for in steps of about a
/// thousandth; the reference's search goes on.
const SEARCHED: f64 = 2e-3;

/// Of the estimator itself: log link, the working response's variance between that
/// of relative and that of absolute errors by restricted likelihood, lots, days and
/// stretches as random effects kept off zero, the widest of Kenward and Roger's and
/// of the cluster-robust intervals.
#[test]
fn removal_terms_are_those_of_lme4_pbkrtest_and_clubsandwich() {
    let table = published("end_to_end_removal.csv");
    for set in &SETS {
        let own: Vec<&Row> = table.iter().filter(|r| r.text("set") == set.name).collect();
        let report = report_on(&set.csv(), Some(&set.site()));
        let terms: Vec<Told> = report["removal"]["terms"]
            .as_array()
            .unwrap()
            .iter()
            .map(told)
            .collect();
        assert_eq!(terms.len(), own.len(), "{}", set.name);
        for row in own {
            let term = terms.iter().find(|t| t.name == row.text("term")).unwrap();
            let share = row.number("share_of_readings");
            let tolerance = if share > 0.0 && share < 1.0 {
                SEARCHED
            } else {
                SETTLED
            };
            assert_eq!(term.power, row.count("power") == 1, "{row:?}");
            assert_eq!(term.unit, row.text("unit"), "{row:?}");
            let error = row.number("std_error");
            row.check_within("estimate", term.estimate, tolerance * error);
            row.check("std_error", term.std_error, tolerance);
            row.check("dof", term.dof, tolerance);
            let reach = row.number("high") - row.number("low");
            row.check_within("low", term.ci[0], tolerance * reach);
            row.check_within("high", term.ci[1], tolerance * reach);
        }
    }
}

/// Counts as defects of one kind on panels; `panels` gives words, count and length
/// in mm of each. Returns the terms of the kind's risk.
fn risks(words: &[&str], panels: impl Iterator<Item = (String, u64, f64)>) -> (Value, Vec<Told>) {
    let mut text = format!("panel_id,length_mm,width_mm,{},defect\n", words.join(","));
    for (i, (facts, count, length)) in panels.enumerate() {
        for k in 0..count.max(1) {
            let defect = if k < count { "speck" } else { "" };
            writeln!(text, "P{i:03},{length},1000,{facts},{defect}").unwrap();
        }
    }
    let report = report_on(&text, Some(&site(words, &[])));
    let all = report["removal"]["risks"].as_array().unwrap();
    let risk = all.iter().find(|r| r["of"]["defect"] == "speck").unwrap();
    let terms = risk["terms"].as_array().unwrap().iter().map(told).collect();
    (risk.clone(), terms)
}

fn of<'a>(table: &'a [Row], set: &str, term: &Told) -> &'a Row {
    let name = |r: &Row| format!("{} {}", r.text("factor"), r.text("level"));
    let row = table
        .iter()
        .find(|r| r.text("set") == set && name(r) == term.name);
    row.unwrap_or_else(|| panic!("{set}: {}", term.name))
}

fn facts(row: &Row, words: &[&str]) -> String {
    let cells: Vec<&str> = words.iter().map(|w| row.text(w)).collect();
    cells.join(",")
}

/// Claims scatter as single independent marks do, and there are 3,151 of them: the
/// penalty against levels without a mark moves nothing by more than a fortieth of a
/// standard error. Errors are larger on purpose, by panels hit over panels hit less
/// coefficients (63/53): the report takes panels for its units, not marks.
#[test]
fn claims_per_holder_are_the_poisson_models() {
    let words = ["District", "Group", "Age"];
    let rows = published("insurance.csv");
    let panels = rows.iter().map(|row| {
        let count = row.count("Claims");
        (facts(row, &words), count, row.number("Holders"))
    });
    let (risk, terms) = risks(&words, panels);
    assert_eq!(risk["panels_hit"], 63);
    assert_eq!(risk["extra"], 0.0);
    let table = published("end_to_end_risk.csv");
    assert_eq!(terms.len(), 9);
    for term in terms {
        let row = of(&table, "insurance", &term);
        let error = row.number("std_error");
        row.check_within("estimate", term.estimate, error / 40.0);
        let ratio = term.std_error / error / (63.0 / 53.0);
        // cluster-robust errors, where wider, add up to a quarter
        let most = if term.unit == "mixed" { 1.01 } else { 1.26 };
        assert!((0.94..most).contains(&ratio), "{} {ratio}", term.name);
    }
}

/// Days absent scatter far more than single marks. The report takes the scatter by
/// moments, the reference by likelihood, and the report's errors count panels hit
/// less coefficients and panels at one setting together.
#[test]
fn days_absent_are_near_the_negative_binomial_model() {
    let words = ["Eth", "Sex", "Age", "Lrn"];
    let rows = published("quine.csv");
    // pupils of a kind follow each other in the file; as panels they would be
    // stretches of one setting
    let order = (0..rows.len()).map(|i| &rows[53 * i % rows.len()]);
    let panels = order.map(|row| (facts(row, &words), row.count("Days"), 600.0));
    let (risk, terms) = risks(&words, panels);
    assert_eq!(risk["capped_panels"], 0);
    let table = published("end_to_end_risk.csv");
    assert_eq!(terms.len(), 6);
    for term in terms {
        let row = of(&table, "quine", &term);
        let error = row.number("std_error");
        row.check_within("estimate", term.estimate, 0.05 * error);
        let ratio = term.std_error / error;
        assert!((1.0..1.2).contains(&ratio), "{} {ratio}", term.name);
    }
}
