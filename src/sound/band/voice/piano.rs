//! An upright piano from the back of the hall: partials that are a little
//! sharp, die at their own pace, and start with the knock of the hammer.
//!
//! Stiff strings stretch their partials, f_n = n f_0 sqrt(1 + B n^2) (Fletcher,
//! Blackham and Stratton, JASA 34, 1962); a hammer at an eighth of the string
//! leaves out every eighth partial (common practice of piano makers).

use biquad::Type::{HighPass, LowPass, PeakingEQ};

use super::super::dice::Dice;
use super::{Filters, decay60, hertz, smoother};

/// Partials a note; the last ones are the slower second string of the first ones.
const PARTIALS: usize = 20;
const FIRST: usize = 14;
/// Most keys that sound at once; the oldest is dropped beyond it.
const KEYS: usize = 28;

/// All keys and the case.
#[derive(Debug, Clone)]
pub(in super::super) struct Piano {
    rate: f64,
    dice: Dice,
    keys: Vec<Key>,
    case: Filters,
    scratch: Vec<f32>,
}

impl Piano {
    pub fn new(rate: f64, seed: u64) -> Self {
        Piano {
            rate,
            dice: Dice::new(seed, 30),
            keys: Vec::new(),
            case: Filters::new(
                rate,
                &[
                    (HighPass, 35.0, 0.7),
                    (PeakingEQ(3.0), 120.0, 1.5),
                    (PeakingEQ(-2.5), 900.0, 1.2),
                    (LowPass, 7000.0, 0.6),
                ],
            ),
            scratch: Vec::new(),
        }
    }

    /// Strikes a key; its damper falls after `seconds`.
    pub fn strike(&mut self, pitch: f64, seconds: f64, level: f32) {
        if self.keys.len() >= KEYS {
            self.keys.remove(0);
        }
        let key = Key::new(self.rate, pitch, seconds, level, &mut self.dice);
        self.keys.push(key);
    }

    /// Adds the next samples to `out`.
    pub fn add_to(&mut self, out: &mut [f32]) {
        self.scratch.clear();
        self.scratch.resize(out.len(), 0.0);
        for key in &mut self.keys {
            key.add_to(&mut self.scratch);
        }
        self.keys.retain(|k| k.left > 0);
        self.case.run_block(&mut self.scratch);
        for (y, x) in out.iter_mut().zip(&self.scratch) {
            *y += x;
        }
    }
}

/// One struck key.
#[derive(Debug, Clone)]
struct Key {
    /// Each partial is a point turning on a shrinking circle.
    x: [f32; PARTIALS],
    y: [f32; PARTIALS],
    turn_x: [f32; PARTIALS],
    turn_y: [f32; PARTIALS],
    dice: Dice,
    knock: f32,
    knock_keep: f32,
    knock_soft: f32,
    rise: f32,
    rise_by: f32,
    damp: f32,
    damp_keep: f32,
    until_damped: u32,
    left: u32,
    age: u32,
}

impl Key {
    fn new(rate: f64, pitch: f64, seconds: f64, level: f32, dice: &mut Dice) -> Self {
        let base = hertz(pitch);
        let stretch = 1.2e-4 * ((pitch - 40.0) / 14.0).exp2().clamp(0.6, 20.0);
        let hard = f64::from(level);
        let (mut x, mut y) = ([0.0; PARTIALS], [0.0; PARTIALS]);
        let (mut turn_x, mut turn_y) = ([0.0; PARTIALS], [0.0; PARTIALS]);
        let mut power = 0.0;
        for i in 0..PARTIALS {
            let second = i >= FIRST;
            let n = (if second { i - FIRST } else { i } + 1) as f64;
            let detune = if second { 1.0 + 5.5e-4 } else { 1.0 };
            let at = n * base * (1.0 + stretch * n * n).sqrt() * detune;
            if at > 0.42 * rate {
                continue;
            }
            let place = (std::f64::consts::PI * n / 8.0).sin().abs() + 0.04;
            let felt = (-at / (1500.0 + 2200.0 * hard)).exp();
            // A small soundboard hardly moves for the lowest partials.
            let board = at * at / (at * at + 75.0 * 75.0);
            let share = if second { 0.35 } else { 1.0 };
            let loud = place / n.sqrt() * felt * board * share;
            power += loud * loud;
            let ring = (5.5 / (1.0 + at / 420.0) + 0.25) * if second { 2.0 } else { 0.8 };
            let keep = decay60(ring, rate);
            let angle = std::f64::consts::TAU * at / rate;
            let start = dice.between(-0.6, 0.6);
            x[i] = (loud * start.cos()) as f32;
            y[i] = (loud * start.sin()) as f32;
            turn_x[i] = (keep * angle.cos()) as f32;
            turn_y[i] = (keep * angle.sin()) as f32;
        }
        let scale = (0.085 * level) / (power.sqrt() as f32).max(1e-3);
        for v in x.iter_mut().chain(&mut y) {
            *v *= scale;
        }
        let until_damped = (seconds * rate) as u32;
        Key {
            x,
            y,
            turn_x,
            turn_y,
            dice: dice.branch(),
            knock: 0.11 * level,
            knock_keep: (1.0 - smoother(0.006, rate)) as f32,
            knock_soft: 0.0,
            rise: 0.0,
            rise_by: (1.0 / (0.0015 * rate)) as f32,
            damp: 1.0,
            damp_keep: decay60(if pitch < 50.0 { 0.22 } else { 0.16 }, rate) as f32,
            until_damped,
            left: until_damped + (0.25 * rate) as u32,
            age: 0,
        }
    }

    fn add_to(&mut self, out: &mut [f32]) {
        let count = out.len().min(self.left as usize);
        for y in &mut out[..count] {
            let mut sum = 0.0;
            for i in 0..PARTIALS {
                let (a, b) = (self.x[i], self.y[i]);
                self.x[i] = a * self.turn_x[i] - b * self.turn_y[i];
                self.y[i] = a * self.turn_y[i] + b * self.turn_x[i];
                sum += self.y[i];
            }
            if self.until_damped > 0 {
                self.until_damped -= 1;
            } else {
                self.damp *= self.damp_keep;
            }
            self.rise = (self.rise + self.rise_by).min(1.0);
            let mut sample = sum * self.damp;
            if self.knock > 1e-5 {
                self.knock_soft += (self.dice.noise() - self.knock_soft) * 0.2;
                sample += self.knock_soft * self.knock;
                self.knock *= self.knock_keep;
            }
            *y += sample * self.rise;
            self.age += 1;
            if self.age.is_multiple_of(4096) {
                self.forget_faint();
            }
        }
        self.left -= count as u32;
    }

    /// Partials that have died away are set to rest: numbers near the smallest a
    /// float holds are slow.
    fn forget_faint(&mut self) {
        for (x, y) in self.x.iter_mut().zip(&mut self.y) {
            if x.abs() + y.abs() < 1e-8 {
                (*x, *y) = (0.0, 0.0);
            }
        }
    }
}
