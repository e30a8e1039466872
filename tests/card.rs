//! Playing for real, on a sound card without hardware: what leaves the
//! loudspeaker has its claps where they are said to be, and a card that dies
//! stops nothing.
//!
//! The card is a private sound server, run by the script that `EIGHTCLAP_CARD`
//! names or that lies in ../shared/audio. Without it the test says so and passes.

#![cfg(target_os = "linux")]

#[allow(dead_code, reason = "shared with other tests")]
mod rig;

use std::path::Path;
use std::process::Command;
use std::time::Duration;

use eightclap::sound::band::{self, Performance};
use rig::{Card, Playing, RATE, claps_in, left, save};

/// How far apart two claps may be from what was said: the card itself slips up
/// to 5 ms on a busy machine.
const SLIP: f64 = 0.020;

/// A quick tune in a file, and when its phrases are by `track`.
fn tune(path: &Path) -> Vec<f64> {
    let settings = band::Settings {
        steps_per_minute: 124.0,
        times: 1,
        silence: 1.5,
        sample_rate: RATE,
        ..band::Settings::default()
    };
    let tune = band::tune("kettle-on-the-landing").expect("bundled");
    let sound = Performance::new(tune, settings).expect("good").render();
    save(path, &sound);
    let heard = Command::new(assert_cmd::cargo::cargo_bin!("eightclap"))
        .args(["track", "--json"])
        .arg(path)
        .output()
        .expect("a run");
    String::from_utf8(heard.stdout)
        .expect("text")
        .lines()
        .map(|line| serde_json::from_str::<serde_json::Value>(line).expect("JSON"))
        .filter(|event| event["event"] == "phrase")
        .map(|event| event["time"].as_f64().expect("a time"))
        .collect()
}

#[test]
fn claps_leave_the_loudspeaker_at_their_times_until_the_card_dies() {
    let card = match Card::start() {
        Ok(card) => card,
        Err(why) => {
            println!("skipped: {why}");
            return;
        }
    };
    let path = card.folder.path().join("tune.wav");
    let phrases = tune(&path);
    assert!(phrases.len() > 2 && phrases[1] < 9.0, "{phrases:?}");

    let playing = Playing(card.eightclap(&["practise", &path.display().to_string()], &[]));
    card.wait("wait-output");
    let take = card.folder.path().join("take.wav");
    let record = ["record", &take.display().to_string(), "12"];
    assert!(card.call(&record).status().expect("a take").success());

    let claps = claps_in(&left(&take));
    println!("phrases at {phrases:.3?}\nclaps at {claps:.3?} of the take");
    assert!((2..=phrases.len()).contains(&claps.len()), "{claps:?}");
    for (n, (clap, phrase)) in claps.iter().zip(&phrases).enumerate() {
        let slip = (clap - claps[0]) - (phrase - phrases[0]);
        println!("clap {}: {:+.2} ms", n + 1, 1e3 * slip);
        assert!(slip.abs() < SLIP, "clap {} is off by {slip} s", n + 1);
    }
    // The take began with the tune, give or take the card's own delay.
    let begin = phrases[0] - claps[0];
    assert!(
        (-0.5..2.0).contains(&begin),
        "the take began {begin} s into the tune"
    );

    // The card dies: the tune goes on in silence, and says so.
    assert!(card.call(&["stop"]).status().expect("a stop").success());
    std::thread::sleep(Duration::from_millis(2_500));
    let (code, out, err) = playing.stop();
    println!("{out}{err}");
    assert_eq!(code, Some(0));
    let lines: Vec<&str> = err.lines().collect();
    assert_eq!(lines.len(), 1, "{err}");
    assert!(
        lines[0].starts_with("eightclap: going on in silence: the sound device"),
        "{err}"
    );
    assert!(lines[0].contains("has stopped; check its plug"), "{err}");
    let told = out.lines().filter(|l| l.contains(" phrase ")).count();
    assert!(told >= claps.len(), "{out}");
    // Its last line counts the seconds: silence included, and no jump.
    let last = out.lines().last().expect("a summary");
    let seconds: f64 = last
        .strip_prefix("0:")
        .and_then(|l| l.get(..2)?.parse().ok())
        .unwrap_or_else(|| panic!("{last}"));
    assert!((13.0..19.0).contains(&seconds), "{last}");
}
