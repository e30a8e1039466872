//! What was played before: the tune compared with itself, beat by beat.
//!
//! In a tune of form A1 A2 B1 B2 the second and fourth parts repeat the first
//! and third, sixteen beats later; nothing repeats sixteen beats later in the
//! other two. Within a part, phrases begin alike and end on long notes near the
//! keynote; B parts mostly lie higher. [`Memory`] measures what of this can be
//! measured beat by beat, whatever the key, the instrument and the room, for
//! [`super::net`] to weigh. (Beat-synchronous self-similarity: Ellis & Poliner,
//! "Identifying 'cover songs' with chroma features and dynamic programming beat
//! tracking", ICASSP 2007.)

use super::shape::{self, Again, FORMS};
use crate::hear::features::PITCHES;

/// Slots in a beat: two for each eighth note of a reel.
const SLOTS: usize = 4;
/// Numbers that describe one beat.
const DETAIL: usize = SLOTS * PITCHES;
/// Beats remembered.
pub const REMEMBERED: usize = 128;
/// Beats back to which each beat is compared: all within a part, then those at
/// which motifs, phrases and parts come again.
const LAGS: [usize; 27] = [
    1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 20, 24, 28, 32, 40, 48, 56, 64, 80, 96,
    112,
];
/// Semitones in an octave.
const OCTAVE: usize = 12;
/// Beats over which the usual register and the key settle: a time through.
const TUNE_SETTLES: f32 = 64.0;
/// Beats over which the usual loudness settles.
const LEVEL_SETTLES: f32 = 32.0;
/// Magnitude added to a level before its logarithm is taken (full scale is 1).
const FLOOR: f32 = 1e-6;

/// Numbers in [`Remembered`].
pub const REMARKS: usize = LAGS.len() + 2 * OCTAVE + 2 + 2 * SLOTS;

/// What a whole beat says about where in the tune it was, in this order:
///
/// - for each lag (1 to 16, 20, 24, 28, 32, 40, 48, 56, 64, 80, 96, 112 beats),
///   how much more the beat is like the one that long before than like the
///   others (0 where there is none yet), times 3;
/// - for each of twelve intervals, the beat's pitch classes against the tune's
///   so far moved by that interval (correlation, times 2): how near the chord
///   is to the key's middle, whatever the key; and the same of the beat's
///   first quarter;
/// - how high the beat, and its first quarter, lies against the tune so far,
///   in units of three semitones;
/// - for each quarter, how like its pitches are to the quarter before (a long
///   note: near 1; a new one: near -1);
/// - for each quarter, the logarithm of its level against the usual one.
///
/// All are held within ±4.
pub type Remembered = [f32; REMARKS];

/// A beat that begins to sound.
#[derive(Debug, Clone, Copy)]
struct Due {
    /// Its start, seconds.
    time: f64,
    /// Its length, seconds.
    period: f64,
    /// Where in the tune it is thought to be.
    place: Option<u32>,
}

/// Remembers how each beat sounded.
#[derive(Debug, Clone)]
pub struct Memory {
    /// Normalised descriptions, beat `k` at `k % REMEMBERED`.
    beats: Vec<[f32; DETAIL]>,
    /// Beats described.
    count: usize,
    /// The beat that is sounding, and its sums.
    now: Option<Due>,
    next: Option<Due>,
    sums: [f32; DETAIL],
    frames: [u32; SLOTS],
    /// Mean pitch classes of the beats so far.
    key: [f32; OCTAVE],
    /// Mean pitch of the beats so far, semitones.
    register: f32,
    /// Mean logarithm of the quarters' levels so far.
    level: f32,
    /// The last quarter's pitches, of zero mean and unit length; zeros before.
    last: [f32; PITCHES],
    remembered: Option<Remembered>,
    /// Where the beat remembered last was thought to be.
    place: Option<u32>,
    /// How like it is to each beat remembered, that at `k % REMEMBERED` at the same place.
    likes: [f32; REMEMBERED],
    again: Again,
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
            key: [0.0; OCTAVE],
            register: 0.0,
            level: 0.0,
            last: [0.0; PITCHES],
            remembered: None,
            place: None,
            likes: [0.0; REMEMBERED],
            again: [None; FORMS],
        }
    }
}

impl Memory {
    /// Forgets all beats.
    pub fn forget(&mut self) {
        self.count = 0;
        self.now = None;
        self.next = None;
        self.remembered = None;
    }

    /// A beat will fall at `time` and last about `period` seconds; it is thought to be at
    /// `place` of the tune.
    pub fn beat(&mut self, time: f64, period: f64, place: Option<u32>) {
        self.next = Some(Due {
            time,
            period,
            place,
        });
    }

