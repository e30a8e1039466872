//! Speech made faster without making it higher.

use std::num::{NonZeroU16, NonZeroU32};

use wsola::TimeStretch;

use super::polish::{PEAK, Polished};
use super::utterance::Clip;
use crate::sound::resample::{ResampleError, resample};

/// Clips of some words at `rate`, one for each of `paces`; `natural` is as it was
/// recorded, at `from` samples a second.
pub(super) fn clips(
    natural: &Polished,
    from: u32,
    rate: u32,
    paces: &[f64],
) -> Result<Vec<Clip>, ResampleError> {
    let at_pace = |&pace: &f64| {
        // The rate of the recording is the least that holds all of it, and the
        // time that it takes goes by the square of the rate.
        let samples = match pace {
            1.0 => resample(&natural.samples, from, rate)?,
            _ => resample(&stretch(&natural.samples, from, pace), from, rate)?,
        };
        Ok(Clip {
            pace,
            samples: limited(samples).into(),
            heard_from: natural.heard_from / pace,
            over: natural.over / pace,
        })
    };
    paces.iter().map(at_pace).collect()
}

/// Waves that meet a little askew, or stand between two samples, may be higher
/// than any sample before.
fn limited(mut sound: Vec<f32>) -> Vec<f32> {
    let loudest = sound.iter().fold(0.0f32, |m, s| m.max(s.abs()));
    if loudest > PEAK {
        sound.iter_mut().for_each(|s| *s *= PEAK / loudest);
    }
    sound
}

