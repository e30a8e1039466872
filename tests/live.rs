//! Listening for real, on a sound card without hardware: a band is played into
//! the microphone, and the claps are looked for where they must be.
//!
//! The card is a private sound server, run by the script that `EIGHTCLAP_CARD`
//! names or that lies in ../shared/audio. Without it the tests say so and pass.

#![cfg(target_os = "linux")]

#[allow(dead_code, reason = "shared with other tests")]
mod rig;

use std::io::{BufRead, BufReader, Read, Write};
use std::path::Path;
use std::process::Stdio;
use std::sync::{Mutex, mpsc};
use std::time::Duration;

use eightclap::cue::voice::{Choice, Settings, Source, Voice};
use eightclap::sound::band::signals;
use rig::take::{errors, listening, play_and_record, tune};
use rig::{Card, Playing, RATE, claps_in, left, save};

/// How far from its phrase a clap may be, seconds.
const NEAR: f64 = 0.040;

/// Two cards at once would fight for the machine.
static ONE_AT_A_TIME: Mutex<()> = Mutex::new(());

/// A card, unless there can be none.
fn card() -> Option<Card> {
    Card::start()
        .inspect_err(|why| println!("skipped: {why}"))
        .ok()
}

/// Listens to the tune with the claps in the same microphone, so that both are
/// in one take. Returns the errors (seconds) of all phrases that can be judged,
/// and what the program printed.
fn listen(card: &Card, path: &Path, sound: &[f32], phrases: &[f64]) -> (Vec<Option<f64>>, String) {
    let listening = listening(card);
    let take = play_and_record(card, path, sound, || ());
    let (code, out, err) = listening.stop();
    println!("{out}{err}");
    assert_eq!(code, Some(0), "{err}");
    (errors(&take, sound, phrases), out)
}

#[test]
fn claps_fall_on_the_phrases_of_a_band_in_the_microphone() {
    let _turn = ONE_AT_A_TIME.lock();
    let Some(card) = card() else { return };
    measure(&card);
    let path = card.folder.path().join("tune.wav");
    let (sound, phrases) = tune(&path, 124.0, 1);
    // A machine busy with other work is given a second chance, and one that
    // let the sound stop both times is not held to what it cannot do.
    let (mut told, mut best, mut stopped) = (Vec::new(), 0.0f64, true);
    for _ in 0..2 {
        let (errors, out) = listen(&card, &path, &sound, &phrases);
        let good = errors.iter().flatten().filter(|e| e.abs() < NEAR).count();
        let line = format!("{good} of {} phrases: {errors:.3?}", errors.len());
        println!("{line}");
        told.push(line);
        for what in ["listened ", "claps: ", "from sound to decision: "] {
            assert!(out.contains(what), "{out}");
        }
        if errors.len() >= 5 {
            best = best.max(good as f64 / errors.len() as f64);
        }
        if best >= 0.95 {
            return;
        }
        stopped &= !out.contains("loudspeaker: 0 underruns");
    }
    assert!(stopped && best >= 0.7, "{}", told.join("\n"));
}

/// Measures the card's round trip while its microphone hears its loudspeaker,
/// and forgets it: the tests hear no such echo.
fn measure(card: &Card) {
    let echo = card.echo();
    let home = card.folder.path().join("home");
    let settings = format!("XDG_CONFIG_HOME={}", home.display());
    let done = card
        .eightclap(&["devices", "measure"], &[&settings])
        .wait_with_output()
        .expect("a run");
    let out = String::from_utf8(done.stdout).expect("text");
    let err = String::from_utf8(done.stderr).expect("text");
    println!("{out}{err}");
    let kept = std::fs::read_to_string(home.join("eightclap/round-trips.toml"));
    if done.status.success() {
        let value = out
            .split("round trip ")
            .nth(1)
            .and_then(|l| l.split(' ').next()?.parse::<f64>().ok())
            .expect("a round trip");
        assert!((40.0..110.0).contains(&value), "{value} ms");
        let wanted = format!("\"alsa:default\" = {value:.1}");
        assert!(kept.expect("a file").contains(&wanted));
    } else {
        // On a machine too busy to keep time it must say so and keep nothing.
        assert!(
            err.contains("differ by") || err.contains("too quiet"),
            "{err}"
        );
        assert!(kept.is_err());
    }
    card.hush(&echo);
}

