//! The prompter's rules one by one; whole dances are in `tests/cues.rs`.

mod calls;
mod changes;

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
