//! From one dance to the next, and after the last time.

use super::*;

/// A card of one figure a part, in so many parts.
fn card(parts: &[&str]) -> Option<Arc<Card>> {
    let mut text = format!("title = \"T\"\nformation = \"scatter\"\nform = {parts:?}\n");
    for part in parts {
        text += &format!("[[{part}]]\nfigure = \"F {part}\"\nbeats = 16\ncall = \"c\"\n");
    }
    Some(Arc::new(Card::parse(&text, "card").expect("a card")))
}

#[test]
fn the_next_dance_keeps_the_count_of_a_band_that_began_early() {
    let (sound, phrases) = tune();
    let mut hall = Hall::new(sound, 0.0);
    hall.until(phrases[2] + 0.5);
    hall.live
        .dance(card(&["A1", "A2", "B1", "B2"]))
        .expect("a usual rate");
    let events = hall.until(phrases[6] + 0.5);
    let heard: Vec<&Event> = events
        .iter()
        .filter(|event| matches!(event, Event::Phrase(_)))
        .collect();
    assert_eq!(heard.len(), 4, "{heard:?}");
    for phrase in &phrases[3..=6] {
        assert!(hall.error(*phrase).abs() < 0.05, "{phrase}");
    }
}

#[test]
fn a_dance_of_another_form_is_listened_for_anew_without_a_jump_of_time() {
    let (sound, _) = tune();
    let mut hall = Hall::new(sound, 0.0);
    hall.until(10.0);
    let now = hall.mic.true_time(hall.mic.count as f64);
    let before = hall.live.sound_at(now).expect("a settled line");
    hall.live.dance(card(&["A1", "A2"])).expect("a usual rate");
    let after = hall.live.sound_at(now).expect("a settled line");
    assert!((before - after).abs() < 1e-6, "{before} {after}");
    let events = hall.until(20.0);
    let beats: Vec<f64> = events
        .iter()
        .filter(|event| matches!(event, Event::Beat(_)))
        .map(Event::time)
        .collect();
    // It finds the beat again, in the same seconds of sound.
    assert!(beats.len() > 8, "{beats:?}");
    assert!(
        beats.iter().all(|beat| (9.9..20.2).contains(beat)),
        "{beats:?}"
    );
    // Without a card the usual form is back.
    hall.live.dance(None).expect("a usual rate");
    assert_eq!(hall.live.settings.form, Form::default());
}

#[test]
fn the_next_dance_has_its_own_calls_and_something_without_a_card_has_none() {
    let (sound, phrases) = tune();
    let first = Card::parse(LANTERNS_ON_THE_WEIR, "card").expect("bundled");
    let next = card(&["A1", "A2", "B1", "B2"]).expect("a card");
    let mut hall = Hall::new(sound, 0.0);
    hall.live.call(&calling(&first));
    hall.until(phrases[1] + 1.0);
    assert!(!hall.calls.is_empty());
    let of_next = calling(&next);
    hall.live.dance(Some(next)).expect("a usual rate");
    hall.live.call(&of_next);
    hall.calls.clear();
    hall.until(phrases[4] + 1.0);
    let words: Vec<&str> = hall.calls.iter().map(|call| call.0.as_str()).collect();
    // With A2 it knows its place; B1 is the first that it can call.
    assert_eq!(words, ["c"]);
    hall.live.dance(None).expect("a usual rate");
    hall.calls.clear();
    hall.live.set_voice(true);
    hall.until(phrases[7]);
    assert!(hall.calls.is_empty(), "{:?}", hall.calls);
}

#[test]
fn after_the_last_time_nothing_is_clapped() {
    let (sound, phrases) = tune();
    // The band plays on; the caller has said that one time through is the last.
    let twice = [&sound[..], &sound[(phrases[0] * 48_000.0) as usize..]].concat();
    let mut hall = Hall::new(twice, 0.0);
    hall.until(phrases[3]);
    hall.live.set_times(Some(1));
    let events = hall.until(phrases[7] + 12.0);
    let later = |e: &&Event| matches!(e, Event::Phrase(p) if p.time_through > 1);
    assert_eq!(events.iter().filter(later).count(), 0);
    assert!(hall.error(phrases[7]).abs() < 0.05);
    let last = hall.heard(phrases[7]) + 1.0;
    assert!(hall.claps.iter().all(|at| *at < last), "{:?}", hall.claps);
}