/// Plays a metronome into the microphone of the tempo meter; returns what it
/// printed, and its log.
fn meter(card: &Card, path: &Path) -> (String, String) {
    let log = card.folder.path().join("tempo.csv");
    let listening = Playing(card.eightclap(
        &[
            "tempo",
            "--want",
            "112..120",
            "--csv",
            &log.display().to_string(),
        ],
        &[],
    ));
    card.wait("wait-input");
    let mut playing = card.begin(&["play", &path.display().to_string()]);
    playing.wait().expect("a player");
    let (code, out, err) = listening.stop();
    println!("{out}{err}");
    assert_eq!((code, err.as_str()), (Some(0), ""));
    (out, std::fs::read_to_string(log).expect("a log"))
}

#[test]
fn a_metronome_in_the_microphone_is_read_within_a_tenth() {
    let _turn = ONE_AT_A_TIME.lock();
    let Some(card) = card() else { return };
    let path = card.folder.path().join("clicks.wav");
    let clicks = signals::metronome(116.0, 28, 0.5, RATE);
    save(&path, &clicks.samples);
    let mut told = Vec::new();
    // A machine that cut the clicks apart is given a second chance.
    for _ in 0..2 {
        let (out, log) = meter(&card, &path);
        assert!(out.starts_with("hearing \""), "{out}");
        assert!(out.contains("  good"), "{out}");
        let summary = out.lines().find(|l| l.contains(" beats, ")).expect(&out);
        let words: Vec<&str> = summary.split_whitespace().collect();
        let (beats, tempo): (usize, f64) = (words[1].parse().unwrap(), words[3].parse().unwrap());
        assert_eq!(log.lines().count(), beats + 1, "a row a beat: {log}");
        if (27..=28).contains(&beats) && (tempo - 116.0).abs() <= 0.1 {
            return;
        }
        told.push(summary.to_owned());
    }
    panic!("{}", told.join("\n"));
}

