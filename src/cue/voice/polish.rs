//! From a recording of words to a clip: silence off, loudness evened.

/// Root of the mean square that speech is brought to, full scale 1.
const LEVEL: f32 = 0.12;

/// Largest sample that a clip may have.
pub const PEAK: f32 = 0.7;

/// The most that soft speech is raised, times: beyond that its noise is.
const MOST_GAIN: f32 = 10.0;

/// Length of the frames in which loudness is looked at, seconds.
const FRAME: f64 = 0.005;

/// A frame is speech for sure if it is this much of the loud frames' level:
/// -29 dB.
const SURELY: f32 = 0.035;

/// Next to such frames, so much of that still is: the breath of an "h" or "f".
const PERHAPS: f32 = 0.3;

/// How many frames of that there may be before and after.
const BREATH: usize = 12;

/// Also it has to stand out of the recording's own noise so much, times.
const ABOVE_NOISE: f32 = 2.5;

/// Kept before and after the speech for its attack and its decay, seconds.
const BEFORE: f64 = 0.008;
const AFTER: f64 = 0.030;

/// Mono samples with where speech begins and ends in them, seconds.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Polished {
    pub samples: Vec<f32>,
    /// Which sample of the recording was the first of these.
    pub from: usize,
    pub heard_from: f64,
    pub over: f64,
}

/// Cuts the silence off both ends of `sound`, fades the ends, and evens the
/// loudness; `None` if nothing is heard in it.
pub(super) fn polish(sound: &[f32], rate: u32) -> Option<Polished> {
    let rate = f64::from(rate);
    let frame = ((FRAME * rate) as usize).max(1);
    let levels = levels(sound, frame);
    let speech = Speech::find(&levels)?;

    let from = (speech.first * frame).saturating_sub((BEFORE * rate) as usize);
    let begin = speech.first * frame - from;
    let end = ((speech.last + 1) * frame).min(sound.len());
    let to = (end + (AFTER * rate) as usize).min(sound.len());

    let mut samples = sound[from..to].to_vec();
    let mean = samples.iter().sum::<f32>() / samples.len() as f32;
    samples.iter_mut().for_each(|s| *s -= mean);
    let loudest = samples.iter().fold(0.0f32, |m, s| m.max(s.abs()));
    let gain = (LEVEL / speech.level)
        .min(MOST_GAIN)
        .min(PEAK / loudest.max(f32::MIN_POSITIVE));
    samples.iter_mut().for_each(|s| *s *= gain);
    fade(&mut samples, begin.max(frame), to - end);
    Some(Polished {
        samples,
        from,
        heard_from: begin as f64 / rate,
        over: (end - from) as f64 / rate,
    })
}

/// Root of the mean square of each frame.
fn levels(sound: &[f32], frame: usize) -> Vec<f32> {
    let level = |f: &[f32]| (f.iter().map(|s| s * s).sum::<f32>() / f.len() as f32).sqrt();
    sound.chunks(frame).map(level).collect()
}

/// Which frames hold speech, and how loud that is.
struct Speech {
    first: usize,
    last: usize,
    level: f32,
}

impl Speech {
    fn find(levels: &[f32]) -> Option<Speech> {
        let mut sorted: Vec<f32> = levels.to_vec();
        sorted.sort_by(f32::total_cmp);
        let at = |share: f64| sorted.get((share * sorted.len() as f64) as usize).copied();
        let (loud, noise) = (at(0.95)?, at(0.05)?);
        // Noise that is half as loud as speech is speech without a pause.
        let noise = if noise > 0.25 * loud { 0.0 } else { noise };
        let floor = (ABOVE_NOISE * noise).max(1e-4);
        let least = (SURELY * loud).max(floor);
        let soft = (PERHAPS * least).max(floor);
        // A click of a switch is one frame; speech holds for some.
        let holds = |n: usize| {
            let ahead = &levels[n..(n + 6).min(levels.len())];
            levels[n] > least && ahead.iter().filter(|l| **l > least).count() >= 3
        };
        let held = |n: usize| {
            let behind = &levels[n.saturating_sub(5)..=n];
            levels[n] > least && behind.iter().filter(|l| **l > least).count() >= 3
        };
        let first = (0..levels.len()).find(|n| holds(*n))?;
        let last = (first..levels.len()).rev().find(|n| held(*n))?;
        let is_soft = |level: &&f32| **level > soft;
        let before = levels[..first].iter().rev().take(BREATH);
        let after = levels[last + 1..].iter().take(BREATH);
        let first = first - before.take_while(is_soft).count();
        let last = last + after.take_while(is_soft).count();
        // Only what is said counts for loudness, not the gaps between words.
        let said: Vec<f32> = levels[first..=last]
            .iter()
            .copied()
            .filter(|l| *l > 0.1 * loud)
            .collect();
        let square = said.iter().map(|l| l * l).sum::<f32>() / said.len().max(1) as f32;
        (square > 0.0).then_some(Speech {
            first,
            last,
            level: square.sqrt(),
        })
    }
}

