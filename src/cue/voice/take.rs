//! One recording of a call: when its words are over, and how good it is.

use super::polish::polish;

/// Longest recording of one call, seconds.
const LONGEST: f64 = 12.0;

/// So long nothing may be heard before it gives up, seconds.
const PATIENCE: f64 = 8.0;

/// So long a silence ends the recording, seconds: longer than a pause between
/// two words.
const END: f64 = 0.9;

/// Kept of the silence before and after the words, seconds. It is cut off only
/// when they are used, so that the file can be used elsewhere too.
const MARGIN: f64 = 0.25;

/// From here on a sample is clipped: full scale, less a converter's rounding.
const FULL: f32 = 0.999;

/// Frames in which it listens for speech, seconds.
const FRAME: f64 = 0.01;

/// So many frames in a row are speech: a click is over within two.
const HOLDS: usize = 4;

/// Speech is so much louder than what was there before it, times.
const ABOVE: f32 = 4.0;

/// One frame of so many tells how loud the room is: a quarter of a second of
/// silence has to do for [`LONGEST`].
const SOFT_SHARE: usize = 50;

/// Softest level taken for speech, full scale 1: -50 dB.
const SOFTEST: f32 = 0.003;

/// What is recorded is good, or why not.
#[derive(Debug, Clone, PartialEq)]
pub enum Verdict {
    /// Words of so many seconds.
    Good(f64),
    /// Words of so many seconds, but samples were at full scale.
    Clipped(f64),
    /// Nothing was heard.
    Silent,
}

/// One recording in the making.
#[derive(Debug, Clone)]
pub struct Take {
    rate: u32,
    sound: Vec<f32>,
    /// Root of the mean square of each whole frame.
    levels: Vec<f32>,
}

impl Take {
    /// A recording at `rate` samples a second.
    pub fn new(rate: u32) -> Self {
        Take {
            rate: rate.max(1),
            sound: Vec::new(),
            levels: Vec::new(),
        }
    }

    /// Takes the next mono samples; `true` once the words are over, or nothing
    /// more is to be expected.
    pub fn push(&mut self, samples: &[f32]) -> bool {
        let most = (LONGEST * f64::from(self.rate)) as usize;
        let room = most.saturating_sub(self.sound.len());
        self.sound
            .extend_from_slice(&samples[..samples.len().min(room)]);
        let frame = ((FRAME * f64::from(self.rate)) as usize).max(1);
        let whole = self.sound.chunks_exact(frame).skip(self.levels.len());
        let level = |f: &[f32]| (f.iter().map(|s| s * s).sum::<f32>() / frame as f32).sqrt();
        let new: Vec<f32> = whole.map(level).collect();
        self.levels.extend(new);
        samples.len() > room || self.over()
    }

    fn over(&self) -> bool {
        // The room is what the softest part holds, however short: at once where
        // somebody waits before speaking, after a little silence where not.
        let mut sorted = self.levels.clone();
        sorted.sort_by(f32::total_cmp);
        let quiet = sorted
            .get(sorted.len() / SOFT_SHARE)
            .copied()
            .unwrap_or(0.0);
        let least = (ABOVE * quiet).max(SOFTEST);
        let spoken = self
            .levels
            .windows(HOLDS)
            .rposition(|frames| frames.iter().all(|level| *level > least));
        let since = |n: usize| FRAME * (self.levels.len() - n) as f64;
        match spoken {
            None => since(0) >= PATIENCE,
            Some(n) => since(n + HOLDS) >= END,
        }
    }

