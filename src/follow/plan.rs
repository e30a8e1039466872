//! Which claps (or ticks) are on their way, and where they stand.
//!
//! A phrase is announced some 60 ms ahead. What the microphone and the
//! loudspeaker take of that may be all of it, so a clap is planned a whole
//! beat earlier, where the beat before said that the next would fall, put right
//! when its own beat is announced, and taken back if that beat is another's.
//! It sounds where it was last known to belong. Ticks, one a beat, go the same way.

use std::collections::VecDeque;

use crate::event::Event;

/// Announced times nearer than this are the same beat's, seconds.
const SAME: f64 = 0.2;

/// A clap is ordered anew when it has moved by so much, seconds.
const MOVED: f64 = 0.0005;

/// Without its own beat announced by so long before it, a clap is taken back,
/// seconds: the engine announces at least 60 ms ahead.
const DOUBT: f64 = 0.04;

/// Seconds for which a clap that was given is remembered.
const REMEMBERED: f64 = 2.0;

/// What sounds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum What {
    /// A clap on every "one".
    #[default]
    Clap,
    /// A soft tick on every beat.
    Tick,
}

impl What {
    /// What the sound numbered `id` is: numbers tell the two apart.
    pub fn of(id: u64) -> Self {
        match id % 2 {
            0 => What::Clap,
            _ => What::Tick,
        }
    }

    /// The number of the `n`-th of them.
    fn id(self, n: u64) -> u64 {
        2 * n + u64::from(self == What::Tick)
    }
}

/// One clap.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Clap {
    id: u64,
    /// When it belongs, seconds of sound.
    time: f64,
    /// Its own phrase was announced.
    sure: bool,
    /// The time that it was last ordered for, on the clock of whoever plays.
    ordered: Option<f64>,
    /// It sounds, did, or never will: it moves no more.
    played: bool,
    /// It came too late to sound.
    missed: bool,
}

/// What to do about a clap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Step {
    /// Play it at `at`, instead of where it was ordered for before.
    Play {
        /// Its number.
        id: u64,
        /// When, on the clock of whoever plays, seconds.
        at: f64,
    },
    /// Play it no more.
    Withdraw {
        /// Its number.
        id: u64,
    },
    /// Let it be silent from `at` on, though it sounds; at once if that is past.
    Stop {
        /// Its number.
        id: u64,
        /// When, on the clock of whoever plays, seconds.
        at: f64,
    },
}

/// Plans claps, or ticks, from what the engine says.
#[derive(Debug, Clone, Default)]
pub struct Plan {
    what: What,
    claps: VecDeque<Clap>,
    next: u64,
    steps: Vec<Step>,
    /// The last beat announced.
    beat: Option<f64>,
}

impl Plan {
    /// A plan of ticks; of claps it is [`Plan::default`].
    pub fn of_ticks() -> Self {
        Plan {
            what: What::Tick,
            ..Plan::default()
        }
    }

    /// Takes an event as it becomes known.
    pub fn event(&mut self, event: &Event) {
        match event {
            // Told of a beat ahead, as by a count of 8.
            Event::LeadIn(lead_in) => self.expect(lead_in.one, false),
            Event::Beat(beat) => {
                self.beat = Some(beat.time);
                let period = 60.0 / beat.steps_per_minute;
                let every = self.what == What::Tick;
                if every {
                    self.expect(beat.time, true);
                }
                if (every || beat.count == Some(8)) && period.is_finite() {
                    self.expect(beat.time + period, false);
                }
            }
            Event::Phrase(phrase) if self.what == What::Clap => self.expect(phrase.time, true),
            Event::Phrase(_) | Event::Form(_) => {}
        }
    }

    fn expect(&mut self, time: f64, sure: bool) {
        let same = |c: &&mut Clap| (c.time - time).abs() < SAME;
        match self.claps.iter_mut().find(same) {
            Some(clap) => {
                clap.sure |= sure;
                if !clap.played {
                    clap.time = time;
                }
            }
            None => {
                self.claps.push_back(Clap {
                    id: self.what.id(self.next),
                    time,
                    sure,
                    ordered: None,
                    played: false,
                    missed: false,
                });
                self.next += 1;
            }
        }
    }

