//! What was played before: the tune compared with itself, beat by beat.
//!
//! In a tune of form A1 A2 B1 B2 the second and fourth parts repeat the first
//! and third, sixteen beats later; nothing repeats sixteen beats later in the
//! other two. So the likeness of each beat to the one sixteen beats ago, against
//! its likeness to beats that it has no reason to resemble, tells where in the
//! tune the band is, even if no lead-in was heard. (Beat-synchronous
//! self-similarity: Ellis & Poliner, "Identifying 'cover songs' with chroma
//! features and dynamic programming beat tracking", ICASSP 2007.)

use crate::hear::features::PITCHES;

/// Slots in a beat: two for each eighth note of a reel.
const SLOTS: usize = 4;
/// Numbers that describe one beat.
const DETAIL: usize = SLOTS * PITCHES;
/// Beats remembered.
const REMEMBERED: usize = 128;
/// Beats between a part and its repeat.
const LAG: usize = 16;
/// Lags at which nothing repeats in any dance form, on the same kind of beat as
/// [`LAG`]: the yardstick for it.
const OTHER_LAGS: [usize; 4] = [6, 10, 14, 22];

/// Frames over which the usual register settles (32 s, about one time through).
const REGISTER_SETTLES: f32 = 3200.0;

/// What a whole beat says about where in the tune it was.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Remembered {
    /// How much more the beat was like the one sixteen beats before than like
    /// others, about -1 to 1; `None` until there is enough to compare.
    pub likeness: Option<f32>,
    /// How high the beat lay against the tune so far, standard deviations: B
    /// parts lie higher than A parts more often than not.
    pub register: f32,
}

/// Remembers how each beat sounded.
#[derive(Debug, Clone)]
pub struct Memory {
    /// Normalised descriptions, beat `k` at `k % REMEMBERED`.
    beats: Vec<[f32; DETAIL]>,
    /// Beats described.
    count: usize,
    /// The beat that is sounding: its start and length, seconds, and sums.
    now: Option<(f64, f64)>,
    next: Option<(f64, f64)>,
    sums: [f32; DETAIL],
    frames: [u32; SLOTS],
    /// Mean pitch in semitones of the beat's frames: their sum.
    register: f32,
    /// Mean and variance of the frames' mean pitch.
    usual: (f32, f32),
    heard: f32,
    remembered: Option<Remembered>,
}

impl Default for Memory {
    fn default() -> Self {
        Memory {
            beats: vec![[0.0; DETAIL]; REMEMBERED],
            count: 0,
            now: None,
            next: None,
            sums: [0.0; DETAIL],
            frames: [0; SLOTS],
            register: 0.0,
            usual: (0.0, 1.0),
            heard: 0.0,
            remembered: None,
        }
    }
}

impl Memory {
    /// Forgets all beats.
    pub fn forget(&mut self) {
        self.count = 0;
        self.now = None;
        self.next = None;
        self.heard = 0.0;
        self.remembered = None;
    }

    /// A beat will fall at `time` and last about `period` seconds.
    pub fn beat(&mut self, time: f64, period: f64) {
        self.next = Some((time, period));
    }

    /// Hears semitone magnitudes at `moment` (seconds).
    #[inline(always)]
    pub fn hear(&mut self, moment: f64, pitches: &[f32; PITCHES]) {
        if let Some((time, period)) = self.next
            && moment >= time
        {
            if self.now.is_some() {
                self.close();
            }
            self.now = Some((time, period));
            self.next = None;
            self.sums = [0.0; DETAIL];
            self.frames = [0; SLOTS];
            self.register = 0.0;
        }
        if let Some((start, period)) = self.now {
            let slot = ((moment - start) / period * SLOTS as f64) as usize;
            if slot < SLOTS {
                self.frames[slot] += 1;
                let sums = &mut self.sums[slot * PITCHES..(slot + 1) * PITCHES];
                let (mut weight, mut height) = (1e-9, 0.0);
                for (k, (sum, pitch)) in sums.iter_mut().zip(pitches).enumerate() {
                    *sum += pitch;
                    weight += pitch;
                    height += k as f32 * pitch;
                }
                self.usual_register(height / weight);
            }
        }
    }

    /// What the last whole beat says; given once for each beat.
    pub fn take(&mut self) -> Option<Remembered> {
        self.remembered.take()
    }

