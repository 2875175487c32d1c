//! Up to four files about the same panels, parted by a byte that no text has:
//! what they say together does not depend on their order.
#![no_main]

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use onus_fuzz::records::TextReader;
use onus_fuzz::site::Site;

/// Parts the files.
const BETWEEN: u8 = 0xff;

static SITE: LazyLock<Site> = LazyLock::new(Site::default);
static READER: LazyLock<TextReader<'static>> = LazyLock::new(|| TextReader::new(&SITE));

fuzz_target!(|bytes: &[u8]| {
    let mut files: Vec<&[u8]> = bytes.splitn(4, |b| *b == BETWEEN).collect();
    let there = READER.join(&files);
    files.reverse();
    let back = READER.join(&files);
    assert_eq!(there.is_some(), back.is_some());
    if let (Some(there), Some(back)) = (there, back) {
        assert_eq!(there.panels, back.panels);
        assert_eq!(there.defects, back.defects);
        assert_eq!(there.readings, back.readings);
        assert_eq!(there.input, back.input);
    }
});