    /// All events are in that `heard` seconds of sound gave: what they did not
    /// bear out is taken back, what is long over is forgotten.
    pub fn heard(&mut self, heard: f64) {
        let beat = self.beat;
        let steps = &mut self.steps;
        self.claps.retain(|clap| {
            let mine = beat.is_some_and(|b| b > clap.time - SAME);
            let doubtful = !clap.sure && !clap.played && (mine || heard > clap.time - DOUBT);
            if doubtful && clap.ordered.is_some() {
                steps.push(Step::Withdraw { id: clap.id });
            }
            !doubtful && heard < clap.time + REMEMBERED
        });
    }

    /// Takes all claps back that have not sounded.
    pub fn clear(&mut self) {
        for clap in self.claps.drain(..) {
            if clap.ordered.is_some() {
                self.steps.push(Step::Withdraw { id: clap.id });
            }
        }
    }

    /// What is to be done now; `place` tells where a moment of sound is on the
    /// clock of whoever plays, and `now` how far that clock has come: a clap
    /// ordered for before it sounds, and moves no more.
    pub fn steps(&mut self, now: f64, place: impl Fn(f64) -> Option<f64>) -> Vec<Step> {
        for clap in &mut self.claps {
            clap.played |= clap.ordered.is_some_and(|o| o < now);
            if clap.played {
                continue;
            }
            let Some(at) = place(clap.time) else { continue };
            if clap.ordered.is_none_or(|o| (o - at).abs() > MOVED) {
                clap.ordered = Some(at);
                self.steps.push(Step::Play { id: clap.id, at });
            }
        }
        std::mem::take(&mut self.steps)
    }

