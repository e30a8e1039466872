//! A sound card without hardware, and what is heard on it.

pub mod take;

use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use eightclap::sound::clap;

pub const RATE: u32 = 48_000;

/// A running card, stopped when dropped.
pub struct Card {
    pub script: PathBuf,
    pub folder: tempfile::TempDir,
}

impl Card {
    /// Starts a card of its own; says why not, if it cannot be.
    pub fn start() -> Result<Card, String> {
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

    pub fn call(&self, args: &[&str]) -> Command {
        let mut command = Command::new(&self.script);
        command
            .args(args)
            .env("VIRTUAL_CARD_DIR", self.folder.path())
            .stdin(Stdio::null());
        command
    }

    /// Runs the card's script beside everything else, ahead of other programs.
    pub fn begin(&self, args: &[&str]) -> Child {
        let script = self.script.display().to_string();
        let mut words = ahead();
        words.push(&script);
        let mut command = Command::new(words[0]);
        command.args(&words[1..]).args(args);
        command.env("VIRTUAL_CARD_DIR", self.folder.path());
        command.stdin(Stdio::null()).spawn().expect("a run")
    }

    /// Waits for what the card's script waits for.
    pub fn wait(&self, what: &str) {
        assert!(self.call(&[what]).status().expect("a wait").success());
    }

    /// Lets the microphone hear the loudspeaker, some 60 ms later; gives the number by
    /// which [`Self::hush`] ends that.
    pub fn echo(&self) -> String {
        let echo = [
            "run",
            "pactl",
            "load-module",
            "module-loopback",
            "source=vc_speaker.monitor",
            "sink=vc_mic",
            "latency_msec=60",
        ];
        let done = self.call(&echo).output().expect("an echo");
        assert!(done.status.success(), "{done:?}");
        let number = String::from_utf8(done.stdout).expect("a number");
        number.trim().to_owned()
    }

    /// Ends an echo.
    pub fn hush(&self, echo: &str) {
        let stop = ["run", "pactl", "unload-module", echo];
        assert!(self.call(&stop).status().expect("a stop").success());
    }

    /// The program on the card, with settings for its environment
    /// (`NAME=value`), ahead of other programs where that is allowed.
    pub fn eightclap(&self, args: &[&str], settings: &[&str]) -> Child {
        // Without defaults of whoever tests it.
        self.call(&["run", "env", "EIGHTCLAP_CONFIG="])
            .args(settings)
            .args(ahead())
            .arg(assert_cmd::cargo::cargo_bin!("eightclap"))
            .args(args)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("a run")
    }
}

/// What puts a program ahead of others on a busy machine; nothing for users
/// who may not.
pub fn ahead() -> Vec<&'static str> {
    let may = Command::new("nice").args(["-n", "-10", "true"]).output();
    match may.is_ok_and(|done| done.status.success() && done.stderr.is_empty()) {
        true => vec!["nice", "-n", "-10"],
        false => Vec::new(),
    }
}

impl Drop for Card {
    fn drop(&mut self) {
        let _ = self.call(&["stop"]).output();
    }
}

/// A program under test, ended if the test fails.
pub struct Playing(pub Child);

impl Playing {
    /// Asks it to stop; gives its exit code and what it printed.
    pub fn stop(mut self) -> (Option<i32>, String, String) {
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
pub fn claps_in(sound: &[f32]) -> Vec<f64> {
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
pub fn left(path: &Path) -> Vec<f32> {
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

/// Writes a mono WAV file of 16 bits.
pub fn save(path: &Path, sound: &[f32]) {
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
}
