//! Every case of `fixtures/messy/cases.toml` comes out as written there.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use onus::records::{self, FactorValue, Lost, ReadOptions, Records, RecordsError, Reject};
use onus::site::Site;
use serde::Deserialize;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Corpus {
    case: Vec<Case>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Case {
    name: String,
    #[serde(rename = "shows")]
    _shows: String,
    #[serde(rename = "made")]
    _made: String,
    input: Vec<String>,
    site: Option<String>,
    /// Part of the error and of its hint, where nothing can be read.
    error: Option<String>,
    hint: Option<String>,
    panels: Option<usize>,
    clean: Option<usize>,
    defects: Option<usize>,
    #[serde(default)]
    readings: usize,
    #[serde(default)]
    reinspections: usize,
    files: Option<usize>,
    #[serde(default)]
    skipped: usize,
    #[serde(default)]
    rows: usize,
    #[serde(default)]
    lost_panels: usize,
    lost_defects: Option<usize>,
    /// All codes but those that small files always earn.
    #[serde(default)]
    warnings: BTreeSet<String>,
    warning_text: Option<String>,
    #[serde(default)]
    rejects: Vec<Rejected>,
    ids: Option<Vec<String>>,
    names: Option<Vec<String>>,
    lots: Option<Vec<String>>,
    times: Option<Vec<String>>,
    grains: Option<Vec<String>>,
    places: Option<Vec<(f64, f64)>>,
    sizes: Option<Vec<(f64, f64)>>,
    feeds: Option<Vec<f64>>,
    forces: Option<Vec<f64>>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Rejected {
    file: String,
    line: Option<u64>,
    column: Option<String>,
    value: Option<String>,
    lost: String,
    why: String,
}

/// Warned of in any file of two or three panels (one lost row is more than a
/// tenth of them), so not part of a case.
const OF_SMALL_FILES: [&str; 5] = [
    "few-panels",
    "many-lost",
    "one-lay",
    "one-lot",
    "no-clean-panels",
];

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/messy")
}

fn read(case: &Case) -> Result<Records, RecordsError> {
    let site = case.site.as_deref().map_or_else(Site::default, |text| {
        Site::parse(text, Path::new("onus.toml")).unwrap_or_else(|e| panic!("{}: {e}", case.name))
    });
    let inputs: Vec<PathBuf> = case.input.iter().map(|i| folder().join(i)).collect();
    records::read(&inputs, &site, &ReadOptions::default())
}

#[test]
fn every_messy_file_comes_out_as_the_rules_say() {
    let text = std::fs::read_to_string(folder().join("cases.toml")).unwrap();
    let corpus: Corpus = toml::from_str(&text).unwrap();
    assert!(corpus.case.len() > 60);
    let mut wrong = Vec::new();
    for case in &corpus.case {
        let mut differences = match (read(case), &case.error) {
            (Err(error), Some(expected)) => {
                let hint = error.hint().unwrap_or_default();
                let mut out = Vec::new();
                if !error.to_string().contains(expected) {
                    out.push(format!("error is {error}"));
                }
                if !hint.contains(case.hint.as_deref().unwrap_or_default()) {
                    out.push(format!("hint is {hint}"));
                }
                out
            }
            (Err(error), None) => vec![format!("error: {error}")],
            (Ok(_), Some(_)) => vec!["no error".to_owned()],
            (Ok(records), None) => differences(case, &records),
        };
        for difference in differences.drain(..) {
            wrong.push(format!("{}: {difference}", case.name));
        }
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

fn differences(case: &Case, records: &Records) -> Vec<String> {
    let mut out = Vec::new();
    let mut same = |what: &str, got: String, expected: String| {
        if got != expected {
            out.push(format!("{what} {got}, expected {expected}"));
        }
    };
    let input = &records.input;
    let number = |what: Option<usize>| what.map_or_else(String::new, |n| n.to_string());
    same("panels", input.panels.to_string(), number(case.panels));
    same("clean", input.clean_panels.to_string(), number(case.clean));
    same("defects", input.defects.to_string(), number(case.defects));
    same(
        "readings",
        input.readings.to_string(),
        case.readings.to_string(),
    );
    same(
        "reinspections",
        input.reinspections.to_string(),
        case.reinspections.to_string(),
    );
    same(
        "skipped",
        input.skipped_files.to_string(),
        case.skipped.to_string(),
    );
    same(
        "rejected rows",
        input.rejected_rows.to_string(),
        case.rows.to_string(),
    );
    same(
        "rejected panels",
        input.rejected_panels.to_string(),
        case.lost_panels.to_string(),
    );
    if let Some(lost) = case.lost_defects {
        same(
            "lost defects",
            input.lost_defects.to_string(),
            lost.to_string(),
        );
    }
    if let Some(files) = case.files {
        same("files", input.files.to_string(), files.to_string());
    }
    let codes: BTreeSet<String> = records
        .warnings
        .iter()
        .map(|w| w.code.code().to_owned())
        .filter(|code| !OF_SMALL_FILES.contains(&code.as_str()))
        .collect();
    same(
        "warnings",
        format!("{codes:?}"),
        format!("{:?}", case.warnings),
    );
    if let Some(text) = &case.warning_text
        && !records.warnings.iter().any(|w| w.text.contains(text))
    {
        same("warning", format!("{:?}", records.warnings), text.clone());
    }
    compare_values(case, records, &mut same);
    let got: Vec<String> = records
        .rejects
        .iter()
        .map(|r| {
            format!(
                "{}:{:?} {:?} {:?} {}",
                r.file.display(),
                r.line,
                r.column,
                r.value,
                r.why
            )
        })
        .collect();
    same(
        "rejects",
        got.len().to_string(),
        case.rejects.len().to_string(),
    );
    for expected in &case.rejects {
        if !records.rejects.iter().any(|r| expected.is(r)) {
            same("rejects", format!("{got:#?}"), format!("{expected:?}"));
        }
    }
    out
}

fn compare_values(case: &Case, records: &Records, same: &mut impl FnMut(&str, String, String)) {
    let panels = &records.panels;
    let mut texts = |what: &str, got: Vec<String>, expected: &Option<Vec<String>>| {
        if let Some(expected) = expected {
            same(what, format!("{got:?}"), format!("{expected:?}"));
        }
    };
    texts(
        "ids",
        panels.iter().map(|p| p.id.clone()).collect(),
        &case.ids,
    );
    texts(
        "names",
        records
            .defect_names
            .iter()
            .map(|n| n.name.clone())
            .collect(),
        &case.names,
    );
    texts(
        "lots",
        panels
            .iter()
            .filter_map(|p| p.lot.as_ref().map(ToString::to_string))
            .collect(),
        &case.lots,
    );
    texts(
        "times",
        panels
            .iter()
            .filter_map(|p| p.sanded_at.map(|at| at.local.to_string()))
            .collect(),
        &case.times,
    );
    texts(
        "grains",
        panels
            .iter()
            .filter_map(|p| p.grit.as_ref())
            .map(|g| {
                g.grain_um
                    .map_or_else(|| "none".to_owned(), |v| v.to_string())
            })
            .collect(),
        &case.grains,
    );
    let mut pairs = |what: &str, got: Vec<(f64, f64)>, expected: &Option<Vec<(f64, f64)>>| {
        if let Some(expected) = expected {
            let near = got.len() == expected.len()
                && got
                    .iter()
                    .zip(expected)
                    .all(|(a, b)| (a.0 - b.0).abs() < CONVERTED && (a.1 - b.1).abs() < CONVERTED);
            if !near {
                same(what, format!("{got:?}"), format!("{expected:?}"));
            }
        }
    };
    pairs(
        "places",
        records
            .defects
            .iter()
            .filter_map(|d| d.place.map(|p| (p.x, p.y)))
            .collect(),
        &case.places,
    );
    pairs(
        "sizes",
        panels.iter().map(|p| (p.length_mm, p.width_mm)).collect(),
        &case.sizes,
    );
    let single = |values: &Option<Vec<f64>>| {
        values
            .as_ref()
            .map(|v| v.iter().map(|x| (*x, 0.0)).collect())
    };
    pairs(
        "feeds",
        panels
            .iter()
            .filter_map(|p| Some((p.feed_mm_s?, 0.0)))
            .collect(),
        &single(&case.feeds),
    );
    pairs(
        "forces",
        panels
            .iter()
            .filter_map(|p| Some((p.force_n?, 0.0)))
            .collect(),
        &single(&case.forces),
    );
}

/// Units are defined exactly; what is left is rounding, in mm, mm/s or N.
const CONVERTED: f64 = 1e-9;

impl Rejected {
    fn is(&self, reject: &Reject) -> bool {
        let lost = match reject.lost {
            Lost::Value => "value",
            Lost::Row => "row",
            Lost::Panel => "panel",
            Lost::File => "file",
        };
        reject.file.ends_with(&self.file)
            && reject.line == self.line
            && (self.column.is_none() || reject.column == self.column)
            && (self.value.is_none() || reject.value == self.value)
            && lost == self.lost
            && reject.why.contains(&self.why)
    }
}

#[test]
fn factors_keep_their_kind() {
    let site = Site::parse(
        "[factors]\ntilt = \"number\"\npad = \"text\"\n",
        Path::new("onus.toml"),
    )
    .unwrap();
    let records = records::read(
        &[folder().join("factors.csv")],
        &site,
        &ReadOptions::default(),
    )
    .unwrap();
    assert_eq!(records.factor_names, ["tilt", "pad"]);
    assert_eq!(
        records.panels[0].factors,
        vec![
            Some(FactorValue::Number(1.5)),
            Some(FactorValue::Text("hard".into()))
        ]
    );
    assert_eq!(records.panels[1].factors[0], None);
}