/// `sound` said `pace` times as fast, at the same pitch.
///
/// WSOLA (Verhelst and Roelands, ICASSP 1993): pieces of the sound itself, laid
/// closer together where their waves agree, so that a voice stays one.
fn stretch(sound: &[f32], rate: u32, pace: f64) -> Vec<f32> {
    let Some(rate) = NonZeroU32::new(rate) else {
        return sound.to_vec();
    };
    let Ok(mut machine) = TimeStretch::new(rate, NonZeroU16::MIN) else {
        return sound.to_vec();
    };
    machine.set_tempo(pace as f32);
    // The machine fades its first piece in, and ends when no whole piece is left:
    // silence before and behind lets it give every bit of the speech.
    let piece = machine.min_output_buff_size().max(1);
    machine.push(&vec![0.0; piece]);
    machine.push(sound);
    machine.push(&vec![0.0; rate.get() as usize / 5]);
    machine.set_draining();
    let wanted = (sound.len() as f64 / pace).round() as usize;
    let mut out = vec![0.0; (wanted / piece + 20) * piece];
    let made = machine.pull(&mut out).unwrap_or(0);
    out.truncate(made);
    out.drain(..piece.min(made));
    out.resize(wanted, 0.0);
    let fade = (0.003 * f64::from(rate.get())) as usize;
    for (n, s) in out.iter_mut().rev().take(fade).enumerate() {
        *s *= n as f32 / fade as f32;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cue::voice::{PACES, bank, normal, polish::polish};
    use std::f64::consts::TAU;

    const RATE: u32 = 24_000;

    /// A sung vowel whose pitch glides: harmonics under two formants.
    fn vowel(low: f64, high: f64, seconds: f64) -> Vec<f32> {
        let mut phase = 0.0;
        (0..(seconds * f64::from(RATE)) as usize)
            .map(|n| {
                let share = n as f64 / (seconds * f64::from(RATE));
                phase += TAU * (low + (high - low) * share) / f64::from(RATE);
                let voice: f64 = (1..20)
                    .map(|k| {
                        let hz = low * f64::from(k);
                        let formant = |at: f64| 1.0 / (1.0 + ((hz - at) / 150.0).powi(2));
                        (formant(650.0) + 0.5 * formant(1_700.0)) * (phase * f64::from(k)).sin()
                    })
                    .sum();
                (0.2 * voice) as f32
            })
            .collect()
    }

    /// Pitch of a piece of sound by its autocorrelation, hertz; `None` where
    /// it has none.
    fn pitch(piece: &[f32]) -> Option<f64> {
        let like = |lag: usize| {
            let (a, b) = (&piece[lag..], &piece[..piece.len() - lag]);
            let dot: f32 = a.iter().zip(b).map(|(a, b)| a * b).sum();
            let norm: f32 =
                a.iter().map(|a| a * a).sum::<f32>() * b.iter().map(|b| b * b).sum::<f32>();
            dot / norm.sqrt().max(1e-9)
        };
        let lags = RATE as usize / 350..RATE as usize / 80;
        let best = lags.clone().max_by(|a, b| like(*a).total_cmp(&like(*b)))?;
        // The shortest lag that is about as good: not an octave below.
        let best = lags.clone().find(|lag| {
            like(*lag) > 0.95 * like(best)
                && like(*lag) >= like(lag + 1)
                && like(*lag) >= like(lag - 1)
        })?;
        if like(best) < 0.9 {
            return None;
        }
        // The top of a parabola through three values: lags are whole samples.
        let (a, b, c) = (like(best - 1), like(best), like(best + 1));
        let top = f64::from(0.5 * (a - c) / (a - 2.0 * b + c));
        Some(f64::from(RATE) / (best as f64 + top))
    }

    fn polished(words: &str) -> Polished {
        let words = normal(words);
        let sound = bank::fetch([words.as_str()]).remove(&words).unwrap();
        polish(&sound, RATE).unwrap()
    }

    /// Largest change of slope from one sample to the next: a click has one.
    fn edge(sound: &[f32]) -> f32 {
        let bend = |w: &[f32]| (w[0] - 2.0 * w[1] + w[2]).abs();
        sound.windows(3).map(bend).fold(0.0, f32::max)
    }

    #[test]
    fn a_faster_voice_is_no_higher() {
        for (low, high) in [(110.0, 110.0), (190.0, 240.0), (260.0, 180.0)] {
            let natural = vowel(low, high, 1.2);
            for pace in PACES {
                let fast = stretch(&natural, RATE, pace);
                for share in [0.2, 0.35, 0.5, 0.65, 0.8] {
                    let at = |sound: &[f32]| {
                        let middle = (share * sound.len() as f64) as usize;
                        pitch(&sound[middle - 600..middle + 600]).unwrap()
                    };
                    let (was, is) = (at(&natural), at(&fast));
                    assert!(
                        (is / was - 1.0).abs() < 0.02,
                        "{was} Hz became {is} at {pace}"
                    );
                }
            }
        }
    }

    #[test]
    fn real_speech_keeps_its_pitch_where_it_has_one() {
        let natural = polished("robins do-si-do, once and a half").samples;
        for pace in PACES {
            let fast = stretch(&natural, RATE, pace);
            let mut off: Vec<f64> = (1..100)
                .filter_map(|n| {
                    let at = |sound: &[f32]| {
                        let middle = sound.len() * n / 100;
                        let from = middle.checked_sub(500)?;
                        pitch(sound.get(from..middle + 500)?)
                    };
                    Some((at(&fast)? / at(&natural)? - 1.0).abs())
                })
                .collect();
            off.sort_by(f64::total_cmp);
            assert!(off.len() > 30, "{} places", off.len());
            assert!(off[off.len() / 2] < 0.02, "{off:?} at {pace}");
        }
    }

    #[test]
    fn it_takes_the_time_it_should_and_ends_with_the_last_sound() {
        for words in [
            "swing your partner",
            "one",
            "robins do-si-do, once and a half",
        ] {
            let natural = polished(words);
            for clip in clips(&natural, RATE, RATE, &PACES).unwrap() {
                let length = clip.samples.len() as f64 * clip.pace / natural.samples.len() as f64;
                assert!((length - 1.0).abs() < 0.01, "{words}: {length}");
                // Looked at afresh, the speech is where the clip says it is.
                let again = polish(&clip.samples, RATE).unwrap();
                let said = again.over - again.heard_from;
                let stated = clip.over - clip.heard_from;
                assert!(
                    (said - stated).abs() < 0.02,
                    "{words}: {said} s, not {stated}"
                );
                let all = clip.samples.len() as f64 / f64::from(RATE);
                assert!(clip.heard_from < 0.02 && clip.over <= all);
            }
        }
    }

    #[test]
    fn pieces_meet_without_clicks() {
        let glide = vowel(150.0, 230.0, 1.0);
        let said = polished("long lines, forward and back").samples;
        for natural in [glide, said] {
            for pace in PACES {
                let fast = stretch(&natural, RATE, pace);
                // A cut at a random place of the glide bends four times as much.
                assert!(
                    edge(&fast) < 1.25 * edge(&natural),
                    "{} at {pace}, {} before",
                    edge(&fast),
                    edge(&natural)
                );
                assert!(limited(fast.clone()).iter().all(|s| s.abs() <= PEAK + 1e-6));
                // The beginning is as it was, and the end is nothing.
                assert!((fast[0] - natural[0]).abs() < 0.01);
                assert!(fast[fast.len() - 1].abs() < 0.01);
            }
        }
    }

    #[test]
    fn the_shortest_sounds_are_no_trouble() {
        for len in [1, 10, 200, 900] {
            let fast = stretch(&vec![0.1; len], RATE, 1.25);
            assert_eq!(fast.len(), (len as f64 / 1.25).round() as usize);
        }
    }
}