#[test]
fn a_call_spoken_into_the_microphone_is_kept_and_speaks_from_then_on() {
    let _turn = ONE_AT_A_TIME.lock();
    let Some(card) = card() else { return };
    let folder = card.folder.path().join("own");
    let dance = card.folder.path().join("dance.toml");
    std::fs::write(
        &dance,
        "title = \"One\"\nformation = \"circle mixer\"\nform = [\"A1\"]\n\
         [[A1]]\nfigure = \"circle left\"\nbeats = 16\ncall = \"circle left\"\n",
    )
    .expect("a card");
    // The signals come first; of them only one is missing.
    std::fs::create_dir(&folder).expect("a folder");
    for words in eightclap::cue::voice::SIGNALS.iter().skip(1) {
        save(
            &folder.join(eightclap::cue::voice::file_name(words)),
            &[0.0; 100],
        );
    }
    let voice = |folder: Option<&Path>| {
        let settings = Settings {
            folder: folder.map(Path::to_owned),
            engine: Choice::None,
            cache: None,
        };
        Voice::new(settings)
            .expect("a voice")
            .prepare(["one"], RATE)
    };
    // Somebody says "one", soft and after a while.
    let spoken = voice(None);
    let spoken = &spoken.get("one").expect("built in").clips[1].samples;
    let quiet = vec![0.0; RATE as usize];
    let soft: Vec<f32> = spoken.iter().map(|s| 0.5 * s).collect();
    let path = card.folder.path().join("spoken.wav");
    save(&path, &[quiet.clone(), soft, quiet].concat());

    let mut recording = card
        .call(&["run"])
        .arg(assert_cmd::cargo::cargo_bin!("eightclap"))
        .args(["voice", "record", "--card"])
        .arg(&dance)
        .arg("--recordings")
        .arg(&folder)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("a run");
    let mut keys = recording.stdin.take().expect("a pipe");
    let out = BufReader::new(recording.stdout.take().expect("a pipe"));
    let mut recording = Playing(recording);
    let (send, lines) = mpsc::channel();
    std::thread::spawn(move || {
        for line in out.lines().map_while(Result::ok) {
            let _ = send.send(line);
        }
    });
    let wait = |what: &str| loop {
        let line = lines.recv_timeout(Duration::from_secs(20));
        let line = line.unwrap_or_else(|_| panic!("no \"{what}\""));
        println!("{line}");
        if line.contains(what) {
            return;
        }
    };
    wait("1 of 2   ONE");
    card.wait("wait-input");
    keys.write_all(b"\n").expect("a key");
    wait("speak");
    let mut playing = card.begin(&["play", &path.display().to_string()]);
    // It ends by itself.
    wait("Enter keeps it");
    playing.wait().expect("a player");
    keys.write_all(b"\n").expect("a key");
    wait("kept: one.wav");
    keys.write_all(b"q\n").expect("a key");
    wait("recorded: 1, still missing: 1");
    let code = recording.0.wait().expect("an end").code();
    let mut err = String::new();
    let errors = recording.0.stderr.take().expect("a pipe");
    { errors }.read_to_string(&mut err).expect("text");
    assert_eq!((code, err.as_str()), (Some(0), ""));

    let (own, built_in) = (voice(Some(&folder)), voice(None));
    let own = own.get("one").expect("recorded");
    assert_eq!(own.source, Source::Own);
    // As long as it was played, give or take what a busy machine slips.
    let wanted = built_in.get("one").expect("built in").clips[1].over;
    assert!(
        (own.natural - wanted).abs() < 0.08,
        "{} s, not {wanted}",
        own.natural
    );
}

#[test]
fn a_sound_server_that_dies_and_comes_back_is_survived() {
    let _turn = ONE_AT_A_TIME.lock();
    let Some(card) = card() else { return };
    let path = card.folder.path().join("tune.wav");
    let (_, phrases) = tune(&path, 124.0, 1);
    let settings = format!("XDG_CONFIG_HOME={}", card.folder.path().display());
    let listening = Playing(card.eightclap(&["listen", "--line"], &[&settings]));
    card.wait("wait-input");
    std::thread::sleep(Duration::from_secs(1));
    let mut playing = card.begin(&["play", &path.display().to_string()]);
    std::thread::sleep(Duration::from_secs_f64(phrases[1] + 1.0));
    assert!(card.call(&["stop"]).status().expect("a stop").success());
    playing.wait().expect("a player");
    std::thread::sleep(Duration::from_millis(1_500));
    assert!(card.call(&["start"]).status().expect("a start").success());
    std::thread::sleep(Duration::from_secs(4));

    // It hears and claps again.
    let take = card.folder.path().join("take.wav");
    let seconds = (phrases[2] + 2.0).round().to_string();
    let mut recording = card.begin(&["record", &take.display().to_string(), &seconds]);
    let mut playing = card.begin(&["play", &path.display().to_string()]);
    assert!(recording.wait().expect("a take").success());
    let (code, out, err) = listening.stop();
    let _ = card.call(&["stop"]).status();
    playing.wait().expect("a player");
    println!("{out}{err}");
    assert_eq!(code, Some(0));
    assert!(err.contains("nothing is heard, the beat goes on"), "{err}");
    assert!(err.contains("flashes only, no claps"), "{err}");
    assert!(out.matches("hearing \"").count() >= 2, "{out}");
    assert!(out.matches("clapping through \"").count() >= 2, "{out}");
    let claps = claps_in(&left(&take));
    println!("claps at {claps:.2?} of the second take");
    assert!(claps.len() >= 2, "{claps:?}");
    let apart = phrases[2] - phrases[1];
    let steady = claps
        .windows(2)
        .filter(|c| (c[1] - c[0] - apart).abs() < 0.3);
    assert!(steady.count() >= 1, "{claps:?}");
}
