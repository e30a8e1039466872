//! What shows when, and that flashes stay rare.

use super::*;
use crate::event::Phrase;
use crate::phrase::Part;
use crate::report::tempo::Advice;
use proptest::prelude::*;

fn state() -> State {
    let card = Card::parse(crate::dance::LANTERNS_ON_THE_WEIR, "card").unwrap();
    State::new(Setup {
        card: Some(Arc::new(card)),
        length: Some(100.0),
        flash: true,
        ..Setup::default()
    })
}

fn beat(time: f64, count: Option<u8>) -> Event {
    Event::Beat(Beat {
        time,
        announced: time - 0.08,
        count,
        steps_per_minute: 120.0,
        sure: 0.9,
    })
}

fn phrase(time: f64) -> Event {
    Event::Phrase(Phrase {
        time,
        announced: time - 0.08,
        part: Part::from_index(2).unwrap(),
        phrase: 4,
        time_through: 2,
        sure: 0.95,
    })
}

fn cue(flash_at: f64) -> Cue {
    Cue {
        flash_at,
        for_beat_time: flash_at + 0.2,
        figure: None,
        call: "one".into(),
        beat_in_dance: 0,
        time_through: 1,
    }
}

#[test]
fn nothing_shows_before_its_time() {
    let mut state = state();
    state.update(&phrase(10.0));
    state.update(&beat(10.0, Some(1)));
    state.update(&beat(10.5, Some(2)));
    state.at(9.999);
    assert_eq!((state.count(), state.sure()), (None, None));
    assert_eq!(state.figure_next().unwrap().1, None);
    state.at(10.0);
    assert_eq!(state.count(), Some(1));
    assert_eq!(state.place().unwrap().time_through, 2);
    assert_eq!(
        state.figure_now().unwrap().name,
        "long lines forward and back"
    );
    let (next, beats) = state.figure_next().unwrap();
    assert_eq!((next.name.as_str(), beats), ("star by the right", Some(8)));
    state.at(10.7);
    assert_eq!(state.count(), Some(2));
    assert_eq!(state.figure_next().unwrap().1, Some(7));
    assert_eq!(state.progress(), Some(0.107));
}

/// A dance with a figure of its own at its beginning and its end, `times` times through,
/// on the first beat of `phrase` of its time through `time`.
fn danced_once(times: Option<u32>, time: u32, number: u32) -> State {
    let card = crate::dance::LANTERNS_ON_THE_WEIR.to_owned()
        + "\n[intro]\nfigure = \"neighbours bow\"\ncall = \"bow\"\n\n[ending]\nfigure = \"partners bow\"\ncall = \"bow\"\n";
    let mut state = State::new(Setup {
        card: Some(Arc::new(Card::parse(&card, "card").unwrap())),
        times,
        ..Setup::default()
    });
    state.update(&Event::Phrase(Phrase {
        time: 10.0,
        announced: 9.9,
        part: Part::from_index(number as u8 / 2).unwrap(),
        phrase: number,
        time_through: time,
        sure: 0.95,
    }));
    for beat_of in 0..8 {
        state.update(&beat(10.0 + 0.5 * f64::from(beat_of), Some(beat_of + 1)));
    }
    state
}

#[test]
fn a_figure_danced_once_shows_instead_of_the_usual_one() {
    let now = |state: &State| state.figure_now().map(|f| f.name.clone());
    let next = |state: &State| {
        state
            .figure_next()
            .map(|(f, beats)| (f.name.clone(), beats))
    };
    let named = |name: &str, beats| Some((name.to_owned(), beats));
    let mut first = danced_once(Some(2), 1, 0);
    assert_eq!(next(&first), named("neighbours bow", None));
    first.at(10.0);
    assert_eq!(now(&first), Some("neighbours bow".into()));
    let mut end_of_first = danced_once(Some(2), 1, 7);
    end_of_first.at(12.0);
    assert_eq!(now(&end_of_first), Some("pass through to the next".into()));
    assert_eq!(next(&end_of_first), named("neighbours balance", Some(4)));
    let mut last = danced_once(Some(2), 2, 7);
    last.at(10.0);
    assert_eq!(next(&last), named("partners bow", Some(4)));
    last.at(12.0);
    assert_eq!(now(&last), Some("partners bow".into()));
    let mut endless = danced_once(None, 2, 7);
    endless.at(12.0);
    assert_eq!(now(&endless), Some("pass through to the next".into()));
}

