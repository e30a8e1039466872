//! A bowed fiddle: two strings, a bow with a bite, and a wooden body.
//!
//! A bowed string moves in a sawtooth (Helmholtz motion; Fletcher and Rossing,
//! "The Physics of Musical Instruments", 2nd ed., section 10.2); the body then
//! picks and drops harmonics as they pass its many resonances, which is what
//! tells a fiddle from an organ pipe, most of all under vibrato.

use biquad::Type::{HighPass, LowPass, PeakingEQ};

use super::super::dice::Dice;
use super::{Filters, Shape, hertz, smoother};

/// Samples between updates of the slow things: pitch, vibrato, bow pressure.
const SLOW: u32 = 16;

/// A stroke of the bow.
#[derive(Debug, Clone, Copy)]
pub(in super::super) struct Stroke {
    /// MIDI note number, with its small error.
    pub pitch: f64,
    /// Seconds the bow moves.
    pub seconds: f64,
    /// Loudness, 1 for a note on the beat.
    pub level: f32,
    /// Whether the bow goes on from the note before.
    pub slurred: bool,
}

/// The whole instrument.
#[derive(Debug, Clone)]
pub(in super::super) struct Fiddle {
    melody: Bowed,
    drone: Bowed,
    body: Filters,
    scratch: Vec<f32>,
}

impl Fiddle {
    pub fn new(rate: f64, seed: u64) -> Self {
        Fiddle {
            melody: Bowed::new(rate, Dice::new(seed, 10)),
            drone: Bowed::new(rate, Dice::new(seed, 11)),
            body: Filters::new(rate, &body(&mut Dice::new(7, 12))),
            scratch: Vec::new(),
        }
    }

    /// Starts a stroke, with an open string (MIDI number) beside it or not.
    pub fn bow(&mut self, stroke: Stroke, drone: Option<f64>) {
        self.melody.bow(stroke);
        match drone {
            Some(pitch) => self.drone.bow(Stroke {
                pitch,
                level: stroke.level * 0.45,
                slurred: false,
                ..stroke
            }),
            None => self.drone.lift(),
        }
    }

    /// Adds the next samples to `out`.
    pub fn add_to(&mut self, out: &mut [f32]) {
        self.scratch.clear();
        self.scratch.resize(out.len(), 0.0);
        self.melody.add_to(&mut self.scratch);
        self.drone.add_to(&mut self.scratch);
        self.body.run_block(&mut self.scratch);
        for (y, x) in out.iter_mut().zip(&self.scratch) {
            *y += x;
        }
    }
}

/// The body's resonances. The first three stand near a violin's air mode (about
/// 275 Hz) and first plate modes (about 460 and 550 Hz), the broad rise near 2.5 kHz
/// is the "bridge hill" (all from memory); between them lie many narrow ones whose
/// places are drawn once, for this fiddle.
fn body(dice: &mut Dice) -> Vec<Shape> {
    let mut shapes = vec![
        (HighPass, 170.0, 0.7),
        (PeakingEQ(7.0), 275.0, 5.0),
        (PeakingEQ(5.0), 462.0, 6.0),
        (PeakingEQ(6.0), 551.0, 7.0),
        (PeakingEQ(-3.0), 820.0, 3.0),
        (PeakingEQ(-2.0), 1500.0, 1.5),
        (PeakingEQ(6.0), 2500.0, 1.4),
        (LowPass, 5000.0, 0.6),
        (LowPass, 8500.0, 0.7),
    ];
    let mut at = 680.0;
    while at < 5200.0 {
        let gain = dice.between(3.0, 6.0) * if dice.chance(0.5) { 1.0 } else { -1.0 };
        shapes.push((PeakingEQ(gain as f32), at, dice.between(9.0, 16.0)));
        at *= dice.between(1.14, 1.26);
    }
    shapes
}

/// One string under the bow.
#[derive(Debug, Clone)]
struct Bowed {
    rate: f64,
    dice: Dice,
    /// Position in the period, 0 to 1, and its step.
    phase: f32,
    step: f32,
    /// The pitch that sounds, in semitones, gliding to the one asked for.
    pitch: f64,
    goal: f64,
    glide: f64,
    /// Samples since the stroke began, and when the bow leaves.
    age: u32,
    until: u32,
    level: f32,
    loud: f32,
    loud_goal: f32,
    rise: f32,
    fall: f32,
    follow: f32,
    bite: f32,
    bite_decay: f32,
    slurred: bool,
    vibrato: f64,
    waver: f64,
    flutter: f64,
    /// State of the string's own damping and of the bow noise's high-pass.
    smooth: f32,
    bright: f32,
    hiss: f32,
    slow: u32,
    asleep: bool,
}