    /// Adds one frame's mean pitch to the beat's and to what is usual.
    fn usual_register(&mut self, height: f32) {
        self.register += height;
        self.heard += 1.0;
        let share = 1.0 / self.heard.min(REGISTER_SETTLES);
        let (mean, variance) = &mut self.usual;
        let off = height - *mean;
        *mean += share * off;
        *variance += share * (off * off - *variance);
    }

    /// Ends the beat that was sounding and compares it.
    fn close(&mut self) {
        let mut detail = self.sums;
        for (slot, &frames) in self.frames.iter().enumerate() {
            let part = &mut detail[slot * PITCHES..(slot + 1) * PITCHES];
            let by = 1.0 / frames.max(1) as f32;
            part.iter_mut().for_each(|x| *x *= by);
        }
        // Compressed against the beat's own loudness, so that the room's level
        // does not matter and loud notes do not decide alone.
        let level = detail.iter().sum::<f32>() / DETAIL as f32 + 1e-7;
        detail
            .iter_mut()
            .for_each(|x| *x = (1.0 + 4.0 * *x / level).ln());
        let mean = detail.iter().sum::<f32>() / DETAIL as f32;
        detail.iter_mut().for_each(|x| *x -= mean);
        let norm = detail.iter().map(|x| x * x).sum::<f32>().sqrt();
        detail.iter_mut().for_each(|x| *x /= norm.max(1e-6));

        let lags_known = OTHER_LAGS.iter().filter(|&&lag| lag <= self.count).count();
        let likeness = (self.count >= LAG && lags_known > 0).then(|| {
            let like = |lag: usize| -> f32 {
                let before = &self.beats[(self.count - lag) % REMEMBERED];
                before.iter().zip(&detail).map(|(a, b)| a * b).sum()
            };
            let others = OTHER_LAGS.iter().filter(|&&lag| lag <= self.count);
            let usual = others.map(|&lag| like(lag)).sum::<f32>() / lags_known as f32;
            like(LAG) - usual
        });
        let frames = self.frames.iter().sum::<u32>().max(1) as f32;
        let (mean, variance) = self.usual;
        self.remembered = Some(Remembered {
            likeness,
            register: (self.register / frames - mean) / variance.max(0.25).sqrt(),
        });
        self.beats[self.count % REMEMBERED] = detail;
        self.count += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Plays `notes` (semitones, two a beat) at 120 beats a minute and gives
    /// what was remembered of each whole beat.
    fn play(notes: &[usize]) -> Vec<Remembered> {
        let mut memory = Memory::default();
        let mut out = Vec::new();
        for frame in 0..notes.len() * 25 {
            let moment = frame as f64 * 0.01 + 0.005;
            if frame % 50 == 0 {
                memory.beat(frame as f64 * 0.01, 0.5);
            }
            let mut pitches = [1e-4; PITCHES];
            pitches[notes[frame / 25]] = 0.1;
            memory.hear(moment, &pitches);
            out.extend(memory.take());
        }
        out
    }

    /// Sixteen beats of a melody of its own, from `seed`, from semitone `low`.
    fn part(seed: usize, low: usize) -> Vec<usize> {
        let mut state = seed as u32;
        let mut draw = || {
            // Numerical Recipes' linear congruential generator.
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            low + (state >> 16) as usize % 12
        };
        (0..32).map(|_| draw()).collect()
    }

    #[test]
    fn a_repeated_part_is_like_itself_and_a_new_one_is_not() {
        let notes = [part(3, 5), part(3, 5), part(8, 12), part(8, 12), part(3, 5)].concat();
        let heard = play(&notes);
        let mean = |from: usize| {
            let part = &heard[from..from + 14];
            part.iter().filter_map(|r| r.likeness).sum::<f32>() / 14.0
        };
        assert!(heard[..15].iter().all(|r| r.likeness.is_none()));
        assert!(mean(16) > 0.5, "A2 after A1: {}", mean(16));
        assert!(mean(32) < 0.3, "B1 after A2: {}", mean(32));
        assert!(mean(48) > 0.5, "B2 after B1: {}", mean(48));
        assert!(mean(64) < 0.3, "A1 after B2: {}", mean(64));
    }

    #[test]
    fn a_higher_part_is_heard_as_higher() {
        let heard = play(&[part(3, 0), part(3, 0), part(8, 18), part(8, 18)].concat());
        let mean = |from: usize| {
            heard[from..from + 30]
                .iter()
                .map(|r| r.register)
                .sum::<f32>()
                / 30.0
        };
        assert!(mean(32) > mean(0) + 0.5, "{} {}", mean(32), mean(0));
    }
}
