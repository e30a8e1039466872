//! The sounds the program makes: a hand clap for "one", a soft tick for other
//! counts. Both are computed, and the same at every run.
//!
//! A clap is a burst of noise that the cupped hands colour around 1 kHz, gone
//! within some 20 ms; a group's claps spread over some tens of milliseconds
//! and the room answers (common practice in drum synthesis: band-passed noise
//! with several decaying bursts and a longer tail).

use super::resample::resample;
use rand::RngExt;
use rand_pcg::Pcg32;
use rand_pcg::rand_core::SeedableRng;
use std::f32::consts::{PI, TAU};
use std::sync::Arc;

/// Length of [`group`], seconds.
pub const SECONDS: f32 = 0.130;

/// Peak of [`group`]: close to full scale, so a gain of 0.5 is -6 dB.
pub const PEAK: f32 = 0.9;

/// One pair of hands.
struct Hands {
    /// Seconds after the first.
    after: f32,
    level: f32,
    /// What the cupped hands resonate at, hertz.
    hollow: f32,
    /// Seconds to fall to 1/e.
    fall: f32,
}

/// The first is the loudest: it is the beat. The others are just behind it,
/// as people in a hall are.
const GROUP: [Hands; 6] = [
    hands(0.0, 1.00, 1150.0, 0.0075),
    hands(0.0050, 0.55, 920.0, 0.0080),
    hands(0.0092, 0.62, 1480.0, 0.0060),
    hands(0.0151, 0.45, 1050.0, 0.0090),
    hands(0.0203, 0.34, 1720.0, 0.0065),
    hands(0.0272, 0.24, 860.0, 0.0100),
];

const fn hands(after: f32, level: f32, hollow: f32, fall: f32) -> Hands {
    Hands {
        after,
        level,
        hollow,
        fall,
    }
}

/// The rate that claps are computed at, hertz. Noise drawn at another rate
/// would be another clap.
const RATE: u32 = 48_000;

/// A small group clapping once, mono, at `rate` frames a second. The first
/// hands meet at sample 0; the peak is [`PEAK`].
pub fn group(rate: u32) -> Arc<[f32]> {
    let hz = RATE as f32;
    let mut sound = vec![0.0f32; (SECONDS * hz) as usize];
    for (n, hands) in GROUP.iter().enumerate() {
        one_pair(hands, n as u64, hz, &mut sound);
    }
    room(hz, &mut sound);
    finish(at_rate(sound, rate), rate.max(1) as f32, PEAK)
}

/// One person clapping once, mono, at `rate` frames a second; every `seed` is
/// another person. The hands meet at sample 0; the peak is [`PEAK`].
pub fn person(rate: u32, seed: u64) -> Arc<[f32]> {
    let hz = RATE as f32;
    let mut dice = Noise::new(seed.wrapping_add(1_000));
    let mut between = |low: f32, high: f32| low + (high - low) * (0.5 + 0.5 * dice.next());
    let own = hands(0.0, 1.0, between(850.0, 1_750.0), between(0.006, 0.010));
    let mut sound = vec![0.0f32; (SECONDS * hz) as usize];
    one_pair(&own, seed, hz, &mut sound);
    finish(at_rate(sound, rate), rate.max(1) as f32, PEAK)
}

/// The same sound at another rate; as it is at a rate that no device has.
fn at_rate(sound: Vec<f32>, rate: u32) -> Vec<f32> {
    resample(&sound, RATE, rate).unwrap_or(sound)
}

/// A soft knock on wood for the counts between, mono: 45 ms that peak at 0.3.
pub fn tick(rate: u32) -> Arc<[f32]> {
    let hz = rate.max(1) as f32;
    let len = (0.045 * hz) as usize;
    // Two damped modes of a small wooden bar, in the ratio 1 : 2.76 of a free
    // bar's first two (from memory: Fletcher and Rossing, Physics of Musical
    // Instruments).
    let modes = [(820.0, 1.0, 0.008), (820.0 * 2.76, 0.35, 0.004)];
    let sound = (0..len)
        .map(|n| {
            let t = n as f32 / hz;
            let audible = modes.iter().filter(|(f, _, _)| *f < hz * 0.45);
            audible
                .map(|(f, level, fall)| level * (TAU * f * t).cos() * (-t / fall).exp())
                .sum()
        })
        .collect();
    finish(sound, hz, 0.3)
}

/// Adds one pair of hands: a slap over the whole band, and the same noise
/// through the resonance of the cupped hands.
fn one_pair(hands: &Hands, seed: u64, hz: f32, sound: &mut [f32]) {
    let start = (hands.after * hz).round() as usize;
    let mut noise = Noise::new(seed);
    let mut hollow = BandPass::new(hands.hollow, 1.6, hz);
    let mut edge = BandPass::new(2_600.0, 0.7, hz);
    let Some(out) = sound.get_mut(start..) else {
        return;
    };
    for (n, out) in out.iter_mut().enumerate() {
        let t = n as f32 / hz;
        let slap = noise.next();
        // Skin meets skin within a fraction of a millisecond.
        let body = 2.2 * hollow.next(slap) * (-t / hands.fall).exp();
        let crack = 1.1 * edge.next(slap) * (-t / 0.0028).exp();
        *out += hands.level * (body + crack);
    }
}

