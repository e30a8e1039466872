//! Any bytes as a lesson.
#![no_main]
#![allow(dead_code, reason = "the file has bodies for other targets too")]

#[path = "../texts.rs"]
mod texts;

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    if let Ok(text) = std::str::from_utf8(bytes) {
        texts::is_a_lesson_or_refused(text);
    }
});