/// Lets the first `begin` samples rise from nothing and the last `end` fall to
/// nothing.
fn fade(samples: &mut [f32], begin: usize, end: usize) {
    let half = samples.len() / 2;
    let begin = begin.min(half);
    let end = end.max(begin / 2).min(half);
    let part = |n: usize, all: usize| n as f32 / all as f32;
    for (n, s) in samples.iter_mut().take(begin).enumerate() {
        *s *= part(n, begin);
    }
    for (n, s) in samples.iter_mut().rev().take(end).enumerate() {
        *s *= part(n, end);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::RngExt;
    use rand_pcg::Pcg32;
    use rand_pcg::rand_core::SeedableRng;

    const RATE: u32 = 22_050;

    /// `before` seconds of noise, `speech` of a buzz in syllables, `after` of noise.
    fn recording(before: f64, speech: f64, after: f64, gain: f32, noise: f32) -> Vec<f32> {
        let mut dice = Pcg32::seed_from_u64(7);
        let rate = f64::from(RATE);
        let all = ((before + speech + after) * rate) as usize;
        (0..all)
            .map(|n| {
                let t = n as f64 / rate - before;
                let said = if (0.0..speech).contains(&t) {
                    let syllable = 0.6 + 0.4 * (t * 25.0).cos();
                    let buzz: f64 = (1..8)
                        .map(|k| (t * 140.0 * std::f64::consts::TAU * f64::from(k)).sin())
                        .sum();
                    (0.25 * syllable * buzz) as f32
                } else {
                    0.0
                };
                gain * said + noise * dice.random_range(-1.0f32..1.0)
            })
            .collect()
    }

    fn level(sound: &[f32]) -> f32 {
        (sound.iter().map(|s| s * s).sum::<f32>() / sound.len() as f32).sqrt()
    }

    #[test]
    fn silence_goes_and_speech_stays() {
        for noise in [0.0, 0.001, 0.004] {
            let clip = polish(&recording(0.7, 1.0, 0.4, 0.5, noise), RATE).unwrap();
            let length = clip.samples.len() as f64 / f64::from(RATE);
            assert!((1.0..1.08).contains(&length), "{length} s at {noise}");
            assert!(clip.heard_from < 0.02, "{clip:?}", clip = clip.heard_from);
            let said = clip.over - clip.heard_from;
            assert!((said - 1.0).abs() < 0.02, "{said} s at {noise}");
            assert_eq!((clip.samples[0], *clip.samples.last().unwrap()), (0.0, 0.0));
        }
    }

    #[test]
    fn soft_and_loud_recordings_come_out_alike() {
        let all: Vec<f32> = [0.08, 0.3, 1.0]
            .map(|gain| {
                let clip = polish(&recording(0.2, 1.0, 0.2, gain, 0.0002), RATE).unwrap();
                let peak = clip.samples.iter().fold(0.0f32, |m, s| m.max(s.abs()));
                assert!(peak <= PEAK + 1e-6, "{peak}");
                level(&clip.samples)
            })
            .into();
        for one in &all {
            assert!((one / all[2] - 1.0).abs() < 0.05, "{all:?}");
        }
    }

    #[test]
    fn in_silence_and_bare_noise_nothing_is_said() {
        assert_eq!(polish(&[], RATE), None);
        assert_eq!(polish(&[0.0; 9_000], RATE), None);
        let mut click = vec![0.0f32; 9_000];
        click[4_000..4_050].fill(0.5);
        assert_eq!(polish(&click, RATE), None);
    }

    #[test]
    fn a_click_before_the_words_is_cut_off() {
        let mut sound = recording(0.7, 1.0, 0.4, 0.5, 0.0005);
        sound[3_000..3_060].fill(0.4);
        let clip = polish(&sound, RATE).unwrap();
        assert!((clip.over - clip.heard_from - 1.0).abs() < 0.02);
    }
}
