//! Plays a score as samples, block by block.

use super::crowd::Crowd;
use super::room::Hall;
use super::score::{Event, Sound};
use super::settings::Settings;
use super::voice::{Fiddle, Filters, Percussion, Piano, Plucks, Stroke};

/// Above this the output is bent towards [`CEILING`].
const KNEE: f32 = 0.32;
/// No sample goes beyond this.
const CEILING: f32 = 0.5;
/// Largest block worked on at once.
const BLOCK: usize = 512;

/// A performance under way: gives samples until it is over.
///
/// Blocks of any size give the same samples. Made by
/// [`Performance::player`](super::Performance::player).
#[derive(Debug, Clone)]
pub struct Player {
    events: Vec<(u64, Sound)>,
    next: usize,
    /// Samples made, and samples in all.
    now: u64,
    end: u64,
    fiddle: Fiddle,
    plucks: Plucks,
    piano: Piano,
    percussion: Percussion,
    crowd: Crowd,
    hall: Option<Hall>,
    mains: Filters,
}

impl Player {
    /// Plays `events` for `seconds`; what lies before 0 is played unheard, so that a
    /// late start has the sound of the notes and of the room before it.
    pub(super) fn new(events: &[Event], settings: &Settings, seconds: f64) -> Self {
        let rate = f64::from(settings.sample_rate);
        let before = events.first().map_or(0.0, |e| (-e.at).clamp(0.0, WARM_UP));
        let warm_up = (before * rate) as u64;
        let events = events
            .iter()
            .filter(|e| e.at >= -before)
            .map(|e| (((e.at + before) * rate).round() as u64, e.sound))
            .collect();
        let mut player = Player {
            events,
            next: 0,
            now: 0,
            end: warm_up + (seconds * rate) as u64,
            fiddle: Fiddle::new(rate, settings.seed),
            plucks: Plucks::new(rate, settings.seed),
            piano: Piano::new(rate, settings.seed),
            percussion: Percussion::new(rate, settings.seed),
            crowd: Crowd::new(settings.noise, rate, settings.seed),
            hall: Hall::new(&settings.room, rate),
            mains: Filters::new(rate, &[(biquad::Type::HighPass, 28.0, 0.7)]),
        };
        let mut unheard = vec![0.0; warm_up as usize];
        player.next_block(&mut unheard);
        player
    }

    /// Samples still to come.
    pub fn remaining(&self) -> u64 {
        self.end - self.now
    }

    /// Fills `out` with the next samples and returns how many there were; fewer than
    /// asked for only at the end, and then 0. The rest of `out` is silence.
    pub fn next_block(&mut self, out: &mut [f32]) -> usize {
        let count = usize::try_from(self.remaining()).map_or(out.len(), |left| left.min(out.len()));
        out.fill(0.0);
        let mut done = 0;
        while done < count {
            while let Some(&(at, sound)) = self.events.get(self.next)
                && at <= self.now
            {
                self.start(sound);
                self.next += 1;
            }
            let until = self.events.get(self.next).map_or(u64::MAX, |e| e.0);
            let step = usize::try_from(until - self.now)
                .unwrap_or(usize::MAX)
                .min(count - done)
                .min(BLOCK);
            self.make(&mut out[done..done + step]);
            self.now += step as u64;
            done += step;
        }
        count
    }

    fn start(&mut self, sound: Sound) {
        match sound {
            Sound::Bow {
                pitch,
                seconds,
                level,
                slurred,
                drone,
            } => {
                let stroke = Stroke {
                    pitch,
                    seconds,
                    level,
                    slurred,
                };
                self.fiddle.bow(stroke, drone);
            }
            Sound::Pluck {
                pitch,
                seconds,
                level,
                body,
            } => self.plucks.pluck(body, pitch, seconds, level),
            Sound::Key {
                pitch,
                seconds,
                level,
            } => self.piano.strike(pitch, seconds, level),
            Sound::Click { level } => self.percussion.click(level),
            Sound::Foot { level } => self.percussion.foot(level),
        }
    }

    fn make(&mut self, block: &mut [f32]) {
        self.fiddle.add_to(block);
        self.plucks.add_to(block);
        self.piano.add_to(block);
        self.percussion.add_to(block);
        if let Some(hall) = &mut self.hall {
            hall.run(block);
        }
        self.crowd.add_to(block);
        self.mains.run_block(block);
        for y in block {
            *y = bend(*y);
        }
    }
}

/// Seconds played unheard before a late start.
const WARM_UP: f64 = 1.5;

/// Straight up to the knee, then ever flatter, never beyond the ceiling.
fn bend(x: f32) -> f32 {
    let over = x.abs() - KNEE;
    if over <= 0.0 {
        return x;
    }
    let space = CEILING - KNEE;
    (KNEE + space * (over / space).tanh()).copysign(x)
}
