//! Any bytes as a samples.
#![no_main]
#![allow(dead_code, reason = "the file has bodies for other targets too")]

#[path = "../sound.rs"]
mod sound;

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| sound::is_heard(bytes));
