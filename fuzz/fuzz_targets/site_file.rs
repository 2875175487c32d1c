//! Any text as a site file: read, or an error that names a line of it.
#![no_main]

use libfuzzer_sys::fuzz_target;
use onus_fuzz::site::{Site, SiteError};

fuzz_target!(|text: &str| {
    if let Err(error) = Site::parse(text, "onus.toml".as_ref()) {
        let SiteError::Content { line, .. } = error else {
            panic!("no file was opened");
        };
        assert!(line >= 1 && line <= text.split('\n').count().max(1));
    }
});
