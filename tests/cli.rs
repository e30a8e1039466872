//! The program as its users meet it: calls, answers, files, exit codes.

#[path = "cli/bad.rs"]
mod bad;
#[path = "cli/calling.rs"]
mod calling;
#[path = "cli/calls.rs"]
mod calls;
#[path = "cli/cards.rs"]
mod cards;
#[path = "cli/config.rs"]
mod config;
#[path = "cli/evening.rs"]
mod evening;
#[path = "cli/folders.rs"]
mod folders;
#[path = "cli/guide.rs"]
mod guide;
#[path = "cli/loud.rs"]
mod loud;
#[path = "files/make.rs"]
#[allow(dead_code, reason = "shared with the tests on files")]
mod make;
#[path = "cli/memory.rs"]
mod memory;
#[path = "cli/tempo.rs"]
mod tempo;
#[path = "cli/track.rs"]
mod track;
#[path = "cli/voice.rs"]
mod voice;
#[path = "cli/write.rs"]
mod write;

use std::ffi::OsStr;
use std::path::Path;
use std::time::Duration;

use eightclap::sound::band::{self, Performance};

/// The program, with no sound device in reach, and without defaults of whoever tests it.
fn program() -> std::process::Command {
    let mut command = std::process::Command::new(assert_cmd::cargo::cargo_bin!("eightclap"));
    for (name, _) in std::env::vars_os() {
        if name.to_string_lossy().starts_with("EIGHTCLAP_") {
            command.env_remove(name);
        }
    }
    command
        .env("ALSA_CONFIG_PATH", "/dev/null")
        .env("EIGHTCLAP_CONFIG", "")
        .env_remove("NO_COLOR");
    command
}

/// The same with an end to patience.
fn eightclap() -> assert_cmd::Command {
    let mut command = assert_cmd::Command::from_std(program());
    command.timeout(Duration::from_secs(120));
    command
}

/// What a run of the program said.
#[derive(Debug)]
struct Said {
    code: i32,
    out: String,
    err: String,
}

/// Runs the program to its end. However it is called, it must not panic.
fn run<S: AsRef<OsStr>>(args: impl IntoIterator<Item = S>) -> Said {
    said(eightclap().args(args))
}

/// Runs a call to its end, as [`run`] does.
fn said(call: &mut assert_cmd::Command) -> Said {
    let output = call.output().expect("a run");
    let said = Said {
        code: output.status.code().unwrap_or(-1),
        out: String::from_utf8(output.stdout).expect("text on standard output"),
        err: String::from_utf8(output.stderr).expect("text on standard error"),
    };
    assert!(!said.err.contains("panicked"), "{said:?}");
    assert!((0..=2).contains(&said.code), "{said:?}");
    said
}

impl Said {
    /// Done, without a word of complaint.
    #[track_caller]
    fn well(self) -> Self {
        assert_eq!((self.code, self.err.as_str()), (0, ""), "{self:?}");
        self
    }

    /// Failed with one line that names `path` and says what to do.
    #[track_caller]
    fn refuses(self, path: &Path, because: &str) {
        assert_eq!(self.code, 1, "{self:?}");
        let start = format!("eightclap: {}: ", path.display());
        assert!(self.err.starts_with(&start), "{self:?}");
        assert!(self.err.contains(because), "{because}? {self:?}");
        assert_eq!(self.err.lines().count(), 1, "{self:?}");
        let remedy = [";", "use WAV", "looked for"];
        assert!(remedy.iter().any(|r| self.err.contains(r)), "{self:?}");
    }
}

/// Sound of the house band: `times` through the first bundled tune.
fn tune(rate: u32, times: u32) -> Vec<f32> {
    let tune = band::tune("kettle-on-the-landing").expect("bundled");
    let settings = band::Settings {
        steps_per_minute: 114.0,
        times,
        sample_rate: rate,
        ..band::Settings::default()
    };
    Performance::new(tune, settings).expect("good").render()
}

/// Writes mono `sound` into every channel of a WAV file.
fn write_wav(path: &Path, sound: &[f32], spec: hound::WavSpec) {
    let mut writer = hound::WavWriter::create(path, spec).expect("a new file");
    let full = (1i64 << (spec.bits_per_sample - 1)) as f64;
    for sample in sound {
        for _ in 0..spec.channels {
            match spec.sample_format {
                hound::SampleFormat::Float => writer.write_sample(*sample),
                hound::SampleFormat::Int => {
                    let step = (f64::from(*sample) * full).clamp(-full, full - 1.0);
                    writer.write_sample(step as i32)
                }
            }
            .expect("room on the disk");
        }
    }
    writer.finalize().expect("room on the disk");
}

/// A 16-bit mono WAV file.
fn plain(rate: u32) -> hound::WavSpec {
    hound::WavSpec {
        channels: 1,
        sample_rate: rate,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    }
}

/// The samples of a 16-bit WAV file, as they are.
fn samples(path: &Path) -> Vec<i16> {
    let reader = hound::WavReader::open(path).expect("a WAV file");
    reader
        .into_samples()
        .map(|s| s.expect("a sample"))
        .collect()
}

/// The lines of `track --json`, parsed.
fn json(out: &str) -> Vec<serde_json::Value> {
    out.lines()
        .map(|line| serde_json::from_str(line).unwrap_or_else(|e| panic!("{line}: {e}")))
        .collect()
}

/// Times of the events called `name`.
fn times(events: &[serde_json::Value], name: &str) -> Vec<f64> {
    events
        .iter()
        .filter(|e| e["event"] == name)
        .map(|e| e["time"].as_f64().expect("a time"))
        .collect()
}

/// Names of what lies in a folder, hidden or not.
fn listing(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).expect("a folder");
    let mut names: Vec<String> = entries
        .map(|e| e.expect("an entry").file_name().to_string_lossy().into())
        .collect();
    names.sort();
    names
}
