use super::*;
use crate::sound::band::signals::white_noise;

fn all(rate: u32, sound: &[f32], block: usize) -> Vec<[f32; FEATURES]> {
    let mut features = Features::new(rate).unwrap();
    let mut out = Vec::new();
    for mut samples in sound.chunks(block) {
        while let Some(frame) = features.next(&mut samples) {
            out.push(*frame.features);
        }
    }
    out
}

fn tone(rate: u32, hertz: f32, seconds: f32) -> Vec<f32> {
    (0..(rate as f32 * seconds) as usize)
        .map(|n| 0.3 * (std::f32::consts::TAU * hertz * n as f32 / rate as f32).sin())
        .collect()
}

#[test]
fn blocks_of_any_size_give_the_same_frames() {
    let sound = tone(44100, 440.0, 0.5);
    let whole = all(44100, &sound, sound.len());
    assert_eq!(whole.len(), 50);
    for block in [1, 7, 441, 1000] {
        assert_eq!(all(44100, &sound, block), whole);
    }
}

#[test]
fn odd_rates_keep_a_hundred_frames_a_second() {
    for rate in [8000, 11025, 22050, 48000, 192_000] {
        let sound = tone(rate, 440.0, 3.0);
        let frames = all(rate, &sound, 777).len();
        assert!((299..=300).contains(&frames), "{rate} Hz: {frames} frames");
    }
}

#[test]
fn bands_beyond_a_low_rate_are_as_the_last_that_it_carries() {
    for (rate, carried) in [(8000, 3600.0), (16_000, 7200.0), (44_100, 9000.0)] {
        let noise = white_noise(1.0, rate, 0.1, 1);
        let last = band_centres()[..BANDS].partition_point(|c| *c < carried);
        assert!(last == BANDS || rate < 44_100, "{rate} Hz carries all");
        for frame in all(rate, &noise, 441) {
            let (levels, rises) = frame[..2 * BANDS].split_at(BANDS);
            assert!(
                levels[last..]
                    .iter()
                    .all(|level| *level == levels[last - 1])
            );
            assert!(rises.iter().all(|rise| rise.is_finite()));
        }
    }
}

#[test]
fn a_tone_stands_out_in_its_own_band_and_rises_once() {
    let mut sound = vec![0.0; 44100];
    sound.extend(tone(44100, 1000.0, 0.3));
    let frames = all(44100, &sound, 512);
    let best = (0..BANDS)
        .max_by(|&a, &b| frames[112][a].total_cmp(&frames[112][b]))
        .unwrap();
    let centres = band_centres();
    assert!(
        (centres[best] / 1000.0 - 1.0).abs() < 0.12,
        "{} Hz",
        centres[best]
    );
    let rise = |f: usize| frames[f][BANDS + best];
    assert!((100..104).any(|f| rise(f) > 2.0));
    assert!((108..128).all(|f| rise(f) < 0.01));
}

#[test]
fn gain_moves_only_the_loudness() {
    let loud = tone(44100, 600.0, 1.0);
    let quiet: Vec<f32> = loud.iter().map(|x| x * 0.25).collect();
    let (a, b) = (all(44100, &loud, 441), all(44100, &quiet, 441));
    let band = (0..BANDS)
        .max_by(|&i, &j| a[50][i].total_cmp(&a[50][j]))
        .unwrap();
    assert!((a[50][band] - b[50][band]).abs() < 0.02);
    assert!((a[50][2 * BANDS] - b[50][2 * BANDS]) > 0.3);
}

#[test]
fn noise_after_digital_silence_soon_stands_on_its_own_mean() {
    let noise = white_noise(2.0, 44100, 0.1, 1);
    let sound = [vec![0.0; 5 * 44100], noise].concat();
    let frames = all(44100, &sound, 441);
    let above = |f: usize| frames[f][..BANDS].iter().sum::<f32>() / BANDS as f32;
    assert!(above(505) > 2.0, "{}", above(505));
    assert!(above(690) < 1.2, "{}", above(690));
}

#[test]
fn a_microphone_opens_with_a_room_s_noise_and_not_with_a_stroke() {
    let opened = |sound: &[f32]| {
        let mut features = Features::new(44100).unwrap();
        let mut samples = sound;
        let mut at = Vec::new();
        while let Some(frame) = features.next(&mut samples) {
            at.extend(frame.opens.then_some(frame.index));
        }
        at
    };
    let noise = white_noise(1.0, 44100, 0.001, 1);
    let after = |seconds: f64, sound: &[f32]| {
        let silence = vec![0.0; (seconds * 44100.0) as usize];
        [&silence, sound].concat()
    };
    assert_eq!(
        opened(&[&noise[..], &after(2.0, &noise)].concat()),
        [2, 302]
    );
    assert_eq!(
        opened(&[&noise[..], &after(0.3, &noise)].concat()),
        [2],
        "too short a silence"
    );
    // A stroke swells in 15 ms from whatever sample of a frame it begins with.
    let stroke: Vec<f32> = (0..44100)
        .map(|n| 0.2 * (n as f32 / 660.0).min(1.0) * (n as f32 * 0.06).sin())
        .collect();
    for begins in [2.0, 2.003, 2.0096, 2.0099] {
        assert!(
            opened(&after(begins, &stroke)).is_empty(),
            "a stroke at {begins} s"
        );
    }
}

#[test]
fn samples_that_are_not_numbers_are_silence() {
    let frames = all(44100, &[f32::NAN, f32::INFINITY].repeat(22050), 100);
    assert!(frames.iter().flatten().all(|x| x.is_finite()));
}

#[test]
fn window_lengths_suit_the_transform() {
    assert_eq!(even_smooth(2048), 2048);
    assert_eq!(even_smooth(2229), 2250);
    assert!(Features::new(0).is_err());
}
