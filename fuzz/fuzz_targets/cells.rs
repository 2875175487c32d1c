//! Any text as a cell and as a header: a number that comes out is finite, and
//! spaces around a cell change nothing.
#![no_main]

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use onus_fuzz::records::TextReader;
use onus_fuzz::site::Site;

static SITE: LazyLock<Site> = LazyLock::new(|| {
    let text = "[site]\ntime_zone = \"Europe/Berlin\"\n[dates]\norder = \"day-first\"\n";
    Site::parse(text, "onus.toml".as_ref()).expect("a good site file")
});
static READER: LazyLock<TextReader<'static>> = LazyLock::new(|| TextReader::new(&SITE));

fuzz_target!(|text: &str| {
    let numbers = READER.cell(text);
    assert!(numbers.iter().all(|number| number.is_finite()));
    assert_eq!(numbers, READER.cell(&format!(" {text}\t")));
    let _known = READER.header(text);
});
