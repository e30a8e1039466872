//! Playing for real, on a sound card without hardware: what leaves the
//! loudspeaker has its claps where they are said to be, and a card that dies
//! stops nothing.
//!
//! The card is a private sound server, run by the script that `EIGHTCLAP_CARD`
//! names or that lies in ../shared/audio. Without it the test says so and passes.

#![cfg(target_os = "linux")]

use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use eightclap::sound::band::{self, Performance};
use eightclap::sound::clap;

const RATE: u32 = 48_000;

/// How far apart two claps may be from what was said: the card itself slips up
/// to 5 ms on a busy machine.
const SLIP: f64 = 0.020;

/// A running card, stopped when dropped.
struct Card {
    script: PathBuf,
    folder: tempfile::TempDir,
}

impl Card {
    /// Starts a card of its own; says why not, if it cannot be.
    fn start() -> Result<Card, String> {
        let script = std::env::var_os("EIGHTCLAP_CARD").map_or_else(
            || Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/audio/virtual-card"),
            PathBuf::from,
        );
        if !script.exists() {
            return Err(format!(
                "there is no virtual sound card at {}",
                script.display()
            ));
        }
        // The script would install what it misses; a test must not.
        for tool in ["pulseaudio", "pactl", "parec", "sox"] {
            let there = Command::new("sh")
                .args(["-c", &format!("command -v {tool}")])
                .output();
            if !there.is_ok_and(|o| o.status.success()) {
                return Err(format!("the virtual sound card needs {tool}"));
            }
        }
        let card = Card {
            script,
            folder: tempfile::tempdir().map_err(|e| e.to_string())?,
        };
        let done = card.call(&["start"]).output().map_err(|e| e.to_string())?;
        match done.status.success() {
            true => Ok(card),
            false => Err(String::from_utf8_lossy(&done.stderr).into()),
        }
    }

    fn call(&self, args: &[&str]) -> Command {
        let mut command = Command::new(&self.script);
        command
            .args(args)
            .env("VIRTUAL_CARD_DIR", self.folder.path())
            .stdin(Stdio::null());
        command
    }

    /// The program, playing on the card.
    fn eightclap(&self, args: &[&str]) -> Child {
        let program = assert_cmd::cargo::cargo_bin!("eightclap")
            .display()
            .to_string();
        self.call(&["run", &program])
            .args(args)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("a run")
    }
}

impl Drop for Card {
    fn drop(&mut self) {
        let _ = self.call(&["stop"]).output();
    }
}

/// A program under test, ended if the test fails.
struct Playing(Child);

impl Playing {
    /// Asks it to stop; gives its exit code and what it printed.
    fn stop(mut self) -> (Option<i32>, String, String) {
        let pid = self.0.id().to_string();
        let asked = Command::new("kill").args(["-TERM", &pid]).status();
        assert!(asked.is_ok_and(|s| s.success()), "it was over already");
        let start = Instant::now();
        while self.0.try_wait().expect("a child").is_none() {
            assert!(start.elapsed() < Duration::from_secs(5), "it does not stop");
            std::thread::sleep(Duration::from_millis(10));
        }
        let code = self.0.wait().expect("a child").code();
        let (mut out, mut err) = (String::new(), String::new());
        let read = |pipe: Option<&mut dyn Read>, text: &mut String| {
            pipe.expect("a pipe").read_to_string(text).expect("text");
        };
        read(self.0.stdout.as_mut().map(|p| p as _), &mut out);
        read(self.0.stderr.as_mut().map(|p| p as _), &mut err);
        assert!(!err.contains("panicked"), "{err}");
        (code, out, err)
    }
}

impl Drop for Playing {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Moments at which a clap starts, seconds: where `sound` resembles one.
fn claps_in(sound: &[f32]) -> Vec<f64> {
    let clap = clap::group(RATE);
    // The first hands carry the moment.
    let shape = &clap[..(0.03 * f64::from(RATE)) as usize];
    let energy: f32 = shape.iter().map(|s| s * s).sum();
    let likeness: Vec<f32> = sound
        .windows(shape.len())
        .map(|w| w.iter().zip(shape).map(|(a, b)| a * b).sum::<f32>() / energy)
        .collect();
    let apart = RATE as usize / 2;
    let mut found = Vec::new();
    let mut at = 0;
    while at < likeness.len() {
        if likeness[at] > 0.5 {
            let end = (at + apart).min(likeness.len());
            let best = (at..end).max_by(|a, b| likeness[*a].total_cmp(&likeness[*b]));
            found.push(best.unwrap_or(at) as f64 / f64::from(RATE));
            at = end;
        } else {
            at += 1;
        }
    }
    found
}

/// The left channel of a 16-bit stereo WAV file.
fn left(path: &Path) -> Vec<f32> {
    let mut reader = hound::WavReader::open(path).expect("a recording");
    assert_eq!(
        (reader.spec().sample_rate, reader.spec().channels),
        (RATE, 2)
    );
    let samples = reader.samples::<i16>().step_by(2);
    samples
        .map(|s| f32::from(s.expect("a sample")) / 32_768.0)
        .collect()
}

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
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).expect("a file");
    for sample in sound {
        writer
            .write_sample((sample * 32_767.0) as i16)
            .expect("room");
    }
    writer.finalize().expect("room");
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

    let playing = Playing(card.eightclap(&["practise", &path.display().to_string()]));
    assert!(
        card.call(&["wait-output"])
            .status()
            .expect("a wait")
            .success()
    );
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
