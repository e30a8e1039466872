//! When the beats are, and the record of it.

use serde::{Deserialize, Serialize};

use super::dice::Dice;
use super::settings::{Backup, Lead, LeadIn, Settings};
use super::tune::Tune;
use crate::phrase::Form;

/// Beats of lead-in.
pub(super) const LEAD_IN_BEATS: u32 = 4;

/// Times of the beats in seconds; positions in beats count from the tune's first.
#[derive(Debug, Clone)]
pub(super) struct Grid {
    /// From the first lead-in beat to a few beats after the last.
    times: Vec<f64>,
}

impl Grid {
    /// A tempo that wanders slowly around its mean, and speeds up if asked.
    pub fn new(settings: &Settings, tune_beats: u32) -> Self {
        let count = (LEAD_IN_BEATS + tune_beats * settings.times + 8) as usize;
        let mut dice = Dice::new(settings.seed, 1);
        let (mut walk, step) = (0.0, settings.drift * 0.13);
        let raw: Vec<f64> = (0..count)
            .map(|_| {
                walk = (0.985 * walk + dice.bell(step)).clamp(-settings.drift, settings.drift);
                walk
            })
            .collect();
        // Nobody changes tempo by jerks: a mean over nine beats.
        let smooth: Vec<f64> = (0..count)
            .map(|i| {
                let near = &raw[i.saturating_sub(4)..(i + 5).min(count)];
                near.iter().sum::<f64>() / near.len() as f64
            })
            .collect();
        let mean = smooth.iter().sum::<f64>() / count as f64;
        let most = smooth.iter().map(|d| (d - mean).abs()).fold(0.0, f64::max);
        let scale = if most > settings.drift {
            settings.drift / most
        } else {
            1.0
        };
        let mut now = 0.0;
        let times = (0..count)
            .map(|i| {
                let at = now;
                let along = i as f64 / (count - 1) as f64 - 0.5;
                let tempo = settings.steps_per_minute
                    * (1.0 + (smooth[i] - mean) * scale)
                    * (1.0 + settings.speed_up * along);
                now += 60.0 / tempo;
                at
            })
            .collect();
        Grid { times }
    }

    /// Seconds at `beat`, straight between beats and on beyond the ends.
    pub fn at(&self, beat: f64) -> f64 {
        let place = beat + f64::from(LEAD_IN_BEATS);
        let last = self.times.len() - 2;
        let index = (place.floor().max(0.0) as usize).min(last);
        let (a, b) = (self.times[index], self.times[index + 1]);
        a + (b - a) * (place - index as f64)
    }

    /// Moves all beats by `seconds`.
    pub fn shift(&mut self, seconds: f64) {
        for t in &mut self.times {
            *t += seconds;
        }
    }
}

/// The start of a part.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PartStart {
    /// Seconds from the start of the sound.
    pub t: f64,
    /// `A1`, `A2`, `B1`, `B2`.
    pub name: String,
}

/// What was played when: the beat grid before each note's own jitter.
///
/// All times are seconds from the start of the sound. Serialised, it is the record
/// that lies beside a recording in the accuracy measurements; only the beats must
/// be in it.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Truth {
    /// Title of the tune.
    #[serde(default)]
    pub title: String,
    /// Reel, jig, hornpipe or march.
    #[serde(default)]
    pub kind: String,
    /// Who plays the melody.
    #[serde(default)]
    pub instrument: String,
    /// Who plays the chords: `piano`, `guitar+bass` or `none`.
    #[serde(default)]
    pub backup: String,
    /// `clean`, or `hall` where room or people are strong.
    #[serde(default)]
    pub condition: String,
    /// Mean tempo in steps per minute, measured from `beats`.
    #[serde(default)]
    pub tempo_spm: f64,
    /// The four lead-in beats; empty if there are none.
    #[serde(default)]
    pub lead_in: Vec<f64>,
    /// Every beat of the tune.
    pub beats: Vec<f64>,
    /// The first beat of every 8-beat phrase.
    #[serde(default)]
    pub phrases: Vec<f64>,
    /// The first beat of every part.
    #[serde(default)]
    pub parts: Vec<PartStart>,
    /// Times through the tune, counted before any late start.
    #[serde(default)]
    pub times_through: u32,
    /// Which beat of the performance `beats[0]` is: 0, or the late start.
    #[serde(default)]
    pub first_beat_index: u32,
    /// Total change of tempo, as a fraction.
    #[serde(default)]
    pub speed_up: f64,
    /// Length of the pickup in beats.
    #[serde(default)]
    pub pickup: f64,
}

impl Truth {
    pub(super) fn new(tune: &Tune, settings: &Settings, grid: &Grid) -> Self {
        let total = tune.beats() * settings.times;
        let first = settings.start_beat;
        let beats: Vec<f64> = (first..total).map(|b| grid.at(f64::from(b))).collect();
        let form = Form::new(tune.beats()).unwrap_or_default();
        let places = (first..total).map(|b| (form.place(u64::from(b)), grid.at(f64::from(b))));
        let ones = places.filter(|(place, _)| place.is_one());
        let parts = ones.clone().filter(|(place, _)| place.phrase() % 2 == 0);
        let loud = settings.room.wet > 0.6 || settings.noise > 0.15;
        let tempo_spm = match (beats.first(), beats.last()) {
            (Some(a), Some(b)) if b > a => 60.0 * (beats.len() - 1) as f64 / (b - a),
            _ => settings.steps_per_minute,
        };
        Truth {
            title: tune.title().to_owned(),
            kind: tune.kind().name().to_owned(),
            instrument: match settings.lead {
                Lead::Fiddle => "fiddle",
                Lead::Mandolin => "mandolin",
            }
            .to_owned(),
            backup: match settings.backup {
                Backup::None => "none",
                Backup::Piano => "piano",
                Backup::Guitar => "guitar+bass",
            }
            .to_owned(),
            condition: if loud { "hall" } else { "clean" }.to_owned(),
            tempo_spm,
            lead_in: if first == 0 && settings.lead_in != LeadIn::None {
                (0..LEAD_IN_BEATS)
                    .map(|b| grid.at(f64::from(b) - f64::from(LEAD_IN_BEATS)))
                    .collect()
            } else {
                Vec::new()
            },
            phrases: ones.map(|(_, t)| t).collect(),
            parts: parts
                .map(|(place, t)| PartStart {
                    t,
                    name: place.part().name().to_owned(),
                })
                .collect(),
            beats,
            times_through: settings.times,
            first_beat_index: first,
            speed_up: settings.speed_up,
            pickup: tune.pickup(),
        }
    }
}
