//! Changes to what was played: the sound and its truth together.
//!
//! Pure functions; `tests/trials.rs` holds them to what they say.

use eightclap::phrase::Part;
use eightclap::sound::band::{Dice, PartStart, Truth};

use super::level;
use super::stretch::stretch;

/// Seconds before a beat at which sound is joined, so that its attack, which may
/// begin a little early, stays whole.
const LEAN: f64 = 0.020;
/// Seconds in which one sound gives way to the next at a join.
const BLEND: f64 = 0.006;
/// Peak of the faint noise that stands for a hall in which nobody plays: -60 dB.
const HUSH: f32 = 0.001;

/// Sound and what was played in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Take {
    /// Samples a second.
    pub rate: u32,
    /// Mono.
    pub samples: Vec<f32>,
    /// What was played, in seconds from the first sample.
    pub truth: Truth,
}

/// A piece of a new take.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Piece {
    /// The old one's sound from a time to a time, seconds.
    Old(f64, f64),
    /// So many seconds in which nobody plays.
    Hush(f64),
}

impl Take {
    /// Length, seconds.
    pub fn seconds(&self) -> f64 {
        self.samples.len() as f64 / f64::from(self.rate)
    }

    /// Leaves out `count` beats from beat number `beat` on. The phrase that they
    /// belong to gets so much shorter; a phrase's or part's start among them is
    /// left out too.
    pub fn without_beats(&self, beat: usize, count: usize) -> Take {
        let (from, to) = (self.join(beat), self.join(beat + count));
        self.pieced(&[Piece::Old(0.0, from), Piece::Old(to, self.seconds())])
    }

    /// Only from beat number `beat` on, without a lead-in.
    pub fn starting_at(&self, beat: usize) -> Take {
        self.pieced(&[Piece::Old(self.join(beat), self.seconds())])
    }

    /// Plays `count` beats from beat number `beat` on twice in a row.
    pub fn with_beats_again(&self, beat: usize, count: usize) -> Take {
        let (from, to) = (self.join(beat), self.join(beat + count));
        self.pieced(&[Piece::Old(0.0, to), Piece::Old(from, self.seconds())])
    }

    /// Nobody plays for `seconds` before beat number `beat`; then the tune goes on.
    pub fn with_hush(&self, beat: usize, seconds: f64) -> Take {
        let at = self.join(beat);
        self.pieced(&[
            Piece::Old(0.0, at),
            Piece::Hush(seconds),
            Piece::Old(at, self.seconds()),
        ])
    }

    /// From beat number `beat` on `ratio` times as fast; the pitch stays.
    pub fn at_tempo(&self, beat: usize, ratio: f64) -> Take {
        let at = self.join(beat);
        let samples = stretch(&self.samples, self.sample(at), ratio, self.rate);
        let truth = self.truth_moved(&|t| Some(if t < at { t } else { at + (t - at) / ratio }));
        Take {
            rate: self.rate,
            samples,
            truth,
        }
    }

    /// The tune without its second A: 48 beats a time through. The parts are
    /// called by their place in such a tune: A1, A2, B1.
    pub fn without_second_a(&self) -> Take {
        self.without(&["A2"], &["A1", "", "A2", "B1"])
    }

    /// A tune of 32 beats: the parts of each time through, 64 beats, are played in the
    /// order A1 B1 A2 B2, which are two times through it.
    pub fn with_parts_in_turn(&self) -> Take {
        let mut pieces = vec![Piece::Old(0.0, self.join(0))];
        for time in (0..self.truth.beats.len()).step_by(64) {
            for part in [0, 32, 16, 48] {
                let (from, to) = (time + part, time + part + 16);
                pieces.push(Piece::Old(self.join(from), self.join(to)));
            }
        }
        self.pieced(&pieces)
            .with_parts_named(&["A1", "A1", "A2", "A2"])
    }

    /// The first time through this tune, and from there on `next` from its first beat,
    /// at this one's tempo: a band that changes tunes.
    pub fn then(&self, next: &Take) -> Take {
        let Some((&first, &last)) = self.truth.beats.first().zip(self.truth.beats.get(64)) else {
            return self.clone();
        };
        let Some((&from, &to)) = next.truth.beats.first().zip(next.truth.beats.get(64)) else {
            return self.clone();
        };
        let next = next
            .at_tempo(0, (to - from) / (last - first))
            .starting_at(0);
        let mut take = self.pieced(&[Piece::Old(0.0, self.join(64))]);
        let at = take.seconds();
        take.samples.extend_from_slice(&next.samples);
        let later = next.truth_moved(&|t| Some(t + at));
        take.truth.beats.extend(later.beats);
        take.truth.phrases.extend(later.phrases);
        take.truth.parts.extend(later.parts);
        take
    }

