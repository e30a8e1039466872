//! What can be said during a dance, and how long each of it takes.

use std::sync::Arc;

use super::once;
use super::voice::of_card;
use crate::dance::{Card, FigureAt};
use crate::phrase::Form;

/// What is said to the band before the time through that is the last but one.
pub const TWO_MORE: &str = "two more times";
/// What is said to the band before the last time through.
pub const LAST_TIME: &str = "last time";
/// What is said to the dancers after it.
pub const FAREWELL: &str = "thank your partner";

/// Seconds of silence between two lines of an introduction.
pub(super) const PAUSE: f64 = 0.5;

/// No call may begin more beats ahead than this: a phrase. (Common practice: what is
/// called earlier is forgotten before it is danced.)
pub const FARTHEST: u32 = crate::phrase::PHRASE_BEATS;

/// Words, and the seconds that they take at their natural pace.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// The words.
    pub words: Arc<str>,
    /// Seconds from the first sound to the last.
    pub seconds: f64,
}

/// What is said ahead of one figure.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Prompt {
    /// First beat of the figure within the time through.
    pub(super) start_beat: u32,
    /// Beats before it in which its call may be spoken.
    pub(super) room: u32,
    /// The words when the figure is new, and when it is known. What cannot be spoken
    /// is left out.
    pub(super) full: Option<Line>,
    pub(super) short: Option<Line>,
}

/// Everything that may be said during one dance, with its length.
#[derive(Debug, Clone, PartialEq)]
pub struct Script {
    form: Form,
    prompts: Vec<Prompt>,
    /// What is called the first time through instead of the first figure, and the last
    /// time instead of the last one.
    opening: Option<Prompt>,
    closing: Option<Prompt>,
    pub(super) introductions: Vec<Line>,
    pub(super) two_more: Option<Line>,
    pub(super) last_time: Option<Line>,
    pub(super) farewells: Vec<Line>,
}

impl Script {
    /// What `card` wants to be said; `seconds` tells how long words take, or that they
    /// cannot be spoken.
    pub fn new(card: &Card, seconds: impl Fn(&str) -> Option<f64>) -> Self {
        let line = |words: &str| {
            let seconds = seconds(words).filter(|s| s.is_finite() && *s > 0.0)?;
            let words = Arc::from(words);
            Some(Line { words, seconds })
        };
        let prompt = |figure: &FigureAt, room: u32| Prompt {
            start_beat: figure.start_beat,
            room: room.min(FARTHEST),
            full: line(&figure.call),
            short: figure.short.as_deref().and_then(line),
        };
        let figures = card.figures();
        let rooms = figures.iter().cycle().skip(figures.len() - 1);
        let prompts: Vec<Prompt> = figures
            .iter()
            .zip(rooms)
            .map(|(figure, before)| prompt(figure, before.beats))
            .collect();
        let room = |p: Option<&Prompt>| p.map_or(FARTHEST, |p| p.room);
        Script {
            form: card.form(),
            opening: once::opening(card).map(|f| prompt(&f, room(prompts.first()))),
            closing: once::closing(card).map(|f| prompt(&f, room(prompts.last()))),
            prompts,
            introductions: lines(&card.intro().say).filter_map(line).collect(),
            two_more: line(TWO_MORE),
            last_time: line(LAST_TIME),
            farewells: farewells(card).into_iter().filter_map(line).collect(),
        }
    }

    /// The words that `card` may want to be said, to be made ready beforehand.
    pub fn words(card: &Card) -> Vec<String> {
        let mut words = of_card(card);
        words.extend([TWO_MORE, LAST_TIME, FAREWELL].map(str::to_owned));
        words
    }

    /// How long the introductions take, seconds; 0 without any.
    pub fn introduction_seconds(&self) -> f64 {
        let lines = &self.introductions;
        let pauses = PAUSE * lines.len().saturating_sub(1) as f64;
        pauses + lines.iter().map(|line| line.seconds).sum::<f64>()
    }

    /// The form of the dance.
    pub fn form(&self) -> Form {
        self.form
    }

    /// The first figure that starts after beat `number` of the tune, and the number of
    /// its first beat, when so many times through are danced.
    pub(super) fn next_after(&self, number: i64, times: Option<u32>) -> Option<(i64, &Prompt)> {
        let form = i64::from(self.form.beats());
        let (through, beat) = (number.div_euclid(form), number.rem_euclid(form));
        let after = |p: &Prompt| i64::from(p.start_beat) > beat;
        let (through, nth) = match self.prompts.iter().position(after) {
            Some(nth) => (through, nth),
            None => (through + 1, 0),
        };
        let usual = self.prompts.get(nth)?;
        let last = times.is_some_and(|times| i64::from(times) == through + 1);
        let once = match nth {
            0 if through == 0 => self.opening.as_ref(),
            _ if last && nth + 1 == self.prompts.len() => self.closing.as_ref(),
            _ => None,
        };
        let start = through * form + i64::from(usual.start_beat);
        Some((start, once.unwrap_or(usual)))
    }
}

/// What is said to the dancers when the music is over.
fn farewells(card: &Card) -> Vec<&str> {
    match lines(&card.ending().say).collect::<Vec<_>>() {
        none if none.is_empty() => vec![FAREWELL],
        lines => lines,
    }
}

fn lines(say: &[String]) -> impl Iterator<Item = &str> {
    say.iter().map(String::as_str)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dance::LANTERNS_ON_THE_WEIR;

    #[test]
    fn a_call_has_the_figure_before_for_its_room() {
        let card = Card::parse(LANTERNS_ON_THE_WEIR, "card").unwrap();
        let script = Script::new(&card, |words| Some(0.1 * words.len() as f64));
        let next = |number| {
            let (start, prompt) = script.next_after(number, None).unwrap();
            (start, prompt.room, &*prompt.full.as_ref().unwrap().words)
        };
        assert_eq!(next(-1), (0, 4, "neighbours, balance"));
        assert_eq!(next(0), (4, 4, "and swing"));
        // A figure of twelve beats leaves no more room than a phrase.
        assert_eq!(next(4), (16, 8, "robins do-si-do, once and a half"));
        assert_eq!(next(60), (64, 4, "neighbours, balance"));
        assert_eq!(next(63 + 128), (192, 4, "neighbours, balance"));
        let words = Script::words(&card);
        assert!(words.iter().any(|w| w == "pass through") && words.iter().any(|w| w == LAST_TIME));
    }

    #[test]
    fn what_cannot_be_spoken_is_left_out() {
        let card = Card::parse(LANTERNS_ON_THE_WEIR, "card").unwrap();
        let script = Script::new(&card, |words| match words {
            "and swing" => Some(f64::NAN),
            "swing" => Some(0.5),
            _ => None,
        });
        let swing = script.next_after(0, None).unwrap().1;
        assert_eq!(swing.full, None);
        assert_eq!(swing.short.as_ref().unwrap().seconds, 0.5);
        assert_eq!(script.last_time, None);
    }
}
