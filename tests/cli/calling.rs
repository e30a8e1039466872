//! The voice in written files: found by taking the file without it away, and held
//! against the band's true beats.
//!
//! The words are tones, each of a pitch of its own, from a folder of recordings: so the
//! sound itself tells which call it is.

use std::collections::BTreeSet;
use std::f64::consts::TAU;

use super::*;
use eightclap::cue::voice::file_name;
use eightclap::cue::{FAREWELL, LAST_TIME, Script, TWO_MORE};
use eightclap::dance::{Card, LANTERNS_ON_THE_WEIR};

const TIMES: u32 = 4;
const TEMPO: f64 = 114.0;

/// How far a call may reach beyond its figure's true first beat, seconds.
const LATE: f64 = 0.05;

/// Frames of sound for which what is heard is told, seconds.
const FRAME: f64 = 0.01;

/// A recording of each of `words`, and its pitch, hertz.
fn record(folder: &Path, words: &[String]) -> Vec<(String, f64)> {
    let different: BTreeSet<&String> = words.iter().collect();
    (0..)
        .zip(different)
        .map(|(n, words)| {
            let pitch = 400.0 + 97.0 * f64::from(n);
            let seconds = 0.2 + words.len() as f64 / 18.0;
            let sound: Vec<f32> = (0..(seconds * 22_050.0) as usize)
                .map(|n| 0.4 * (TAU * pitch * n as f64 / 22_050.0).sin() as f32)
                .collect();
            write_wav(&folder.join(file_name(words)), &sound, plain(22_050));
            (words.clone(), pitch)
        })
        .collect()
}

/// How much of `sound` is at this pitch (Goertzel's filter: Am. Math. Mon. 65, 1958).
fn share(sound: &[f32], rate: f64, pitch: f64) -> f64 {
    let turn = TAU * pitch / rate;
    let (mut re, mut im) = (0.0, 0.0);
    for (n, sample) in sound.iter().enumerate() {
        re += f64::from(*sample) * (turn * n as f64).cos();
        im += f64::from(*sample) * (turn * n as f64).sin();
    }
    re.hypot(im) / sound.len() as f64
}

/// What is said in `sound` and when: words, first and last moment, seconds.
fn said(sound: &[f32], rate: f64, pitches: &[(String, f64)]) -> Vec<(String, f64, f64)> {
    let frame = (FRAME * rate) as usize;
    let loud = |frame: &[f32]| frame.iter().any(|s| s.abs() > 0.01);
    let frames: Vec<bool> = sound.chunks(frame).map(loud).collect();
    let mut found = Vec::new();
    let mut at = 0;
    while let Some(first) = (at..frames.len()).find(|n| frames[*n]) {
        // Calls are at least 80 ms apart.
        let quiet = |n: &usize| (*n..*n + 5).all(|n| !frames.get(n).copied().unwrap_or(false));
        at = (first..frames.len()).find(quiet).unwrap_or(frames.len());
        let piece = &sound[first * frame..(at * frame).min(sound.len())];
        let loudness = |p: &&(String, f64)| share(piece, rate, p.1);
        let words = pitches
            .iter()
            .max_by(|a, b| loudness(a).total_cmp(&loudness(b)));
        let words = words.expect("a pitch").0.clone();
        found.push((words, first as f64 * FRAME, at as f64 * FRAME));
    }
    found
}

/// The demo, written; its samples from -1 to 1.
fn demo(path: &Path, more: &[&OsStr]) -> Vec<f32> {
    let times = TIMES.to_string();
    let tempo = TEMPO.to_string();
    let mut call: Vec<&OsStr> = ["demo", "--no-claps", "--times", &times, "--steps", &tempo]
        .map(OsStr::new)
        .to_vec();
    call.extend([OsStr::new("--write"), path.as_os_str()]);
    call.extend(more);
    run(call).well();
    let samples = samples(path);
    samples.iter().map(|s| f32::from(*s) / 32_768.0).collect()
}

