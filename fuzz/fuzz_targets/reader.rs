//! Any bytes as an inspection file: read or refused, never a panic. The first
//! byte chooses the site file.
#![no_main]

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use onus_fuzz::records::TextReader;
use onus_fuzz::site::Site;

/// Site files that read in different ways.
const SITES: [&str; 4] = [
    "",
    "[site]\ntime_zone = \"Europe/Berlin\"\n[dates]\norder = \"day-first\"\n[numbers]\ndecimal = \"comma\"\nthousands = \".\"\n",
    "[read]\npanel_id_from_file = \"panel_{panel_id}\"\n[dates]\norder = \"month-first\"\n[units]\nx_mm = \"in\"\ny_mm = \"in\"\n[factors]\noverlap = \"number\"\n",
    "[columns]\npanel_id = [\"Serial\"]\n[read]\npanel_key = [\"date\", \"panel_id\"]\n[frames]\norigin = \"upper-left\"\n[defects.synonyms]\nscratch = [\"kratzer\"]\n",
];

static PARSED: LazyLock<Vec<Site>> = LazyLock::new(|| {
    let site = |text: &&str| Site::parse(text, "onus.toml".as_ref());
    SITES.iter().map(site).map(|s| s.expect("a good site file")).collect()
});
static READERS: LazyLock<Vec<TextReader<'static>>> =
    LazyLock::new(|| PARSED.iter().map(TextReader::new).collect());

fuzz_target!(|bytes: &[u8]| {
    let Some((choice, bytes)) = bytes.split_first() else {
        return;
    };
    let _read_or_refused = READERS[usize::from(*choice) % READERS.len()].file(bytes);
});
