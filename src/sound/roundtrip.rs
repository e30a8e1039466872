//! How long a sound takes from the loudspeaker's stamp to the microphone's.
//!
//! Devices say when a sample will be heard, and when one was. Both are off by
//! what the driver does not know of (converters, wireless links), and the sound
//! takes its time through the air. Together that is the *round trip*: a sweep is
//! played and looked for in what the microphone hears.
//!
//! The sweep is exponential (A. Farina, "Simultaneous measurement of impulse
//! response and distortion with a swept-sine technique", AES 108th Convention,
//! 2000): it has as much energy in each octave and stands out of noise although
//! it is quiet. It is found by its matched filter, the correlation with itself,
//! computed with Fourier transforms.

use std::collections::BTreeMap;
use std::f64::consts::TAU;
use std::io;
use std::path::{Path, PathBuf};

use realfft::RealFftPlanner;
use serde::{Deserialize, Serialize};

use super::timeline::median;

/// The sweep's length, seconds, and range, hertz: what small loudspeakers and
/// headphones beside a microphone pass.
pub const SECONDS: f64 = 0.4;
const LOWEST: f64 = 300.0;
const HIGHEST: f64 = 7_000.0;

/// Seconds of fading at both ends.
const FADE: f64 = 0.02;

/// A peak stands out if it is so many times the correlation's own noise (the
/// median of its size away from the peak). Noise alone reaches 6 to 7.
const CLEAR: f64 = 14.0;

/// The quietest sweep that is believed, full scale 1: below it, where nothing is
/// heard at all, only rounding stands out.
const FAINTEST: f64 = 1e-4;

/// Seconds around the peak that are echoes, not noise.
const ECHOES: f64 = 0.05;

/// Round trips of one pair differ by less than this, seconds, or are no use.
const SPREAD: f64 = 0.008;

/// The sweep at `rate`, with a peak of 1.
pub fn sweep(rate: u32) -> Vec<f32> {
    let rate = f64::from(rate.max(1));
    let highest = HIGHEST.min(0.4 * rate);
    let (length, growth) = (SECONDS, (highest / LOWEST).ln());
    (0..(length * rate) as usize)
        .map(|n| {
            let t = n as f64 / rate;
            let phase = TAU * LOWEST * length / growth * ((t / length * growth).exp() - 1.0);
            let edge = t.min(length - t).clamp(0.0, FADE) / FADE;
            (phase.sin() * (0.5 - 0.5 * (edge * TAU / 2.0).cos())) as f32
        })
        .collect()
}

/// A sweep found in a recording.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Found {
    /// Its first sample, from the recording's first, with fractions.
    pub at: f64,
    /// How many times its peak is the noise around it.
    pub clear: f64,
}

/// Finds the sweep in `heard`, both at `rate`; `None` if its peak does not
/// stand out.
pub fn find(heard: &[f32], rate: u32) -> Option<Found> {
    let shape = sweep(rate);
    let room = heard.len().checked_sub(shape.len())?.checked_add(1)?;
    let likeness = correlate(heard, &shape)?;
    let likeness = &likeness[..room];
    let size = |n: usize| f64::from(likeness[n].abs());
    let peak = (0..room).max_by(|a, b| size(*a).total_cmp(&size(*b)))?;
    let near = (ECHOES * f64::from(rate)) as usize;
    let mut away: Vec<f64> = (0..room)
        .filter(|n| n.abs_diff(peak) > near)
        .map(size)
        .collect();
    let noise = median(&mut away).max(1e-9);
    let clear = size(peak) / noise;
    let loudness = size(peak) / shape.iter().map(|s| f64::from(s * s)).sum::<f64>();
    if clear < CLEAR || loudness < FAINTEST {
        return None;
    }
    // The direct sound comes first: an echo or a resonance may be a little
    // stronger. The earliest peak of nearly that size is taken.
    let first = peak.saturating_sub((0.005 * f64::from(rate)) as usize);
    let direct = (first..=peak).find(|n| {
        let here = size(*n);
        let top = n.checked_sub(1).is_none_or(|m| size(m) <= here)
            && (n + 1 >= room || size(n + 1) <= here);
        top && here > 0.7 * size(peak)
    });
    let at = direct.unwrap_or(peak);
    // A parabola through the three samples at the top gives its fraction.
    let offset = match (at.checked_sub(1), at + 1 < room) {
        (Some(before), true) => {
            let (a, b, c) = (size(before), size(at), size(at + 1));
            let bend = a - 2.0 * b + c;
            if bend < 0.0 {
                0.5 * (a - c) / bend
            } else {
                0.0
            }
        }
        _ => 0.0,
    };
    Some(Found {
        at: at as f64 + offset,
        clear,
    })
}

