//! Whole screens, kept as text.

use super::*;

/// The screen in everything that may befall it.
fn states() -> Vec<(&'static str, State)> {
    let playing = || state(FIRST + 5.2 * PERIOD, true);
    let mut not_sure = state(0.0, true);
    for event in events() {
        not_sure.update(&match event {
            Event::Phrase(phrase) => Event::Phrase(Phrase {
                sure: 0.4,
                ..phrase
            }),
            event => event,
        });
    }
    not_sure.at(FIRST + 5.2 * PERIOD);
    let mut silent = playing();
    silent.silent = true;
    silent.say("going on in silence: no sound device was found".into(), 9.0);
    let mut last_time = playing();
    (last_time.times, last_time.voice) = (Some(1), Some(true));
    let mut held = playing();
    held.held = true;
    let level = |peak, clips| {
        let mut state = playing();
        state.length = None;
        state.hears(peak, clips);
        state
    };
    let mut calm = state(FIRST + 15.1 * PERIOD, true);
    calm.flash = false;
    let mut tempo = playing();
    tempo.wants("100..108".parse().expect("a window"));
    vec![
        ("waiting", state(0.0, true)),
        ("lead_in", state(FIRST - 0.5 * PERIOD, true)),
        ("sure", playing()),
        ("without_flash", calm),
        ("not_sure", not_sure),
        ("silent", silent),
        ("last_time", last_time),
        ("held", held),
        ("too_quiet", level(0.01, false)),
        ("clipping", level(1.0, true)),
        ("wrong_tempo", tempo),
    ]
}

/// To be looked at when they change: `INSTA_UPDATE=always cargo test --lib screen`
/// writes them anew, and `git diff` shows what changed.
#[test]
fn pictures_are_as_they_were_looked_at() {
    let picture = |state: &State, width, height| {
        let rows = rows(&buffer(state, width, height));
        let rows: Vec<&str> = rows.iter().map(|row| row.trim_end()).collect();
        format!("{width} x {height}\n{}\n", rows.join("\n"))
    };
    for (name, state) in states() {
        let small = [(40, 12), (80, 24)].map(|(w, h)| picture(&state, w, h));
        insta::assert_snapshot!(name, small.join("\n"));
        if ["waiting", "sure", "wrong_tempo", "last_time"].contains(&name) {
            insta::assert_snapshot!(format!("{name}_huge"), picture(&state, 240, 70));
        }
    }
}
