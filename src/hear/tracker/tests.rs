use super::*;
use crate::hear::beats::{LEAD_IN, TUNE};

const DELAY: f64 = 0.04;

/// Activations as a good ear would give them for `lead_in` and then `tune`
/// beats every `period(k)` seconds from `start`.
fn ideal(
    start: f64,
    lead_in: usize,
    tune: usize,
    period: impl Fn(usize) -> f64,
) -> (Vec<Activation>, Vec<f64>) {
    let mut times = vec![start];
    for k in 1..lead_in + tune {
        times.push(times[k - 1] + period(k));
    }
    let one = times.get(lead_in).copied().unwrap_or(f64::MAX);
    let end = times[times.len() - 1] + 0.2;
    let frames = ((end + 3.0) / FRAME) as usize;
    let activations = (0..frames)
        .map(|n| {
            let moment = (n + 1) as f64 * FRAME - DELAY;
            let near = times.iter().map(|t| (t - moment).abs()).fold(9.0, f64::min);
            let beat = (0.9 * (-0.5 * (near / 0.012).powi(2)).exp()) as f32;
            let (none, lead_in, tune) = match moment {
                m if m < start - 0.01 || m > end => (0.97, 0.02, 0.01),
                m if m < one - 0.05 => (0.02, 0.95, 0.03),
                _ => (0.01, 0.01, 0.98),
            };
            Activation {
                beat: beat.max(0.01),
                one: 0.1,
                part: 0.05,
                half: 0.02,
                third: 0.02,
                none,
                lead_in,
                tune,
            }
        })
        .collect();
    (activations, times)
}

fn follow(activations: &[Activation]) -> Vec<Heard> {
    let mut tracker = Tracker::new(Expectations::default(), DELAY);
    activations
        .iter()
        .enumerate()
        .filter_map(|(n, a)| tracker.step((n + 1) as f64 * FRAME, a))
        .collect()
}

/// How far the nearest beat is from `time`, seconds.
fn off(heard: &[Heard], time: f64) -> f64 {
    let off = heard.iter().map(|beat| (beat.time - time).abs());
    off.fold(9.0, f64::min)
}

#[test]
fn beats_after_a_lead_in_are_found_ahead_of_their_time() {
    let (activations, times) = ideal(1.3, 4, 64, |_| 60.0 / 114.0);
    let heard = follow(&activations);
    for pair in heard.windows(2) {
        assert!(pair[1].time > pair[0].time + 0.3);
    }
    for beat in &heard {
        assert!(beat.time - beat.announced >= NOTICE - 1e-9);
    }
    for t in &times[4..] {
        let error = off(&heard, *t);
        assert!(error < 0.012, "beat at {t:.3}: {error:.3}");
    }
    // The tune's first beat is known as such: the fourth lead-in beat leads to it.
    let one = heard
        .iter()
        .find(|b| (b.time - times[4]).abs() < 0.02)
        .unwrap();
    assert!(one.modes[LEAD_IN + 3] > 0.9, "{:?}", one.modes);
    let later = heard
        .iter()
        .find(|b| (b.time - times[9]).abs() < 0.02)
        .unwrap();
    assert!(later.modes[TUNE] > 0.9, "{:?}", later.modes);
}

#[test]
fn a_band_that_speeds_up_is_followed() {
    let (activations, times) = ideal(0.7, 4, 160, |k| 60.0 / (108.0 + 0.07 * k as f64));
    let heard = follow(&activations);
    for t in &times[4..] {
        let error = off(&heard, *t);
        assert!(error < 0.025, "beat at {t:.3}: {error:.3}");
    }
}

#[test]
fn silence_has_no_beats_and_beats_end_with_the_music() {
    let nothing = Activation {
        beat: 0.01,
        half: 0.01,
        third: 0.01,
        none: 0.97,
        lead_in: 0.02,
        tune: 0.01,
        ..Activation::default()
    };
    assert_eq!(follow(&vec![nothing; 3000]), []);
    let (activations, times) = ideal(1.0, 4, 32, |_| 0.52);
    let heard = follow(&activations);
    let after = heard.iter().filter(|b| b.time > times[35] + 0.1).count();
    assert!(after <= 4, "{after} beats after the end");
}

#[test]
fn a_tune_in_which_no_beat_is_heard_is_borne_for_as_long_as_it_lasts() {
    let (first, times) = ideal(1.0, 4, 24, |_| 0.52);
    let lost = Activation {
        beat: 0.003,
        half: 0.003,
        third: 0.003,
        none: 0.001,
        lead_in: 0.001,
        tune: 0.998,
        ..Activation::default()
    };
    let begin = ((times[27] + DELAY) / FRAME) as usize;
    let again = begin + 9_000;
    let (second, later) = ideal(1.0, 0, 24, |_| 0.52);
    let both = [&first[..begin], &vec![lost; again - begin], &second[..]].concat();
    let mut tracker = Tracker::new(Expectations::default(), DELAY);
    let mut heard = Vec::new();
    for (n, activation) in both.iter().enumerate() {
        heard.extend(tracker.step((n + 1) as f64 * FRAME, activation));
        let sum: f32 = tracker.pointer().modes().iter().sum();
        assert!((sum - 1.0).abs() < 0.01, "frame {n}: {sum}");
    }
    for pair in heard.windows(2) {
        assert!(pair[1].time > pair[0].time + 0.3, "{pair:?}");
    }
    for t in later[12..].iter().map(|t| t + again as f64 * FRAME) {
        let error = off(&heard, t);
        assert!(error < 0.02, "beat at {t:.3}: {error:.3}");
    }
}

#[test]
fn a_jump_of_half_a_beat_is_taken_up_once_it_lasts() {
    let (first, times) = ideal(0.5, 4, 40, |_| 0.52);
    let (second, _) = ideal(0.0, 0, 60, |_| 0.52);
    let cut = ((times[43] + 0.26 + DELAY) / FRAME) as usize;
    let mut both = first[..cut].to_vec();
    both.extend(&second[(DELAY / FRAME) as usize..second.len() - 330]);
    let heard = follow(&both);
    let late: Vec<_> = heard.iter().filter(|b| b.time > times[43] + 8.0).collect();
    assert!(late.len() > 30);
    let begin = cut as f64 * FRAME - DELAY;
    for beat in late {
        let phase = ((beat.time - begin) / 0.52).rem_euclid(1.0);
        assert!(
            phase.min(1.0 - phase) < 0.1,
            "{phase:.2} at {:.2}",
            beat.time
        );
    }
}