    /// When the claps that sounded lately belonged, seconds of sound.
    pub fn sounded(&self) -> impl Iterator<Item = f64> + '_ {
        self.claps
            .iter()
            .filter(|c| c.played && !c.missed)
            .map(|c| c.time)
    }

    /// Whoever plays says that `id` came too late: it is not ordered again.
    pub fn missed(&mut self, id: u64) {
        if let Some(clap) = self.claps.iter_mut().find(|c| c.id == id) {
            (clap.played, clap.missed) = (true, true);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::event::{Beat, LeadIn, Phrase};
    use crate::phrase::Form;

    fn beat(time: f64, count: Option<u8>) -> Event {
        Event::Beat(Beat {
            time,
            announced: time - 0.065,
            count,
            steps_per_minute: 120.0,
            sure: 0.9,
        })
    }

    fn phrase(time: f64) -> Event {
        Event::Phrase(Phrase {
            time,
            announced: time - 0.065,
            part: Form::default().place(0).part(),
            phrase: 0,
            time_through: 1,
            sure: 0.9,
        })
    }

    fn hear(plan: &mut Plan, events: &[Event]) -> Vec<Step> {
        for event in events {
            plan.event(event);
        }
        let heard = events.last().unwrap().announced();
        plan.heard(heard);
        plan.steps(0.0, |t| Some(t + 100.0))
    }

    #[test]
    fn a_clap_is_planned_a_beat_ahead_and_put_right() {
        let mut plan = Plan::default();
        assert_eq!(hear(&mut plan, &[beat(9.0, Some(7))]), []);
        let early = hear(&mut plan, &[beat(9.5, Some(8))]);
        assert_eq!(early, [Step::Play { id: 0, at: 110.0 }]);
        let right = hear(&mut plan, &[beat(10.02, Some(1)), phrase(10.02)]);
        assert_eq!(right, [Step::Play { id: 0, at: 110.02 }]);
        assert_eq!(plan.sounded().count(), 0);
        assert_eq!(plan.steps(110.03, |t| Some(t + 100.02)), [], "it sounds");
        assert_eq!(plan.sounded().collect::<Vec<_>>(), [10.02]);
        plan.missed(0);
        assert_eq!(plan.sounded().count(), 0);
        assert_eq!(hear(&mut plan, &[beat(10.5, Some(2))]), []);
    }

    #[test]
    fn the_first_clap_is_planned_from_the_lead_in() {
        let lead_in = |announced| {
            Event::LeadIn(LeadIn {
                time: 8.0,
                announced,
                one: 10.0,
            })
        };
        let mut plan = Plan::default();
        let early = hear(&mut plan, &[lead_in(9.43)]);
        assert_eq!(early, [Step::Play { id: 0, at: 110.0 }]);
        let right = hear(&mut plan, &[beat(10.01, Some(1)), phrase(10.01)]);
        assert_eq!(right, [Step::Play { id: 0, at: 110.01 }]);
        // The band only tried its strings.
        let mut plan = Plan::default();
        hear(&mut plan, &[lead_in(9.43)]);
        plan.heard(9.97);
        assert_eq!(
            plan.steps(0.0, |t| Some(t + 100.0)),
            [Step::Withdraw { id: 0 }]
        );
        // One that is told of with its "one" alone is left to that.
        let mut plan = Plan::default();
        let both = hear(&mut plan, &[lead_in(9.93), beat(10.0, Some(1))]);
        assert_eq!(both, []);
    }

    #[test]
    fn what_its_beat_does_not_bear_out_is_taken_back() {
        // The count was moved, the phrase got lost, or the band stopped.
        for next in [Some(beat(10.0, Some(2))), Some(beat(10.0, Some(1))), None] {
            let mut plan = Plan::default();
            hear(&mut plan, &[beat(9.5, Some(8))]);
            let steps = match next {
                Some(next) => hear(&mut plan, &[next]),
                None => {
                    plan.heard(9.97);
                    plan.steps(0.0, |t| Some(t + 100.0))
                }
            };
            assert_eq!(steps, [Step::Withdraw { id: 0 }], "{next:?}");
        }
    }

    #[test]
    fn every_beat_has_its_tick_and_numbers_of_its_own() {
        let mut plan = Plan::of_ticks();
        let first = hear(&mut plan, &[beat(9.0, None)]);
        let play = |id, at| Step::Play { id, at };
        assert_eq!(first, [play(1, 109.0), play(3, 109.5)]);
        let next = hear(&mut plan, &[beat(9.51, Some(1)), phrase(9.51)]);
        assert_eq!(next, [play(3, 109.51), play(5, 110.01)]);
        plan.heard(9.98);
        let stopped = plan.steps(0.0, |t| Some(t + 100.0));
        assert_eq!(stopped, [Step::Withdraw { id: 5 }], "the band stopped");
        assert_eq!((What::of(5), What::of(4)), (What::Tick, What::Clap));
    }

    #[test]
    fn what_sounds_already_is_neither_taken_back_nor_doubled() {
        let mut plan = Plan::default();
        hear(&mut plan, &[beat(9.5, Some(8))]);
        assert_eq!(plan.steps(110.001, |t| Some(t + 100.0)), []);
        assert_eq!(hear(&mut plan, &[beat(10.02, Some(1)), phrase(10.02)]), []);
    }

    #[test]
    fn a_phrase_alone_is_clapped_and_a_moved_clock_moves_it() {
        let mut plan = Plan::default();
        plan.event(&phrase(4.0));
        plan.heard(3.935);
        assert_eq!(plan.steps(0.0, |_| None), [], "no loudspeaker yet");
        assert_eq!(plan.steps(0.0, Some), [Step::Play { id: 0, at: 4.0 }]);
        assert_eq!(plan.steps(0.0, |t| Some(t + 0.0001)), []);
        let moved = plan.steps(0.0, |t| Some(t + 0.05));
        assert_eq!(moved, [Step::Play { id: 0, at: 4.05 }]);
        plan.clear();
        assert_eq!(plan.steps(0.0, Some), [Step::Withdraw { id: 0 }]);
    }
}