/// Adds the answer of the room: duller noise that rises behind the claps and
/// dies away.
fn room(hz: f32, sound: &mut [f32]) {
    let mut noise = Noise::new(99);
    let mut dull = BandPass::new(1_250.0, 0.6, hz);
    for (n, out) in sound.iter_mut().enumerate() {
        let t = n as f32 / hz;
        let rise = 1.0 - (-t / 0.012).exp();
        *out += 0.28 * rise * (-t / 0.032).exp() * dull.next(noise.next());
    }
}

/// Fades the end to nothing and sets the peak.
fn finish(mut sound: Vec<f32>, hz: f32, peak: f32) -> Arc<[f32]> {
    let fade = ((0.02 * hz) as usize).min(sound.len());
    let from = sound.len() - fade;
    for (n, s) in sound[from..].iter_mut().enumerate() {
        *s *= 0.5 + 0.5 * (PI * n as f32 / fade as f32).cos();
    }
    let loudest = sound.iter().fold(0.0f32, |m, s| m.max(s.abs()));
    if loudest > 0.0 {
        sound.iter_mut().for_each(|s| *s *= peak / loudest);
    }
    sound.into()
}

/// White noise.
struct Noise {
    rng: Pcg32,
}

impl Noise {
    fn new(seed: u64) -> Self {
        Noise {
            rng: Pcg32::seed_from_u64(seed + 7),
        }
    }

    fn next(&mut self) -> f32 {
        self.rng.random_range(-1.0f32..1.0)
    }
}

/// A band-pass filter with a peak gain of 1 (R. Bristow-Johnson, Cookbook
/// formulae for audio EQ biquad filter coefficients, BPF).
struct BandPass {
    gain: f32,
    a: [f32; 2],
    x: [f32; 2],
    y: [f32; 2],
}

impl BandPass {
    fn new(centre: f32, q: f32, hz: f32) -> Self {
        let w = TAU * centre.min(hz * 0.4) / hz;
        let alpha = w.sin() / (2.0 * q);
        let a0 = 1.0 + alpha;
        BandPass {
            gain: alpha / a0,
            a: [-2.0 * w.cos() / a0, (1.0 - alpha) / a0],
            x: [0.0; 2],
            y: [0.0; 2],
        }
    }

    fn next(&mut self, x: f32) -> f32 {
        let y = self.gain * (x - self.x[1]) - self.a[0] * self.y[0] - self.a[1] * self.y[1];
        self.x = [x, self.x[0]];
        self.y = [y, self.y[0]];
        y
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn energy(s: &[f32]) -> f32 {
        s.iter().map(|x| x * x).sum()
    }

    #[test]
    fn starts_at_once_and_is_over_in_time() {
        for rate in [8_000, 22_050, 44_100, 48_000, 96_000, 192_000] {
            let clap = group(rate);
            let ms = |ms: usize| ms * rate as usize / 1_000;
            let len = SECONDS * rate as f32;
            assert!((clap.len() as f32 - len).abs() <= 1.0);
            let peak = clap.iter().fold(0.0f32, |m, s| m.max(s.abs()));
            assert!((peak - PEAK).abs() < 1e-5, "{rate}: peak {peak}");
            let first = clap.iter().position(|s| s.abs() > 0.1 * peak).unwrap();
            assert!(
                first <= ms(1).max(2),
                "{rate}: first heard at sample {first}"
            );
            let early = energy(&clap[..ms(45)]) / energy(&clap);
            assert!(early > 0.9, "{rate}: only {early} of it in the first 45 ms");
            assert!(clap[clap.len() - 1].abs() < 1e-3);
        }
    }

    #[test]
    fn is_the_same_every_time() {
        assert_eq!(group(48_000), group(48_000));
        assert_eq!(tick(44_100), tick(44_100));
    }

    #[test]
    fn sounds_alike_at_every_rate() {
        let loudness = |rate: u32| energy(&group(rate)) / rate as f32;
        let usual = loudness(48_000);
        for rate in [22_050, 44_100, 96_000] {
            let ratio = loudness(rate) / usual;
            assert!(
                (0.75..1.33).contains(&ratio),
                "{rate}: {ratio} of the energy"
            );
        }
    }

    #[test]
    fn the_tick_is_much_softer_than_the_clap() {
        let (clap, tick) = (group(48_000), tick(48_000));
        assert!(energy(&tick) < energy(&clap) / 5.0);
        assert!(tick[0].abs() > 0.2, "it starts at sample 0");
    }
}
