//! Text from the data is data, wherever it ends up.

use crate::shop::Shop;

const DEFECT: &str =
    "=cmd|'/C calc'!A0 <script>alert(1)</script> & #import \"x\" $x$ *b* \u{1b}[31m";
const PART: &str = "../../etc/passwd\u{202e}gnp";

#[test]
fn a_hostile_name_prints_as_itself_and_runs_nowhere() {
    let shop = Shop::named(90, DEFECT, PART);
    let done = shop.report(&[]);
    assert!(
        done.status.success(),
        "{}",
        String::from_utf8_lossy(&done.stderr)
    );

    // Terminal: no control reaches it.
    for stream in [&done.stdout, &done.stderr] {
        assert!(!stream.contains(&0x1b));
        assert!(!String::from_utf8_lossy(stream).contains('\u{202e}'));
    }
    // HTML and SVG: escaped.
    let html = String::from_utf8(shop.made("report.html")).unwrap();
    assert!(!html.contains("<script"));
    assert!(html.contains("&lt;script&gt;"));
    for name in crate::shop::files(&shop.path("report")) {
        if name.ends_with(".svg") {
            let svg = String::from_utf8(shop.made(&name)).unwrap();
            assert!(
                !svg.contains("<script") && !svg.contains('\u{1b}'),
                "{name}"
            );
        }
        // Names of files never come from the data.
        assert!(!name.contains("passwd") && !name.contains("cmd"), "{name}");
    }
    // CSV: no cell begins like a formula.
    let csv = shop.made("findings.csv");
    let mut reader = csv::Reader::from_reader(csv.as_slice());
    let mut rows = 0;
    for row in reader.records() {
        for cell in &row.unwrap() {
            let formula =
                cell.starts_with(['=', '+', '-', '@', '\t', '\r']) && cell.parse::<f64>().is_err();
            assert!(!formula, "{cell}");
        }
        rows += 1;
    }
    assert!(rows > 0);
    // JSON: the name as it is, control characters escaped.
    let text = String::from_utf8(shop.made("findings.json")).unwrap();
    assert!(!text.contains('\u{1b}'));
    let name = shop.findings()["findings"][0]["defect"].clone();
    assert!(
        name.as_str()
            .unwrap()
            .starts_with("=cmd|'/C calc'!A0 <script>")
    );
    // PDF: the markup of the typesetter shows as letters.
    let pdf = crate::document::text_of(&shop.made("report.pdf"));
    assert!(pdf.iter().any(|page| page.contains("#import")), "{pdf:?}");
    assert!(pdf.iter().any(|page| page.contains("$x$ *b*")));
}

#[test]
fn three_hundred_letters_without_a_space_break_no_layout() {
    let name = "X".repeat(300);
    let shop = Shop::named(90, &name, &name);
    let done = shop.report(&[]);
    assert!(
        done.status.success(),
        "{}",
        String::from_utf8_lossy(&done.stderr)
    );
    let pages = crate::document::text_of(&shop.made("report.pdf"));
    assert!(pages[0].contains("Page 1 of"));
    assert!(
        !pages[1].contains("What to do first"),
        "page one stays one page"
    );
    // The data page has the name whole.
    let whole = pages.iter().any(|page| {
        let letters: String = page.chars().filter(|c| !c.is_whitespace()).collect();
        letters.contains(&name)
    });
    assert!(whole);
}
