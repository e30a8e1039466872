//! Sticks and feet.

use std::f64::consts::TAU;

use super::super::dice::Dice;
use super::smoother;

/// Clicks of a stick and dancers' feet.
#[derive(Debug, Clone)]
pub(in super::super) struct Percussion {
    rate: f64,
    dice: Dice,
    hits: Vec<Hit>,
}

/// A dying tone with noise in it.
#[derive(Debug, Clone)]
struct Hit {
    /// A point turning on a circle; its height is the tone.
    x: f32,
    y: f32,
    turn: (f32, f32),
    tone: f32,
    noise: f32,
    softness: f32,
    soft: f32,
    keep: f32,
    loud: f32,
    left: usize,
    dice: Dice,
}

impl Percussion {
    pub fn new(rate: f64, seed: u64) -> Self {
        Percussion {
            rate,
            dice: Dice::new(seed, 40),
            hits: Vec::new(),
        }
    }

    /// A stick on a stick: high, short, at once.
    pub fn click(&mut self, level: f32) {
        self.hit(
            2100.0_f64.min(self.rate * 0.3),
            0.011,
            0.26 * level,
            0.2 * level,
            0.9,
        );
    }

    /// A foot on a wooden floor: low and dull.
    pub fn foot(&mut self, level: f32) {
        let hertz = self.dice.between(65.0, 130.0);
        self.hit(hertz, 0.028, 0.16 * level, 0.3 * level, 0.08);
    }

    fn hit(&mut self, hertz: f64, seconds: f64, tone: f32, noise: f32, softness: f32) {
        let angle = TAU * hertz / self.rate;
        self.hits.push(Hit {
            x: 1.0,
            y: 0.0,
            turn: (angle.cos() as f32, angle.sin() as f32),
            tone,
            noise,
            softness,
            soft: 0.0,
            keep: (1.0 - smoother(seconds, self.rate)) as f32,
            loud: 1.0,
            dice: self.dice.branch(),
            // Nine time constants: down by 78 dB.
            left: (9.0 * seconds * self.rate) as usize,
        });
    }

    /// Adds the next samples to `out`.
    pub fn add_to(&mut self, out: &mut [f32]) {
        for hit in &mut self.hits {
            let count = hit.left.min(out.len());
            hit.left -= count;
            for y in &mut out[..count] {
                hit.soft += (hit.dice.noise() - hit.soft) * hit.softness;
                *y += hit.loud * (hit.tone * hit.y + hit.noise * hit.soft);
                let (cos, sin) = hit.turn;
                (hit.x, hit.y) = (hit.x * cos - hit.y * sin, hit.x * sin + hit.y * cos);
                hit.loud *= hit.keep;
            }
        }
        self.hits.retain(|h| h.left > 0);
    }
}
