//! Any bytes as `config.toml`.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    if let Ok(text) = std::str::from_utf8(bytes) {
        eightclap::cli::config_is_read_or_refused(text);
    }
});
