//! The trials bench changes sound and truth together: that they still fit, and
//! that its verdicts are what they say.

#[path = "../benches/trials/change.rs"]
mod change;
#[path = "../benches/trials/judge.rs"]
mod judge;
#[path = "../benches/trials/level.rs"]
mod level;
#[path = "../benches/trials/people.rs"]
mod people;
#[path = "../benches/trials/stretch.rs"]
mod stretch;

use change::Take;
use eightclap::sound::band::{Dice, PartStart, Truth};
use judge::{Recovery, after_press, recovery};

const RATE: u32 = 16_000;
/// Seconds before the tune, and from beat to beat.
const BEFORE: f64 = 2.5;
const BEAT: f64 = 0.5;

/// Twice through a tune of 64 beats in which each beat is a short tone burst
/// whose pitch tells which beat of the whole it is.
fn take() -> Take {
    let beats: Vec<f64> = (0..128).map(|k| BEFORE + BEAT * f64::from(k)).collect();
    let mut samples = vec![0.0; ((BEFORE + 128.0 * BEAT) * f64::from(RATE)) as usize];
    for (k, &beat) in beats.iter().enumerate() {
        let at = (beat * f64::from(RATE)).round() as usize;
        for n in 0..800 {
            let phase = std::f64::consts::TAU * pitch(k) * n as f64 / f64::from(RATE);
            samples[at + n] = (phase.sin() * (-(n as f64) / 300.0).exp()) as f32;
        }
    }
    let names = ["A1", "A2", "B1", "B2"].into_iter().cycle();
    let parts = beats.iter().step_by(16).zip(names);
    Take {
        rate: RATE,
        truth: Truth {
            lead_in: (0..4).map(|k| 0.5 + BEAT * f64::from(k)).collect(),
            phrases: beats.iter().copied().step_by(8).collect(),
            parts: parts
                .map(|(&t, name)| PartStart {
                    t,
                    name: name.to_owned(),
                })
                .collect(),
            beats,
            ..Truth::default()
        },
        samples,
    }
}

fn pitch(beat: usize) -> f64 {
    600.0 + 20.0 * beat as f64
}

/// How strong a tone of `hertz` is in `sound`: its power, in no unit of note.
fn power_at(sound: &[f32], hertz: f64) -> f64 {
    let step = std::f64::consts::TAU * hertz / f64::from(RATE);
    let (mut re, mut im) = (0.0, 0.0);
    for (n, &x) in sound.iter().enumerate() {
        re += f64::from(x) * (step * n as f64).cos();
        im += f64::from(x) * (step * n as f64).sin();
    }
    re * re + im * im
}

/// Which beat of the whole is heard at `at` seconds, if one is: the pitch whose
/// tone is strongest there.
fn heard_at(take: &Take, at: f64) -> Option<usize> {
    let start = (at * f64::from(take.rate)).round() as usize;
    let sound = take.samples.get(start..start + 800)?;
    if level::rms(sound) < 0.05 {
        return None;
    }
    let strength = |k: usize| power_at(sound, pitch(k));
    (0..128).max_by(|&a, &b| strength(a).total_cmp(&strength(b)))
}

/// The beats heard at the true beat times.
fn heard(take: &Take) -> Vec<usize> {
    let beats = take.truth.beats.iter();
    let at = |&t: &f64| heard_at(take, t).unwrap_or_else(|| panic!("no beat at {t} s"));
    beats.map(at).collect()
}

/// Beats between neighbouring phrases.
fn phrase_lengths(truth: &Truth) -> Vec<usize> {
    let number = |t: f64| truth.beats.iter().position(|&b| b == t).expect("a beat");
    let pairs = truth.phrases.windows(2);
    pairs.map(|p| number(p[1]) - number(p[0])).collect()
}

#[test]
fn the_sound_is_what_the_truth_says() {
    assert_eq!(heard(&take()), (0..128).collect::<Vec<_>>());
    assert_eq!(heard_at(&take(), BEFORE + 0.25), None);
}

