//! A drill of the newcomers' lesson: a tune of the house band with claps that
//! fade, and whether the room claps on one.
//!
//! No device, thread or clock: whoever owns those asks for the next frames,
//! says when they are heard, and hands in what the microphone had. The music is
//! known to the sample, so nothing has to be recognised: what was played is laid
//! over what was heard (by the two clocks first, then by their correlation, for
//! what no driver tells), and the claps that it does not explain are the room's.

mod align;
mod ear;

use std::collections::VecDeque;
use std::sync::Arc;

pub use ear::Ear;

use align::{Alignment, OFF};

use crate::dance::lesson;
use crate::hear::claps::{RoomClaps, Stretch, room_claps};
use crate::sound::band::{self, Performance, Player, Room, Settings, SettingsError};
use crate::sound::clap;
use crate::sound::mix::Mixer;
use crate::sound::timeline::median;

/// Level of the band: claps have to stand out.
const BAND: f32 = 0.7;
/// Beats before and after a one that are listened to.
const BEFORE: f64 = 7.6;
const AFTER: f64 = 0.55;
/// Moments kept that tell when the tune is heard.
const PLACES: usize = 64;
/// Seconds in which the band fades where it is stopped before its end.
const FADE: f64 = 0.8;
/// A room whose claps are nearer to one than this is together, seconds: sound
/// takes that long through a hall of twenty metres.
const TOGETHER: f64 = 0.07;
/// A room whose claps are further apart than this is ragged, seconds.
const RAGGED: f64 = 0.11;

/// A drill being played.
pub struct Drill {
    plan: lesson::Drill,
    player: Player,
    mixer: Mixer,
    clip: Arc<[f32]>,
    gain: f32,
    claps: bool,
    rate: u32,
    /// The lead-in, all beats, and the ones of the phrases to be danced, seconds.
    lead_in: Vec<f64>,
    beats: Vec<f64>,
    ones: Vec<f64>,
    /// Where the band is to stop, seconds.
    end: f64,
    /// All that was played, for comparison.
    played: Vec<f32>,
    over: bool,
    /// Common time less position in the tune, as told lately.
    places: VecDeque<f64>,
    /// What the correlation finds beyond that.
    alignment: Alignment,
    /// Ones that were judged, or never can be.
    judged: usize,
    /// The program's claps as they were given, one for each one so far.
    given: Vec<f32>,
}

/// What became of one "one".
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Verdict {
    /// The phrase, from 0.
    pub phrase: u32,
    /// How loud the program's own clap was, 0 to 1.
    pub own: f32,
    /// The room's claps, if any stood out.
    pub room: Option<RoomClaps>,
}

/// A verdict in a word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Feel {
    /// No claps stood out.
    Nothing,
    /// Before the one.
    Early,
    /// On it.
    Together,
    /// After it.
    Late,
    /// About it, but far from each other.
    Ragged,
}

impl Verdict {
    /// The verdict in a word.
    pub fn feel(&self) -> Feel {
        match self.room {
            None => Feel::Nothing,
            Some(room) if room.offset < -TOGETHER => Feel::Early,
            Some(room) if room.offset > TOGETHER => Feel::Late,
            Some(room) if room.spread > RAGGED => Feel::Ragged,
            Some(_) => Feel::Together,
        }
    }

    /// The verdict in words and milliseconds.
    pub fn in_words(&self) -> String {
        let ms = self.room.map_or(0.0, |room| (1e3 * room.offset).round());
        match self.feel() {
            Feel::Nothing => "no claps heard".to_owned(),
            Feel::Early => format!("early by {:.0} ms", -ms),
            Feel::Late => format!("late by {ms:.0} ms"),
            Feel::Ragged => format!("on one, but ragged ({ms:+.0} ms)"),
            Feel::Together => format!("together ({ms:+.0} ms)"),
        }
    }
}

/// A drill's verdicts in one line.
pub fn summary(verdicts: &[Verdict]) -> String {
    let count = |feel| verdicts.iter().filter(|v| v.feel() == feel).count();
    let nothing = count(Feel::Nothing);
    let all = verdicts.len();
    if all == nothing {
        return format!("no claps were heard on {all} ones: is the microphone near the room?");
    }
    let words = [
        (Feel::Together, "together"),
        (Feel::Early, "early"),
        (Feel::Late, "late"),
        (Feel::Ragged, "ragged"),
    ];
    let parts: Vec<String> = words
        .into_iter()
        .map(|(feel, word)| (count(feel), word))
        .filter(|(n, _)| *n > 0)
        .map(|(n, word)| format!("{n} {word}"))
        .collect();
    format!(
        "the room clapped on {} of {all} ones: {}",
        all - nothing,
        parts.join(", ")
    )
}

