//! Any bytes as a dance card.
#![no_main]

#[path = "../body.rs"]
mod body;

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    if let Ok(text) = std::str::from_utf8(bytes) {
        body::is_read_or_refused(text);
    }
});