#[test]
fn beats_are_left_out_of_sound_and_truth() {
    let cut = take().without_beats(34, 2);
    let expected: Vec<usize> = (0..34).chain(36..128).collect();
    assert_eq!(heard(&cut), expected);
    assert!((cut.seconds() - (take().seconds() - 2.0 * BEAT)).abs() < 1e-3);
    let lengths = phrase_lengths(&cut.truth);
    assert_eq!((lengths[4], lengths.len()), (6, 15));
    assert!(lengths.iter().enumerate().all(|(k, &n)| k == 4 || n == 8));
    assert_eq!(cut.truth.lead_in, take().truth.lead_in);
    assert_eq!(cut.truth.parts.len(), 8);
}

#[test]
fn beats_are_played_twice() {
    let more = take().with_beats_again(38, 2);
    let expected: Vec<usize> = (0..40).chain(38..128).collect();
    assert_eq!(heard(&more), expected);
    let lengths = phrase_lengths(&more.truth);
    assert_eq!((lengths[4], lengths.len()), (10, 15));
    assert!(lengths.iter().enumerate().all(|(k, &n)| k == 4 || n == 8));
    let gaps = more.truth.beats.windows(2).map(|b| b[1] - b[0]);
    assert!(gaps.into_iter().all(|gap| (gap - BEAT).abs() < 1e-3));
}

#[test]
fn a_tune_begins_in_its_middle() {
    let late = take().starting_at(21);
    assert_eq!(heard(&late), (21..128).collect::<Vec<_>>());
    assert!(late.truth.lead_in.is_empty());
    assert!((late.truth.beats[0] - 0.020).abs() < 1e-3);
    assert_eq!(late.truth.phrases[0], late.truth.beats[3]);
    assert_eq!(late.truth.parts[0].name, "B1");
}

#[test]
fn nobody_plays_and_the_tune_goes_on() {
    let paused = take().with_hush(40, 4.0);
    assert_eq!(heard(&paused), (0..128).collect::<Vec<_>>());
    let beats = &paused.truth.beats;
    assert!((beats[40] - beats[39] - BEAT - 4.0).abs() < 1e-3);
    let (from, to) = (beats[39] + 0.48, beats[40] - 0.03);
    let hush = &paused.samples[(from * f64::from(RATE)) as usize..(to * f64::from(RATE)) as usize];
    assert!((1e-4..1e-2).contains(&level::peak(hush)));
    assert!((paused.truth.phrases[5] - beats[40]).abs() < 1e-12);
}

#[test]
fn the_tempo_changes_and_the_pitch_stays() {
    for ratio in [1.08, 0.92] {
        let changed = take().at_tempo(40, ratio);
        // A tone's pitch names its beat: 20 Hz between two, 8 % would be 112 Hz.
        // The stretch places tones to within some milliseconds.
        let near = |k: usize| {
            let beat = changed.truth.beats[k];
            let places = (-4..=4).map(|ms| beat + 0.003 * f64::from(ms));
            let mut heard = places.filter_map(|t| heard_at(&changed, t));
            heard.any(|n| n == k)
        };
        assert!((3..127).step_by(9).all(near), "{ratio}");
        assert_eq!(changed.samples[..200_000], take().samples[..200_000]);
        let beats = &changed.truth.beats;
        assert!((beats[100] - beats[99] - BEAT / ratio).abs() < 1e-9);
        assert!((beats[39] - take().truth.beats[39]).abs() < 1e-12);
        let rest = take().seconds() - beats[40];
        assert!((changed.seconds() - beats[40] - rest / ratio).abs() < 0.01);
        let loud = |t: &Take| level::rms(&t.samples[25 * RATE as usize..55 * RATE as usize]);
        assert!((loud(&changed) / loud(&take()) - ratio.sqrt() as f32).abs() < 0.1);
    }
}

#[test]
fn a_tune_without_its_second_a_has_48_beats() {
    let short = take().without_second_a();
    let expected: Vec<usize> = (0..128).filter(|k| !(16..32).contains(&(k % 64))).collect();
    assert_eq!(heard(&short), expected);
    let names: Vec<&str> = short.truth.parts.iter().map(|p| p.name.as_str()).collect();
    assert_eq!(names, ["A1", "A2", "B1", "A1", "A2", "B1"]);
    assert!(phrase_lengths(&short.truth).iter().all(|&n| n == 8));
    assert_eq!(short.truth.parts[3].t, short.truth.beats[48]);
}

