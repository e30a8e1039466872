//! What must hold of any text taken for a dance card: it is read whole, and then
//! can be checked, followed, drawn and printed, or it is refused with a place.
//! Shared by `tests/cards.rs` and the fuzz target.

use eightclap::dance::{Card, Figures, Roles, check};
use eightclap::report::card as shown;

/// Panics if `text` is neither read whole nor refused with a place.
pub fn is_read_or_refused(text: &str) {
    match Card::parse(text, "m") {
        Ok(card) => is_whole(&card),
        Err(error) => {
            assert!(!error.troubles().is_empty());
            assert!(error.to_string().starts_with("m:"));
            let lines = text.split('\n').count();
            for trouble in error.troubles() {
                assert!((1..=lines).contains(&trouble.line) && trouble.column >= 1);
            }
        }
    }
}

fn is_whole(card: &Card) {
    let beats = card.form().beats();
    let sum: u32 = card.figures().iter().map(|f| f.beats).sum();
    assert_eq!(sum, beats);
    for beat in 0..beats {
        let figure = card.figure_at(beat);
        assert!((figure.start_beat..figure.start_beat + figure.beats).contains(&beat));
    }
    let figures = Figures::builtin();
    let report = check::check(card, figures, &|words| {
        (words.len() % 3 == 0).then_some(1.5)
    });
    assert_eq!(report.calls.len(), card.figures().len());
    assert!(report.swinging <= beats && report.active.iter().all(|b| *b <= beats));
    for finding in &report.findings {
        assert!(finding.trouble.to_string().starts_with("m:"));
    }
    if let Some(followed) = &report.followed {
        let danced = followed.after.len();
        let stopped = followed.stopped.as_ref().map(|s| s.figure);
        assert_eq!(stopped.unwrap_or(card.figures().len()), danced);
        for set in &followed.after {
            assert_eq!(set.standings().len(), 2 * set.couples());
        }
    }
    assert!(!shown::calls(card, &report.calls).is_empty());
    assert!(!shown::stand(card, 60).is_empty());
    let page = shown::page(card, figures, shown::Size::A4);
    assert!(page.ends_with("</html>") && !page.contains("<script"));
    let _ = shown::svg(card, figures);
    let others = Roles::parse("baker/miller").expect("two words");
    assert_eq!(
        card.with_roles(&others).figures().len(),
        card.figures().len()
    );
}
