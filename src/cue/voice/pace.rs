//! Speech made faster without making it higher.

use std::num::{NonZeroU16, NonZeroU32};

use wsola::TimeStretch;

use super::polish::{PEAK, Polished};
use super::utterance::{Clip, PACES};

/// The clips of some words, one for each of [`PACES`].
pub(super) fn clips(natural: Polished, rate: u32) -> Vec<Clip> {
    let faster = |pace: f64| {
        let samples = match pace {
            1.0 => natural.samples.clone(),
            _ => stretch(&natural.samples, rate, pace),
        };
        Clip {
            pace,
            samples: samples.into(),
            heard_from: natural.heard_from / pace,
            over: natural.over / pace,
        }
    };
    PACES.map(faster).into()
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
    // The machine ends when no whole piece is left: silence lets it reach the
    // end of the speech.
    let wanted = (sound.len() as f64 / pace).round() as usize;
    machine.push(sound);
    machine.push(&vec![0.0; rate.get() as usize / 5]);
    machine.set_draining();
    let piece = machine.min_output_buff_size().max(1);
    let mut out = vec![0.0; (wanted / piece + 20) * piece];
    let made = machine.pull(&mut out).unwrap_or(0);
    out.truncate(made);
    out.resize(wanted, 0.0);
    let fade = (0.003 * f64::from(rate.get())) as usize;
    for n in 0..fade.min(wanted) {
        out[wanted - 1 - n] *= n as f32 / fade as f32;
    }
    // Waves that meet a little askew may add up to more than either.
    let loudest = out.iter().fold(0.0f32, |m, s| m.max(s.abs()));
    if loudest > PEAK {
        out.iter_mut().for_each(|s| *s *= PEAK / loudest);
    }
    out
}
