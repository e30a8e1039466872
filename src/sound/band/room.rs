//! The hall: first reflections, then a feedback delay network.
//!
//! Eight delay lines of unlike length feed each other through a Householder
//! matrix, with a soft low-pass in each, so that high notes die sooner as they do
//! in air and cloth (Jot and Chaigne, "Digital delay networks for designing
//! artificial reverberators", 90th AES Convention, 1991).

use super::settings::Room;

/// Lengths of the lines in milliseconds: no two share a common beat.
const LINES: [f64; 8] = [29.7, 33.1, 37.3, 41.1, 43.7, 47.9, 53.3, 59.9];
/// First reflections: milliseconds and level.
const FIRST: [(f64, f32); 6] = [
    (11.3, 0.42),
    (16.9, -0.34),
    (22.7, 0.30),
    (29.1, 0.25),
    (36.7, -0.21),
    (44.9, 0.17),
];

/// A running hall.
#[derive(Debug, Clone)]
pub(super) struct Hall {
    wet: f32,
    past: Vec<f32>,
    now: usize,
    taps: Vec<(usize, f32)>,
    lines: Vec<Line>,
}

#[derive(Debug, Clone)]
struct Line {
    store: Vec<f32>,
    at: usize,
    keep: f32,
    soft: f32,
    held: f32,
}

impl Hall {
    /// A hall at `rate` samples a second, or `None` if it is dry.
    pub fn new(room: &Room, rate: f64) -> Option<Self> {
        if room.wet <= 0.0 {
            return None;
        }
        let samples = |ms: f64| ((ms * rate / 1000.0) as usize).max(1);
        let lines: Vec<Line> = LINES
            .iter()
            .map(|&ms| Line {
                store: vec![0.0; samples(ms)],
                at: 0,
                keep: 10_f64.powf(-3.0 * ms / 1000.0 / room.rt60) as f32,
                soft: (1.0 - (-std::f64::consts::TAU * 5200.0 / rate).exp()) as f32,
                held: 0.0,
            })
            .collect();
        // Longer halls store more of what goes in: keep `wet` the level of the tail.
        let build_up = (room.rt60 / 0.3).sqrt();
        Some(Hall {
            wet: (room.wet / build_up) as f32,
            past: vec![0.0; samples(50.0)],
            now: 0,
            taps: FIRST.iter().map(|&(ms, g)| (samples(ms), g)).collect(),
            lines,
        })
    }

    /// Adds the hall's answer to a block, in place.
    pub fn run(&mut self, block: &mut [f32]) {
        let size = self.past.len();
        for y in block {
            let dry = *y;
            self.past[self.now] = dry;
            let mut first = 0.0;
            for &(delay, gain) in &self.taps {
                first += gain * self.past[(self.now + size - delay) % size];
            }
            self.now = (self.now + 1) % size;
            let mut outs = [0.0_f32; LINES.len()];
            for (out, line) in outs.iter_mut().zip(&mut self.lines) {
                line.held += (line.store[line.at] - line.held) * line.soft;
                *out = line.held * line.keep;
            }
            let sum: f32 = outs.iter().sum();
            let share = sum * (2.0 / LINES.len() as f32);
            let mut tail = 0.0;
            for (i, (out, line)) in outs.iter().zip(&mut self.lines).enumerate() {
                let sign = if i % 2 == 0 { 1.0 } else { -1.0 };
                // The tiny offset keeps silence from turning into slow tiny numbers.
                line.store[line.at] = 0.35 * (first + 0.5 * dry) * sign + out - share + 1e-18;
                line.at += 1;
                if line.at == line.store.len() {
                    line.at = 0;
                }
                tail += sign * out;
            }
            *y = dry + self.wet * (0.8 * first + tail);
        }
    }
}