    /// The beats to come were thought to be at wrong places: `right` gives the right ones.
    pub fn put_right(&mut self, right: impl Fn(u32) -> u32) {
        for due in [&mut self.now, &mut self.next].into_iter().flatten() {
            due.place = due.place.map(&right);
        }
    }

    /// Hears semitone magnitudes at `moment` (seconds).
    #[inline(always)]
    pub fn hear(&mut self, moment: f64, pitches: &[f32; PITCHES]) {
        if let Some(next) = self.next
            && moment >= next.time
        {
            if let Some(now) = self.now {
                self.close(now.place);
            }
            self.now = Some(next);
            self.next = None;
            self.sums = [0.0; DETAIL];
            self.frames = [0; SLOTS];
        }
        if let Some(now) = self.now {
            let slot = ((moment - now.time) / now.period * SLOTS as f64) as usize;
            if slot < SLOTS {
                self.frames[slot] += 1;
                let sums = &mut self.sums[slot * PITCHES..(slot + 1) * PITCHES];
                sums.iter_mut().zip(pitches).for_each(|(s, p)| *s += p);
            }
        }
    }

    /// What the last whole beat says; given once for each beat.
    pub fn take(&mut self) -> Option<Remembered> {
        self.remembered.take()
    }

    /// How like the last whole beat is to those whole forms before.
    pub fn again(&self) -> Again {
        self.again
    }

    /// Where the last whole beat was thought to be.
    pub fn place(&self) -> Option<u32> {
        self.place
    }

    /// How like the last whole beat is to the one before, to the one before that, and so on.
    pub fn likes(&self) -> impl Iterator<Item = f32> + '_ {
        let before = self.count.saturating_sub(1);
        (1..=before.min(REMEMBERED - 1)).map(move |ago| self.likes[(before - ago) % REMEMBERED])
    }

    /// Ends the beat that was sounding, at `place`, and compares it.
    fn close(&mut self, place: Option<u32>) {
        self.place = place;
        let mut magnitudes = self.sums;
        for (part, &frames) in magnitudes.chunks_exact_mut(PITCHES).zip(&self.frames) {
            let by = 1.0 / frames.max(1) as f32;
            part.iter_mut().for_each(|x| *x *= by);
        }
        // Compressed against the beat's own loudness, so that the room's level
        // does not matter and loud notes do not decide alone.
        let level = magnitudes.iter().sum::<f32>() / DETAIL as f32 + 1e-7;
        let mut detail = magnitudes.map(|x| (4.0 * x / level).ln_1p());
        unit(&mut detail);

        let mut remarks = [0.0; REMARKS];
        let (lags, rest) = remarks.split_at_mut(LAGS.len());
        let (chords, rest) = rest.split_at_mut(2 * OCTAVE);
        let (heights, rest) = rest.split_at_mut(2);
        let (changes, levels) = rest.split_at_mut(SLOTS);
        self.compare(&detail, lags);
        self.place_in_key(&detail, chords);
        self.place_in_register(&magnitudes, heights);
        self.changes(&detail, changes);
        self.levels(&magnitudes, levels);
        remarks.iter_mut().for_each(|x| *x = x.clamp(-4.0, 4.0));
        self.remembered = Some(remarks);
        self.beats[self.count % REMEMBERED] = detail;
        self.count += 1;
    }

    /// The present beat's share in a mean that settles over `beats`.
    fn share(&self, beats: f32) -> f32 {
        1.0 / (self.count as f32 + 1.0).min(beats)
    }

    fn compare(&mut self, detail: &[f32; DETAIL], out: &mut [f32]) {
        for (like, beat) in self.likes.iter_mut().zip(&self.beats).take(self.count) {
            *like = dot(beat, detail);
        }
        let mut sum = 0.0;
        let known = LAGS.iter().filter(|&&lag| lag <= self.count).count();
        for (out, lag) in out.iter_mut().zip(LAGS).take(known) {
            *out = self.likes[(self.count - lag) % REMEMBERED];
            sum += *out;
        }
        let mean = sum / known.max(1) as f32;
        out[..known].iter_mut().for_each(|x| *x = 3.0 * (*x - mean));
        for (at, again) in self.again.iter_mut().enumerate() {
            let then = self.count.checked_sub(shape::beats(at));
            *again = then.map(|then| self.likes[then % REMEMBERED] - mean);
        }
    }

    fn place_in_key(&mut self, detail: &[f32; DETAIL], out: &mut [f32]) {
        let classes = |pitches: &[f32]| {
            let mut classes = [0.0; OCTAVE];
            for (k, pitch) in pitches.iter().enumerate() {
                classes[k % PITCHES % OCTAVE] += pitch;
            }
            unit(&mut classes);
            classes
        };
        let beat = classes(detail);
        let first = classes(&detail[..PITCHES]);
        let share = self.share(TUNE_SETTLES);
        if self.count == 0 {
            self.key = [0.0; OCTAVE];
        }
        for (mean, x) in self.key.iter_mut().zip(beat) {
            *mean += share * (x - *mean);
        }
        let by = 2.0 / dot(&self.key, &self.key).sqrt().max(1e-6);
        for (heard, out) in [beat, first].iter().zip(out.chunks_exact_mut(OCTAVE)) {
            for (interval, out) in out.iter_mut().enumerate() {
                let moved = (0..OCTAVE).map(|k| heard[k] * self.key[(k + interval) % OCTAVE]);
                *out = by * moved.sum::<f32>();
            }
        }
    }

    fn place_in_register(&mut self, magnitudes: &[f32; DETAIL], out: &mut [f32]) {
        let height = |magnitudes: &[f32]| {
            let (mut weight, mut height) = (1e-9, 0.0);
            for (k, x) in magnitudes.iter().enumerate() {
                weight += x;
                height += (k % PITCHES) as f32 * x;
            }
            height / weight
        };
        let beat = height(magnitudes);
        if self.count == 0 {
            self.register = 0.0;
        }
        self.register += self.share(TUNE_SETTLES) * (beat - self.register);
        out[0] = (beat - self.register) / 3.0;
        out[1] = (height(&magnitudes[..PITCHES]) - self.register) / 3.0;
    }

    fn changes(&mut self, detail: &[f32; DETAIL], out: &mut [f32]) {
        for (slot, (out, pitches)) in out.iter_mut().zip(detail.chunks_exact(PITCHES)).enumerate() {
            let mut now = [0.0; PITCHES];
            now.copy_from_slice(pitches);
            unit(&mut now);
            let like = if self.count + slot > 0 {
                dot(&now, &self.last)
            } else {
                1.0
            };
            *out = 2.0 * like - 1.0;
            self.last = now;
        }
    }

    fn levels(&mut self, magnitudes: &[f32; DETAIL], out: &mut [f32]) {
        let mut sum = 0.0;
        for (out, pitches) in out.iter_mut().zip(magnitudes.chunks_exact(PITCHES)) {
            *out = (pitches.iter().sum::<f32>() / PITCHES as f32 + FLOOR).ln();
            sum += *out;
        }
        if self.count == 0 {
            self.level = 0.0;
        }
        self.level += self.share(LEVEL_SETTLES) * (sum / SLOTS as f32 - self.level);
        out.iter_mut().for_each(|x| *x -= self.level);
    }
}