#[test]
fn a_tune_with_its_parts_in_turn_has_32_beats() {
    let short = take().with_parts_in_turn();
    let part = |first: usize| first..first + 16;
    let expected: Vec<usize> = [0, 32, 16, 48, 64, 96, 80, 112]
        .into_iter()
        .flat_map(part)
        .collect();
    assert_eq!(heard(&short), expected);
    let names: Vec<&str> = short.truth.parts.iter().map(|p| p.name.as_str()).collect();
    assert_eq!(names, ["A1", "A2", "A1", "A2", "A1", "A2", "A1", "A2"]);
    assert!(phrase_lengths(&short.truth).iter().all(|&n| n == 8));
    assert_eq!(short.truth.lead_in, take().truth.lead_in);
}

#[test]
fn a_medley_changes_tunes_after_one_time_through_and_keeps_its_tempo() {
    let medley = take().then(&take().at_tempo(0, 1.1));
    let truth = &medley.truth;
    assert_eq!(truth.beats.len(), 64 + 128);
    assert!(phrase_lengths(truth).iter().all(|&n| n == 8));
    for pair in truth.beats.windows(2) {
        assert!((pair[1] - pair[0] - BEAT).abs() < 0.01, "{pair:?}");
    }
    assert_eq!(heard_at(&medley, truth.beats[63]), Some(63));
    assert_eq!(heard_at(&medley, truth.beats[66]), Some(2));
    assert_eq!(truth.lead_in, take().truth.lead_in);
}

#[test]
fn sounds_are_mixed_in_at_their_time() {
    let mut take = take();
    let before = take.samples.clone();
    take.mix(1.0, &[0.5, 0.25], 2.0);
    take.mix(-1.0 / f64::from(RATE), &[9.0, 0.125], 1.0);
    take.mix(1e6, &[9.0], 1.0);
    let changed: Vec<usize> = (0..before.len())
        .filter(|&n| take.samples[n] != before[n])
        .collect();
    let second = RATE as usize;
    assert_eq!(changed, [0, second, second + 1]);
    assert_eq!(take.samples[second], before[second] + 1.0);
    assert_eq!(take.samples[0], before[0] + 0.125);
}

#[test]
fn music_is_measured_where_it_is() {
    let mut take = take();
    let alone = take.music_rms();
    assert!(alone > 0.02);
    take.mix(0.2, &[5.0; 400], 1.0);
    assert_eq!(take.music_rms(), alone);
}

#[test]
fn loudness_leaves_pauses_out() {
    let mut sound = vec![0.5; 8_000];
    sound.extend(vec![0.0; 8_000]);
    sound.extend(vec![-0.5; 1_600]);
    assert!((level::active(&sound, RATE) - 0.5).abs() < 1e-6);
    assert!(level::rms(&sound) < 0.4);
    assert!((level::loudest(&sound, RATE) - 0.5).abs() < 1e-6);
    assert_eq!(level::peak(&sound), 0.5);
    assert_eq!(level::active(&[], RATE), 0.0);
}

/// Where the energy of `sound` lies on the average, seconds.
fn centre(sound: &[f32]) -> f64 {
    let energy = |x: &f32| f64::from(*x).powi(2);
    let total: f64 = sound.iter().map(energy).sum();
    let moment: f64 = (0u32..)
        .zip(sound)
        .map(|(n, x)| f64::from(n) * energy(x))
        .sum();
    moment / total / f64::from(RATE)
}

#[test]
fn dancers_clap_and_stomp_about_the_beat() {
    for (scatter, one) in [
        (people::CLAP_SCATTER, people::clap as people::Doing),
        (people::STOMP_SCATTER, people::stomp),
    ] {
        let mut dice = Dice::new(3, 0);
        let single = centre(&one(RATE, &mut dice));
        let groups: Vec<f64> = (0..40)
            .map(|_| centre(&people::group(RATE, 12, scatter, one, &mut dice)))
            .collect();
        let mean = groups.iter().sum::<f64>() / 40.0 - people::GROUP_BEFORE;
        assert!((mean - single).abs() < 0.012, "{mean} of {single}");
        let again = people::group(RATE, 12, scatter, one, &mut Dice::new(4, 0));
        let same = people::group(RATE, 12, scatter, one, &mut Dice::new(4, 0));
        assert_eq!(again, same);
    }
}