#[test]
fn after_the_last_time_no_figure_is_announced() {
    let mut last = danced_once(Some(2), 2, 7);
    last.at(11.6);
    assert_eq!((last.ends_in(), last.figure_next().is_some()), (None, true));
    last.at(12.0);
    assert_eq!((last.ends_in(), last.figure_next()), (Some(4), None));
    last.at(13.5);
    assert_eq!(last.ends_in(), Some(1));
    let mut beyond = danced_once(Some(2), 3, 0);
    beyond.at(10.0);
    assert_eq!((beyond.figure_now(), beyond.ends_in()), (None, None));
    // The first one is to be ready, should it all begin anew.
    assert_eq!(beyond.figure_next().map(|next| next.1), Some(None));
}

#[test]
fn when_the_music_stops_it_listens_again() {
    let mut state = state();
    state.update(&phrase(10.0));
    state.update(&beat(10.0, Some(1)));
    state.at(11.0);
    assert!(state.sure().is_some());
    state.at(11.3);
    assert!(!state.hears_beats());
    assert_eq!((state.count(), state.place()), (None, None));
}

#[test]
fn a_lead_in_shows_until_the_tune_starts() {
    let mut state = state();
    state.update(&Event::LeadIn(LeadIn {
        time: 1.0,
        announced: 2.6,
        one: 3.0,
    }));
    state.at(2.5);
    assert!(state.lead_in().is_none());
    state.at(2.7);
    assert!(state.lead_in().is_some());
    state.at(3.0);
    assert!(state.lead_in().is_none());
}

#[test]
fn a_cue_is_up_for_one_beat_and_lit_if_wanted() {
    let mut state = state();
    state.cue(cue(5.0));
    state.at(4.9);
    assert!(state.present_cue().is_none() && !state.lit());
    state.at(5.1);
    assert!(state.present_cue().is_some() && state.lit());
    state.flash = false;
    assert!(state.present_cue().is_some() && !state.lit());
    state.at(5.15);
    state.flash = true;
    state.at(5.16);
    assert!(state.lit(), "on again within the cue");
    state.at(5.2);
    assert!(state.present_cue().is_none());
}

#[test]
fn a_message_goes_after_its_time() {
    let mut state = state();
    state.at(3.0);
    state.say("this is one".into(), 2.0);
    state.at(4.9);
    assert_eq!(state.message.as_deref(), Some("this is one"));
    state.at(5.0);
    assert_eq!(state.message, None);
    state.message = Some("it stays".into());
    state.at(500.0);
    assert!(state.message.is_some());
}

#[test]
fn the_tempo_is_held_against_the_window_once_eight_beats_are_heard() {
    let mut state = state();
    // The card says 116.
    assert_eq!(state.want(), Want::new(114.0, 118.0).ok());
    for i in 0..20 {
        state.update(&beat(f64::from(i) * 0.5, None));
    }
    state.at(1.0);
    assert_eq!(state.advice(), None);
    state.at(9.6);
    let advice = state.advice();
    assert_eq!(
        advice,
        Some((Advice::LittleSlower, "a little slower (by 2)".into()))
    );
    state.at(20.0);
    assert_eq!((state.advice(), state.steps_per_minute()), (None, None));
    let card = Card::parse(crate::dance::LANTERNS_ON_THE_WEIR, "card").unwrap();
    let told = State::new(Setup {
        card: Some(Arc::new(card)),
        want: Want::new(108.0, 112.0).ok(),
        ..Setup::default()
    });
    assert_eq!(told.want(), Want::new(108.0, 112.0).ok());
}

