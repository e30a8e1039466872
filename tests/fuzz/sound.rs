//! What must hold of any bytes taken for a recording, and of any samples that are heard.

use std::io::Write;

use eightclap::engine::{Engine, Settings};
use eightclap::event::Event;
use eightclap::follow::Follow;
use eightclap::sound::file::{MAX_CHANNELS, RATES, Recording};
use eightclap::sound::mix::CEILING;

/// Blocks read of a recording at most: a header may promise hours.
const BLOCKS: usize = 400;

/// Panics if `bytes` are neither decoded, as far as they go, nor refused in one line.
pub fn is_decoded_or_refused(bytes: &[u8]) {
    let mut file = tempfile::NamedTempFile::new().expect("a folder for temporary files");
    file.write_all(bytes).expect("room on the disk");
    let name = format!("{}: ", file.path().display());
    let refused = |error: String| {
        assert!(error.starts_with(&name) && !error.contains('\n'), "{error}");
    };
    let mut recording = match Recording::open(file.path()) {
        Ok(recording) => recording,
        Err(error) => return refused(error.to_string()),
    };
    assert!(RATES.contains(&recording.sample_rate()));
    assert!((1..=MAX_CHANNELS).contains(&recording.channels()));
    assert!(
        recording
            .seconds()
            .is_none_or(|s| s.is_finite() && s >= 0.0)
    );
    let mut frames = Vec::new();
    for _ in 0..BLOCKS {
        frames.clear();
        match recording.read(&mut frames) {
            Ok(0) => break,
            Ok(_) => assert_eq!(frames.len() % recording.channels(), 0),
            Err(error) => return refused(error.to_string()),
        }
        assert!(frames.iter().all(|x| x.is_finite()), "not a number");
    }
    if let Some(warning) = recording.warning() {
        refused(warning);
    }
}

/// Panics if samples of any value, at any rate and in any blocks, make events that
/// cannot be or sound that is too loud. The first bytes say how, the rest are samples.
pub fn is_heard(bytes: &[u8]) {
    let Some((head, rest)) = bytes.split_at_checked(24) else {
        return;
    };
    let word = |at: usize| {
        let bytes: [u8; 4] = std::array::from_fn(|n| head[4 * at + n]);
        u32::from_le_bytes(bytes)
    };
    // Any rate at all, but mostly those that sound comes at.
    let usual = [8_000, 22_050, 44_100, 48_000, 96_000, 192_000];
    let rate = match word(0) % 4 {
        0 => word(1),
        _ => usual[word(1) as usize % usual.len()],
    };
    let channels = 1 + word(2) as usize % 3;
    let said = f64::from(f32::from_bits(word(3)));
    let Ok(mut engine) = Engine::new(rate, Settings::default()) else {
        assert!(Follow::new(rate, channels, Settings::default(), None).is_err());
        return;
    };
    let values = rest
        .chunks_exact(4)
        .map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]));
    let values: Vec<f32> = values.collect();
    // A second and a half of it, so that there is something to be heard.
    let samples = (f64::from(rate) * 1.5) as usize / channels * channels;
    let sound: Vec<f32> = values.iter().copied().cycle().take(samples).collect();
    let mut follow = Follow::new(rate, channels, Settings::default(), None).expect("as before");
    follow.set_clap_gain(f32::from_bits(word(3)));
    let (mut events, mut from, mut n) = (Vec::new(), 0, 0u32);
    while from < sound.len() {
        let frames = 1 + (word(4).rotate_left(n) as usize % 3_000);
        let to = (from + frames * channels).min(sound.len());
        engine.push(&sound[from..to], &mut events);
        let mut mixed = sound[from..to].to_vec();
        follow.push(&mut mixed);
        assert!(mixed.iter().all(|x| x.abs() <= CEILING), "too loud");
        if n == 3 {
            engine.say_one(said);
            engine.move_count(word(5) as i32);
            follow.say_one(said);
            follow.move_count(word(5) as i32);
        }
        (from, n) = (to, n + 1);
    }
    let heard = sound.len() as f64 / f64::from(rate);
    let mut last = f64::NEG_INFINITY;
    for event in &events {
        assert!(event.time().is_finite() && event.announced() <= heard + 1e-6);
        if let Event::Beat(beat) = event {
            assert!(
                beat.time > last && beat.steps_per_minute.is_finite(),
                "{beat:?}"
            );
            assert!(beat.count.is_none_or(|count| (1..=8).contains(&count)));
            last = beat.time;
        }
    }
}
