//! A tune and claps in one recording, and how far apart they are.

use std::path::Path;
use std::time::Duration;

use eightclap::sound::band::{self, Performance};
use eightclap::sound::roundtrip::correlate;

use super::{Card, Playing, RATE, claps_in, left, save};

/// Where the tune was cut by the machine, by more than this, nothing can be
/// said of the claps, seconds.
const SLIP: f64 = 0.010;

/// A clap farther from its phrase than this, seconds, belongs to no phrase.
const NEAREST: f64 = 0.4;

/// Loudness of the tune, so that claps stand out above it.
const LEVEL: f32 = 0.4;

/// Writes a tune, soft enough for claps to stand out above it; returns its sound,
/// and its phrases, seconds.
pub fn tune(path: &Path, steps_per_minute: f64, times: u32) -> (Vec<f32>, Vec<f64>) {
    let settings = band::Settings {
        steps_per_minute,
        times,
        // The room is heard for a while before the band begins, as in a hall: its
        // noise coming on just before would sound like a first stroke.
        silence: 4.0,
        sample_rate: RATE,
        ..band::Settings::default()
    };
    let tune = band::tune("kettle-on-the-landing").expect("bundled");
    let performance = Performance::new(tune, settings).expect("good");
    let sound: Vec<f32> = performance.render().iter().map(|s| LEVEL * s).collect();
    save(path, &sound);
    (sound, performance.truth().phrases.clone())
}

/// The program listening to a card whose loudspeaker is in its microphone.
pub fn listening(card: &Card) -> Playing {
    let settings = format!("XDG_CONFIG_HOME={}", card.folder.path().display());
    let listening = Playing(card.eightclap(
        &["listen", "--line", "--seconds", "100000"],
        &["PULSE_SINK=vc_mic", &settings],
    ));
    card.wait("wait-input");
    // The time lines settle.
    std::thread::sleep(Duration::from_secs(2));
    listening
}

/// Plays `path`, which holds `sound`, into the microphone, calling `meanwhile`
/// every tenth of a second; returns what was in the microphone.
pub fn play_and_record(
    card: &Card,
    path: &Path,
    sound: &[f32],
    mut meanwhile: impl FnMut(),
) -> Vec<f32> {
    let take = card.folder.path().join("take.wav");
    let seconds = (sound.len() / RATE as usize + 2).to_string();
    let mut recording = card.begin(&["record-mic", &take.display().to_string(), &seconds]);
    std::thread::sleep(Duration::from_millis(300));
    let mut playing = card.begin(&["play", &path.display().to_string()]);
    let done = loop {
        if let Some(done) = recording.try_wait().expect("a take") {
            break done;
        }
        meanwhile();
        std::thread::sleep(Duration::from_millis(100));
    };
    assert!(done.success());
    playing.wait().expect("a player");
    left(&take)
}

/// How much later than its phrase the nearest clap is, seconds, for all phrases
/// from the first clap on that can be judged; `None` if there is no clap near.
pub fn errors(take: &[f32], sound: &[f32], phrases: &[f64]) -> Vec<Option<f64>> {
    let claps = claps_in(take);
    println!("claps heard at {claps:.2?}");
    // Until it is sure of the count the program does not clap.
    let locked = claps.first().map_or(0.0, |first| first - NEAREST);
    phrases_in(take, sound, phrases)
        .into_iter()
        .flatten()
        .filter(|phrase| *phrase > locked)
        .map(|phrase| {
            let off = claps.iter().map(|clap| clap - phrase);
            off.min_by(|a, b| a.abs().total_cmp(&b.abs()))
                .filter(|off| off.abs() < NEAREST)
        })
        .collect()
}

/// Where `piece` is in `sound`, within `range` samples from sample `from` on.
pub fn place(sound: &[f32], piece: &[f32], from: usize, range: usize) -> Option<usize> {
    let part = sound.get(from..)?;
    let part = &part[..part.len().min(piece.len() + range)];
    let likeness = correlate(part, piece).expect("fits");
    let room = part.len().checked_sub(piece.len())?;
    let best = (0..=room).max_by(|a, b| likeness[*a].total_cmp(&likeness[*b]))?;
    Some(from + best)
}

/// When each phrase is in the take; `None` where the tune slipped beside it.
fn phrases_in(take: &[f32], tune: &[f32], phrases: &[f64]) -> Vec<Option<f64>> {
    let rate = f64::from(RATE);
    let second = RATE as usize;
    // Where the tune starts, roughly: by three seconds of its first phrase.
    let first = (phrases[0] * rate) as usize;
    let piece = &tune[first..first + 3 * second];
    let begin = place(take, piece, 0, 10 * second).expect("a long take");
    let mut shift = begin as f64 - first as f64;
    phrases
        .iter()
        .map(|phrase| {
            let at = (phrase * rate) as usize;
            let mut around = [at.checked_sub(second)?, at].into_iter().map(|from| {
                let piece = tune.get(from..from + second)?;
                let near = (from as f64 + shift - rate).max(0.0) as usize;
                Some(place(take, piece, near, 2 * second)? as f64 - from as f64)
            });
            let (before, after) = (around.next()??, around.next()??);
            shift = after;
            let steady = (after - before).abs() < SLIP * rate;
            steady.then_some(phrase + after / rate)
        })
        .collect()
}
