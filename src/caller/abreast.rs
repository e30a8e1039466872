//! What is played beside what is heard, where loudspeaker and microphone count each with
//! a crystal of its own.
//!
//! Pure: stamps and samples in, samples beside samples out. Two things are needed, and they
//! are not the same:
//!
//! * For the echo filter the playback has to run beside the microphone's sound without a
//!   jolt: it can bear a delay that is some milliseconds off, for it has room for 320, but
//!   has to learn the room anew when that delay changes. So the playback follows the stamps
//!   slowly, and at once only where samples were lost, which the filter is then told.
//! * For the score a moment of the microphone is wanted as a moment of the playback, as
//!   exactly as the stamps tell it, and as they told it when it was heard: what is lost
//!   later moves nothing that was said before.
//!
//! That samples were lost is seen only in the stamps that follow, up to a second later. So
//! what is heard is held back for as long, and the loss is put where it was.

use std::collections::VecDeque;

use crate::sound::timeline::{Stamp, TimeLine};

/// Seconds for which what is heard is held back.
const HELD: f64 = 1.1;
/// Seconds by which the playback is given to the filter sooner than the stamps say: they
/// are not exact, and a filter cannot hear what is still to come.
const SOONER: f64 = 0.030;
/// Further off than this, seconds, the playback is put right at once.
const OFF: f64 = 0.040;
/// Seconds in which it is put right otherwise, and the most that is done in a second:
/// more than twice what crystals differ by.
const SLOWLY: f64 = 120.0;
const MOST: f64 = 250e-6;
/// Seconds of places that are kept: longer than the longest prompt with its silence.
const KEPT: f64 = 30.0;

/// Places the sound of a microphone beside what a loudspeaker plays.
pub struct Abreast {
    out: TimeLine,
    out_rate: f64,
    /// The output frame at which the playback starts.
    start: Option<f64>,
    mic: Option<Mic>,
}

struct Mic {
    line: TimeLine,
    rate: f64,
    /// Seconds from loudspeaker to microphone that the devices' stamps do not tell.
    round_trip: f64,
    /// What is held back, and the number of its first sample.
    held: VecDeque<f32>,
    first: u64,
    /// The output frame beside that sample, as the filter is given it.
    beside: Option<f64>,
    /// Losses that are still held back: when, and by how many output frames what follows
    /// is later. In order.
    losses: VecDeque<(f64, f64)>,
    /// Samples, and seconds of the playback at them, as the stamps told.
    places: VecDeque<(u64, f64)>,
}

/// Sound of the microphone, and the playback beside it.
#[derive(Debug, Clone, Default)]
pub struct Beside {
    /// What was heard.
    pub heard: Vec<f32>,
    /// What was played, as many samples.
    pub played: Vec<f32>,
    /// Whether the two have shifted against each other before this: samples were lost.
    pub shifted: bool,
}

/// Samples that are given out at a time, seconds.
const PIECE: f64 = 0.010;

impl Abreast {
    /// For a loudspeaker of `rate` frames a second, and no microphone yet.
    pub fn new(rate: u32) -> Self {
        Abreast {
            out: TimeLine::new(rate),
            out_rate: f64::from(rate.max(1)),
            start: None,
            mic: None,
        }
    }

    /// From now on there is a (new) microphone of `rate` samples a second that counts from 0;
    /// a sound takes `round_trip` seconds to it beyond what stamps tell.
    pub fn microphone(&mut self, rate: u32, round_trip: f64) {
        self.mic = Some(Mic {
            line: TimeLine::new(rate),
            rate: f64::from(rate.max(1)),
            round_trip,
            held: VecDeque::new(),
            first: 0,
            beside: None,
            losses: VecDeque::new(),
            places: VecDeque::new(),
        });
    }

    /// A callback of the loudspeaker.
    pub fn played(&mut self, stamp: Stamp) {
        let Some(by) = self.out.stamp(stamp) else {
            return;
        };
        let from = self.out.first().and_then(|count| self.out.time_of(count));
        if let (Some(mic), Some(from)) = (&mut self.mic, from) {
            // It was short of frames: those that follow come later.
            mic.lose(from + mic.round_trip, -by * self.out_rate);
        }
    }

    /// A callback of the microphone.
    pub fn stamp(&mut self, stamp: Stamp) {
        let Some(mic) = &mut self.mic else { return };
        let Some(by) = mic.line.stamp(stamp) else {
            return;
        };
        if let Some(from) = mic.line.first().and_then(|count| mic.line.time_of(count)) {
            // Samples were lost: those that follow are later.
            mic.lose(from, by * self.out_rate);
        }
    }

    /// What the microphone heard next.
    pub fn heard(&mut self, samples: impl IntoIterator<Item = f32>) {
        if let Some(mic) = &mut self.mic {
            mic.held.extend(samples);
        }
    }

