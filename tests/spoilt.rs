//! Files and sounds spoilt in the ways that they get spoilt, and worse: each is read as far
//! as it goes or refused. Short runs, the same every time, of what `tests/fuzz` runs for
//! hours.

#[path = "files/make.rs"]
#[allow(dead_code, reason = "shared with the tests on files")]
mod make;
#[path = "fuzz/sound.rs"]
mod sound;
#[path = "fuzz/texts.rs"]
mod texts;

use proptest::prelude::*;
use rand::{Rng, RngExt};
use rand_pcg::Pcg32;
use rand_pcg::rand_core::SeedableRng;

/// One of the ways in which bytes get spoilt.
fn spoil(bytes: &mut Vec<u8>, dice: &mut Pcg32) {
    let len = bytes.len();
    // Headers are where lengths, rates and counts are.
    let at = match dice.random_range(0..3) {
        0 => dice.random_range(0..len.max(1)),
        _ => dice.random_range(0..len.clamp(1, 200)),
    };
    let end = (at + dice.random_range(1..9)).min(len);
    match dice.random_range(0..7) {
        0 => bytes.truncate(at),
        1 => bytes.drain(at.min(end)..end).for_each(drop),
        2 => dice.fill_bytes(&mut bytes[at.min(end)..end]),
        3 => bytes[at.min(end)..end].fill(0),
        4 => bytes[at.min(end)..end].fill(0xff),
        5 => {
            let again = bytes[at.min(end)..].to_vec();
            bytes.extend(again);
        }
        _ => {
            if let Some(byte) = bytes.get_mut(at) {
                *byte ^= 1 << dice.random_range(0..8);
            }
        }
    }
}

#[test]
fn sound_files_with_spoilt_headers_and_middles() {
    let names = [
        "clicks.mp3",
        "clicks.ogg",
        "clicks.flac",
        "clicks.m4a",
        "clicks.aac",
    ];
    let mut whole: Vec<Vec<u8>> = names
        .iter()
        .chain(&["clicks.aiff", "no-length.mp3"])
        .map(|name| std::fs::read(make::fixture(name)).expect("a fixture"))
        .collect();
    let noise: Vec<u8> = (0..4_000u32).map(|n| (n * 7 % 251) as u8).collect();
    for (tag, channels, bits) in [(1, 1, 16), (1, 2, 24), (3, 1, 32), (0xfffe, 6, 16)] {
        whole.push(make::wav_bytes(tag, channels, 44_100, bits, None, &noise));
    }
    let mut dice = Pcg32::seed_from_u64(20);
    for round in 0..12 {
        for bytes in &whole {
            let mut bytes = bytes.clone();
            for _ in 0..=round % 4 {
                spoil(&mut bytes, &mut dice);
            }
            sound::is_decoded_or_refused(&bytes);
        }
    }
    sound::is_decoded_or_refused(&[]);
}

#[test]
fn samples_that_are_no_numbers_and_blocks_of_any_size() {
    let odd = [
        f32::NAN,
        f32::INFINITY,
        f32::NEG_INFINITY,
        f32::MAX,
        f32::MIN_POSITIVE / 2.0,
        -0.0,
        1e20,
    ];
    let mut dice = Pcg32::seed_from_u64(21);
    for round in 0..14u32 {
        let mut bytes: Vec<u8> = vec![0; 24];
        dice.fill_bytes(&mut bytes);
        // Usual rates at first, then any.
        bytes[0] = u8::from(round % 7 < 5);
        for n in 0..600 {
            let sample: f32 = match n % 9 {
                0 => odd[dice.random_range(0..odd.len())],
                _ if round % 2 == 0 => dice.random_range(-1.0..1.0),
                _ => f32::from_bits(dice.random()),
            };
            bytes.extend(sample.to_le_bytes());
        }
        sound::is_heard(&bytes);
    }
}

