//! All the words of a card or a dance's figures.

use std::collections::HashSet;

use super::words::normal;
use crate::dance::{Card, Figures};

/// What is said whatever is danced: the counts, and the signals to the band
/// and the hall.
pub const SIGNALS: [&str; 14] = [
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "ready",
    "four beats, ready",
    "two more times",
    "one more time",
    "last time",
    "thank your partner",
];

/// All that may be said while `card` is danced, each once, in order: its
/// introduction, the figures' calls and short calls, its ending.
pub fn of_card(card: &Card) -> Vec<String> {
    let once = [card.intro(), card.ending()];
    let [intro, ending] = once.map(|once| {
        let figure = once.figure.iter();
        let called = figure.flat_map(|f| [Some(&f.call), f.short.as_ref()]);
        once.say.iter().chain(called.flatten())
    });
    let figures = card.figures().iter();
    let called = figures.flat_map(|f| [Some(&f.call), f.short.as_ref()]);
    each_once(intro.chain(called.flatten()).chain(ending))
}

/// The calls and short calls of the traditional figures, each once.
pub fn of_figures() -> Vec<String> {
    let figures = Figures::builtin().all().iter();
    each_once(figures.flat_map(|f| [&f.call, &f.short]))
}

fn each_once<'a>(texts: impl Iterator<Item = &'a String>) -> Vec<String> {
    let mut seen = HashSet::new();
    texts
        .filter(|text| seen.insert(normal(text)))
        .cloned()
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cue::voice::{Choice, Settings, Source, Voice};

    fn built_in(text: &str) -> bool {
        let voice = Voice::new(Settings {
            engine: Choice::None,
            ..Settings::default()
        });
        voice.unwrap().source(text) == Some(Source::BuiltIn)
    }

    const REMEDY: &str = "run fixtures/voice/make_bank.py";

    #[test]
    fn every_signal_and_every_figure_is_built_in() {
        let figures = of_figures();
        assert!(figures.len() >= 100, "{}", figures.len());
        for text in SIGNALS
            .iter()
            .copied()
            .chain(figures.iter().map(String::as_str))
        {
            assert!(built_in(text), "\"{text}\" is not: {REMEDY}");
        }
    }

    #[test]
    fn every_word_of_the_bundled_cards_is_built_in() {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/cards");
        let mut cards = 0;
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let card = Card::load(&path).unwrap();
            for text in of_card(&card) {
                assert!(
                    built_in(&text),
                    "{}: \"{text}\" is not: {REMEDY}",
                    path.display()
                );
            }
            cards += 1;
        }
        assert!(cards >= 2);
    }

    #[test]
    fn a_card_gives_all_its_words_once() {
        let text = r#"
            title = "Round and Back"
            formation = "circle mixer"
            form = ["A1"]
            [intro]
            say = ["take hands"]
            [ending]
            say = ["thank your partner"]
            [[A1]]
            figure = "circle left"
            beats = 8
            call = "circle left"
            short = "left"
            [[A1]]
            figure = "circle left"
            beats = 8
            call = "Circle left!"
        "#;
        let card = Card::parse(text, "round.toml").unwrap();
        assert_eq!(
            of_card(&card),
            ["take hands", "circle left", "left", "thank your partner"]
        );
    }
}