fn dot(a: &[f32], b: &[f32]) -> f32 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Makes `x` of zero mean and unit length.
fn unit(x: &mut [f32]) {
    let mean = x.iter().sum::<f32>() / x.len().max(1) as f32;
    x.iter_mut().for_each(|x| *x -= mean);
    let by = 1.0 / dot(x, x).sqrt().max(1e-6);
    x.iter_mut().for_each(|x| *x *= by);
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Where [`Remembered`] holds the likeness to sixteen beats before, and the register.
    const SIXTEEN: usize = 15;
    const HEIGHT: usize = LAGS.len() + 2 * OCTAVE;

    /// Plays `notes` (semitones, two a beat) at 120 beats a minute and gives
    /// what was remembered of each whole beat.
    fn play(notes: &[usize]) -> Vec<Remembered> {
        let mut memory = Memory::default();
        let mut out = Vec::new();
        for frame in 0..notes.len() * 25 {
            let moment = frame as f64 * 0.01 + 0.005;
            if frame % 50 == 0 {
                memory.beat(frame as f64 * 0.01, 0.5, None);
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
            part.iter().map(|r| r[SIXTEEN]).sum::<f32>() / 14.0
        };
        assert!(heard[..15].iter().all(|r| r[SIXTEEN] == 0.0));
        assert!(mean(16) > 1.5, "A2 after A1: {}", mean(16));
        assert!(mean(32) < 0.7, "B1 after A2: {}", mean(32));
        assert!(mean(48) > 1.5, "B2 after B1: {}", mean(48));
        assert!(mean(64) < 0.7, "A1 after B2: {}", mean(64));
    }

    #[test]
    fn a_higher_part_is_heard_as_higher() {
        let heard = play(&[part(3, 0), part(3, 0), part(8, 18), part(8, 18)].concat());
        let mean = |from: usize| {
            heard[from..from + 30]
                .iter()
                .map(|r| r[HEIGHT])
                .sum::<f32>()
                / 30.0
        };
        assert!(mean(32) > mean(0) + 0.5, "{} {}", mean(32), mean(0));
    }
}
