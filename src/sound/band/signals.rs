//! Plain signals with known contents, for tests and measurements.

use super::crowd::{BAND_RMS, Crowd};
use super::dice::Dice;
use super::room::Hall;
use super::settings::Room;
use super::voice::Percussion;
use crate::sound::clap;

/// Number of samples in `seconds` at `rate` samples a second.
fn length(seconds: f64, rate: u32) -> usize {
    (seconds.max(0.0) * f64::from(rate)) as usize
}

/// Digital silence.
pub fn silence(seconds: f64, rate: u32) -> Vec<f32> {
    vec![0.0; length(seconds, rate)]
}

/// White noise, even between `-peak` and `peak` (RMS is `peak`/√3).
pub fn white_noise(seconds: f64, rate: u32, peak: f32, seed: u64) -> Vec<f32> {
    let mut dice = Dice::new(seed, 60);
    (0..length(seconds, rate))
        .map(|_| peak * dice.noise())
        .collect()
}

/// A sine of `hertz`.
pub fn sine(seconds: f64, rate: u32, hertz: f64, peak: f32) -> Vec<f32> {
    let step = std::f64::consts::TAU * hertz / f64::from(rate);
    (0..length(seconds, rate))
        .map(|i| peak * (step * i as f64).sin() as f32)
        .collect()
}

/// Talk without words, at an RMS of about `rms`: no beat in it.
pub fn babble(seconds: f64, rate: u32, rms: f32, seed: u64) -> Vec<f32> {
    let mut out = silence(seconds, rate);
    Crowd::new(f64::from(rms / BAND_RMS), f64::from(rate), seed).add_to(&mut out);
    out
}

/// Puts the answer of a hall to what sounds in it, in place; a dry one has none.
pub fn in_room(samples: &mut [f32], room: &Room, rate: u32) {
    if let Some(mut hall) = Hall::new(room, f64::from(rate)) {
        hall.run(samples);
    }
}

/// `people` clapping at each of `times` (seconds), everybody with hands of their
/// own, as one mono sound of `seconds`. How late each of them claps is bell-shaped
/// about 0 with a standard deviation of `spread` seconds.
pub fn clapping(
    times: &[f64],
    seconds: f64,
    rate: u32,
    people: usize,
    spread: f64,
    seed: u64,
) -> Vec<f32> {
    let mut out = silence(seconds, rate);
    let mut dice = Dice::new(seed, 70);
    let hands: Vec<_> = (0..people as u64)
        .map(|n| {
            (
                clap::person(rate, seed ^ (n << 8)),
                dice.between(0.5, 1.0) as f32,
            )
        })
        .collect();
    for time in times {
        for (clip, loud) in &hands {
            let at = ((time + dice.bell(spread)) * f64::from(rate))
                .round()
                .max(0.0) as usize;
            for (y, x) in out.iter_mut().skip(at).zip(clip.iter()) {
                *y += loud * x;
            }
        }
    }
    out
}

/// Metronome clicks, and when they are.
#[derive(Debug, Clone, PartialEq)]
pub struct Clicks {
    /// Mono samples.
    pub samples: Vec<f32>,
    /// Start of each click in seconds.
    pub beats: Vec<f64>,
}

/// `count` even clicks at `steps_per_minute`, the first after `before` seconds, all
/// alike, with a second of silence after the last.
pub fn metronome(steps_per_minute: f64, count: usize, before: f64, rate: u32) -> Clicks {
    let period = 60.0 / steps_per_minute;
    let beats: Vec<f64> = (0..count).map(|i| before + i as f64 * period).collect();
    let end = beats.last().copied().unwrap_or(before) + 1.0;
    let mut samples = silence(end, rate);
    for beat in &beats {
        let at = ((beat * f64::from(rate)).round() as usize).min(samples.len());
        let until = (at + length(0.2, rate)).min(samples.len());
        let mut stick = Percussion::new(f64::from(rate), 0);
        stick.click(1.0);
        stick.add_to(&mut samples[at..until]);
    }
    Clicks { samples, beats }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rms(x: &[f32]) -> f32 {
        (x.iter().map(|v| v * v).sum::<f32>() / x.len() as f32).sqrt()
    }

    #[test]
    fn silence_and_noise_are_what_they_say() {
        assert_eq!(silence(0.5, 8000), vec![0.0; 4000]);
        let x = white_noise(1.0, 8000, 0.3, 4);
        assert_eq!(x.len(), 8000);
        assert!(x.iter().all(|v| v.abs() <= 0.3));
        assert!((rms(&x) - 0.3 / 3.0_f32.sqrt()).abs() < 0.01);
        assert_eq!(x, white_noise(1.0, 8000, 0.3, 4));
        assert_ne!(x, white_noise(1.0, 8000, 0.3, 5));
        // White: neighbours have nothing to do with each other.
        let along: f32 = x.windows(2).map(|w| w[0] * w[1]).sum::<f32>() / 8000.0;
        assert!(along.abs() < 0.1 * rms(&x).powi(2));
    }

    #[test]
    fn a_sine_has_its_pitch_and_level() {
        let x = sine(1.0, 8000, 100.0, 0.5);
        let crossings = x.windows(2).filter(|w| w[0] < 0.0 && w[1] >= 0.0).count();
        assert!((99..=100).contains(&crossings));
        assert!((rms(&x) - 0.5 / 2.0_f32.sqrt()).abs() < 1e-3);
    }

    #[test]
    fn babble_keeps_its_level_at_any_rate() {
        for rate in [8000, 44_100] {
            let level = rms(&babble(10.0, rate, 0.1, 3));
            assert!((0.06..0.16).contains(&level), "{rate}: {level}");
        }
    }

    #[test]
    fn metronome_clicks_are_on_their_beats() {
        let m = metronome(120.0, 8, 0.25, 8000);
        assert_eq!(m.beats.len(), 8);
        assert!((m.beats[7] - 3.75).abs() < 1e-12);
        for beat in &m.beats {
            let at = (beat * 8000.0) as usize;
            assert!(m.samples[at - 100..at].iter().all(|x| x.abs() < 1e-3));
            assert!(rms(&m.samples[at..at + 80]) > 0.05);
        }
    }
}
