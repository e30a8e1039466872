use super::*;
use crate::sound::band::signals;

/// All beats of `sound`, given in blocks of `block` samples.
fn beats(rate: u32, sound: &[f32], block: usize) -> Vec<f64> {
    let mut pulse = Pulse::new(rate, 112.0).unwrap();
    let mut beats = Vec::new();
    for samples in sound.chunks(block) {
        pulse.push(samples, &mut beats);
    }
    pulse.end(&mut beats);
    beats
}

#[test]
fn every_click_is_a_beat_at_its_time() {
    for tempo in [45.0, 60.0, 116.0, 200.0] {
        let clicks = signals::metronome(tempo, 24, 0.4, 22_050);
        let found = beats(22_050, &clicks.samples, 500);
        assert_eq!(found.len(), 24, "{tempo}: {found:?}");
        for (k, (found, due)) in found.iter().zip(&clicks.beats).enumerate() {
            // Until five strokes were heard nobody knows that they are even.
            let within = if k < 5 { 0.015 } else { 0.003 };
            assert!((found - due).abs() < within, "{tempo}: {found} for {due}");
        }
    }
}

#[test]
fn blocks_of_any_size_give_the_same_beats() {
    let clicks = signals::metronome(97.0, 12, 0.4, 8_000);
    let whole = beats(8_000, &clicks.samples, usize::MAX);
    for block in [1, 80, 4097] {
        assert_eq!(beats(8_000, &clicks.samples, block), whole);
    }
}

#[test]
fn silence_noise_and_talk_have_no_pulse() {
    for sound in [
        signals::silence(30.0, 8_000),
        signals::white_noise(30.0, 8_000, 0.5, 1),
        signals::babble(30.0, 8_000, 0.1, 2),
        signals::sine(30.0, 8_000, 440.0, 0.5),
        vec![f32::NAN; 80_000],
    ] {
        let found = beats(8_000, &sound, 800);
        assert!(found.len() <= 6, "{found:?}");
    }
}