#[test]
fn the_loudest_of_the_last_seconds_is_kept() {
    let mut state = state();
    let loudest = |state: &State| state.level().map(|level| level.loudest);
    assert_eq!(loudest(&state), None);
    for (now, peak, kept) in [
        (0.0, 0.4, 0.4),
        (1.0, 0.01, 0.4),
        (1.5, 0.5, 0.5),
        (3.4, 0.02, 0.5),
        (3.6, 0.03, 0.03),
    ] {
        state.at(now);
        state.hears(peak, false);
        assert_eq!(loudest(&state), Some(kept), "{now}");
    }
}

/// A beat, what the caller does then, and how long until the next.
fn moments() -> impl Strategy<Value = Vec<(f64, Option<u8>, u8, f64)>> {
    let count = proptest::option::of(1..=8_u8);
    proptest::collection::vec((0.05..1.0_f64, count, 0..8_u8, 0.0..0.6_f64), 1..60)
}

proptest! {
    /// Whatever the tempo, however the count jumps, whichever keys are pressed
    /// and however the sound's clock runs: large areas light up at most three
    /// times in any second.
    #[test]
    fn flashes_stay_within_three_in_any_second(
        moments in moments(),
        pace in 0.2..4.0_f64,
    ) {
        let mut state = state();
        let (mut sound, mut begun) = (0.0, Vec::new());
        let (mut cue_lit, mut one_lit) = (false, false);
        for (wait, count, key, cue_for) in moments {
            state.update(&beat(sound, count));
            if key % 2 == 0 {
                state.cue(Cue { for_beat_time: sound + cue_for, ..cue(sound) });
            }
            let until = sound + wait;
            while sound < until {
                if key > 5 {
                    state.flash = !state.flash;
                }
                let seen = sound / pace;
                state.at_moment(sound, seen);
                for (was, is) in [(&mut cue_lit, state.lit()), (&mut one_lit, state.one_lit())] {
                    if is && !*was {
                        begun.push(seen);
                    }
                    *was = is;
                }
                sound += 0.02;
            }
        }
        for from in &begun {
            let second = *from..=from + 1.0;
            let within = begun.iter().filter(|b| second.contains(*b)).count();
            prop_assert!(within <= 3, "{within} from {from}");
        }
    }

    /// At a steady tempo every cue and every "one" of a dance is lit.
    #[test]
    fn at_dance_tempi_no_flash_is_lost(tempo in 86.0..148.0_f64) {
        let mut state = state();
        let period = 60.0 / tempo;
        for i in 0..32_u32 {
            let time = f64::from(i) * period;
            state.update(&beat(time, Some((i % 8 + 1) as u8)));
            if i % 4 == 3 {
                state.cue(Cue { for_beat_time: time + period, ..cue(time) });
            }
            for step in 1..20 {
                state.at(time + period * f64::from(step) / 20.0);
                prop_assert_eq!(state.lit(), i % 4 == 3, "{}", i);
                prop_assert_eq!(state.one_lit(), i % 8 == 0, "{}", i);
            }
        }
    }
}

#[test]
fn another_dance_comes_up_with_its_own_tempo_and_without_old_cues() {
    let mut state = state();
    state.claps = true;
    state.cue(cue(5.0));
    state.update(&phrase(6.0));
    let text = crate::dance::THE_TIN_KETTLE_RING;
    let ring = Arc::new(Card::parse(text, "card").unwrap());
    state.dance(Some(ring), "the band".into());
    state.at(5.1);
    assert_eq!(state.card().unwrap().title(), "The Tin Kettle Ring");
    assert!(state.present_cue().is_none(), "a cue of the dance before");
    let want = state.want().unwrap();
    assert!((want.low() - 108.0).abs() < 1e-9, "{want}");
    state.update(&beat(6.0, Some(1)));
    state.at(6.0);
    assert!(state.place().is_some(), "what was announced is kept");
    state.dance(None, "A waltz".into());
    assert!(state.card().is_none() && state.want().is_none());
    assert_eq!((state.tune.as_str(), state.claps), ("A waltz", true));
}
