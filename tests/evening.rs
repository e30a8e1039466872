//! The evening and the lesson for real, on a sound card without hardware; see
//! `tests/live.rs`.

#![cfg(target_os = "linux")]

#[allow(dead_code, reason = "shared with other tests")]
mod rig;

use std::io::Write;
use std::process::{Child, Stdio};
use std::sync::Mutex;
use std::time::{Duration, Instant};

use rig::take::tune;
use rig::{Card, Playing, ahead};

/// Two cards at once would fight for the machine.
static ONE_AT_A_TIME: Mutex<()> = Mutex::new(());

/// The program on the card, with lines to its standard input.
fn eightclap(card: &Card, args: &[&str]) -> Child {
    let settings = format!("XDG_CONFIG_HOME={}", card.folder.path().display());
    card.call(&["run", "env", &settings])
        .args(ahead())
        .arg(assert_cmd::cargo::cargo_bin!("eightclap"))
        .args(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("a run")
}

fn say(program: &mut Playing, line: &str) {
    let input = program.0.stdin.as_mut().expect("a pipe");
    writeln!(input, "{line}").expect("a reader");
}

#[test]
fn an_evening_goes_on_while_its_devices_come_and_go() {
    let _turn = ONE_AT_A_TIME.lock();
    let Ok(card) = Card::start().inspect_err(|why| println!("skipped: {why}")) else {
        return;
    };
    let mut evening = Playing(eightclap(
        &card,
        &[
            "programme",
            "run",
            "first-steps-evening",
            "--line",
            "--from",
            "2",
        ],
    ));
    card.wait("wait-input");
    std::thread::sleep(Duration::from_secs(1));
    say(&mut evening, "n");
    std::thread::sleep(Duration::from_secs(1));
    assert!(card.call(&["stop"]).status().expect("a stop").success());
    std::thread::sleep(Duration::from_millis(1_500));
    say(&mut evening, "n");
    assert!(card.call(&["start"]).status().expect("a start").success());
    std::thread::sleep(Duration::from_secs(4));
    say(&mut evening, "n");
    std::thread::sleep(Duration::from_millis(500));
    let (code, out, err) = evening.stop();
    println!("{out}{err}");
    assert_eq!(code, Some(0));
    for line in [
        "2 of 7: The Tin Kettle Ring – A mixer",
        "3 of 7: Six Boats Abreast",
        "4 of 7: Gravel and Clover",
        "5 of 7: Tea and apple cake",
    ] {
        assert!(out.contains(line), "no {line} in\n{out}");
    }
    assert!(err.contains("nothing is heard"), "{err}");
    assert!(out.matches("hearing \"").count() >= 2, "{out}");
}

#[test]
fn the_dance_that_is_on_is_counted_and_its_figures_are_told() {
    let _turn = ONE_AT_A_TIME.lock();
    let Ok(card) = Card::start().inspect_err(|why| println!("skipped: {why}")) else {
        return;
    };
    let path = card.folder.path().join("tune.wav");
    let (_, phrases) = tune(&path, 116.0, 1);
    let mut told = String::new();
    // A machine that cut the lead-in apart is given a second chance.
    for _ in 0..2 {
        let args = [
            "programme",
            "run",
            "first-steps-evening",
            "--line",
            "--from",
            "5",
        ];
        let mut evening = Playing(eightclap(&card, &args));
        card.wait("wait-input");
        std::thread::sleep(Duration::from_secs(2));
        // From tea to the dance after it.
        say(&mut evening, "n");
        let mut playing = card.begin(&["play", &path.display().to_string()]);
        std::thread::sleep(Duration::from_secs_f64(phrases[3] + 2.0));
        let (code, out, err) = evening.stop();
        playing.kill().expect("a player");
        playing.wait().expect("a player");
        println!("{out}{err}");
        assert_eq!(code, Some(0));
        assert!(out.contains("6 of 7: Lanterns on the Weir"), "{out}");
        let figures = [
            "neighbours balance",
            "robins do-si-do once and a half",
            "partners swing",
        ];
        if figures.iter().all(|figure| out.contains(figure)) {
            return;
        }
        told = out;
    }
    panic!("{told}");
}

/// The microphone hears the loudspeaker, and nobody claps.
#[test]
fn a_drill_in_an_empty_room_hears_the_tune_and_no_claps() {
    let _turn = ONE_AT_A_TIME.lock();
    let Ok(card) = Card::start().inspect_err(|why| println!("skipped: {why}")) else {
        return;
    };
    card.echo();
    let text = "title = \"T\"\n[[step]]\ntitle = \"Clap\"\nminutes = 1\nsay = \"Clap.\"\n[step.drill]\ntune = \"boots-on-the-fender\"\nsteps_per_minute = 120\nphrases = 4\nfull = 1\nfade = 1\n";
    let path = card.folder.path().join("lesson.toml");
    std::fs::write(&path, text).expect("a lesson");
    let mut lesson = Playing(eightclap(
        &card,
        &["lesson", "--line", &path.display().to_string()],
    ));
    card.wait("wait-input");
    std::thread::sleep(Duration::from_secs(1));
    say(&mut lesson, "d");
    let start = Instant::now();
    // A second, the lead-in, four phrases, and the end.
    while start.elapsed() < Duration::from_secs(24) {
        std::thread::sleep(Duration::from_millis(100));
    }
    let (code, out, err) = lesson.stop();
    println!("{out}{err}");
    assert_eq!((code, err.as_str()), (Some(0), ""));
    let judged = out.matches("phrase ").count();
    let nothing = out.matches("no claps heard").count();
    assert!(judged >= 3, "{out}");
    assert!(nothing + 1 >= judged, "{out}");
}
