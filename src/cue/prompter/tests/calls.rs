//! Which calls are made, and when they begin.

use super::*;

#[test]
fn a_call_begins_on_the_latest_beat_that_lets_it_be_over() {
    let mut dance = Dance::new(script(DANCE, lengths), manner(9, 0, None));
    let heard = dance.until(33).heard();
    // The one for "d" has "c" for its room; that for "e" has two beats: its short call.
    assert_eq!(
        heard,
        [
            ("call b", 5.0, 7.6),
            ("call c", 13.0, 15.6),
            ("call d", 21.0, 23.6),
            ("e", 25.0, 25.6),
            ("call f", 29.0, 31.6),
        ]
    );
}

#[test]
fn the_lead_moves_beginnings_as_far_as_there_is_room() {
    let mut manner = manner(0, 9, None);
    manner.lead = 4;
    let mut dance = Dance::new(script(DANCE, lengths), manner);
    let heard: Vec<f64> = dance.until(33).heard().iter().map(|h| h.1).collect();
    // "c" has no short call. "e" has but two beats.
    assert_eq!(heard, [4.0, 12.0, 20.0, 24.0, 28.0]);
}

#[test]
fn what_does_not_fit_is_hurried_then_shortened_then_left_out() {
    let of = |full: f64, short: f64| {
        let lengths = move |words: &str| match words {
            "call e" => Some(full),
            "e" => Some(short),
            _ => None,
        };
        let mut dance = Dance::new(script(DANCE, lengths), manner(9, 0, None));
        let heard = dance.until(30).heard.clone();
        heard
            .first()
            .map(|h| (h.1.clone(), (h.3 - h.2 - full).abs() < 1e-9))
    };
    let (said, short) = ("call e".to_owned(), "e".to_owned());
    assert_eq!(of(0.87, 0.3), Some((said.clone(), true)));
    assert_eq!(of(1.09, 0.3), Some((said, false)));
    assert_eq!(of(1.2, 0.3), Some((short.clone(), false)));
    assert_eq!(of(9.0, 1.09), Some((short, false)));
    assert_eq!(of(9.0, 1.2), None);
}

#[test]
fn calls_fade_and_the_band_is_told_of_the_end() {
    let mut dance = Dance::new(script(DANCE, lengths), manner(1, 1, Some(4)));
    dance.until(4 * 64 + 4);
    let heard = dance.heard();
    let of = |time: usize| {
        let beats = 64.0 * (time - 1) as f64..64.0 * time as f64;
        let calls = heard.iter().filter(move |h| beats.contains(&h.1));
        calls.map(|h| h.0).collect::<Vec<_>>()
    };
    // The last call of each belongs to the next time through.
    assert_eq!(
        of(1),
        ["call b", "call c", "call d", "e", "call f", "call g", "a"]
    );
    assert_eq!(of(2), ["b", "call c", "d", "e", "f", "g", TWO_MORE]);
    assert_eq!(of(3), [LAST_TIME]);
    assert_eq!(of(4), [] as [&str; 0]);
    assert_eq!(of(5), [crate::cue::FAREWELL]);
    // On the first free beat of the last part.
    let told: Vec<f64> = heard[13..15].iter().map(|h| h.1).collect();
    assert_eq!(told, [112.0, 176.0]);
}

#[test]
fn a_signal_waits_for_a_pause_between_calls() {
    // Calls so long that only the middle of the last sixteen beats is free.
    let lengths = |words: &str| match words {
        LAST_TIME => Some(1.5),
        _ => Some(3.7),
    };
    let mut dance = Dance::new(script(DANCE, lengths), manner(9, 0, Some(2)));
    let heard = dance.until(66).heard.clone();
    let signal = heard.iter().find(|h| h.1 == LAST_TIME).expect("a signal");
    assert!(
        heard
            .iter()
            .all(|h| h.0 == signal.0 || h.3 < signal.2 || signal.3 < h.2)
    );
    assert!(signal.2 >= 10.0 + 48.0 * PERIOD && signal.3 < 10.0 + 56.0 * PERIOD);
}

#[test]
fn the_first_figure_is_called_in_the_lead_in_if_its_words_are_few() {
    let mut dance = Dance::new(script(DANCE, lengths), manner(9, 0, None));
    let lead_in = Event::LeadIn(LeadIn {
        time: 8.0,
        announced: 9.42,
        one: 10.0,
    });
    dance.push(lead_in);
    dance.until(4);
    assert_eq!(dance.heard(), [("a", -1.0, -0.4)]);
    // The next tune has it again.
    dance.time += 7.0;
    (dance.number, dance.heard) = (0, Vec::new());
    let one = dance.time;
    dance.push(Event::LeadIn(LeadIn {
        time: one - 2.0,
        announced: one - 0.55,
        one,
    }));
    assert_eq!(dance.heard.len(), 1);
}

#[test]
fn introductions_end_when_the_band_begins() {
    let text = format!("{DANCE}\n[intro]\nsay = [\"first line\", \"second line\", \"third\"]\n");
    let mut dance = Dance::new(script(&text, lengths), manner(9, 0, None));
    let mut sayings = Vec::new();
    dance.prompter.introduce(1.0, &mut sayings);
    dance.obey(sayings);
    let starts: Vec<f64> = dance.heard.iter().map(|h| h.2).collect();
    let near = |a: f64, b: f64| (a - b).abs() < 1e-9;
    assert!(near(starts[0], 1.0) && near(starts[1], 2.3) && near(starts[2], 3.6));
    dance.push(Event::LeadIn(LeadIn {
        time: 1.0,
        announced: 2.5,
        one: 3.0,
    }));
    let words: Vec<&str> = dance.heard.iter().map(|h| h.1.as_str()).collect();
    assert_eq!(words[..2], ["first line", "second line"]);
    assert!(near(dance.heard[0].3, 1.8) && near(dance.heard[1].3, 2.5));
    assert!(!words.contains(&"third"));
}

#[test]
fn what_is_danced_once_is_called_once() {
    let text = format!(
        "{DANCE}\n[intro]\nfigure = \"bow\"\ncall = \"bow to her\"\nshort = \"bow\"\n\
         [ending]\nsay = [\"thanks\"]\nfigure = \"bow again\"\ncall = \"and bow\"\n"
    );
    let lengths = |words: &str| Some(if words.len() < 4 { 0.3 } else { 0.8 });
    let mut dance = Dance::new(script(&text, lengths), manner(9, 0, Some(2)));
    dance.push(Event::LeadIn(LeadIn {
        time: 8.0,
        announced: 9.42,
        one: 10.0,
    }));
    dance.until(2 * 64);
    let words: Vec<&str> = dance.heard().iter().map(|h| h.0).collect();
    let count = |wanted: &str| words.iter().filter(|w| **w == wanted).count();
    assert_eq!((count("bow"), count("call a")), (1, 1), "{words:?}");
    assert_eq!((count("call g"), count("and bow")), (1, 1), "{words:?}");
    assert_eq!(words.last(), Some(&"thanks"));
}
