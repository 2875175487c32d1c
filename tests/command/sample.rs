//! The sample report in the repository is what the demo makes today.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::BufReader;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::shop::files;

/// Resolution of the page images, dots per inch.
const RESOLUTION: &str = "75";

/// Versions of the renderer smooth edges differently; this many pixels may be
/// off by more than a smoothed edge is, per mille.
const PIXELS_OFF: usize = 5;

/// A smoothed edge may differ by this much of 255.
const EDGE: u8 = 64;

fn sample() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("reports/sample")
}

fn read(path: &Path) -> Vec<u8> {
    std::fs::read(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// Of a chart's file name what it shows: not its number in the report, and not
/// the number of the finding, cell or change.
fn kind_of(name: &str) -> String {
    let numbered = |part: &&str| {
        let digits = part.strip_prefix('f').unwrap_or(part);
        !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit())
    };
    let parts = name.trim_end_matches(".svg").split('-');
    parts
        .filter(|part| !numbered(part))
        .collect::<Vec<_>>()
        .join("-")
}

/// The first chart of each kind in a folder.
fn charts(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut first = BTreeMap::new();
    // Images are drawn from the SVG: they need no check of their own here.
    for name in files(folder).into_iter().filter(|n| n.ends_with(".svg")) {
        first
            .entry(kind_of(&name))
            .or_insert_with(|| read(&folder.join(&name)));
    }
    first
}

#[test]
fn the_sample_report_is_what_the_demo_makes() {
    let place = tempfile::tempdir().unwrap();
    let report = crate::demo::made().0.path().join("report");
    let stale = "reports/sample is stale: run .ci/sample";

    // Not assert_eq: a difference would print the whole file.
    assert!(
        read(&sample().join("findings.json")) == read(&report.join("findings.json")),
        "findings.json: {stale}"
    );
    let kept = charts(&sample().join("charts"));
    let now = charts(&report.join("charts"));
    assert_eq!(
        kept.keys().collect::<Vec<_>>(),
        now.keys().collect::<Vec<_>>(),
        "{stale}"
    );
    assert!(kept.len() >= 12, "a chart of each kind: {:?}", kept.keys());
    for (name, chart) in &kept {
        assert!(*chart == now[name], "{name}: {stale}");
    }
    let kept = page_count(&sample().join("report.pdf"));
    assert_eq!(
        kept,
        page_count(&report.join("report.pdf")),
        "report.pdf: {stale}"
    );
    for (image, page) in [
        ("page-1", Some(1)),
        ("page-finding", first_finding(&report)),
    ] {
        let kept = pixels(&sample().join(format!("{image}.png")));
        // Without the renderer the images cannot be compared.
        let Some(now) = page.and_then(|page| rendered(&report, page, place.path())) else {
            continue;
        };
        assert_eq!(kept.len(), now.len(), "{image}: {stale}");
        let off = kept
            .iter()
            .zip(&now)
            .filter(|(a, b)| a.abs_diff(**b) > EDGE)
            .count();
        assert!(
            off * 1000 <= PIXELS_OFF * kept.len(),
            "{image}: {off} of {} values differ; {stale}",
            kept.len()
        );
    }
}

fn page_count(pdf: &Path) -> usize {
    lopdf::Document::load(pdf).unwrap().get_pages().len()
}

/// The first page on a finding; none without the tool that reads pages.
fn first_finding(report: &Path) -> Option<usize> {
    let pages = page_count(&report.join("report.pdf"));
    (2..=pages).find(|page| {
        let page = page.to_string();
        let text = Command::new("pdftotext")
            .args(["-f", &page, "-l", &page])
            .arg(report.join("report.pdf"))
            .arg("-")
            .output();
        text.is_ok_and(|done| {
            String::from_utf8_lossy(&done.stdout).lines().any(|line| {
                let number = line.strip_prefix('F').and_then(|l| l.split_once(": "));
                number.is_some_and(|(n, _)| n.parse::<usize>().is_ok())
            })
        })
    })
}

/// A page as an image; none where pdftoppm is not installed.
fn rendered(report: &Path, page: usize, place: &Path) -> Option<Vec<u8>> {
    let page = page.to_string();
    let image = place.join("page");
    Command::new("pdftoppm")
        .args(["-r", RESOLUTION, "-f", &page, "-l", &page])
        .args(["-singlefile", "-png"])
        .arg(report.join("report.pdf"))
        .arg(&image)
        .status()
        .ok()
        .filter(std::process::ExitStatus::success)?;
    Some(pixels(&image.with_extension("png")))
}

fn pixels(path: &Path) -> Vec<u8> {
    let file = File::open(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let mut reader = png::Decoder::new(BufReader::new(file)).read_info().unwrap();
    let mut values = vec![0; reader.output_buffer_size().unwrap()];
    reader.next_frame(&mut values).unwrap();
    values
}