#[test]
fn in_a_written_demo_every_call_is_right_and_over_before_its_figure() {
    let folder = tempfile::tempdir().unwrap();
    let voices = folder.path().join("voices");
    std::fs::create_dir(&voices).unwrap();
    let card = Card::parse(LANTERNS_ON_THE_WEIR, "card").unwrap();
    let pitches = record(&voices, &Script::words(&card));
    let of = |name: &str, more: &[&OsStr]| demo(&folder.path().join(name), more);
    let os = OsStr::new;
    let spoken = [os("--recordings"), voices.as_os_str()];
    let plan = ["--full", "1", "--short", "1", "--voice-level", "0.5"].map(os);
    let with = of("with.wav", &[&spoken[..], &plan].concat());
    let without = of("without.wav", &[os("--no-voice")]);
    let rate = f64::from(
        hound::WavReader::open(folder.path().join("with.wav"))
            .unwrap()
            .spec()
            .sample_rate,
    );
    let voice: Vec<f32> = with.iter().zip(&without).map(|(a, b)| a - b).collect();
    let said = said(&voice, rate, &pitches);
    for (words, from, to) in &said {
        println!("{from:7.2} to {to:7.2} {words}");
    }

    let settings = band::Settings {
        steps_per_minute: TEMPO,
        times: TIMES,
        room: band::Room::SMALL,
        ..band::Settings::default()
    };
    let tune = band::tune("kettle-on-the-landing").unwrap();
    let beats = Performance::new(tune, settings)
        .unwrap()
        .truth()
        .beats
        .clone();
    let starts: Vec<(f64, u32)> = (0..)
        .zip(&beats)
        .filter(|(beat, _)| card.starting_at(*beat).is_some())
        .map(|(beat, time)| (*time, beat))
        .collect();
    let through = |time: f64| beats.partition_point(|beat| *beat < time + 0.1) / 64;
    let mut called = [0, 0, 0, 0, 0];
    let mut signals = Vec::new();
    for (words, from, to) in &said {
        if [TWO_MORE, LAST_TIME, FAREWELL].contains(&words.as_str()) {
            signals.push((words.as_str(), through(*from)));
            continue;
        }
        let (start, beat) = starts.iter().find(|s| s.0 > from + 0.1).expect("a figure");
        let figure = card.starting_at(*beat).expect("starts");
        let time = *beat as usize / 64;
        let wanted = match time {
            0 => [Some(figure.call.as_str()), figure.short.as_deref()],
            _ => [figure.short.as_deref(), None],
        };
        assert!(
            wanted.contains(&Some(words.as_str())),
            "\"{words}\" at {from:.2} before \"{}\" in time {}",
            figure.call,
            time + 1
        );
        assert!(
            *to < start + LATE,
            "\"{words}\" ends {:.3} s late",
            to - start
        );
        called[time] += 1;
    }
    // All but the first, for which the lead-in leaves no time.
    let all = card.figures().len();
    assert!(called[0] >= all - 2, "{called:?}");
    assert_eq!(called[1..], [all, 0, 0, 0], "{called:?}");
    assert_eq!(signals[..2], [(TWO_MORE, 1), (LAST_TIME, 2)], "{signals:?}");
    for pair in said.windows(2) {
        assert!(pair[1].1 > pair[0].2, "{pair:?}");
    }

    // The same with the voice that is built in, of which only the times can be told.
    let spoken = of("spoken.wav", &plan);
    let voice: Vec<f32> = spoken.iter().zip(&without).map(|(a, b)| a - b).collect();
    let pieces = self::said(&voice, rate, &pitches);
    println!("{} pieces of speech", pieces.len());
    assert!(pieces.len() >= called[0] + called[1], "{}", pieces.len());
    for (_, from, to) in pieces {
        let into = starts.iter().find(|s| s.0 > from + 0.1 && s.0 < to - LATE);
        assert!(into.is_none(), "from {from:.2} to {to:.2}, over {into:?}");
    }
}

#[test]
fn a_voice_without_a_card_and_recordings_that_are_not_there_are_refused() {
    let tune = make::fixture("clicks.flac");
    let said = run([os_of("practise"), tune.as_os_str(), os_of("--voice")]);
    assert_eq!(said.code, 1, "{said:?}");
    assert!(
        said.err
            .contains("--voice speaks the calls of a dance card; name one with --card")
    );
    let said = run([
        "demo",
        "--write",
        "x.wav",
        "--recordings",
        "/no/such/folder",
    ]);
    assert_eq!(said.code, 1, "{said:?}");
    assert!(
        said.err.contains("/no/such/folder") && said.err.contains("voice record"),
        "{said:?}"
    );
}

fn os_of(text: &str) -> &OsStr {
    OsStr::new(text)
}
