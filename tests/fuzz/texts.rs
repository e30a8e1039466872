//! What must hold of any text taken for a programme, a lesson or a kept rehearsal: it is
//! read and can be shown, or it is refused with its place.

use std::io::Write;

use eightclap::caller::session;
use eightclap::dance::CardError;
use eightclap::dance::lesson::Lesson;
use eightclap::dance::programme::Programme;
use eightclap::report::rehearsal::{self, Rehearsal};
use eightclap::report::{lesson, programme};

fn has_a_place(text: &str, error: &CardError) {
    assert!(!error.troubles().is_empty());
    let lines = text.split('\n').count();
    for trouble in error.troubles() {
        assert!((1..=lines).contains(&trouble.line) && trouble.column >= 1);
    }
}

/// Panics if `text` is no programme and not refused as one.
pub fn is_a_programme_or_refused(text: &str) {
    match Programme::parse(text, "m", None) {
        Ok(read) => {
            for trouble in read.advice() {
                assert!(trouble.to_string().starts_with("m:"));
            }
            assert!(read.minutes().is_finite() && read.slots().len() == read.items().len());
            assert!(!programme::table(&read).is_empty());
            assert!(!programme::set_list(&read).is_empty());
            for reader in [programme::Reader::Caller, programme::Reader::Band] {
                let page = programme::page(&read, reader);
                assert!(page.ends_with("</html>") && !page.contains("<script"));
            }
        }
        Err(error) => has_a_place(text, &error),
    }
}

/// Panics if `text` is no lesson and not refused as one.
pub fn is_a_lesson_or_refused(text: &str) {
    match Lesson::parse(text, "m") {
        Ok(read) => {
            assert!(!read.steps().is_empty() && read.minutes().is_finite());
            for step in read.steps() {
                let loudness = step.drill.iter().flat_map(|drill| {
                    (0..drill.phrases.min(1_000)).map(|phrase| drill.loudness(phrase))
                });
                assert!({ loudness }.all(|loud| (0.0..=1.0).contains(&loud)));
            }
            for width in [1, 40, 200] {
                assert!(!lesson::script(&read, width).is_empty());
            }
            let page = lesson::page(&read);
            assert!(page.ends_with("</html>") && !page.contains("<script"));
        }
        Err(error) => has_a_place(text, &error),
    }
}

/// Panics if `bytes` are no rehearsal that can be scored and shown, and not refused.
pub fn is_a_rehearsal_or_refused(bytes: &[u8]) {
    let mut file = tempfile::NamedTempFile::new().expect("a folder for temporary files");
    file.write_all(bytes).expect("room on the disk");
    let read = session::read(file.path()).and_then(Rehearsal::of);
    match read {
        Ok(read) => {
            assert!(!rehearsal::text(&read).is_empty());
            assert!(!rehearsal::csv(&read).is_empty());
            assert!(rehearsal::json(&read).is_ok());
            let all = [read];
            assert!(!rehearsal::progress(&all).is_empty());
            let page = rehearsal::page(&all[0], &[]);
            assert!(page.ends_with("</html>") && !page.contains("<script"));
        }
        Err(error) => assert!(!error.to_string().is_empty()),
    }
}
