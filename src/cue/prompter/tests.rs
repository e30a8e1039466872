//! The prompter's rules one by one; whole dances are in `tests/cues.rs`.

use proptest::prelude::*;

use super::*;
use crate::cue::{LAST_TIME, TWO_MORE};
use crate::dance::{Card, LANTERNS_ON_THE_WEIR};
use crate::event::Phrase;
use crate::phrase::Form;

/// At 120 steps per minute.
const PERIOD: f64 = 0.5;

/// Four figures of eight beats and one of 2, 6 and 16.
const DANCE: &str = r#"
title = "Plain"
formation = "circle mixer"
form = ["A1", "A2", "B1", "B2"]
[[A1]]
figure = "a"
beats = 8
call = "call a"
short = "a"
[[A1]]
figure = "b"
beats = 8
call = "call b"
short = "b"
[[A2]]
figure = "c"
beats = 8
call = "call c"
[[A2]]
figure = "d"
beats = 2
call = "call d"
short = "d"
[[A2]]
figure = "e"
beats = 6
call = "call e"
short = "e"
[[B1]]
figure = "f"
beats = 16
call = "call f"
short = "f"
[[B2]]
figure = "g"
beats = 16
call = "call g"
short = "g"
"#;

fn script(text: &str, seconds: impl Fn(&str) -> Option<f64>) -> Arc<Script> {
    let card = Card::parse(text, "card").unwrap();
    Arc::new(Script::new(&card, seconds))
}

/// Full calls take 1.3 s (three beats), short ones 0.3 s (one beat), all else 0.8 s.
fn lengths(words: &str) -> Option<f64> {
    Some(match words.len() {
        1 => 0.3,
        6 if words.starts_with("call") => 1.3,
        _ => 0.8,
    })
}

fn manner(full: u32, short: u32, times: Option<u32>) -> Manner {
    Manner {
        fading: Fading { full, short, times },
        lead: 1,
    }
}

/// A dance in the hearing of a prompter.
struct Dance {
    prompter: Prompter,
    /// The next beat: its time, and its number.
    time: f64,
    number: i64,
    period: f64,
    /// What will have been heard: words, beginning, end.
    heard: Vec<(u64, String, f64, f64)>,
}

impl Dance {
    fn new(script: Arc<Script>, manner: Manner) -> Self {
        Dance {
            prompter: Prompter::new(script, manner),
            time: 10.0,
            number: 0,
            period: PERIOD,
            heard: Vec::new(),
        }
    }

    fn obey(&mut self, sayings: Vec<Saying>) {
        for saying in sayings {
            match saying {
                Saying::Say(call) => {
                    self.heard.retain(|heard| heard.0 != call.id);
                    let end = call.end();
                    self.heard
                        .push((call.id, call.words.to_string(), call.start, end));
                }
                Saying::Withdraw { id } => self.heard.retain(|heard| heard.0 != id),
                Saying::Stop { id, by } => {
                    let heard = self.heard.iter_mut().find(|heard| heard.0 == id);
                    heard.expect("a call").3 = by;
                }
            }
        }
    }

    fn push(&mut self, event: Event) {
        let mut sayings = Vec::new();
        self.prompter.push(&event, &mut sayings);
        self.obey(sayings);
    }

    /// One beat, known or not.
    fn beat(&mut self, known: bool) {
        let place = Form::default().place(self.number.max(0) as u64);
        let (time, announced) = (self.time, self.time - 0.07);
        self.push(Event::Beat(Beat {
            time,
            announced,
            count: known.then(|| place.count()),
            steps_per_minute: 60.0 / self.period,
            sure: 0.9,
        }));
        if known && place.is_one() {
            self.push(Event::Phrase(Phrase {
                time,
                announced,
                part: place.part(),
                phrase: place.phrase(),
                time_through: place.time_through,
                sure: 0.9,
            }));
        }
        self.time += self.period;
        self.number += 1;
    }

    /// Beats up to this number, which is left to come.
    fn until(&mut self, number: i64) -> &mut Self {
        while self.number < number {
            self.beat(true);
        }
        self
    }

    /// What was heard: words and the beats on which they began and ended, from the
    /// first, at the usual tempo.
    fn heard(&self) -> Vec<(&str, f64, f64)> {
        let beat = |time: f64| ((time - 10.0) / PERIOD * 1e3).round() / 1e3;
        let heard = self.heard.iter();
        heard
            .map(|(_, words, from, to)| (words.as_str(), beat(*from), beat(*to)))
            .collect()
    }
}

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
    assert_eq!(of(5), [super::super::FAREWELL]);
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
fn the_key_for_the_end_is_heeded_at_once() {
    let mut dance = Dance::new(script(DANCE, lengths), manner(0, 0, None));
    let press = |dance: &mut Dance, times| {
        let mut sayings = Vec::new();
        let now = dance.time - 0.1;
        dance.prompter.set_times(times, now, &mut sayings);
        dance.obey(sayings);
    };
    dance.until(50);
    press(&mut dance, Some(2));
    dance.until(51);
    // It is being said when the caller changes her mind.
    press(&mut dance, Some(3));
    dance.until(60);
    let heard = dance.heard();
    assert_eq!(heard.len(), 2, "{heard:?}");
    assert_eq!((heard[0].0, heard[1].0), (LAST_TIME, TWO_MORE));
    assert!(heard[0].2 < heard[1].1, "the first is stopped: {heard:?}");
    assert!(heard[1].1 <= 52.0);
    press(&mut dance, None);
    assert_eq!(dance.until(130).heard().len(), 2);
}

