//! Killed at any moment, the old report or the new one is there, whole.

use std::process::Stdio;
use std::time::Duration;

use crate::shop::{Shop, files};

#[test]
fn a_run_killed_at_any_moment_leaves_a_whole_report() {
    let shop = Shop::with_spot(9);
    assert!(shop.report(&[]).status.success());
    let names = files(&shop.path("report"));
    let bytes = |shop: &Shop| -> Vec<Vec<u8>> { names.iter().map(|n| shop.made(n)).collect() };
    let whole = bytes(&shop);
    // The same input gives the same bytes, so old and new cannot be told
    // apart, but anything else would show.
    for step in 0..12 {
        let mut run = shop
            .command(&["--replace"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        std::thread::sleep(Duration::from_millis(step * 80));
        let _ = run.kill();
        run.wait().unwrap();
        assert_eq!(
            files(&shop.path("report")),
            names,
            "killed after {} ms",
            step * 80
        );
        assert_eq!(bytes(&shop), whole, "killed after {} ms", step * 80);
    }
    // A run that ends cleans up behind those that were killed.
    assert!(shop.report(&["--replace"]).status.success());
    let left = std::fs::read_dir(shop.path("")).unwrap().count();
    assert_eq!(left, 2, "inspections and report");
}
