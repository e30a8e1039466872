//! Another tempo at the same pitch: overlapping pieces of sound laid down at
//! another distance, each taken from where it best carries on the one before
//! (Verhelst and Roelands, "An overlap-add technique based on waveform
//! similarity (WSOLA)", ICASSP 1993).

use std::f32::consts::PI;

/// Seconds between pieces; each is twice as long.
const HOP: f64 = 0.020;
/// Seconds by which a piece may be taken elsewhere than its time says. With half
/// a piece's own change of tempo, this is the largest error of a note's time.
const SEARCH: f64 = 0.008;
/// Every so many samples are compared, and places tried, in a search.
const STEP: usize = 2;

/// `sound` up to sample `at` as it is, from there on `ratio` times as fast.
pub fn stretch(sound: &[f32], at: usize, ratio: f64, rate: u32) -> Vec<f32> {
    let hop = (HOP * f64::from(rate)) as usize;
    let reach = (SEARCH * f64::from(rate)) as usize;
    let at = at.min(sound.len());
    let mut out = sound[..at].to_vec();
    let total = at + ((sound.len() - at) as f64 / ratio) as usize;
    // Half a raised cosine up, its mirror image down: together they are 1.
    let rise: Vec<f32> = (0..hop)
        .map(|k| 0.5 - 0.5 * (PI * (k as f32 + 0.5) / hop as f32).cos())
        .collect();
    let piece = |from: usize| sound.get(from..).unwrap_or(&[]);
    // What would follow the piece laid down last.
    let mut follows = at;
    while out.len() < total {
        let due = at + ((out.len() - at) as f64 * ratio) as usize;
        let wanted = piece(follows);
        let likeness = |from: usize| -> f32 {
            let pairs = wanted.iter().zip(piece(from)).take(hop).step_by(STEP);
            let (product, energy) = pairs.fold((0.0f32, 1e-9f32), |(product, energy), (a, b)| {
                (product + a * b, energy + b * b)
            });
            product / energy.sqrt()
        };
        let places = (due.saturating_sub(reach)..=due + reach).step_by(STEP);
        let from = places
            .map(|from| (from, likeness(from)))
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map_or(due, |best| best.0);
        // The old piece falls while the new one rises; its other half comes next.
        for (k, up) in rise.iter().enumerate() {
            let sample = |start: usize| sound.get(start + k).copied().unwrap_or(0.0);
            out.push((1.0 - up) * sample(follows) + up * sample(from));
        }
        follows = from + hop;
    }
    out.truncate(total);
    out
}