    /// Leaves out whole parts and gives the others, of a form A1 A2 B1 B2, their new
    /// names.
    fn without(&self, left_out: &[&str], names: &[&str]) -> Take {
        let mut pieces = Vec::new();
        let mut from = 0.0;
        let mut parts = self.truth.parts.iter().peekable();
        while let Some(part) = parts.next() {
            if left_out.contains(&part.name.as_str()) {
                pieces.push(Piece::Old(from, part.t - LEAN));
                from = parts.peek().map_or(self.seconds(), |next| next.t - LEAN);
            }
        }
        pieces.push(Piece::Old(from, self.seconds()));
        self.pieced(&pieces).with_parts_named(names)
    }

    /// Gives the parts of a form A1 A2 B1 B2, in this order, their new names.
    fn with_parts_named(mut self, names: &[&str]) -> Take {
        for part in &mut self.truth.parts {
            let old = Part::from_name(&part.name).map_or(0, Part::index);
            if let Some(name) = names.get(usize::from(old)) {
                part.name = (*name).to_owned();
            }
        }
        self
    }

    /// Adds `sound` from `at` seconds on; what lies outside the take is not heard.
    pub fn mix(&mut self, at: f64, sound: &[f32], gain: f32) {
        level::mix(&mut self.samples, self.rate, at, sound, gain);
    }

    /// Root mean square of the music, from the tune's first beat to its last.
    pub fn music_rms(&self) -> f32 {
        let beats = &self.truth.beats;
        let (first, last) = match (beats.first(), beats.last()) {
            (Some(&first), Some(&last)) => (self.sample(first), self.sample(last)),
            _ => (0, self.samples.len()),
        };
        level::rms(&self.samples[first..last])
    }

    /// Where sound is joined before beat number `beat`, seconds.
    fn join(&self, beat: usize) -> f64 {
        let beats = &self.truth.beats;
        let at = beats.get(beat).copied().unwrap_or(self.seconds());
        (at - LEAN).clamp(0.0, self.seconds())
    }

    fn sample(&self, at: f64) -> usize {
        let n = (at * f64::from(self.rate)).round().max(0.0) as usize;
        n.min(self.samples.len())
    }

    /// A take of the pieces in this order, blended into each other.
    fn pieced(&self, pieces: &[Piece]) -> Take {
        let blend = (BLEND * f64::from(self.rate)) as usize;
        let mut dice = Dice::new(1, 0);
        let mut samples: Vec<f32> = Vec::with_capacity(self.samples.len());
        let mut truth = self.truth_moved(&|_| None);
        for piece in pieces {
            let start = samples.len() as f64 / f64::from(self.rate);
            match *piece {
                Piece::Old(from, to) => {
                    let (first, last) = (self.sample(from), self.sample(to));
                    // What came before this piece rises while the one before falls.
                    let before = blend.min(first).min(samples.len());
                    let tail = samples.len() - before;
                    for (k, y) in samples[tail..].iter_mut().enumerate() {
                        let share = (k + 1) as f32 / (before + 1) as f32;
                        *y += share * (self.samples[first - before + k] - *y);
                    }
                    samples.extend_from_slice(&self.samples[first..last]);
                    let shift = start - first as f64 / f64::from(self.rate);
                    let there = from..to;
                    let moved = self.truth_moved(&|t| there.contains(&t).then_some(t + shift));
                    truth.lead_in.extend(moved.lead_in);
                    truth.beats.extend(moved.beats);
                    truth.phrases.extend(moved.phrases);
                    truth.parts.extend(moved.parts);
                }
                Piece::Hush(seconds) => {
                    let tail = samples.len() - blend.min(samples.len());
                    let count = samples.len() - tail;
                    for (k, y) in samples[tail..].iter_mut().enumerate() {
                        *y *= 1.0 - (k + 1) as f32 / (count + 1) as f32;
                    }
                    let count = (seconds * f64::from(self.rate)).round() as usize;
                    samples.extend((0..count).map(|_| HUSH * dice.noise()));
                }
            }
        }
        Take {
            rate: self.rate,
            samples,
            truth,
        }
    }

    /// The truth with every time moved; times moved nowhere are left out.
    fn truth_moved(&self, to: &dyn Fn(f64) -> Option<f64>) -> Truth {
        let all = |times: &[f64]| times.iter().filter_map(|&t| to(t)).collect();
        let old = &self.truth;
        let parts = old.parts.iter().filter_map(|part| {
            to(part.t).map(|t| PartStart {
                t,
                name: part.name.clone(),
            })
        });
        Truth {
            lead_in: all(&old.lead_in),
            beats: all(&old.beats),
            phrases: all(&old.phrases),
            parts: parts.collect(),
            ..old.clone()
        }
    }
}
