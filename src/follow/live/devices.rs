//! The devices' side of following: microphones and loudspeakers that come and go, their
//! stamps, and what is made up for where nobody listened.

use super::{Live, Played};
use crate::engine::Engine;
use crate::hear::features::RateError;
use crate::sound::timeline::{Stamp, TimeLine};

/// Longest gap that is filled for the engine, seconds. It forgets the tune
/// after twelve beats of silence.
const FILLED: f64 = 30.0;

/// The last beat is no older than this, in beats, if the band still plays.
const PLAYING: f64 = 3.0;

impl Live {
    /// The microphone has stopped: beats go on for a while without it.
    pub fn microphone_lost(&mut self) {
        self.deaf = true;
    }

    /// A microphone begins, with a count of its own; what was missed since the
    /// last one is made up for.
    ///
    /// # Errors
    /// If the engine cannot hear at that rate.
    pub fn microphone(&mut self, rate: u32) -> Result<(), RateError> {
        let end = self.sound_end();
        if rate != self.rate {
            self.engine = Engine::new(rate, self.settings)?;
            self.zero = self.sound();
            self.pushed = 0;
            self.kept.clear();
            self.rate = rate;
        }
        self.rejoin = end;
        self.base = self.pushed as i64;
        self.heard = TimeLine::new(rate);
        self.deaf = false;
        Ok(())
    }

    /// The common time has jumped (the computer slept `seconds`): stamps from
    /// before it mean nothing now.
    pub fn slept(&mut self, seconds: f64) {
        self.heard = TimeLine::new(self.rate);
        if let Some(played) = &mut self.played {
            played.line = TimeLine::new(played.rate as u32);
        }
        self.clear();
        self.fill(seconds);
    }

    /// A loudspeaker begins, or (`None`) there is none any more.
    pub fn loudspeaker(&mut self, rate: Option<u32>) {
        self.played = rate.map(|rate| Played {
            line: TimeLine::new(rate),
            rate: f64::from(rate),
            count: 0,
        });
        self.clear();
    }

    /// Takes back all that has not sounded.
    fn clear(&mut self) {
        self.plan.clear();
        self.ticks.clear();
        if let Some(speech) = &mut self.speech {
            speech.clear();
        }
    }

    /// A sound that is played is in the microphone `seconds` after its stamped
    /// time, from now on and whatever the devices.
    pub fn set_round_trip(&mut self, seconds: f64) {
        self.round_trip = seconds;
    }

    /// Takes a stamp of the microphone. What its count is found to lack is
    /// made up for, so that beats stay where they are in time.
    pub fn heard_at(&mut self, stamp: Stamp) {
        if let Some(jump) = self.heard.stamp(stamp)
            && jump > 0.0
        {
            self.tally.holes += 1;
            self.tally.missing += jump;
            self.fill(jump);
        }
        if let Some(end) = self.rejoin.take() {
            // The first stamp of the new device tells how long nobody listened.
            self.fill(stamp.at - end);
        }
    }

    /// Takes a stamp of the loudspeaker.
    pub fn played_at(&mut self, stamp: Stamp) {
        if let Some(played) = &mut self.played {
            played.line.stamp(stamp);
            played.count = stamp.count;
        }
    }

    /// Seconds of sound at `now` of the common time; `None` before the first
    /// stamp.
    pub fn sound_at(&self, now: f64) -> Option<f64> {
        if let Some(end) = self.rejoin {
            return Some(self.sound() + now - end);
        }
        let count = self.heard.count_at(now)? + self.base as f64;
        Some(self.zero + count / f64::from(self.rate))
    }

    /// The common time at which that sound ended.
    fn sound_end(&self) -> Option<f64> {
        match self.rejoin {
            Some(end) => Some(end),
            None => self.heard.time_of((self.pushed as i64 - self.base) as f64),
        }
    }

    /// Gives the engine something for `seconds` of sound that nobody heard, as
    /// far as that tells it anything.
    ///
    /// A band that played goes on playing, so a gap is filled with the same
    /// beats of the past: silence would cost the engine its count. Only where
    /// there are none, or the gap is too long, it is silence.
    fn fill(&mut self, seconds: f64) {
        let filled = seconds.clamp(0.0, FILLED);
        self.zero += (seconds - filled).max(0.0);
        let rate = f64::from(self.rate);
        let samples = (filled * rate) as usize;
        let past = self.coast.playing(self.sound(), PLAYING).and_then(|beat| {
            let back = (filled / beat).ceil() * beat * rate;
            self.kept.len().checked_sub(back.round() as usize)
        });
        let mut gap = std::mem::take(&mut self.gap);
        gap.clear();
        if let Some(from) = past {
            gap.extend(self.kept.iter().skip(from).take(samples));
        }
        gap.resize(samples, 0.0);
        self.hear(&gap);
        self.base += samples as i64;
        self.gap = gap;
    }
}