/// The correlation of `heard` with `shape`: value n is for a `shape` that begins
/// at sample n. Beyond `heard.len() - shape.len()` only a part of it fits.
/// `None` if the transform fails.
pub fn correlate(heard: &[f32], shape: &[f32]) -> Option<Vec<f32>> {
    let length = (heard.len() + shape.len()).next_power_of_two();
    let mut planner = RealFftPlanner::<f32>::new();
    let (forward, back) = (
        planner.plan_fft_forward(length),
        planner.plan_fft_inverse(length),
    );
    let spectrum = |sound: &[f32]| {
        let mut padded = sound.to_vec();
        padded.resize(length, 0.0);
        let mut spectrum = forward.make_output_vec();
        forward.process(&mut padded, &mut spectrum).ok()?;
        Some(spectrum)
    };
    let (mut heard, shape) = (spectrum(heard)?, spectrum(shape)?);
    for (h, s) in heard.iter_mut().zip(&shape) {
        *h *= s.conj() / length as f32;
    }
    // What must be real is so up to rounding; the transform insists on it.
    if let [first, .., last] = heard.as_mut_slice() {
        first.im = 0.0;
        last.im = 0.0;
    }
    let mut likeness = back.make_output_vec();
    back.process(&mut heard, &mut likeness).ok()?;
    Some(likeness)
}

/// What several sweeps say together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// The median, seconds.
    pub seconds: f64,
    /// The largest difference from it, seconds.
    pub spread: f64,
    /// How many sweeps were heard.
    pub sweeps: usize,
}

/// Why a measurement is no use.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Unclear {
    /// Too few sweeps stood out: how many, of how many.
    #[error(
        "the microphone heard only {0} of {1} sweeps clearly: too quiet; turn the loudspeaker or the microphone up, bring them nearer to each other, and be still meanwhile"
    )]
    Quiet(usize, usize),
    /// They do not agree: the spread, milliseconds.
    #[error(
        "the sweeps came back at times that differ by {0:.0} ms; close other programs and measure again (wireless loudspeakers may never keep still: use a cable)"
    )]
    Unsteady(f64),
}

/// Judges the round trips of `played` sweeps, of which those in `heard`
/// (seconds) were found.
///
/// # Errors
/// If fewer than half were, or they do not agree.
pub fn judge(heard: &[f64], played: usize) -> Result<Measured, Unclear> {
    if heard.len() < 3 || 2 * heard.len() <= played {
        return Err(Unclear::Quiet(heard.len(), played));
    }
    let middle = median(&mut heard.to_vec());
    // One that a slammed door has spoilt does not count.
    let mut off: Vec<f64> = heard.iter().map(|h| (h - middle).abs()).collect();
    off.sort_by(f64::total_cmp);
    let most = off[(off.len() - 1) * 3 / 4];
    if most > SPREAD {
        return Err(Unclear::Unsteady(1e3 * most));
    }
    Ok(Measured {
        seconds: middle,
        spread: most,
        sweeps: heard.len(),
    })
}

/// The round trips measured so far, by pair of devices.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RoundTrips {
    /// Milliseconds, by input and then output.
    #[serde(default)]
    milliseconds: BTreeMap<String, BTreeMap<String, f64>>,
}

/// The file of round trips cannot be read or written.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The system knows no place for settings.
    #[error("this system has no folder for settings; set HOME")]
    NoFolder,
    /// It cannot be read or written.
    #[error("{path}: {why}", path = .path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// Why.
        why: io::Error,
    },
    /// It is not what this program writes.
    #[error(
        "{path}: {why}; delete it and run `eightclap devices measure` again",
        path = .path.display()
    )]
    Text {
        /// The file.
        path: PathBuf,
        /// Why.
        why: String,
    },
}

impl RoundTrips {
    /// Where they are kept, in the user's folder for settings.
    ///
    /// # Errors
    /// If there is no such folder.
    pub fn path() -> Result<PathBuf, StoreError> {
        let folders = directories::ProjectDirs::from("", "", "eightclap");
        let folders = folders.ok_or(StoreError::NoFolder)?;
        Ok(folders.config_dir().join("round-trips.toml"))
    }