impl Bowed {
    fn new(rate: f64, dice: Dice) -> Self {
        Bowed {
            rate,
            dice,
            phase: 0.0,
            step: 0.0,
            pitch: 69.0,
            goal: 69.0,
            glide: 1.0,
            age: 0,
            until: 0,
            level: 0.0,
            loud: 0.0,
            loud_goal: 0.0,
            rise: smoother(0.007, rate) as f32,
            fall: smoother(0.015, rate) as f32,
            follow: 0.0,
            bite: 0.0,
            bite_decay: (1.0 - smoother(0.022, rate)) as f32,
            slurred: false,
            vibrato: 0.0,
            waver: 0.0,
            flutter: 0.0,
            smooth: 0.0,
            bright: 0.5,
            hiss: 0.0,
            slow: 0,
            asleep: true,
        }
    }

    fn bow(&mut self, stroke: Stroke) {
        let sounding = self.loud > 0.02;
        self.goal = stroke.pitch;
        self.slurred = stroke.slurred && sounding;
        if self.slurred {
            // A finger comes down: the pitch moves in some milliseconds.
            self.glide = smoother(0.006, self.rate / f64::from(SLOW));
        } else {
            self.pitch = stroke.pitch - 0.12;
            self.glide = smoother(0.010, self.rate / f64::from(SLOW));
            // The bow turns: the string nearly stops.
            self.loud *= 0.3;
            self.bite = stroke.level;
        }
        self.level = stroke.level;
        self.age = 0;
        self.until = (stroke.seconds * self.rate) as u32;
        self.slow = 0;
        self.asleep = false;
    }

    fn lift(&mut self) {
        self.until = self.until.min(self.age);
    }

    fn update(&mut self) {
        let seconds = f64::from(self.age) / self.rate;
        let control = self.rate / f64::from(SLOW);
        self.pitch += (self.goal - self.pitch) * self.glide;
        // Vibrato comes only on notes that last.
        let depth = 0.13 * ((seconds - 0.2) / 0.3).clamp(0.0, 1.0);
        self.vibrato = (self.vibrato + 5.6 / control).fract();
        self.waver += (self.dice.bell(1.0) - self.waver) * smoother(0.06, control);
        self.flutter += (self.dice.bell(1.0) - self.flutter) * smoother(0.012, control);
        let pitch =
            self.pitch + depth * (self.vibrato * std::f64::consts::TAU).sin() + 0.7 * self.waver;
        self.step = (hertz(pitch) / self.rate) as f32;
        if self.age < self.until {
            let accent = if self.slurred { 0.0 } else { 0.55 };
            let swell = 0.72 + accent * (-seconds / 0.09).exp();
            self.loud_goal = self.level * (swell * (1.0 + 0.35 * self.flutter)) as f32;
            self.follow = self.rise;
        } else {
            self.loud_goal = 0.0;
            self.follow = self.fall;
            if self.loud < 1e-4 && self.bite < 1e-4 {
                (self.loud, self.asleep) = (0.0, true);
            }
        }
        // More bow, more edge.
        let edge = 2600.0 + 3800.0 * f64::from(self.loud_goal + self.bite);
        self.bright = smoother(1.0 / (std::f64::consts::TAU * edge), self.rate) as f32;
    }

    fn add_to(&mut self, out: &mut [f32]) {
        for y in out {
            if self.asleep {
                return;
            }
            if self.slow == 0 {
                self.slow = SLOW;
                self.update();
            }
            self.slow -= 1;
            self.age = self.age.saturating_add(1);
            self.loud += (self.loud_goal - self.loud) * self.follow;
            self.bite *= self.bite_decay;
            self.phase += self.step;
            if self.phase >= 1.0 {
                self.phase -= 1.0;
            }
            let saw = 2.0 * self.phase - 1.0 - step_residue(self.phase, self.step);
            // Hair on string: a hiss that is strongest while the string slips.
            let white = self.dice.noise();
            self.hiss += (white - self.hiss) * 0.25;
            let slip = if self.phase < 0.15 { 1.0 } else { 0.45 };
            let hiss = (white - self.hiss) * slip * (0.07 * self.loud + 1.1 * self.bite);
            self.smooth += (saw * self.loud - self.smooth) * self.bright;
            *y += 0.115 * (self.smooth + hiss);
        }
    }
}

/// What rounds the sawtooth's edge so that it does not alias: the polynomial
/// band-limited step of Välimäki and Huovilainen, "Antialiasing Oscillators in
/// Subtractive Synthesis", IEEE Signal Processing Magazine 24(2), 2007.
fn step_residue(phase: f32, step: f32) -> f32 {
    if phase < step {
        let t = phase / step;
        2.0 * t - t * t - 1.0
    } else if phase > 1.0 - step {
        let t = (phase - 1.0) / step;
        t * t + 2.0 * t + 1.0
    } else {
        0.0
    }
}
