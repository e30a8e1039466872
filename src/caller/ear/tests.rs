//! Hearing, with sounds made here: pulses through resonances stand for a voice.

use super::*;
use crate::sound::band::{self, Dice, Performance, Settings, signals};

const HERTZ: u32 = 48_000;

/// A voice-like sound: pulses at a falling pitch through three resonances, in syllables
/// of a fifth of a second. (Resonances near those of an open vowel, from memory.)
fn babble(syllables: usize, pitch: f64) -> Vec<f32> {
    let rate = f64::from(HERTZ);
    let length = (0.2 * rate) as usize;
    let mut out = vec![0.0f64; syllables * length];
    let mut phase = 0.0;
    for (n, y) in out.iter_mut().enumerate() {
        let within = (n % length) as f64 / length as f64;
        phase += pitch * (1.1 - 0.2 * n as f64 / (syllables * length) as f64) / rate;
        let open = (std::f64::consts::PI * within).sin().powi(2);
        *y = if phase >= 1.0 { open } else { 0.0 };
        phase = phase.fract();
    }
    for (hertz, width) in [(700.0, 90.0), (1_200.0, 110.0), (2_600.0, 160.0)] {
        let r = (-std::f64::consts::PI * width / rate).exp();
        let c = 2.0 * r * (std::f64::consts::TAU * hertz / rate).cos();
        let (mut a, mut b) = (0.0, 0.0);
        for y in &mut out {
            let now = *y + c * a - r * r * b;
            (b, a) = (a, now);
            *y = now;
        }
    }
    let peak = out.iter().map(|y| y.abs()).fold(0.0, f64::max);
    out.iter().map(|y| (0.3 * y / peak) as f32).collect()
}

/// Silence with a little noise, and a voice at these seconds.
fn take(seconds: f64, at: &[f64]) -> Vec<f32> {
    let mut sound = signals::white_noise(seconds, HERTZ, 0.0005, 7);
    for (n, at) in at.iter().enumerate() {
        let first = (at * f64::from(HERTZ)) as usize;
        let voice = babble(5, 110.0 + 20.0 * (n % 3) as f64);
        sound[first..]
            .iter_mut()
            .zip(voice)
            .for_each(|(y, x)| *y += x);
    }
    sound
}

fn hear(sound: &[f32], played: &[f32], removal: Removal, block: usize) -> (Vec<Prompt>, Ear) {
    let mut ear = Ear::new(HERTZ, Method::default(), removal).expect("a good rate");
    let mut prompts = Vec::new();
    for (heard, played) in sound.chunks(block).zip(played.chunks(block)) {
        ear.push(heard, played, &mut prompts).expect("converts");
    }
    ear.end(&mut prompts).expect("converts");
    (prompts, ear)
}

/// Where voices begin and end, checked to 30 ms. The babble swells and fades, so that
/// its first and last 12 ms lie under the level that counts.
fn check(prompts: &[Prompt], at: &[f64]) {
    assert_eq!(prompts.len(), at.len(), "{prompts:?}");
    for (prompt, at) in prompts.iter().zip(at) {
        assert!(
            (prompt.start - at - 0.012).abs() < 0.03,
            "{prompt:?} for {at}"
        );
        assert!(
            (prompt.end - at - 0.988).abs() < 0.03,
            "{prompt:?} for {at}"
        );
        assert_eq!(prompt.syllables, 5, "{prompt:?}");
        assert!(
            (prompt.stress - at - 0.9).abs() < 0.05,
            "the last of five: {prompt:?}"
        );
    }
}

#[test]
fn voices_are_found_with_their_ends() {
    let at = [1.5, 4.0, 6.25, 9.0];
    let sound = take(11.0, &at);
    let (prompts, _) = hear(&sound, &vec![0.0; sound.len()], Removal::None, 480);
    check(&prompts, &at);
}

#[test]
fn a_voice_at_the_very_end_is_told_at_the_end() {
    let sound = take(3.6, &[2.5]);
    let (prompts, _) = hear(&sound, &vec![0.0; sound.len()], Removal::None, 480);
    check(&prompts, &[2.5]);
}

#[test]
fn a_prompt_goes_on_over_half_a_second_of_silence_and_ends_after_more() {
    // Each voice is heard for some 0.97 s.
    for (pause, prompts) in [(0.45, 1), (0.55, 1), (0.85, 2)] {
        let sound = take(4.5, &[1.0, 2.0 + pause]);
        let silence = vec![0.0; sound.len()];
        let (heard, _) = hear(&sound, &silence, Removal::None, 480);
        assert_eq!(heard.len(), prompts, "a pause of {pause} s: {heard:?}");
    }
}

#[test]
fn blocks_of_any_size_give_the_same_prompts() {
    let sound = take(5.0, &[1.0, 3.0]);
    let silence = vec![0.0; sound.len()];
    for removal in [Removal::None, Removal::Adaptive] {
        let (whole, _) = hear(&sound, &silence, removal, sound.len());
        for block in [1, 77, 4_800] {
            let (pieces, _) = hear(&sound, &silence, removal, block);
            assert_eq!(pieces, whole, "blocks of {block}");
        }
    }
}

