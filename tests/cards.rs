//! Dance cards as a caller writes them: good ones, slips, and rubbish.

#[path = "fuzz/body.rs"]
mod body;
#[path = "cards/extras.rs"]
mod extras;
#[path = "cards/mutated.rs"]
mod mutated;
#[path = "cards/schema.rs"]
mod schema;

use body::is_read_or_refused;
use eightclap::dance::{
    Card, CardError, Difficulty, Formation, LANTERNS_ON_THE_WEIR, THE_TIN_KETTLE_RING, TuneKind,
    bundled,
};
use proptest::prelude::*;

fn wrong(text: &str) -> String {
    match Card::parse(text, "my.toml") {
        Ok(card) => panic!("taken for good: {card:?}"),
        Err(error) => error.to_string(),
    }
}

/// The first line of the error for a good card with one change made.
fn after(from: &str, to: &str) -> String {
    assert!(LANTERNS_ON_THE_WEIR.contains(from), "{from}");
    wrong(&LANTERNS_ON_THE_WEIR.replacen(from, to, 1))
}

#[track_caller]
fn says(error: &str, pieces: &[&str]) {
    for piece in pieces {
        assert!(error.contains(piece), "no {piece:?} in:\n{error}");
    }
}

#[test]
fn the_contra_falls_on_its_phrases() {
    let card = Card::parse(LANTERNS_ON_THE_WEIR, "lanterns").unwrap();
    assert_eq!(card.title(), "Lanterns on the Weir");
    assert_eq!(card.author(), Some("Odile Farrant"));
    assert_eq!(card.formation(), Formation::DupleImproper);
    assert_eq!(card.difficulty(), Some(Difficulty::SomeExperience));
    assert_eq!(card.tune(), TuneKind::Reel);
    assert_eq!(card.steps_per_minute(), Some(116.0));
    assert_eq!(card.form().beats(), 64);
    assert!(card.warnings().is_empty(), "{:?}", card.warnings());
    let starts: Vec<u32> = card.figures().iter().map(|f| f.start_beat).collect();
    assert_eq!(starts, [0, 4, 16, 24, 32, 40, 48, 56, 60]);
    let lines: Vec<&str> = LANTERNS_ON_THE_WEIR.lines().collect();
    for figure in card.figures() {
        assert_eq!(
            card.form().place(figure.start_beat.into()).part(),
            figure.part
        );
        assert!(
            lines[figure.line - 1].contains(&figure.name),
            "line {}",
            figure.line
        );
        assert!(figure.call.len() >= figure.short.as_ref().map_or(0, String::len));
    }
}

#[test]
fn the_mixer_is_for_newcomers() {
    let card = Card::parse(THE_TIN_KETTLE_RING, "ring").unwrap();
    assert_eq!(card.formation(), Formation::CircleMixer);
    assert_eq!(card.difficulty(), Some(Difficulty::Newcomers));
    assert_eq!(card.tune(), TuneKind::Any);
    assert!(card.warnings().is_empty());
    assert_eq!(card.figure_at(50).name, "promenade");
    assert_eq!(card.next_after(50).count(), 5);
}

#[test]
fn every_beat_has_its_figure_and_the_one_after() {
    for text in [LANTERNS_ON_THE_WEIR, THE_TIN_KETTLE_RING] {
        let card = Card::parse(text, "card").unwrap();
        let figures = card.figures();
        let mut beat = 0;
        for (i, figure) in figures.iter().enumerate() {
            assert_eq!(figure.start_beat, beat);
            for within in beat..beat + figure.beats {
                assert_eq!(card.figure_at(within), figure);
                assert_eq!(card.figure_at(within + 128), figure);
                assert_eq!(card.next_after(within), &figures[(i + 1) % figures.len()]);
                assert_eq!(card.starting_at(within).is_some(), within == beat);
            }
            beat += figure.beats;
        }
        assert_eq!(beat, card.form().beats());
    }
}