/// Where a drill is at a moment.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Moment {
    /// The lead-in's beat, 1 to 4, before the tune.
    pub lead_in: Option<u8>,
    /// The dancers' count, 1 to 8, in the tune.
    pub count: Option<u8>,
    /// The phrase, from 0, in the tune.
    pub phrase: Option<u32>,
}

impl Drill {
    /// Rehearses `plan`, to be played at `rate` frames a second.
    ///
    /// # Errors
    /// If the band cannot play so.
    pub fn new(plan: &lesson::Drill, rate: u32) -> Result<Self, SettingsError> {
        let tune = band::tune(&plan.tune).unwrap_or(&band::tunes()[0]);
        let phrases = tune.beats() / 8;
        let settings = Settings {
            steps_per_minute: plan.steps_per_minute,
            times: plan.phrases.div_ceil(phrases).max(1),
            room: Room::SMALL,
            sample_rate: rate,
            silence: 1.0,
            ..Settings::default()
        };
        let performance = Performance::new(tune, settings)?;
        let truth = performance.truth();
        let wanted = plan.phrases as usize;
        let ones: Vec<f64> = truth.phrases.iter().copied().take(wanted).collect();
        let end = truth.phrases.get(wanted).copied();
        Ok(Drill {
            plan: plan.clone(),
            mixer: Mixer::with_level(BAND),
            clip: clap::group(rate),
            gain: 1.0,
            claps: true,
            rate,
            lead_in: truth.lead_in.clone(),
            beats: truth.beats.iter().copied().take(8 * wanted).collect(),
            ones,
            end: end.unwrap_or(performance.seconds()),
            player: performance.player(),
            played: Vec::new(),
            over: false,
            places: VecDeque::new(),
            alignment: Alignment::default(),
            judged: 0,
            given: Vec::new(),
        })
    }

    /// Frames a second.
    pub fn rate(&self) -> u32 {
        self.rate
    }

    /// Phrases that are played.
    pub fn phrases(&self) -> u32 {
        self.ones.len() as u32
    }

    /// Gain of the full clap.
    pub fn set_clap_gain(&mut self, gain: f32) {
        self.gain = gain;
    }

    /// Whether the program claps from now on, as far as the plan says so.
    pub fn set_claps(&mut self, on: bool) {
        self.claps = on;
    }

    /// Appends the next `frames` mono frames to `out`, fewer at the end and then
    /// none; tells how many.
    pub fn next_block(&mut self, frames: usize, out: &mut Vec<f32>) -> usize {
        let rate = f64::from(self.rate);
        let now = self.played.len();
        let left = ((self.end + FADE) * rate) as usize;
        let frames = frames.min(left.saturating_sub(now));
        let mut block = vec![0.0; frames];
        let made = match self.over {
            true => 0,
            false => self.player.next_block(&mut block),
        };
        self.over |= made < frames || frames == 0;
        block.truncate(made);
        // A tune that is stopped before its end fades.
        for (at, sample) in (now..).zip(&mut block) {
            let past = at as f64 / rate - self.end;
            if past > 0.0 {
                *sample *= (1.0 - past / FADE).max(0.0) as f32;
            }
        }
        let until = (now + made) as f64 / rate;
        while let Some(one) = self.ones.get(self.given.len()).filter(|one| **one < until) {
            let at = (one * rate).round() as u64;
            let loud = match self.claps {
                true => self.plan.loudness(self.given.len() as u32),
                false => 0.0,
            };
            if loud > 0.0 {
                self.mixer
                    .schedule(at.max(now as u64), self.clip.clone(), self.gain * loud);
            }
            self.given.push(loud);
        }
        self.mixer.mix(&mut block, 1);
        self.played.extend(&block);
        out.extend(&block);
        made
    }

