//! Many demos: what the interval of a change says of kinds that the change
//! touches and of kinds that it leaves alone.
#![allow(clippy::print_stdout, reason = "the table")]

use onus::change::{Question, Settings, recipe_changes};
use onus::demo::{Workshop, inspection_files, write};
use onus::records::{OnReject, ReadOptions, read};
use onus::site::Site;
use onus::stats::distributions::binomial;

#[test]
#[ignore = "takes minutes and prints a table"]
fn demo_seeds() {
    let workshop = Workshop::from_fixture().unwrap();
    let rows: Vec<_> = (1..=400_u64)
        .map(|seed| {
            let folder = tempfile::tempdir().unwrap();
            let files = inspection_files(&workshop, seed);
            write(folder.path(), &files).unwrap();
            let site = Site::load(&folder.path().join("onus.toml")).unwrap();
            let options = ReadOptions {
                on_reject: OnReject::Count,
                ..ReadOptions::default()
            };
            let records = read(&[folder.path().join("inspections")], &site, &options).unwrap();
            let found = recipe_changes(&records, &Settings::from(&site.analysis));
            assert!(matches!(
                found.comparisons[0].question,
                Question::Recipe { .. }
            ));
            found.comparisons[0].changes.clone()
        })
        .collect();
    for (name, truth) in [
        ("dust nib", 1.0),
        ("glue spot", 1.0),
        ("orange peel left", 0.25),
    ] {
        let all: Vec<_> = rows.iter().flatten().filter(|c| c.defect == name).collect();
        let given: Vec<_> = all.iter().filter_map(|c| c.ratio_ci).collect();
        let held = given
            .iter()
            .filter(|ci| ci.low <= truth && truth <= ci.high)
            .count();
        let over = all
            .iter()
            .filter(|c| c.p.is_some_and(|p| p <= 0.05))
            .count();
        let before: usize = all.iter().map(|c| c.before.defects).sum();
        let after: usize = all.iter().map(|c| c.after.defects).sum();
        let mut verdicts = std::collections::BTreeMap::new();
        for c in &all {
            *verdicts.entry(format!("{:?}", c.verdict)).or_insert(0) += 1;
        }
        println!(
            "{name}: held {held} of {}; p<=.05 {over}; counts {before} {after}; {verdicts:?}",
            given.len()
        );
        assert!(binomial::at_most(held as u64, given.len() as u64, 0.95) > 1e-3);
    }
}
