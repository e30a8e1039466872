//! Whether a room claps on one, and how far off.
//!
//! The music is known: the program plays it, with its own claps. So the question
//! is what the microphone has around a "one" that the music does not explain. Both
//! sounds are cut into three bands and short steps of time; in each band the
//! music's power, with a tail for the room, is scaled to the microphone's, taken
//! off with a margin, and what is left over may be claps. They are onsets: only
//! what rises counts. The same is done round the other beats of the phrase, where
//! nobody claps: their rises say what the music and the crowd leave over anyway,
//! and the one's must stand out of them.

use biquad::{Biquad, Coefficients, DirectForm2Transposed, Hertz, Type};

/// Middles of the bands, hertz, and their Q: claps are noise about 1 kHz with a
/// sharp edge above, and fiddles are weak where the highest lies.
const BANDS: [f32; 3] = [1_200.0, 2_600.0, 5_200.0];
const Q: f32 = 1.1;
/// One step of time, seconds.
const STEP: f64 = 0.002;
/// Steps over which power is smoothed, and over which a rise is taken.
const SMOOTH: usize = 3;
const RISE: usize = 5;
/// Seconds in which the power that is left of the music in a hall falls to 1/e.
const TAIL: f64 = 0.08;
/// How many times the music's own power is taken off: reflections beat.
const MARGIN: f32 = 2.0;
/// How far from the one claps are looked for, as a share of a beat: nearer to the
/// next beat they would be claps on that.
const NEAR: f64 = 0.4;
/// The time in which a group's claps fall, seconds.
const GROUP: f64 = 0.12;
/// Rises in that time that mean nothing by themselves, in units of a band's mean
/// power: in a hall where nobody clapped up to 25 were left of the music, with a
/// dozen people as loud as the music 80 to 160.
const LEAST: f64 = 12.0;
/// Decibels by which the one must stand out of the other beats.
const CLEAR: f64 = 5.0;
/// Rises are felt this much after they begin, seconds: half of the smoothing and
/// of the rise's own length.
const LAG: f64 = 0.005;

/// The room's claps near one beat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RoomClaps {
    /// How much later than the beat their middle is, seconds; early is negative.
    pub offset: f64,
    /// Half of the time in which the middle two thirds of them fall, seconds.
    pub spread: f64,
    /// Decibels by which they stand out of what was heard at other beats.
    pub clear: f64,
}

/// A stretch of sound in which one beat is judged.
#[derive(Debug, Clone, Copy)]
pub struct Stretch<'a> {
    /// What the microphone heard, mono.
    pub heard: &'a [f32],
    /// What was played meanwhile, music and own claps, in time with it.
    pub played: &'a [f32],
    /// Samples a second of both.
    pub rate: u32,
    /// The beat on which the room is to clap, seconds from the start.
    pub one: f64,
    /// The length of a beat, seconds.
    pub beat: f64,
}

/// Looks for the room's claps near the stretch's one; `None` where nothing stands
/// out, or the stretch holds fewer than three other beats to compare with.
pub fn room_claps(stretch: &Stretch) -> Option<RoomClaps> {
    let rises = rises(stretch)?;
    let group = (GROUP / STEP) as usize;
    // What rises within the time of a group's clap, by its first step.
    let sums: Vec<f64> = rises
        .windows(group)
        .map(|steps| steps.iter().map(|r| f64::from(*r)).sum())
        .collect();
    let half = (NEAR * stretch.beat / STEP) as i64;
    let strongest = |time: f64| {
        let middle = (time / STEP).round() as i64 - group as i64 / 2;
        let (from, to) = (middle - half, middle + half + 1);
        let inside = from >= 0 && to <= sums.len() as i64;
        let range = inside.then_some(from as usize..to as usize)?;
        range.max_by(|a, b| sums[*a].total_cmp(&sums[*b]))
    };
    let mut others: Vec<f64> = (-12..=12)
        .filter(|beats| beats % 8 != 0)
        .filter_map(|beats| strongest(stretch.one + f64::from(beats) * stretch.beat))
        .map(|at| sums[at])
        .collect();
    if others.len() < 3 {
        return None;
    }
    others.sort_by(f64::total_cmp);
    // One beat of the others may have somebody's clap, or a dropped tray.
    let usual = others[others.len() - 2].max(LEAST);
    let best = strongest(stretch.one)?;
    let clear = 10.0 * (sums[best] / usual).log10();
    if clear < CLEAR {
        return None;
    }
    // A ragged group is wider than the time it was found in.
    let more = group / 2;
    let from = best.saturating_sub(more);
    let near = &rises[from..(best + group + more).min(rises.len())];
    // What is there at any beat is no clap's.
    let floor = 2.0 * usual / group as f64;
    let weights: Vec<f64> = near
        .iter()
        .map(|r| (f64::from(*r) - floor).max(0.0))
        .collect();
    let all: f64 = weights.iter().sum();
    let at = |share: f64| {
        let mut sum = 0.0;
        let step = weights.iter().position(|w| {
            sum += w;
            sum >= share * all
        });
        (from + step.unwrap_or(0)) as f64 * STEP
    };
    Some(RoomClaps {
        offset: at(0.5) - LAG - stretch.one,
        spread: 0.5 * (at(5.0 / 6.0) - at(1.0 / 6.0)),
        clear,
    })
}