    /// Where the drill is when `position` seconds of it are heard.
    pub fn at(&self, position: f64) -> Moment {
        let beat = self.beats.partition_point(|beat| *beat <= position);
        if beat > 0 {
            // After the last beat there is none.
            let last = beat == self.beats.len();
            let period = 60.0 / self.plan.steps_per_minute;
            if last && position > self.beats[beat - 1] + period {
                return Moment::default();
            }
            let beat = beat - 1;
            return Moment {
                lead_in: None,
                count: Some((beat % 8) as u8 + 1),
                phrase: Some((beat / 8) as u32),
            };
        }
        let lead_in = self
            .lead_in
            .iter()
            .filter(|beat| **beat <= position)
            .count();
        Moment {
            lead_in: u8::try_from(lead_in).ok().filter(|beat| *beat > 0),
            ..Moment::default()
        }
    }

    /// How loud the program's clap on the one of `phrase` is by the plan.
    pub fn loudness(&self, phrase: u32) -> f32 {
        self.plan.loudness(phrase)
    }

    /// At `common` time, seconds of the microphone's stamps, `position` seconds of
    /// the drill are heard.
    pub fn placed(&mut self, common: f64, position: f64) {
        if self.places.len() == PLACES {
            self.places.pop_front();
        }
        self.places.push_back(common - position);
    }

    /// Judges the ones that `ear` has heard enough of since it was asked last.
    pub fn judge(&mut self, ear: &Ear) -> Vec<Verdict> {
        let mut verdicts = Vec::new();
        loop {
            let wide = match self.heard(self.judged, ear) {
                Heard::Wait => break,
                Heard::Gone => {
                    self.judged += 1;
                    continue;
                }
                Heard::There(wide) => wide,
            };
            let (from, to) = self.reach(self.judged);
            let (from, to) = (self.frames(from), self.frames(to));
            let played = &self.played[from..to];
            self.alignment.look(&wide, played, self.rate);
            // Before the first there is little music to be aligned by: the second
            // helps, unless it is the last.
            if self.judged == 0 && self.alignment.lag().is_none() && self.ones.len() > 1 {
                match self.heard(1, ear) {
                    Heard::Wait => break,
                    Heard::Gone => {}
                    Heard::There(second) => {
                        let (from, to) = self.reach(1);
                        let played = &self.played[self.frames(from)..self.frames(to)];
                        self.alignment.look(&second, played, self.rate);
                    }
                }
            }
            let lag = self.alignment.lag().unwrap_or(0.0);
            let first = self.frames(OFF + lag);
            let heard = wide.get(first..).unwrap_or(&[]);
            let played = &self.played[from..to];
            let length = heard.len().min(played.len());
            let rate = f64::from(self.rate);
            verdicts.push(Verdict {
                phrase: self.judged as u32,
                own: self.given.get(self.judged).copied().unwrap_or(0.0),
                room: room_claps(&Stretch {
                    heard: &heard[..length],
                    played: &played[..length],
                    rate: self.rate,
                    one: self.ones[self.judged] - from as f64 / rate,
                    beat: 60.0 / self.plan.steps_per_minute,
                }),
            });
            self.judged += 1;
        }
        verdicts
    }

    /// From where to where one number `at` is listened to, seconds.
    fn reach(&self, at: usize) -> (f64, f64) {
        let beat = 60.0 / self.plan.steps_per_minute;
        let one = self.ones[at];
        ((one - BEFORE * beat).max(0.0), one + AFTER * beat)
    }

    /// What the ear has of that, and [`OFF`] more on either side.
    fn heard(&self, at: usize, ear: &Ear) -> Heard {
        if at >= self.ones.len() || self.places.is_empty() {
            return Heard::Wait;
        }
        let (from, to) = self.reach(at);
        if self.frames(to) > self.played.len() {
            return Heard::Wait;
        }
        let mut places: Vec<f64> = self.places.iter().copied().collect();
        let later = median(&mut places);
        match ear.between(from - OFF + later, to + OFF + later) {
            Some(wide) => Heard::There(wide),
            // What is missing though later sound is there will never come.
            None if ear.between(to + 3.0 + later, to + 3.1 + later).is_some() => Heard::Gone,
            None => Heard::Wait,
        }
    }

    /// So many seconds as frames.
    fn frames(&self, seconds: f64) -> usize {
        (seconds * f64::from(self.rate)).round().max(0.0) as usize
    }
}

/// What an ear has of a stretch.
enum Heard {
    /// Not all of it yet.
    Wait,
    /// It was missed.
    Gone,
    /// All of it.
    There(Vec<f32>),
}

#[cfg(test)]
mod tests;