#[test]
fn a_slip_in_a_key_is_pointed_at() {
    let error = after("beats = 12", "beat = 12");
    says(
        &error,
        &["my.toml:18:1: unknown key \"beat\" in a figure of A1; did you mean \"beats\"?"],
    );
    says(
        &error,
        &[
            "18 | beat = 12\n   | ^^^^",
            "a figure of A1 has no \"beats\"; add its length",
        ],
    );
    says(
        &after("author =", "autor ="),
        &["my.toml:4:1: unknown key \"autor\"", "\"author\"?"],
    );
    says(
        &after("[[A1]]", "[[A9]]"),
        &["unknown key \"A9\"", "in the card"],
    );
    says(
        &after("[[A2]]", "[[a2]]"),
        &["parts are written in capitals: [[A2]]"],
    );
    says(
        &after("[[B2]]", "[[C1]]"),
        &["C1 is no part of this dance's form", "add it to \"form\""],
    );
    says(
        &after("title =", "figure ="),
        &["belongs to a figure", "has no \"title\""],
    );
}

#[test]
fn a_part_must_add_up() {
    says(
        &after("beats = 12", "beats = 16"),
        &[
            "my.toml:10:3: part A1 has 4 + 16 = 20 beats, 4 too many; a part is 16 beats",
            "10 | [[A1]]\n   |   ^^",
        ],
    );
    says(
        &after("beats = 12", "beats = 8"),
        &["part A1 has 4 + 8 = 12 beats, 4 too few"],
    );
    let one_part = LANTERNS_ON_THE_WEIR.split("[[B2]]").next().unwrap();
    says(
        &wrong(one_part),
        &["part B2 is missing; add blocks headed [[B2]]"],
    );
}

#[test]
fn values_of_the_wrong_kind_say_what_is_expected() {
    says(
        &after("beats = 12", "beats = 33"),
        &[
            "my.toml:18:9: a figure cannot have a length of 33;",
            "expected 2 to 32 beats",
        ],
    );
    says(&after("beats = 12", "beats = 1"), &["a length of 1;"]);
    says(&after("beats = 12", "beats = -4"), &["a length of -4;"]);
    says(
        &after("beats = 12", "beats = \"12\""),
        &["must be a whole number, but this is TOML's string"],
    );
    says(
        &after("beats = 12", "beats = 99999999999999999999"),
        &["must be a whole number"],
    );
    says(
        &after("\"reel\"", "\"real\""),
        &[
            "\"real\" is no tune that is known here; did you mean \"reel\"?",
            "hornpipe",
        ],
    );
    says(
        &after("\"duple improper\"", "\"improper duple\""),
        &["is no formation", "becket"],
    );
    says(
        &after("= 116", "= 11.6"),
        &["11.6 steps per minute cannot be danced; expected 80 to 150"],
    );
    says(&after("= 116", "= nan"), &["NaN steps per minute"]);
    says(
        &after("\"Odile Farrant\"", "3"),
        &["\"author\" must be words in quotation marks"],
    );
    says(
        &after("\"Odile Farrant\"", "\" \""),
        &["\"author\" is empty"],
    );
    says(
        &after("\"Odile Farrant\"", "\"a\\u001b[2Jb\""),
        &["control character"],
    );
    says(
        &after("\"Lanterns on the Weir\"", "\"Lanterns"),
        &["my.toml:3:", "not TOML"],
    );
    says(
        &wrong("A1 = 3\ntitle = 'x'\nformation = 'square'"),
        &["\"A1\" must be a list of figures"],
    );
    says(
        &wrong("A1 = [3]\ntitle = 'x'\nformation = 'square'"),
        &["part A1 must be a list of figures"],
    );
    says(
        &wrong("form = ['A1', 'B1']"),
        &["\"form\" needs \"A2\" here"],
    );
    says(&wrong("form = []"), &["\"form\" is empty"]);
    says(
        &wrong(""),
        &[
            "my.toml:1:1: the card has no \"title\"",
            "parts A1, A2, B1, B2 are missing",
        ],
    );
}

const SHORT: &str = "title = 'x'\nformation = 'square'\nform = ['A1', 'A2']\n";

