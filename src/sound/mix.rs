//! Adding claps to sound, to the sample, and keeping the sum below full scale.

use std::sync::Arc;

/// No output sample is further from zero than this: -1 dB of full scale.
pub const CEILING: f32 = 0.89;

/// Up to here the limiter changes nothing: -3 dB of full scale.
pub const KNEE: f32 = 0.707;

/// How long a clip fades that is stopped, seconds: too long for a click, too short to
/// be heard as a fade.
pub const FADE: f64 = 0.02;

/// Clips that can wait or sound at the same time.
const ROOM: usize = 256;

/// One clip on its way out.
struct Voice {
    /// Its name, if it was given one to be found by.
    id: Option<u64>,
    at: u64,
    clip: Arc<[f32]>,
    gain: f32,
    /// The frame from which on it is silent, and over how many frames before that it
    /// fades.
    until: Option<(u64, u64)>,
}

impl Voice {
    /// The frame after its last.
    fn end(&self) -> u64 {
        let end = self.at + self.clip.len() as u64;
        self.until.map_or(end, |(until, _)| end.min(until))
    }

    /// Its gain at a frame before its end.
    fn gain_at(&self, frame: u64) -> f32 {
        match self.until {
            Some((until, fade)) if frame + fade > until => {
                self.gain * (until - frame) as f32 / fade as f32
            }
            _ => self.gain,
        }
    }
}

/// Adds scheduled clips to passing blocks of sound and limits the sum.
///
/// It counts the frames that pass: the first frame of the first block is
/// frame 0. The output does not depend on how the sound is cut into blocks,
/// to the last bit. [`mix`](Self::mix) allocates nothing.
///
/// ```
/// use eightclap::sound::mix::Mixer;
/// let mut mixer = Mixer::new();
/// mixer.schedule(2, vec![0.25, 0.125].into(), 1.0);
/// let mut block = [0.0; 8]; // four frames in stereo
/// mixer.mix(&mut block, 2);
/// assert_eq!(block, [0.0, 0.0, 0.0, 0.0, 0.25, 0.25, 0.125, 0.125]);
/// ```
pub struct Mixer {
    now: u64,
    level: f32,
    voices: Vec<Voice>,
    late: u64,
    dropped: u64,
}

impl Mixer {
    /// A mixer at frame 0 with nothing scheduled.
    pub fn new() -> Self {
        Self::with_level(1.0)
    }

    /// A mixer that first scales the sound that passes (not the clips) by
    /// `level`. Recordings reach full scale as a rule, so a level of about 0.7
    /// leaves the claps room above them.
    pub fn with_level(level: f32) -> Self {
        Mixer {
            now: 0,
            level,
            voices: Vec::with_capacity(ROOM),
            late: 0,
            dropped: 0,
        }
    }

    /// The next frame to pass.
    pub fn now(&self) -> u64 {
        self.now
    }

    /// Plays `clip` (mono, heard in all channels) scaled by `gain` from frame
    /// `at_frame` on, and returns whether it will. A clip whose start has
    /// already passed is counted as [`late`](Self::late) and not played: a
    /// clap off the beat is worse than none.
    pub fn schedule(&mut self, at_frame: u64, clip: Arc<[f32]>, gain: f32) -> bool {
        if at_frame < self.now {
            self.late += 1;
            return false;
        }
        if self.voices.len() == ROOM {
            self.dropped += 1;
            return false;
        }
        self.voices.push(Voice {
            id: None,
            at: at_frame,
            clip,
            gain,
            until: None,
        });
        true
    }

    /// As [`schedule`](Self::schedule), but the clip is called `id` and takes
    /// the place of one with that name that still waits. One that sounds
    /// already goes on, and nothing is added; that counts as played.
    pub fn place(&mut self, id: u64, at_frame: u64, clip: Arc<[f32]>, gain: f32) -> bool {
        let now = self.now;
        if let Some(voice) = self.voices.iter().find(|v| v.id == Some(id)) {
            if voice.at < now {
                return true;
            }
            self.withdraw(id);
        }
        let taken = self.schedule(at_frame, clip, gain);
        if let Some(voice) = self.voices.last_mut().filter(|_| taken) {
            voice.id = Some(id);
        }
        taken
    }

    /// Takes back the clip called `id`, and returns whether it still waited.
    pub fn withdraw(&mut self, id: u64) -> bool {
        let before = self.voices.len();
        let now = self.now;
        self.voices.retain(|v| v.id != Some(id) || v.at < now);
        self.voices.len() < before
    }

