//! Terminals from a few letters to a stage.

use super::*;

#[test]
fn a_large_terminal_has_larger_letters() {
    let state = state(FIRST + 5.2 * PERIOD, true);
    let blocks = |width, height| {
        let screen = screen(&state, width, height);
        screen.chars().filter(|c| "█▀▄".contains(*c)).count()
    };
    assert!(blocks(120, 40) > 2 * blocks(80, 24));
    assert!(blocks(200, 60) > blocks(120, 40));
    shows(&screen(&state, 120, 40), &["to The Ferryman's Teacup"]);
}

#[test]
fn a_small_terminal_keeps_what_matters() {
    let state = state(FIRST + 5.2 * PERIOD, true);
    shows(
        &screen(&state, 40, 12),
        &[
            "Lanterns on the Weir",
            "neighbours swing",
            "NEXT in 11 beats",
            "[6]",
            "[A1]",
            "120 steps/min ▼ a little slower",
            "sure ▮▮▮▯",
        ],
    );
    shows(&screen(&state, 20, 2), &["6 A1 sure", "> robins do-si-do"]);
    shows(&screen(&state, 20, 1), &["6 A1 > robins"]);
}

#[test]
fn every_size_can_be_drawn_at_every_moment() {
    for (with_card, step) in [(true, 7), (false, 11)] {
        for (i, time) in [0.0, 2.7, 3.1, 10.6, 34.6, 40.0, 90.0]
            .into_iter()
            .enumerate()
        {
            let mut state = state(time, with_card);
            state.help = i % 2 == 0;
            state.message = (i % 3 == 0).then(|| "x".repeat(300));
            for width in (0..130).step_by(step) {
                for height in (0..50).step_by(step - 4) {
                    assert_eq!(
                        rows(&buffer(&state, width, height)).len(),
                        usize::from(height) * usize::from(width > 0)
                    );
                }
            }
        }
    }
}
