//! Plucked strings: mandolin, guitar and bass.
//!
//! A burst of noise going round a delay line with a soft loss (Karplus and
//! Strong, Computer Music Journal 7(2), 1983), tuned by an all-pass and shaped
//! by the plucking place (Jaffe and Smith, same issue).

use biquad::Type::{HighPass, LowPass, PeakingEQ};

use super::super::dice::Dice;
use super::super::score::Plucked;
use super::{Filters, decay60, hertz};

/// Most strings that sound at once; the oldest is dropped beyond it.
const STRINGS: usize = 24;

/// All plucked instruments, with one wooden body for the guitar and bass and one
/// for the mandolin.
#[derive(Debug, Clone)]
pub(in super::super) struct Plucks {
    rate: f64,
    dice: Dice,
    strings: Vec<Plucked_>,
    low_body: Filters,
    high_body: Filters,
    low: Vec<f32>,
    high: Vec<f32>,
}

impl Plucks {
    pub fn new(rate: f64, seed: u64) -> Self {
        Plucks {
            rate,
            dice: Dice::new(seed, 20),
            strings: Vec::new(),
            low_body: Filters::new(
                rate,
                &[
                    (HighPass, 40.0, 0.7),
                    (PeakingEQ(5.0), 105.0, 2.5),
                    (PeakingEQ(4.0), 205.0, 4.0),
                    (PeakingEQ(-3.0), 420.0, 2.0),
                    (LowPass, 5000.0, 0.6),
                ],
            ),
            high_body: Filters::new(
                rate,
                &[
                    (HighPass, 170.0, 0.7),
                    (PeakingEQ(4.0), 390.0, 3.0),
                    (PeakingEQ(3.0), 640.0, 3.0),
                    (LowPass, 6500.0, 0.6),
                ],
            ),
            low: Vec::new(),
            high: Vec::new(),
        }
    }

    /// Plucks a string; it is damped after `seconds`.
    pub fn pluck(&mut self, kind: Plucked, pitch: f64, seconds: f64, level: f32) {
        if self.strings.len() >= STRINGS {
            self.strings.remove(0);
        }
        let string = Plucked_::new(self.rate, kind, pitch, seconds, level, &mut self.dice);
        self.strings.push(string);
        if kind == Plucked::Mandolin {
            // Strings in pairs, never quite in tune.
            let other = pitch + 0.05;
            let string = Plucked_::new(self.rate, kind, other, seconds, level, &mut self.dice);
            self.strings.push(string);
        }
    }

    /// Adds the next samples to `out`.
    pub fn add_to(&mut self, out: &mut [f32]) {
        for side in [&mut self.low, &mut self.high] {
            side.clear();
            side.resize(out.len(), 0.0);
        }
        for string in &mut self.strings {
            string.add_to(if string.kind == Plucked::Mandolin {
                &mut self.high
            } else {
                &mut self.low
            });
        }
        self.strings.retain(|s| s.left > 0);
        self.low_body.run_block(&mut self.low);
        self.high_body.run_block(&mut self.high);
        for ((y, a), b) in out.iter_mut().zip(&self.low).zip(&self.high) {
            *y += a + b;
        }
    }
}

/// One string.
#[derive(Debug, Clone)]
struct Plucked_ {
    kind: Plucked,
    line: Vec<f32>,
    at: usize,
    keep: f32,
    damped_keep: f32,
    soft: f32,
    last: f32,
    tune: f32,
    tune_in: f32,
    tune_out: f32,
    gain: f32,
    until_damped: u32,
    left: u32,
}

impl Plucked_ {
    fn new(
        rate: f64,
        kind: Plucked,
        pitch: f64,
        seconds: f64,
        level: f32,
        dice: &mut Dice,
    ) -> Self {
        // Ring time, loss of brightness a turn, plucking place, edge of the burst, gain.
        let (ring, soft, place, edge, gain) = match kind {
            Plucked::Mandolin => (1.1, 0.22, 0.11, 0.75, 0.075),
            Plucked::Guitar => (1.8, 0.28, 0.16, 0.5, 0.05),
            Plucked::Bass => (2.2, 0.42, 0.25, 0.16, 0.13),
        };
        let period = rate / hertz(pitch);
        // The loop's soft loss delays by `soft` samples.
        let whole = (period - soft - 0.3).floor().max(2.0);
        let rest = period - soft - whole;
        let length = whole as usize;
        let mut line: Vec<f32> = (0..length).map(|_| dice.noise()).collect();
        let mut held = 0.0;
        for x in &mut line {
            held += (*x - held) * (edge * (0.6 + 0.4 * f64::from(level))) as f32;
            *x = held;
        }
        let comb = ((length as f64 * place) as usize).max(1);
        let plain = line.clone();
        for (i, x) in line.iter_mut().enumerate() {
            *x -= 0.9 * plain[(i + length - comb) % length];
        }
        let mean = line.iter().sum::<f32>() / length as f32;
        let power = line.iter().map(|x| (x - mean).powi(2)).sum::<f32>() / length as f32;
        let scale = 1.0 / power.sqrt().max(1e-3);
        for x in &mut line {
            *x = (*x - mean) * scale;
        }
        let until_damped = (seconds * rate) as u32;
        let tail = (0.25 * rate) as u32;
        Plucked_ {
            kind,
            line,
            at: 0,
            keep: decay60(ring, rate / period) as f32,
            damped_keep: decay60(0.16, rate / period) as f32,
            soft: soft as f32,
            last: 0.0,
            tune: ((1.0 - rest) / (1.0 + rest)) as f32,
            tune_in: 0.0,
            tune_out: 0.0,
            gain: gain * level,
            until_damped,
            left: until_damped + tail,
        }
    }

    fn add_to(&mut self, out: &mut [f32]) {
        let count = out.len().min(self.left as usize);
        for y in &mut out[..count] {
            let x = self.line[self.at];
            let softened = x + (self.last - x) * self.soft;
            self.last = x;
            let keep = if self.until_damped > 0 {
                self.until_damped -= 1;
                self.keep
            } else {
                self.damped_keep
            };
            let input = softened * keep;
            let output = self.tune * (input - self.tune_out) + self.tune_in;
            (self.tune_in, self.tune_out) = (input, output);
            self.line[self.at] = output;
            self.at += 1;
            if self.at == self.line.len() {
                self.at = 0;
            }
            *y += x * self.gain;
        }
        self.left -= count as u32;
    }
}
