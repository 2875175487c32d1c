//! Any text as a site file: read, or an error that names a line.
#![no_main]

use libfuzzer_sys::fuzz_target;
use onus_fuzz::site::Site;

fuzz_target!(|text: &str| {
    if let Err(error) = Site::parse(text, "onus.toml".as_ref()) {
        assert!(error.to_string().starts_with("onus.toml, line "));
    }
});