/// A good rehearsal as it is kept.
fn rehearsal() -> String {
    let card = include_str!("../fixtures/cards/the-tin-kettle-ring.toml");
    let times: Vec<f64> = (0..130).map(|n| 3.0 + 0.5 * f64::from(n)).collect();
    let head = serde_json::json!({"rehearsal": {
        "began": 1_700_000_000, "card": card, "tune": "a tune",
        "grid": {"first": 0, "times": times}, "heard": "microphone",
        "limits": {"late": 0.0, "good": 1.0, "early": 2.0, "over": 1.0, "hasty": 7.0, "full": 2},
    }});
    let mut text = format!("{head}\n");
    for n in 0..8 {
        let end = 6.6 + 4.0 * f64::from(n);
        let prompt = serde_json::json!({"prompt": {
            "start": end - 1.0, "end": end, "stress": end - 0.3, "syllables": 4, "sure": 0.9,
        }});
        text += &format!("{prompt}\n");
    }
    text + "{\"end\":{\"until\":60.0,\"softened\":null}}\n"
}

#[test]
fn kept_rehearsals_that_were_edited_cut_off_or_spoilt() {
    let good = rehearsal();
    let read = |text: &str| {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("s.jsonl");
        std::fs::write(&path, text).expect("room");
        eightclap::caller::session::read(&path)
    };
    assert_eq!(read(&good).expect("good").prompts.len(), 8);
    // What nobody could have rehearsed is refused with its line.
    let times = good.find("\"times\":[").expect("a grid") + 9;
    let end = times + good[times..].find(']').expect("its end");
    for (from, to, with) in [
        (times, end, String::new()),
        (times, end, "1.0".into()),
        (times, end, "2.0,1.0".into()),
        (times, end, "1.0,1e300".into()),
    ] {
        let text = format!("{}{with}{}", &good[..from], &good[to..]);
        let said = read(&text).expect_err("refused").to_string();
        assert!(
            said.contains("line 1 is not what this program writes"),
            "{said}"
        );
    }
    for (from, to) in [
        ("\"first\":0", "\"first\":9000000000000000000"),
        ("\"syllables\":4", "\"syllables\":4000000000"),
        ("\"stress\":", "\"stress\":1e308, \"was\":"),
    ] {
        let text = good.replace(from, to);
        assert_ne!(text, good);
        texts::is_a_rehearsal_or_refused(text.as_bytes());
        assert!(read(&text).is_err(), "{to}");
    }
    // A line that was cut off within a letter costs that line only.
    let cut = [good.as_bytes(), b"{\"prompt\":\xc3"].concat();
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("s.jsonl");
    std::fs::write(&path, cut).expect("room");
    let read = eightclap::caller::session::read(&path).expect("the rest");
    assert_eq!(read.prompts.len(), 8);
    let mut dice = Pcg32::seed_from_u64(22);
    for _ in 0..60 {
        let mut bytes = good.clone().into_bytes();
        spoil(&mut bytes, &mut dice);
        texts::is_a_rehearsal_or_refused(&bytes);
    }
}

/// Words and signs that programmes and lessons are made of, and some that they are not.
fn piece() -> impl Strategy<Value = String> {
    let keys = "title start end floor item dance times walk tunes break minutes other step say \
        watch caution drill tune steps_per_minute phrases fade room rules roles date hall band";
    let keys: Vec<String> = keys.split_whitespace().map(str::to_owned).collect();
    prop_oneof![
        proptest::sample::select(keys),
        "[\\[\\]{}=\"',.:# \n-]",
        "[0-9]{1,20}",
        any::<f64>().prop_map(|n| n.to_string()),
        "\\PC{0,3}",
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn programmes_and_lessons_that_were_spoilt(
        which in 0..2usize,
        cuts in prop::collection::vec((any::<prop::sample::Index>(), 0..12usize, piece()), 0..4),
    ) {
        let mut texts = [
            include_str!("../fixtures/programmes/regular-evening.toml").to_owned(),
            include_str!("../fixtures/lesson/before-the-first-dance.toml").to_owned(),
        ];
        let text = &mut texts[which];
        for (at, length, piece) in cuts {
            let mut letters: Vec<char> = text.chars().collect();
            let at = at.index(letters.len() + 1);
            let end = (at + length).min(letters.len());
            letters.splice(at..end, piece.chars());
            *text = letters.into_iter().collect();
        }
        texts::is_a_programme_or_refused(text);
        texts::is_a_lesson_or_refused(text);
    }

    #[test]
    fn programmes_and_lessons_made_of_anything(pieces in prop::collection::vec(piece(), 0..60)) {
        let text = pieces.concat();
        texts::is_a_programme_or_refused(&text);
        texts::is_a_lesson_or_refused(&text);
    }
}