    /// Reads them; none if there is no such file.
    ///
    /// # Errors
    /// If the file is there and cannot be used.
    pub fn load(path: &Path) -> Result<Self, StoreError> {
        let text = match std::fs::read_to_string(path) {
            Ok(text) => text,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Self::default()),
            Err(why) => {
                let path = path.to_owned();
                return Err(StoreError::File { path, why });
            }
        };
        toml::from_str(&text).map_err(|error| StoreError::Text {
            path: path.to_owned(),
            why: error.message().trim().to_owned(),
        })
    }

    /// Writes them: the file is the old one or the new one, never half of it.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn save(&self, path: &Path) -> Result<(), StoreError> {
        let failed = |why| StoreError::File {
            path: path.to_owned(),
            why,
        };
        let text = toml::to_string(self).map_err(|error| StoreError::Text {
            path: path.to_owned(),
            why: error.to_string(),
        })?;
        let text = format!("# Written by `eightclap devices measure`.\n{text}");
        let folder = path.parent().unwrap_or(Path::new("."));
        std::fs::create_dir_all(folder).map_err(failed)?;
        let mut file = tempfile::NamedTempFile::new_in(folder).map_err(failed)?;
        io::Write::write_all(&mut file, text.as_bytes()).map_err(failed)?;
        file.as_file().sync_all().map_err(failed)?;
        file.persist(path).map_err(|error| failed(error.error))?;
        Ok(())
    }

    /// The round trip of a pair, seconds, by their lasting names.
    pub fn get(&self, input: &str, output: &str) -> Option<f64> {
        let ms = *self.milliseconds.get(input)?.get(output)?;
        // A file edited by hand may hold anything.
        (ms.is_finite() && ms.abs() < 2_000.0).then_some(ms / 1e3)
    }

    /// Keeps the round trip of a pair, seconds.
    pub fn set(&mut self, input: &str, output: &str, seconds: f64) {
        let ms = (seconds * 1e4).round() / 10.0;
        let of = self.milliseconds.entry(input.to_owned()).or_default();
        of.insert(output.to_owned(), ms);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use rand::RngExt;
    use rand_pcg::Pcg32;
    use rand_pcg::rand_core::SeedableRng;

    /// A recording with noise and the sweep in a room, `gain` times as loud.
    fn recording(seed: u64, rate: u32, at: usize, gain: f32, noise: f32) -> Vec<f32> {
        let mut dice = Pcg32::seed_from_u64(seed);
        let mut sound: Vec<f32> = (0..rate as usize)
            .map(|_| noise * dice.random_range(-1.0f32..1.0))
            .collect();
        for (delay, level) in [
            (0, 1.0),
            (rate as usize / 90, 0.6),
            (rate as usize / 35, -0.4),
        ] {
            for (n, s) in sweep(rate).iter().enumerate() {
                if let Some(out) = sound.get_mut(at + delay + n) {
                    *out += gain * level * s;
                }
            }
        }
        sound
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]
        #[test]
        fn a_sweep_is_found_to_the_sample_below_the_noise(
            seed in 0u64..1_000,
            at in 0usize..9_000,
            rate in prop::sample::select(vec![16_000u32, 44_100, 48_000]),
        ) {
            let found = find(&recording(seed, rate, at, 0.02, 0.03), rate);
            let found = found.expect("it is there");
            prop_assert!((found.at - at as f64).abs() < 2.0, "{} for {at}", found.at);
        }

        #[test]
        fn noise_alone_is_refused(seed in 0u64..1_000) {
            prop_assert_eq!(find(&recording(seed, 16_000, 0, 0.0, 0.3), 16_000), None);
        }
    }

    #[test]
    fn silence_and_short_recordings_hold_nothing() {
        assert_eq!(find(&[0.0; 48_000], 48_000), None);
        assert_eq!(find(&[0.1; 100], 48_000), None);
        assert_eq!(find(&[], 48_000), None);
        // A speck of a whisper of it is rounding, not sound.
        assert_eq!(find(&recording(1, 48_000, 500, 1e-6, 0.0), 48_000), None);
    }

    #[test]
    fn sweeps_that_agree_make_a_measurement() {
        let one = judge(&[0.031, 0.030, 0.032, 0.031, 0.9], 5).unwrap();
        assert_eq!((one.seconds, one.sweeps), (0.031, 5));
        assert!((one.spread - 0.001).abs() < 1e-9);
        assert_eq!(judge(&[0.03, 0.03], 6), Err(Unclear::Quiet(2, 6)));
        assert_eq!(judge(&[0.03; 3], 6), Err(Unclear::Quiet(3, 6)));
        let unsteady = judge(&[0.03, 0.05, 0.08, 0.12, 0.2], 5);
        assert!(matches!(unsteady, Err(Unclear::Unsteady(_))));
    }

    #[test]
    fn round_trips_are_kept_and_a_spoilt_file_is_named() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a/b/round-trips.toml");
        let mut trips = RoundTrips::load(&path).unwrap();
        assert_eq!(trips.get("in", "out"), None);
        trips.set("alsa:hw:\"x\"", "out", 0.031_27);
        trips.set("alsa:hw:\"x\"", "other", -0.002);
        trips.save(&path).unwrap();
        let again = RoundTrips::load(&path).unwrap();
        assert_eq!(again, trips);
        assert_eq!(again.get("alsa:hw:\"x\"", "out"), Some(0.0313));
        std::fs::write(&path, "milliseconds = 3").unwrap();
        let error = RoundTrips::load(&path).unwrap_err().to_string();
        assert!(
            error.contains("round-trips.toml") && error.contains("delete it"),
            "{error}"
        );
    }
}