    /// Whether the loudspeaker's stamps are enough to begin.
    pub fn settled(&self) -> bool {
        self.out.settled()
    }

    /// Lets the playback start at `time`; returns the frame, `None` before the first stamp.
    pub fn start(&mut self, time: f64) -> Option<u64> {
        self.start = self.out.count_at(time).map(|frame| frame.round().max(0.0));
        self.started()
    }

    /// The frame at which the playback starts.
    pub fn started(&self) -> Option<u64> {
        self.start.map(|frame| frame as u64)
    }

    /// Seconds of the playback that are over at `time`; negative before it.
    pub fn seconds_at(&self, time: f64) -> Option<f64> {
        Some((self.out.count_at(time)? - self.start?) / self.out_rate)
    }

    /// Gives out the next of what was heard, and what was `played` beside it (mono, from its
    /// start, at the loudspeaker's rate); false if nothing is due. With `all` nothing is held
    /// back any more.
    pub fn next(&mut self, played: &[f32], all: bool, out: &mut Beside) -> bool {
        let Some(mic) = &mut self.mic else {
            return false;
        };
        let piece = (PIECE * mic.rate).ceil() as usize;
        let hold = if all { 0 } else { (HELD * mic.rate) as usize };
        if mic.held.is_empty() || mic.held.len() < hold + piece && !all {
            return false;
        }
        let piece = piece.min(mic.held.len());
        let time = mic.line.time_of(mic.first as f64);
        out.shifted = false;
        while let Some((_, by)) = mic.losses.front().copied()
            && mic.losses.front().zip(time).is_some_and(|(l, t)| l.0 <= t)
        {
            mic.losses.pop_front();
            mic.beside = mic.beside.map(|frame| frame + by);
            out.shifted = true;
        }
        // The lines know of all losses, those that are still held back too.
        let later: f64 = mic.losses.iter().map(|loss| loss.1).sum();
        let told = time.and_then(|time| {
            let frame = self.out.count_at(time - mic.round_trip)?;
            Some(frame - self.start? - later)
        });
        if let Some(frame) = told {
            mic.places.push_back((mic.first, frame / self.out_rate));
            let oldest = mic.first.saturating_sub((KEPT * mic.rate) as u64);
            while mic.places.get(1).is_some_and(|place| place.0 < oldest) {
                mic.places.pop_front();
            }
        }
        let mut step = self.out_rate / mic.rate;
        if let Some(wanted) = told.map(|frame| frame + SOONER * self.out_rate) {
            let off = mic.beside.map_or(f64::INFINITY, |frame| wanted - frame) / self.out_rate;
            if off.abs() > OFF {
                out.shifted |= mic.beside.is_some();
                mic.beside = Some(wanted);
            } else {
                step *= 1.0 + (off / SLOWLY).clamp(-MOST, MOST);
            }
        }
        out.heard.clear();
        out.heard.extend(mic.held.drain(..piece));
        out.played.clear();
        out.played.extend((0..piece).map(|n| {
            let frame = mic.beside.map_or(-1.0, |frame| frame + n as f64 * step);
            at(played, frame)
        }));
        mic.beside = mic.beside.map(|frame| frame + piece as f64 * step);
        mic.first += piece as u64;
        true
    }

    /// The moment of the playback at `seconds` of the microphone's sound; `None` if nothing
    /// was played by then.
    pub fn seconds_of(&self, seconds: f64) -> Option<f64> {
        let mic = self.mic.as_ref()?;
        let sample = seconds * mic.rate;
        let before = mic.places.iter().rev().find(|p| p.0 as f64 <= sample);
        let (from, place) = before.or(mic.places.front())?;
        Some(place + (sample - *from as f64) / mic.rate)
    }
}

impl Mic {
    fn lose(&mut self, time: f64, frames: f64) {
        let at = self.losses.partition_point(|loss| loss.0 <= time);
        self.losses.insert(at, (time, frames));
    }
}

/// The sample at a frame with fractions, by a cubic through the four around it (Catmull-Rom);
/// silence beyond the ends.
fn at(sound: &[f32], frame: f64) -> f32 {
    if frame < 0.0 {
        return 0.0;
    }
    let (below, part) = (frame as usize, frame.fract() as f32);
    let sample = |n: Option<usize>| n.and_then(|n| sound.get(n)).copied().unwrap_or(0.0);
    let before = sample(below.checked_sub(1));
    let [a, b, after] = [0, 1, 2].map(|n| sample(Some(below + n)));
    let (turn, bend) = (
        before - 2.5 * a + 2.0 * b - 0.5 * after,
        1.5 * (a - b) + 0.5 * (after - before),
    );
    a + part * (0.5 * (b - before) + part * (turn + part * bend))
}

#[cfg(test)]
mod tests;