#[test]
fn a_wrong_call_stops_at_once_and_the_right_one_follows() {
    let mut dance = Dance::new(script(DANCE, lengths), manner(9, 0, None));
    dance.until(7);
    // "call b" sounds since beat 5; the caller moves the count back by two, so that
    // "b" is two beats further off, then on by twelve.
    dance.number -= 2;
    dance.until(6);
    assert_eq!(dance.heard(), [("call b", 5.0, 7.6)], "it still comes next");
    let mut dance = Dance::new(script(DANCE, lengths), manner(9, 0, None));
    dance.until(7);
    dance.number += 3;
    dance.until(17);
    let heard = dance.heard();
    assert_eq!(heard[0], ("call b", 5.0, 6.86), "stopped when it was known");
    // On beat 10 of the dance, the eighth that is heard; "c" starts at 16.
    assert_eq!(heard[1], ("call c", 10.0, 12.6));
    assert_eq!(heard.len(), 2);
}

#[test]
fn a_stopped_call_is_said_again_when_its_figure_comes() {
    let mut dance = Dance::new(script(DANCE, lengths), manner(9, 0, None));
    dance.until(6);
    dance.number += 3;
    dance.until(10);
    dance.number -= 3;
    dance.until(9);
    let words: Vec<&str> = dance.heard().iter().map(|h| h.0).collect();
    assert_eq!(words, ["call b", "b"], "what room there is");
}

#[test]
fn a_faster_band_cuts_a_call_off_at_its_figure() {
    let mut dance = Dance::new(script(DANCE, lengths), manner(9, 0, None));
    dance.until(6);
    dance.period = 0.40;
    dance.time -= 0.1;
    dance.until(9);
    let (_, _, from, to) = dance.heard[0];
    let figure = dance.time - dance.period;
    assert!(
        (to - figure).abs() < 1e-9 && from < to,
        "{from} {to} {figure}"
    );
}

#[test]
fn doubt_lets_a_call_end_and_takes_back_what_has_not_begun() {
    let mut dance = Dance::new(script(DANCE, lengths), manner(9, 0, None));
    dance.until(5);
    // Planned for the very next beat.
    assert_eq!(dance.heard(), [("call b", 5.0, 7.6)]);
    dance.beat(false);
    assert_eq!(dance.heard(), []);
    let mut dance = Dance::new(script(DANCE, lengths), manner(9, 0, None));
    dance.until(6);
    for _ in 0..4 {
        dance.beat(false);
    }
    assert_eq!(dance.heard(), [("call b", 5.0, 7.6)]);
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

#[test]
fn tempi_that_are_no_numbers_are_passed_over() {
    let mut dance = Dance::new(script(LANTERNS_ON_THE_WEIR, lengths), manner(9, 0, None));
    for period in [f64::INFINITY, -1.0, f64::NAN] {
        dance.period = period;
        dance.time = 10.0;
        dance.beat(true);
        assert!(dance.heard.is_empty());
    }
}

proptest! {
    /// The same events make the same calls, and a listener that is asked for nothing
    /// in between hears the same as one that is hushed and listens again.
    #[test]
    fn a_tune_is_called_alike_every_time(
        seed in any::<u64>(), tempo in 0.42..0.6f64, full in 0u32..4, short in 0u32..4,
    ) {
        let heard = |hushed: bool| {
            let plan = manner(full, short, Some(4));
            let mut dance = Dance::new(script(DANCE, lengths), plan);
            dance.period = tempo;
            for n in 0..200 {
                let known = (seed >> (n % 64)) & 15 != 0;
                dance.beat(known);
                if hushed && n == 100 {
                    let mut sayings = Vec::new();
                    let now = dance.time - dance.period - 0.06;
                    dance.prompter.hush(now, &mut sayings);
                    dance.obey(sayings);
                }
            }
            dance.heard
        };
        let once = heard(false);
        prop_assert_eq!(&once, &heard(false));
        let before = |heard: &[(u64, String, f64, f64)]| {
            let end = 10.0 + 98.0 * tempo;
            heard.iter().filter(|h| h.3 < end).count()
        };
        prop_assert_eq!(before(&once), before(&heard(true)));
        for pair in once.windows(2) {
            prop_assert!(pair[0].3 < pair[1].2, "{:?}", pair);
        }
    }

    /// Whatever the count is moved by: from the next beat on every call that begins
    /// belongs to the figure that comes next, and is over by then.
    #[test]
    fn after_a_move_of_the_count_the_right_figure_is_called(
        at in 4i64..60, by in prop::sample::select(vec![-3i64, -2, -1, 1, 2, 3]),
        tempo in 0.42..0.6f64, jump in 0.9..1.1f64,
    ) {
        let script = script(DANCE, lengths);
        let mut dance = Dance::new(script.clone(), manner(9, 0, None));
        dance.period = tempo;
        dance.until(at);
        let moved = dance.time - 0.07;
        dance.number += by;
        dance.period *= jump;
        let (time, number, period) = (dance.time, dance.number, dance.period);
        dance.until(at + 40);
        let at = |n: i64| time + (n - number) as f64 * period;
        for (_, words, from, to) in dance.heard.iter().filter(|h| h.3 > moved + 1e-9) {
            // The beat on which it begins, or that was sounding at the move.
            let on = number + ((from.max(moved + 0.07) - time) / period).round() as i64;
            let (start, prompt) = script.next_after(on, None).unwrap();
            let named = [&prompt.full, &prompt.short];
            let named = named.into_iter().flatten().any(|l| *l.words == **words);
            prop_assert!(named, "{} on {}", words, on);
            prop_assert!(*to <= at(start) + 1e-6, "{} late", words);
        }
    }
}