#[test]
fn crowds_go_on_all_the_time() {
    let mut dice = Dice::new(5, 0);
    let applause = people::applause(5.0, RATE, &mut dice);
    let feet = people::shuffle(5.0, RATE, &mut dice);
    for (sound, rms) in [(applause, 0.1), (feet, 0.03)] {
        assert!((level::rms(&sound) - rms).abs() < 1e-4);
        let seconds = sound.chunks(RATE as usize);
        assert!(seconds.into_iter().all(|s| level::rms(s) > 0.4 * rms));
    }
}

#[test]
fn pink_noise_falls_by_three_decibels_an_octave() {
    let pink = people::pink(20.0, RATE, &mut Dice::new(6, 0));
    assert!((level::rms(&pink) - 0.1).abs() < 1e-4);
    // Power about `hertz`: of many short stretches, each against a tone.
    let power = |hertz: f64| {
        let of = |sound: &[f32]| power_at(sound, hertz);
        pink.chunks_exact(320).map(of).sum::<f64>()
    };
    // Three octaves: nine decibels.
    let fall = 10.0 * (power(400.0) / power(3200.0)).log10();
    assert!((fall - 9.0).abs() < 1.5, "{fall} dB");
}

/// Beats a second apart, phrases of eight.
fn seconds(from: u32, to: u32) -> (Vec<f64>, Vec<f64>) {
    let beats: Vec<f64> = (from..to).map(f64::from).collect();
    let phrases = beats.iter().copied().step_by(8).collect();
    (beats, phrases)
}

#[test]
fn a_count_that_comes_back_is_seen() {
    let (beats, phrases) = seconds(0, 96);
    // Wrong twice after the event, then right to the end; and once after it.
    let mut claps = vec![0.0, 8.0, 16.0, 26.0, 34.0];
    claps.extend([48.0, 56.0, 64.0, 72.0, 80.0, 88.0, 96.0]);
    let seen = recovery(&beats, &phrases, &claps, 19.0);
    assert_eq!(
        seen,
        Recovery {
            beats: Some(48 - 19),
            wrong: 2,
            phrases: 9,
            clapped: 6,
        }
    );
    // Nothing went wrong: right again at the next phrase.
    let calm = recovery(&beats, &phrases, &phrases, 19.0);
    assert_eq!((calm.beats, calm.wrong), (Some(5), 0));
}

#[test]
fn a_count_that_stays_wrong_is_seen() {
    let (beats, phrases) = seconds(0, 200);
    let late: Vec<f64> = phrases.iter().map(|p| p + 2.0).collect();
    assert_eq!(recovery(&beats, &phrases, &late, 19.0).beats, None);
    // Silence is not right either.
    let silent = recovery(&beats, &phrases, &[8.0, 16.0], 19.0);
    assert_eq!((silent.beats, silent.wrong), (None, 0));
    // Right, but later than twice through; and right only three times.
    let long: Vec<f64> = phrases.iter().copied().filter(|&p| p > 150.0).collect();
    assert_eq!(recovery(&beats, &phrases, &long, 19.0).beats, None);
    let (beats, phrases) = seconds(0, 48);
    let few = [24.0, 32.0, 40.0];
    assert_eq!(recovery(&beats, &phrases, &few, 19.0).beats, None);
}

#[test]
fn what_follows_a_key_press_is_counted() {
    let (beats, phrases) = seconds(0, 96);
    // The press is at 24; its own clap is past, the wrong one at 27 is not.
    let claps = [24.0, 27.0, 32.0, 40.0, 50.0, 56.0, 64.0];
    assert_eq!(after_press(&beats, &phrases, &claps, 24.0), [3, 4, 2]);
    // Only two phrases are left.
    assert_eq!(
        after_press(&beats, &phrases, &[80.0, 88.0], 72.0),
        [2, 2, 0]
    );
}