#[test]
fn samples_beyond_full_scale_or_none_at_all_do_no_harm() {
    let at = [2.5, 5.0];
    let mut sound: Vec<f32> = take(7.0, &at).iter().map(|x| 6.0 * x).collect();
    let silence = vec![0.0; sound.len()];
    sound[1_000] = f32::NAN;
    sound[2_000] = f32::INFINITY;
    sound[3_000] = -1e30;
    let played = vec![f32::NAN; sound.len()];
    for (removal, played) in [(Removal::None, &silence), (Removal::Adaptive, &played)] {
        let (prompts, _) = hear(&sound, played, removal, 480);
        check(&prompts, &at);
    }
}

#[test]
fn noise_claps_and_steady_tones_are_no_prompts() {
    let mut sound = signals::white_noise(8.0, HERTZ, 0.02, 3);
    let clap = crate::sound::clap::group(HERTZ);
    for beat in 0..12 {
        let at = HERTZ as usize / 2 * (beat + 2);
        sound[at..]
            .iter_mut()
            .zip(clap.iter())
            .for_each(|(y, x)| *y += 0.5 * x);
    }
    let tone = signals::sine(1.0, HERTZ, 440.0, 0.2);
    let at = 7 * HERTZ as usize;
    sound[at..].iter_mut().zip(tone).for_each(|(y, x)| *y += x);
    let (prompts, _) = hear(&sound, &vec![0.0; sound.len()], Removal::None, 480);
    assert_eq!(prompts, []);
}

/// Voices at these seconds and the house band through a room, as loud; and what the band
/// played.
fn over_a_band(seconds: f64, at: &[f64]) -> (Vec<f32>, Vec<f32>) {
    let mut heard = take(seconds, at);
    let tune = band::tune("kettle-on-the-landing").expect("bundled");
    let settings = Settings {
        sample_rate: HERTZ,
        silence: 0.1,
        ..Settings::default()
    };
    let mut played = vec![0.0; heard.len()];
    let performance = Performance::new(tune, settings).expect("good settings");
    performance.player().next_block(&mut played);
    // Through a room: later, softer, with echoes.
    let mut dice = Dice::new(1, 1);
    for (delay, gain) in std::iter::once((960, 0.8)).chain((0..40).map(|_| {
        let later = dice.between(0.0, 0.12);
        let gain = 0.25 * 10f64.powf(-8.0 * later) * dice.between(-1.0, 1.0);
        (960 + (later * f64::from(HERTZ)) as usize, gain)
    })) {
        heard[delay..]
            .iter_mut()
            .zip(&played)
            .for_each(|(y, x)| *y += gain as f32 * x);
    }
    (heard, played)
}

/// Whether prompts end where these voices do, to 60 ms.
fn check_ends(prompts: &[Prompt], at: &[f64]) {
    assert_eq!(prompts.len(), at.len(), "{prompts:?}");
    for (prompt, at) in prompts.iter().zip(at) {
        assert!(
            (prompt.end - at - 0.988).abs() < 0.06,
            "{prompt:?} for {at}"
        );
    }
}

#[test]
fn a_band_from_the_loudspeaker_as_loud_as_the_voice_is_taken_out() {
    let at = [4.0, 7.0, 10.25, 14.0, 17.0];
    let (heard, played) = over_a_band(20.0, &at);
    let (prompts, ear) = hear(&heard, &played, Removal::Adaptive, 480);
    check_ends(&prompts, &at);
    let softened = ear.softened().expect("it played");
    assert!(softened > 10.0, "softened by {softened} dB");
    // Without it the band is taken for a voice, or hides it.
    let (spoilt, _) = hear(&heard, &played, Removal::None, 480);
    let right = |p: &&Prompt| at.iter().any(|at| (p.end - at - 0.988).abs() < 0.06);
    assert!(spoilt.iter().filter(right).count() < at.len());
}

#[test]
fn a_band_is_taken_out_as_before_after_samples_were_lost() {
    let at = [4.0, 7.0, 10.0, 13.5, 17.0];
    let (heard, played) = over_a_band(20.0, &at);
    let second = f64::from(HERTZ);
    // The microphone loses 70 ms after 12 s. What the stamps say of it is 15 ms wrong.
    for wrong in [-0.015, 0.015] {
        let (hole, lost) = ((12.0 * second) as usize, (0.070 * second) as usize);
        let said = ((0.070 + wrong) * second) as usize;
        let mut ear = Ear::new(HERTZ, Method::default(), Removal::Adaptive).expect("good");
        let mut prompts = Vec::new();
        for (heard, played) in [
            (&heard[..hole], &played[..hole]),
            (&heard[hole + lost..], &played[hole + said..]),
        ] {
            for (heard, played) in heard.chunks(480).zip(played.chunks(480)) {
                ear.push(heard, played, &mut prompts).expect("converts");
            }
            ear.shifted();
        }
        ear.end(&mut prompts).expect("converts");
        let later = at.map(|at| if at > 12.0 { at - 0.070 } else { at });
        check_ends(&prompts, &later);
    }
}
