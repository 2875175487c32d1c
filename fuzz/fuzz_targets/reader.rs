//! Any bytes as an inspection file: read or refused, never a panic.
#![no_main]

use libfuzzer_sys::fuzz_target;
use onus_fuzz::records::try_text;
use onus_fuzz::site::Site;

fuzz_target!(|bytes: &[u8]| {
    let _read_or_refused = try_text(bytes, &Site::default());
});