    /// Makes the clip called `id` silent from frame `at` on (or later than it was told
    /// before), fading over `fade` frames before that; at once if there are not so many
    /// left. Returns whether there is such a clip.
    pub fn stop(&mut self, id: u64, at: u64, fade: u64) -> bool {
        let now = self.now;
        let voice = self.voices.iter_mut().find(|v| v.id == Some(id));
        voice
            .map(|voice| voice.until = Some((at.max(now + fade), fade)))
            .is_some()
    }

    /// Adds what is due to `block`, interleaved frames of `channels` samples,
    /// limits the sum to ±[`CEILING`], and moves on by the block's frames.
    pub fn mix(&mut self, block: &mut [f32], channels: usize) {
        if channels == 0 {
            return;
        }
        if self.level != 1.0 {
            block.iter_mut().for_each(|s| *s *= self.level);
        }
        let end = self.now + (block.len() / channels) as u64;
        for voice in &self.voices {
            let (from, to) = (voice.at.max(self.now), voice.end().min(end));
            if from >= to {
                continue;
            }
            let clip = &voice.clip[(from - voice.at) as usize..(to - voice.at) as usize];
            let first = (from - self.now) as usize * channels;
            let frames = block[first..].chunks_exact_mut(channels).zip(clip);
            for (at, (frame, sample)) in (from..).zip(frames) {
                let gain = voice.gain_at(at);
                for out in frame {
                    *out += sample * gain;
                }
            }
        }
        // Order is kept, so that sums come out the same for any block size.
        self.voices.retain(|v| v.end() > end);
        block.iter_mut().for_each(|s| *s = limit(*s));
        self.now = end;
    }

    /// Clips that came too late to be played.
    pub fn late(&self) -> u64 {
        self.late
    }

    /// Clips turned away because too many were waiting.
    pub fn dropped(&self) -> u64 {
        self.dropped
    }

    /// Clips that wait or sound.
    pub fn pending(&self) -> usize {
        self.voices.len()
    }
}

impl Default for Mixer {
    fn default() -> Self {
        Self::new()
    }
}

impl std::fmt::Debug for Mixer {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Mixer")
            .field("now", &self.now)
            .field("pending", &self.voices.len())
            .field("late", &self.late)
            .finish_non_exhaustive()
    }
}

