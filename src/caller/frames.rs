//! From cleaned sound to frames: how far each stands out from what is there anyway.

use std::sync::Arc;

use realfft::num_complex::Complex32;
use realfft::{RealFftPlanner, RealToComplex};

use super::echo::transform;

/// Samples a second that voices are heard at.
pub(super) const RATE: u32 = 16_000;
/// Samples from frame to frame: 5 ms.
pub(super) const HOP: usize = 80;
/// Samples in a frame: 16 ms.
pub(super) const WINDOW: usize = 256;
/// Seconds from frame to frame.
pub(super) const STEP: f64 = HOP as f64 / RATE as f64;

/// Edges of the bands, hertz: about a third of an octave apart at the voice's middle.
const EDGES: [f32; 15] = [
    125.0, 250.0, 375.0, 500.0, 650.0, 850.0, 1_100.0, 1_400.0, 1_800.0, 2_300.0, 2_900.0, 3_700.0,
    4_700.0, 6_000.0, 7_500.0,
];
const BANDS: usize = EDGES.len() - 1;
/// The bands in which syllables are told apart: 375 to 2900 Hz.
const SYLLABIC: std::ops::Range<usize> = 2..10;

/// Share of frames that lie below what is followed as a floor: where a voice takes turns
/// with silence, and where it is heard over a band.
const SILENCE: f32 = 0.35;
const BAND: f32 = 0.62;
/// Decibels by which a floor moves at most in a frame, at first and later.
const MOVE_FIRST: f32 = 1.2;
const MOVE: f32 = 0.12;
/// Frames in which it moves from one to the other: 3 s.
const SETTLE: f32 = 600.0;
/// The quietest power that counts as a floor, and decibels beyond which a band that
/// stands out counts no more.
const FAINTEST: f32 = 1e-9;
const MOST: f32 = 24.0;

/// Five milliseconds of sound.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Frame {
    /// Mean over the bands of the decibels by which they stand out.
    pub(super) above: f32,
    /// Power that is left when what is there anyway is subtracted.
    pub(super) power: f32,
    /// What is there anyway.
    pub(super) floor: f32,
    /// The same as `power`, of the bands that carry syllables.
    pub(super) syllabic: f32,
    /// How much like a voice it is, 0 to 1.
    pub(super) voice: f32,
}

/// A value below which a share of what it is shown lies, followed slowly.
#[derive(Debug, Clone, Copy)]
struct Floor {
    quantile: f32,
    decibels: f32,
    seen: f32,
}

impl Floor {
    fn new(quantile: f32) -> Self {
        Floor {
            quantile,
            decibels: f32::NAN,
            seen: 0.0,
        }
    }

    fn show(&mut self, decibels: f32) {
        if self.decibels.is_nan() {
            self.decibels = decibels;
        }
        let step = MOVE_FIRST + (MOVE - MOVE_FIRST) * (self.seen / SETTLE).min(1.0);
        self.seen += 1.0;
        self.decibels += match decibels > self.decibels {
            true => step * self.quantile,
            false => -step * (1.0 - self.quantile),
        };
    }

    fn power(&self) -> f32 {
        match self.decibels.is_nan() {
            true => FAINTEST,
            false => 10f32.powf(0.1 * self.decibels),
        }
    }
}

/// Cuts sound into frames and weighs them.
pub(super) struct Framer {
    fft: Arc<dyn RealToComplex<f32>>,
    window: Vec<f32>,
    clean: Vec<f32>,
    echo: Vec<f32>,
    scratch: Vec<f32>,
    spectrum: Vec<Complex32>,
    noise: [Floor; BANDS],
    /// What is left of the echo, against what was foretold of it.
    leak: [Floor; BANDS],
    /// The echo's recent power, for what the room holds on to.
    ringing: [f32; BANDS],
}

impl Framer {
    /// With `band` it hears a band that is not known.
    pub(super) fn new(band: bool) -> Self {
        let fft = RealFftPlanner::<f32>::new().plan_fft_forward(WINDOW);
        let window = (0..WINDOW)
            .map(|n| 0.5 - 0.5 * (std::f32::consts::TAU * (n as f32 + 0.5) / WINDOW as f32).cos())
            .collect();
        Framer {
            spectrum: fft.make_output_vec(),
            fft,
            window,
            // The first frame's middle is then at the first sample.
            clean: vec![0.0; WINDOW / 2],
            echo: vec![0.0; WINDOW / 2],
            scratch: vec![0.0; WINDOW],
            noise: [Floor::new(if band { BAND } else { SILENCE }); BANDS],
            leak: [Floor::new(SILENCE); BANDS],
            ringing: [0.0; BANDS],
        }
    }

    /// Begins again with the first frame, and keeps what is known of the floors.
    pub(super) fn rewind(&mut self) {
        for sound in [&mut self.clean, &mut self.echo] {
            sound.clear();
            sound.resize(WINDOW / 2, 0.0);
        }
        self.ringing = [0.0; BANDS];
    }

    /// Takes cleaned sound and the echo foretold beside it; appends the frames that
    /// are complete.
    pub(super) fn push(&mut self, clean: &[f32], echo: &[f32], voice: f32, out: &mut Vec<Frame>) {
        self.clean.extend_from_slice(clean);
        self.echo.extend_from_slice(echo);
        let mut at = 0;
        while at + WINDOW <= self.clean.len() {
            let heard = self.bands(at, false);
            let echo = self.bands(at, true);
            out.push(self.weigh(&heard, &echo, voice));
            at += HOP;
        }
        self.clean.drain(..at);
        self.echo.drain(..at);
    }

    fn bands(&mut self, at: usize, echo: bool) -> [f32; BANDS] {
        let sound = if echo { &self.echo } else { &self.clean };
        for ((s, x), w) in self.scratch.iter_mut().zip(&sound[at..]).zip(&self.window) {
            *s = x * w;
        }
        transform(&*self.fft, &mut self.scratch, &mut self.spectrum);
        let hertz = RATE as f32 / WINDOW as f32;
        let scale = 4.0 / (WINDOW * WINDOW) as f32;
        std::array::from_fn(|band| {
            let from = (EDGES[band] / hertz).round() as usize;
            let to = (EDGES[band + 1] / hertz).round() as usize;
            let power: f32 = self.spectrum[from..to].iter().map(|x| x.norm_sqr()).sum();
            scale * power
        })
    }

    fn weigh(&mut self, heard: &[f32; BANDS], echo: &[f32; BANDS], voice: f32) -> Frame {
        let mut frame = Frame {
            voice,
            ..Frame::default()
        };
        for band in 0..BANDS {
            let power = heard[band].max(FAINTEST);
            let decibels = 10.0 * power.log10();
            self.noise[band].show(decibels);
            // A room lets sound die away by 60 dB in some 0.4 s: 0.75 dB a frame.
            self.ringing[band] = echo[band].max(0.84 * self.ringing[band]);
            let ringing = self.ringing[band];
            let mut there = self.noise[band].power();
            if ringing > 1e-8 {
                self.leak[band].show(10.0 * (power / ringing).log10());
                there = there.max(ringing * self.leak[band].power());
            }
            let above = (10.0 * (power / there).log10()).clamp(0.0, MOST);
            frame.above += above / BANDS as f32;
            frame.floor += there;
            let rest = (power - 1.5 * there).max(0.0);
            frame.power += rest;
            if SYLLABIC.contains(&band) {
                frame.syllabic += rest;
            }
        }
        frame
    }
}
