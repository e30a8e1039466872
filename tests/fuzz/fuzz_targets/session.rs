//! Any bytes as a kept rehearsal.
#![no_main]
#![allow(dead_code, reason = "the file has bodies for other targets too")]

#[path = "../texts.rs"]
mod texts;

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| texts::is_a_rehearsal_or_refused(bytes));
