//! Reading what is played at the microphone's own pace.
//!
//! The loudspeaker's crystal and the microphone's differ by some millionths, and stamps
//! tell by how much only after minutes. What the filter hears of it in half a second tells
//! it sooner: how much later the echo comes than a filter of a moment ago foretold. The
//! playback is read that much more slowly, between its samples, so that the room looks the
//! same to the filter all the time.

use std::f32::consts::PI;

use super::echo::BLOCK;

/// Samples of playback kept from before the block that is read next.
pub(super) const PAST: usize = 512;
/// The furthest that is read from where the stamps would have it, samples (30 ms).
const FURTHEST: f64 = 480.0;
/// Samples on either side of which one between them is made.
const TAPS: usize = 12;
/// The most that is read faster or slower: crystals differ by less.
const MOST: f64 = 500e-6;
/// Share of a drift that is put right at once, at first and later on: one look is not exact,
/// and crystals do not change.
const AT_FIRST: f64 = 0.2;
const LATER_ON: f64 = 0.1;

/// Where the playback is read, and how fast.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Pace {
    /// Samples by which it is read ahead of the microphone's sound.
    ahead: f64,
    /// How many more samples it is read a sample.
    faster: f64,
    /// Drifts that were heeded.
    heeded: u32,
}

impl Pace {
    /// Blocks that can be read of so many samples, [`PAST`] of them from before.
    pub(super) fn blocks(&self, samples: usize) -> usize {
        // It may get faster meanwhile.
        let ahead = (self.ahead.max(0.0) + MOST * samples as f64).min(FURTHEST);
        let after = ahead.ceil() as usize + TAPS + 2;
        samples.saturating_sub(PAST + after) / BLOCK
    }

    /// Reads block number `block` of `played`, whose first [`PAST`] samples are from before.
    pub(super) fn read(&self, played: &[f32], block: usize, out: &mut [f32; BLOCK]) {
        let first = block * BLOCK;
        for (n, out) in (first..).zip(out) {
            let place = (PAST + n) as f64 + self.ahead_at(n as f64);
            *out = between(played, place);
        }
    }

    /// A block was read for good.
    pub(super) fn pass(&mut self) {
        self.ahead = self.ahead_at(BLOCK as f64);
    }

    /// The echo was found to come later by `drift` samples a sample.
    pub(super) fn heed(&mut self, drift: f64) {
        self.heeded = self.heeded.saturating_add(1);
        let share = (1.0 / f64::from(self.heeded)).clamp(LATER_ON, AT_FIRST);
        self.faster = (self.faster - share * drift).clamp(-MOST, MOST);
    }

    /// The echo comes `later` samples later than the filter foretells, and by `drift` more a
    /// sample: reads so that it comes as foretold.
    pub(super) fn begin(&mut self, later: f64, drift: f64) {
        self.faster = -drift.clamp(-MOST, MOST);
        self.ahead = (-later).clamp(-FURTHEST, FURTHEST);
    }

    fn ahead_at(&self, samples: f64) -> f64 {
        (self.ahead + self.faster * samples).clamp(-FURTHEST, FURTHEST)
    }
}

/// What `sound` is at a place between two samples: the sum of the samples around it, each
/// a windowed sinc there (Laakso et al., "Splitting the unit delay", IEEE Signal Processing
/// Magazine 13(1), 1996).
fn between(sound: &[f32], place: f64) -> f32 {
    let below = place as usize;
    let part = place.fract() as f32;
    if !(1e-6..=1.0 - 1e-6).contains(&part) {
        return sound[below + part.round() as usize];
    }
    // sin(π(x − k)) differs between the samples in its sign alone.
    let sine = (PI * part).sin() / PI;
    let reach = TAPS as f32;
    (1..=2 * TAPS)
        .map(|tap| {
            let from = tap as f32 - reach - part;
            let window = 0.5 + 0.5 * (PI * from / (reach + 0.5)).cos();
            let sign = if (tap + TAPS).is_multiple_of(2) {
                -1.0
            } else {
                1.0
            };
            sound[below + tap - TAPS] * window * sign * sine / from
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tone(hertz: f64, at: f64) -> f32 {
        (std::f64::consts::TAU * hertz * at / 16_000.0).sin() as f32
    }

    #[test]
    fn what_lies_between_samples_is_what_the_sound_would_have_been() {
        for hertz in [200.0, 1_000.0, 4_000.0, 6_000.0] {
            let sound: Vec<f32> = (0..100).map(|n| tone(hertz, f64::from(n))).collect();
            for place in [50.0, 50.1, 50.5, 51.25, 51.9, 52.0 - 1e-9] {
                let off = (between(&sound, place) - tone(hertz, place)).abs();
                assert!(off < 0.004, "{hertz} Hz at {place}: off by {off}");
            }
        }
    }

    #[test]
    fn it_reads_on_where_it_was_at_any_pace() {
        let sound: Vec<f32> = (0..40_000).map(|n| tone(500.0, f64::from(n))).collect();
        let mut pace = Pace::default();
        pace.begin(4.0, -400e-6);
        let mut place = PAST as f64 - 4.0;
        let mut out = [0.0; BLOCK];
        for block in 0..100 {
            pace.read(&sound[block * BLOCK..], 0, &mut out);
            for x in out {
                assert!((x - tone(500.0, place)).abs() < 0.01);
                place += 1.0 + 400e-6;
            }
            pace.pass();
        }
        let least = (0..).find(|n| pace.blocks(*n) == 1);
        assert!(least > Some(PAST + BLOCK) && least < Some(PAST + BLOCK + 2 * TAPS));
    }

    #[test]
    fn it_never_reads_beyond_what_is_kept() {
        let sound = vec![1.0; PAST + 4 * BLOCK];
        for drift in [-1.0, 1.0] {
            let mut pace = Pace::default();
            (0..10).for_each(|_| pace.heed(drift));
            (0..100_000).for_each(|_| pace.pass());
            let mut out = [0.0; BLOCK];
            for block in 0..pace.blocks(sound.len()) {
                pace.read(&sound, block, &mut out);
            }
        }
    }
}