    /// What was recorded, and how good it is. The sound keeps a little of the
    /// silence around the words.
    pub fn finish(self) -> (Verdict, Vec<f32>) {
        let Some(clip) = polish(&self.sound, self.rate) else {
            return (Verdict::Silent, self.sound);
        };
        let rate = f64::from(self.rate);
        let seconds = clip.over - clip.heard_from;
        let margin = (MARGIN * rate) as usize;
        let from = clip.from.saturating_sub(margin);
        let to = (clip.from + clip.samples.len() + margin).min(self.sound.len());
        let sound = self.sound[from..to].to_vec();
        let clipped = sound.iter().filter(|s| s.abs() >= FULL).count();
        let verdict = match clipped {
            0..3 => Verdict::Good(seconds),
            _ => Verdict::Clipped(seconds),
        };
        (verdict, sound)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::RngExt;
    use rand_pcg::Pcg32;
    use rand_pcg::rand_core::SeedableRng;

    const RATE: u32 = 16_000;

    /// Noise of a room with buzzes in it: from, to (seconds), level.
    fn room(seconds: f64, noise: f32, said: &[(f64, f64, f32)]) -> Vec<f32> {
        let mut dice = Pcg32::seed_from_u64(3);
        (0..(seconds * f64::from(RATE)) as usize)
            .map(|n| {
                let t = n as f64 / f64::from(RATE);
                let level = said
                    .iter()
                    .find(|(from, to, _)| (*from..*to).contains(&t))
                    .map_or(0.0, |(_, _, level)| *level);
                let wave = (n % 120) as f32 / 60.0 - 1.0;
                (level * wave + noise * dice.random_range(-1.0f32..1.0)).clamp(-1.0, 1.0)
            })
            .collect()
    }

    /// Pushes in blocks of 10 ms; when it was over, seconds.
    fn over_at(take: &mut Take, sound: &[f32]) -> Option<f64> {
        let block = RATE as usize / 100;
        let n = sound.chunks(block).position(|piece| take.push(piece))?;
        Some((n + 1) as f64 * 0.01)
    }

    #[test]
    fn it_ends_a_little_after_the_words() {
        for noise in [0.0, 0.001, 0.01] {
            for begin in [0.0, 0.4, 2.0] {
                let words = [(begin, begin + 0.7, 0.3), (begin + 1.2, begin + 1.8, 0.2)];
                let mut take = Take::new(RATE);
                let end = over_at(&mut take, &room(9.0, noise, &words)).unwrap();
                let wanted = begin + 1.8 + END;
                assert!(
                    (end - wanted).abs() < 0.1,
                    "{end} s, not {wanted}, at {noise}"
                );
                let (verdict, sound) = take.finish();
                let Verdict::Good(seconds) = verdict else {
                    panic!("{verdict:?}");
                };
                assert!((seconds - 1.8).abs() < 0.05, "{seconds} s");
                let kept = sound.len() as f64 / f64::from(RATE);
                assert!((1.8..1.8 + 2.5 * MARGIN).contains(&kept), "{kept} s");
            }
        }
    }

    #[test]
    fn where_nothing_is_said_it_gives_up() {
        for noise in [0.0, 0.002, 0.05] {
            let mut take = Take::new(RATE);
            // A click is no word.
            let sound = room(20.0, noise, &[(1.0, 1.015, 0.5)]);
            let end = over_at(&mut take, &sound).unwrap();
            assert!((end - PATIENCE).abs() < 0.05, "{end} s");
        }
        let mut take = Take::new(RATE);
        over_at(&mut take, &room(9.0, 0.0, &[]));
        assert_eq!(take.finish().0, Verdict::Silent);
        assert_eq!(Take::new(RATE).finish(), (Verdict::Silent, Vec::new()));
    }

    #[test]
    fn who_never_stops_is_cut_off() {
        let mut take = Take::new(RATE);
        let sound = room(20.0, 0.001, &[(0.5, 20.0, 0.3)]);
        let end = over_at(&mut take, &sound).unwrap();
        assert!((end - LONGEST).abs() < 0.05, "{end} s");
        assert!(take.finish().1.len() <= (LONGEST * f64::from(RATE)) as usize);
    }

    #[test]
    fn too_loud_a_recording_is_told() {
        let mut take = Take::new(RATE);
        over_at(&mut take, &room(4.0, 0.001, &[(0.5, 1.2, 1.3)]));
        assert!(matches!(take.finish().0, Verdict::Clipped(_)));
    }
}