#[test]
fn a_long_figure_fills_the_parts_after_it() {
    let grand = format!("{SHORT}A1 = [{{ figure = 'grand march', beats = 32, call = 'march' }}]\n");
    let card = Card::parse(&grand, "x").unwrap();
    assert_eq!(card.figures().len(), 1);
    assert_eq!(card.next_after(3).name, "grand march");
    assert!(card.warnings().is_empty());
    let rest = grand.replace("32", "24") + "A2 = [{ figure = 'bow', beats = 8, call = 'bow' }]\n";
    let card = Card::parse(&rest, "x").unwrap();
    assert_eq!(card.figure_at(24).name, "bow");
    let over = rest.replace("beats = 8", "beats = 12");
    says(
        &wrong(&over),
        &["part A2 has 8 running on from the part before + 12 = 20 beats, 4 too many"],
    );
    let two = grand.replace("[{", "[{ figure = 'bow', beats = 8, call = 'bow' }, {");
    says(&wrong(&two), &["part A1 has 8 + 32 = 40 beats"]);
}

#[test]
fn an_odd_crossing_is_only_a_warning() {
    let text = format!(
        "{SHORT}A1 = [{{ figure = 'bow', beats = 4, call = 'bow' }}, {{ figure = 'star', beats = 8, call = 'star' }},\n\
         {{ figure = 'bow', beats = 4, call = 'bow' }}]\nA2 = [{{ figure = 'hey', beats = 16, call = 'hey' }}]"
    );
    let card = Card::parse(&text, "x.toml").unwrap();
    let [warning] = card.warnings() else {
        panic!("{:?}", card.warnings())
    };
    says(
        &warning.to_string(),
        &[
            "x.toml:4:79: \"star\" starts on count 5 and lasts 8 beats, across the start of a phrase",
        ],
    );
}

#[test]
fn files_that_are_no_cards_are_named_with_a_remedy() {
    let folder = tempfile::tempdir().unwrap();
    let load = |path: &std::path::Path| Card::load(path).unwrap_err();
    says(
        &load(folder.path()).to_string(),
        &["is a folder; name one dance card"],
    );
    let path = folder.path().join("no.toml");
    says(
        &load(&path).to_string(),
        &["no.toml: there is no such dance card"],
    );
    std::fs::write(&path, b"title = 'x'\n\xff\xfe").unwrap();
    says(&load(&path).to_string(), &["line 2 is not UTF-8 text"]);
    std::fs::write(&path, vec![b' '; 2 << 20]).unwrap();
    says(&load(&path).to_string(), &["too large for a dance card"]);
    assert!(matches!(load(&path), CardError::Unreadable { .. }));
    std::fs::write(&path, LANTERNS_ON_THE_WEIR.replace('\n', "\r\n")).unwrap();
    assert_eq!(Card::load(&path).unwrap().figures().len(), 9);
    std::fs::write(&path, format!("\u{feff}{THE_TIN_KETTLE_RING}")).unwrap();
    assert_eq!(Card::load(&path).unwrap().title(), "The Tin Kettle Ring");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn changed_bytes_never_panic(
        which in any::<prop::sample::Index>(),
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>(), 0..3u8), 1..6),
    ) {
        let (_, text) = which.get(bundled());
        let mut bytes = text.as_bytes().to_vec();
        for (at, byte, how) in changes {
            let at = at.index(bytes.len());
            match how {
                0 => bytes[at] = byte,
                1 => bytes.insert(at, byte),
                _ => { bytes.remove(at); }
            }
        }
        is_read_or_refused(&String::from_utf8_lossy(&bytes));
    }

    #[test]
    fn changed_lines_never_panic(
        which in any::<prop::sample::Index>(),
        changes in prop::collection::vec(
            (any::<prop::sample::Index>(), any::<prop::sample::Index>(), 0..4u8, "[ -~é\\t]{0,12}"), 1..6),
    ) {
        let (_, text) = which.get(bundled());
        let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
        for (a, b, how, words) in changes {
            let (a, b) = (a.index(lines.len()), b.index(lines.len()));
            match how {
                0 => lines.swap(a, b),
                1 => { let line = lines[a].clone(); lines.insert(b, line); }
                2 => lines[a] = words,
                _ => { lines.remove(a); }
            }
        }
        is_read_or_refused(&lines.join("\n"));
    }

    #[test]
    fn rubbish_never_panics(text in "\\PC{0,200}") {
        is_read_or_refused(&text);
    }
}
