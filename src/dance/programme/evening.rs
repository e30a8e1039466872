//! Where a live evening stands: which item is on, for how long, and how far
//! that is from the plan. Plain data, moved by the caller and the clock.

use super::{Clock, Item, Programme, Slot};

/// An evening as it goes.
#[derive(Debug, Clone)]
pub struct Evening {
    programme: Programme,
    slots: Vec<Slot>,
    /// The item that is on.
    at: usize,
    /// When it began, seconds of a clock that never goes back.
    since: f64,
    /// When the first item shown began, in the same seconds, and the time of
    /// day then, if there is one.
    begun: f64,
    clock: Option<Clock>,
}

/// Where the evening stands at a moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Standing {
    /// Seconds since this item began.
    pub elapsed: f64,
    /// Seconds that it was planned to take, walk-through and lining up included.
    pub planned: f64,
    /// Seconds of that which are left; negative if it takes longer.
    pub left: f64,
    /// Seconds until the evening's last item is over if all that follows takes
    /// as long as planned.
    pub to_end: f64,
    /// The time of day, if the evening was given one.
    pub clock: Option<Clock>,
    /// Minutes behind the plan's clock; negative if ahead of it. Only where the
    /// programme says when it starts.
    pub behind: Option<f64>,
}

impl Evening {
    /// An evening that begins with item `at` (from 0; the last one at most) at
    /// `now`, seconds of a clock that never goes back; `clock` is the time of
    /// day, if it is known.
    pub fn new(programme: Programme, at: usize, now: f64, clock: Option<Clock>) -> Self {
        Evening {
            slots: programme.slots(),
            at: at.min(programme.items().len() - 1),
            programme,
            since: now,
            begun: now,
            clock,
        }
    }

    /// The programme.
    pub fn programme(&self) -> &Programme {
        &self.programme
    }

    /// The item that is on, and its number from 1.
    pub fn item(&self) -> (usize, &Item) {
        (self.at + 1, &self.programme.items()[self.at])
    }

    /// The item after it.
    pub fn next_item(&self) -> Option<&Item> {
        self.programme.items().get(self.at + 1)
    }

    /// How many items there are; never 0.
    pub fn items(&self) -> usize {
        self.slots.len()
    }

    /// Goes on to the next item; false if there is none.
    pub fn go_on(&mut self, now: f64) -> bool {
        self.go_to(self.at + 1, now)
    }

    /// Goes back to the item before; false if there is none.
    pub fn go_back(&mut self, now: f64) -> bool {
        self.at > 0 && self.go_to(self.at - 1, now)
    }

    fn go_to(&mut self, at: usize, now: f64) -> bool {
        let there = at < self.slots.len();
        if there {
            self.at = at;
            self.since = now;
        }
        there
    }

    /// Where the evening stands at `now`.
    pub fn standing(&self, now: f64) -> Standing {
        let elapsed = (now - self.since).max(0.0);
        let slot = self.slots[self.at];
        let planned = (60.0 * slot.minutes()).round();
        let left = planned - elapsed;
        let end = self.slots.last().map_or(0.0, Slot::end);
        let to_end = left.max(0.0) + 60.0 * (end - slot.end());
        let clock = self.clock.map(|c| c.after((now - self.begun) / 60.0));
        // When this item began against when it was to begin; once it takes too
        // long, that too is behind.
        let behind = self.programme.clock(slot.start).and_then(|plan| {
            let began = self.clock?.after((self.since - self.begun) / 60.0);
            let late = plan.until(began);
            // Half a day late is half a day early.
            let late = if late > 720.0 { late - 1440.0 } else { late };
            Some(late + (-left).max(0.0) / 60.0)
        });
        Standing {
            elapsed,
            planned,
            left,
            to_end,
            clock,
            behind,
        }
    }
}
