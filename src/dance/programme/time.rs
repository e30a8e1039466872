//! How long an evening takes, and what the clock says meanwhile.

use std::fmt;

use super::{Dance, Item, Programme, What};

/// Lead-in beats before each dance.
const LEAD_IN: f64 = 4.0;
/// Minutes of a day.
const DAY: f64 = 24.0 * 60.0;

/// A time of day.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Clock(f64);

impl Clock {
    /// Reads hours and minutes of 24, such as `19:30`.
    pub fn parse(text: &str) -> Option<Self> {
        let (hours, minutes) = text.trim().split_once(':')?;
        let digits = |text: &str, most: u32| {
            let plain = (1..=2).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_digit());
            text.parse().ok().filter(|n: &u32| plain && *n < most)
        };
        let minutes = digits(minutes, 60).filter(|_| minutes.len() == 2)?;
        Some(Clock(f64::from(60 * digits(hours, 24)? + minutes)))
    }

    /// So many minutes later; midnight is passed as on any clock.
    pub fn after(self, minutes: f64) -> Self {
        Clock((self.0 + minutes).rem_euclid(DAY))
    }

    /// Minutes from this time to `later`, on the same day or past midnight.
    pub fn until(self, later: Clock) -> f64 {
        (later.0 - self.0).rem_euclid(DAY)
    }
}

impl fmt::Display for Clock {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let minutes = (self.0.round() as u32) % DAY as u32;
        f.pad(&format!("{}:{:02}", minutes / 60, minutes % 60))
    }
}

/// When an item is planned, in minutes since the evening's start.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slot {
    /// When lining up for it begins; breaks need none.
    pub start: f64,
    /// Minutes of lining up.
    pub changeover: f64,
    /// Minutes of walking it through.
    pub walk: f64,
    /// Minutes of music, or of whatever else it is.
    pub music: f64,
}

impl Slot {
    /// When it is over, in minutes since the evening's start.
    pub fn end(&self) -> f64 {
        self.start + self.minutes()
    }

    /// All its minutes.
    pub fn minutes(&self) -> f64 {
        self.changeover + self.walk + self.music
    }
}

impl Dance {
    /// Minutes of music for `times` through and the lead-in.
    pub fn music(&self) -> f64 {
        let beats = f64::from(self.times) * f64::from(self.card.form().beats());
        (beats + LEAD_IN) / self.steps_per_minute
    }

    /// The times through nearest to so many minutes of music, at least one.
    pub(super) fn times_in(minutes: f64, beats: u32, steps_per_minute: f64) -> u32 {
        let times = (minutes * steps_per_minute - LEAD_IN) / f64::from(beats);
        (times.round() as u32).max(1)
    }
}

impl Programme {
    /// When each item is planned, in order.
    pub fn slots(&self) -> Vec<Slot> {
        let mut now = 0.0;
        let mut slots = Vec::with_capacity(self.items.len());
        for (at, item) in self.items.iter().enumerate() {
            let slot = self.slot(item, at == 0, now);
            now = slot.end();
            slots.push(slot);
        }
        slots
    }

    fn slot(&self, item: &Item, first: bool, start: f64) -> Slot {
        let (changeover, walk, music) = match &item.what {
            What::Dance(dance) => (self.changeover, dance.walk, dance.music()),
            What::Other(_, minutes) => (self.changeover, 0.0, *minutes),
            What::Break(_, minutes) => (0.0, 0.0, *minutes),
        };
        Slot {
            start,
            // Nobody has to leave another set first.
            changeover: if first { 0.0 } else { changeover },
            walk,
            music,
        }
    }

    /// Minutes from the start to the end of the last item.
    pub fn minutes(&self) -> f64 {
        self.slots().last().map_or(0.0, Slot::end)
    }

    /// The time of day so many minutes after the start, if that is known.
    pub fn clock(&self, minutes: f64) -> Option<Clock> {
        self.start.map(|start| start.after(minutes))
    }

    /// When the evening has to be over.
    pub fn end(&self) -> Option<Clock> {
        self.end
    }

    /// Minutes that are left between the last item and the time to close;
    /// negative if it is too long. `None` unless both times are given.
    pub fn spare(&self) -> Option<f64> {
        Some(self.start?.until(self.end?) - self.minutes())
    }
}