/// What rises in the microphone beyond the music, one value a step.
fn rises(stretch: &Stretch) -> Option<Vec<f32>> {
    let hop = (STEP * f64::from(stretch.rate)).round() as usize;
    let length = stretch.heard.len().min(stretch.played.len());
    if hop == 0 || length < hop * 8 {
        return None;
    }
    let mut sum: Vec<f32> = Vec::new();
    let bands = BANDS.iter().filter(|f| **f < 0.45 * stretch.rate as f32);
    for middle in bands {
        let heard = power(&stretch.heard[..length], stretch.rate, *middle, hop)?;
        let mut played = power(&stretch.played[..length], stretch.rate, *middle, hop)?;
        let keep = (-STEP / TAIL).exp() as f32;
        for at in 1..played.len() {
            played[at] = played[at].max(keep * played[at - 1]);
        }
        let gain = gain(&heard, &played);
        let mean = heard.iter().sum::<f32>() / heard.len() as f32;
        let left: Vec<f32> = heard
            .iter()
            .zip(&played)
            .map(|(h, p)| (h - MARGIN * gain * p).max(0.0) / mean.max(1e-12))
            .collect();
        sum.resize(left.len(), 0.0);
        for (at, out) in sum.iter_mut().enumerate().skip(RISE) {
            *out += (left[at] - left[at - RISE]).max(0.0);
        }
    }
    Some(sum)
}

/// How strong the music is in the microphone: the median of the ratios where it is
/// loud enough to be heard.
fn gain(heard: &[f32], played: &[f32]) -> f32 {
    let loudest = played.iter().copied().fold(0.0, f32::max);
    let mut ratios: Vec<f32> = heard
        .iter()
        .zip(played)
        .filter(|(_, p)| **p > 0.01 * loudest && **p > 0.0)
        .map(|(h, p)| h / p)
        .collect();
    ratios.sort_by(f32::total_cmp);
    ratios.get(ratios.len() / 2).copied().unwrap_or(0.0)
}

/// Power in one band, smoothed, one value a step of `hop` samples.
fn power(sound: &[f32], rate: u32, middle: f32, hop: usize) -> Option<Vec<f32>> {
    let rate = Hertz::<f32>::from_hz(rate as f32).ok()?;
    let middle = Hertz::<f32>::from_hz(middle).ok()?;
    let shape = Coefficients::<f32>::from_params(Type::BandPass, rate, middle, Q).ok()?;
    let mut filter = DirectForm2Transposed::<f32>::new(shape);
    let steps: Vec<f32> = sound
        .chunks_exact(hop)
        .map(|step| {
            let square = |x: &f32| filter.run(*x).powi(2);
            step.iter().map(square).sum::<f32>() / hop as f32
        })
        .collect();
    let smooth = |at: usize| {
        let from = at.saturating_sub(SMOOTH - 1);
        steps[from..=at].iter().sum::<f32>() / (at + 1 - from) as f32
    };
    Some((0..steps.len()).map(smooth).collect())
}