/// The soft limiter: the identity up to ±[`KNEE`], then a curve that continues
/// it with the same slope and never passes ±[`CEILING`]. It has no memory, so
/// it neither delays nor pumps. What is not a number becomes silence.
pub fn limit(sample: f32) -> f32 {
    let size = sample.abs();
    if size <= KNEE {
        sample
    } else if size.is_nan() {
        0.0
    } else {
        let room = CEILING - KNEE;
        let bent = KNEE + room * ((size - KNEE) / room).tanh();
        bent.min(CEILING).copysign(sample)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn run(tune: &[f32], claps: &[(u64, f32)], channels: usize, blocks: &[usize]) -> Vec<f32> {
        let clip: Arc<[f32]> = (0..300).map(|n| 0.9 - n as f32 * 0.003).collect();
        let mut mixer = Mixer::with_level(0.8);
        for &(at, gain) in claps {
            mixer.schedule(at, clip.clone(), gain);
        }
        let mut out = tune.to_vec();
        let mut rest = out.as_mut_slice();
        let mut sizes = blocks.iter().cycle();
        while !rest.is_empty() {
            let n = (sizes.next().unwrap() * channels).min(rest.len());
            let (block, after) = rest.split_at_mut(n);
            mixer.mix(block, channels);
            rest = after;
        }
        out
    }

    proptest! {
        #[test]
        fn any_block_split_gives_the_same_bits(
            claps in prop::collection::vec((0u64..2_000, 0.1f32..1.5), 0..12),
            blocks in prop::collection::vec(1usize..700, 1..8),
            channels in 1usize..4,
        ) {
            let tune: Vec<f32> = (0..2_100 * channels).map(|n| (n as f32 * 0.05).sin()).collect();
            let whole = run(&tune, &claps, channels, &[2_100]);
            prop_assert_eq!(run(&tune, &claps, channels, &blocks), whole);
        }

        #[test]
        fn the_limiter_keeps_order_sign_and_ceiling(a in -50f32..50.0, b in -50f32..50.0) {
            prop_assert!(limit(a).abs() <= CEILING);
            prop_assert!(limit(a) * a >= 0.0);
            if a <= b {
                prop_assert!(limit(a) <= limit(b));
            }
            if a.abs() <= KNEE {
                prop_assert_eq!(limit(a), a);
            }
        }
    }

    #[test]
    fn a_clap_starts_on_its_very_frame() {
        let mut mixer = Mixer::new();
        assert!(mixer.schedule(1_003, vec![0.5, 0.25].into(), 0.5));
        let mut heard = Vec::new();
        for _ in 0..50 {
            let mut block = [0.0; 41];
            mixer.mix(&mut block, 1);
            heard.extend(block);
        }
        let sounding: Vec<_> = heard
            .iter()
            .enumerate()
            .filter(|(_, s)| **s != 0.0)
            .collect();
        assert_eq!(sounding, [(1_003, &0.25), (1_004, &0.125)]);
        assert_eq!(mixer.pending(), 0);
    }

    #[test]
    fn a_late_clap_is_counted_and_not_played() {
        let mut mixer = Mixer::new();
        mixer.mix(&mut [0.0; 100], 1);
        assert!(!mixer.schedule(99, vec![1.0; 50].into(), 1.0));
        assert!(mixer.schedule(100, vec![0.5].into(), 1.0));
        let mut block = [0.0; 100];
        mixer.mix(&mut block, 1);
        assert_eq!(block.iter().filter(|s| **s != 0.0).count(), 1);
        assert_eq!(mixer.late(), 1);
    }

    #[test]
    fn a_named_clip_can_be_moved_and_taken_back_until_it_sounds() {
        let clip: Arc<[f32]> = vec![0.5; 10].into();
        let mut mixer = Mixer::new();
        let heard = |mixer: &mut Mixer| {
            let mut block = [0.0; 50];
            mixer.mix(&mut block, 1);
            let first = block.iter().position(|s| *s != 0.0);
            (first, block.iter().filter(|s| **s != 0.0).count())
        };
        assert!(mixer.place(7, 20, clip.clone(), 1.0));
        assert!(mixer.place(7, 45, clip.clone(), 1.0));
        assert_eq!(heard(&mut mixer), (Some(45), 5), "moved, not doubled");
        // Half of it has sounded: neither moves nor stops it.
        assert!(mixer.place(7, 80, clip.clone(), 1.0));
        assert!(!mixer.withdraw(7));
        assert_eq!(heard(&mut mixer), (Some(0), 5));
        assert!(mixer.place(8, 120, clip.clone(), 1.0));
        assert!(mixer.withdraw(8));
        assert!(!mixer.place(8, 99, clip, 1.0), "too late");
        assert_eq!(heard(&mut mixer), (None, 0));
        assert_eq!(mixer.late(), 1);
    }

    #[test]
    fn a_clip_is_stopped_without_a_click() {
        let clip: Arc<[f32]> = vec![0.5; 100].into();
        let heard = |stops: &[(usize, u64)], block: usize| {
            let mut mixer = Mixer::new();
            assert!(mixer.place(7, 10, clip.clone(), 1.0));
            let mut out = Vec::new();
            while out.len() < 200 {
                for (_, at) in stops.iter().filter(|(when, _)| *when == out.len()) {
                    assert!(mixer.stop(7, *at, 20));
                }
                let mut frames = vec![0.0; block];
                mixer.mix(&mut frames, 1);
                out.extend(frames);
            }
            assert!(!mixer.stop(7, 300, 20), "it is over");
            out
        };
        let at_60 = heard(&[(0, 60)], 8);
        assert_eq!((at_60[40], at_60[59], at_60[60]), (0.5, 0.025, 0.0));
        assert!(at_60.windows(2).skip(11).all(|w| w[0] - w[1] < 0.026));
        assert_eq!(at_60, heard(&[(0, 60)], 200));
        // One that is told to stop in the past fades at once, and may yet be let go on.
        let late = heard(&[(80, 60)], 8);
        assert_eq!((late[79], late[80], late[100]), (0.5, 0.5, 0.0));
        assert_eq!(heard(&[(0, 60), (24, 500)], 8)[109], 0.5);
    }

    #[test]
    fn a_full_queue_turns_clips_away_and_says_so() {
        let mut mixer = Mixer::new();
        let clip: Arc<[f32]> = vec![0.1].into();
        let taken = (0..ROOM + 3)
            .filter(|n| mixer.schedule(*n as u64, clip.clone(), 1.0))
            .count();
        assert_eq!((taken, mixer.dropped()), (ROOM, 3));
    }

    #[test]
    fn nothing_that_is_no_number_gets_through() {
        assert_eq!(limit(f32::NAN), 0.0);
        assert_eq!(limit(f32::INFINITY), CEILING);
        assert_eq!(limit(f32::NEG_INFINITY), -CEILING);
    }
}
