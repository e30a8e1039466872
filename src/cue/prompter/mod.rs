//! When to say what: from the engine's events to calls.
//!
//! A call is over a breath before its figure's first beat, and begins on the latest
//! beat that lets it be so; at least one beat ahead, or as many as the caller wants
//! (`lead`). Its room is the figure before: it begins no earlier than that one's first
//! beat, so two calls never meet. If the room is too small it is spoken up to a quarter
//! faster; if that is not enough the short call is said; if that does not fit either,
//! nothing: the flash tells the figure.
//!
//! All this is foreseen from the beats so far. Each new beat says it better: a call
//! that waits is moved, or taken back if it is no longer what is danced next. One that
//! has begun goes on to its end, unless
//!
//! * the count has moved and another figure comes first: it is stopped at once, and
//!   the right figure is called, if a call still fits; or
//! * its figure comes sooner than was foreseen: it is cut off at that beat.

mod aside;
mod choose;

use std::sync::Arc;

use super::call::{Call, Saying, Subject};
use super::fading::Fading;
use super::script::Script;
use super::seat::{SAME, Seat};
use crate::event::{Beat, Event, LeadIn};
use choose::Draft;

/// Seconds of silence between two calls.
const GAP: f64 = 0.08;

/// A call is ordered anew when it has moved by so much, seconds.
const MOVED: f64 = 0.0005;

/// A figure called is the same, put back by a move of the count, if it comes round
/// again within this many beats.
const SAME_START_BEATS: f64 = 6.0;

/// Seconds after a press on the key for the end in which another one may follow, and mean
/// something else: so long the band is told nothing. (Our own choice.)
const SECOND_PRESS: f64 = 0.6;

/// How a dance is called.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Manner {
    /// What is said at which time through.
    pub fading: Fading,
    /// Least beats between the beginning of a call and its figure, 1 to 4, where the
    /// figure before is long enough.
    pub lead: u32,
}

impl Default for Manner {
    fn default() -> Self {
        Manner {
            fading: Fading::default(),
            lead: 1,
        }
    }
}

/// A call that has begun.
#[derive(Debug, Clone)]
struct Speaking {
    call: Call,
    /// From when on it is silent, its own end or what it was told.
    by: f64,
    /// Beats from the latest one to the figure's first.
    left: i64,
}

/// The latest beat.
#[derive(Debug, Clone, Copy)]
struct Stand {
    time: f64,
    period: f64,
    /// From the tune's first, while it is known.
    number: Option<i64>,
}

/// Turns the engine's events into calls.
///
/// Feed it every event in order. What it says depends on nothing else but the script,
/// the manner, and when that was changed.
#[derive(Debug, Clone)]
pub struct Prompter {
    script: Arc<Script>,
    manner: Manner,
    seat: Seat,
    stand: Option<Stand>,
    /// Seconds of sound known to have been heard.
    now: f64,
    planned: Option<Call>,
    speaking: Option<Speaking>,
    /// The latest figures called: first beat from the tune's first, and its time.
    called: [Option<(i64, f64)>; 4],
    /// When the number of times through was changed, seconds of sound.
    pressed: f64,
    /// What the band was told.
    told: [Option<Subject>; 4],
    /// What is said before or after the dance: what is not over.
    aside: Vec<Call>,
    /// The dancers were thanked.
    thanked: bool,
    next: u64,
}

impl Prompter {
    /// Calls what `script` says.
    pub fn new(script: Arc<Script>, manner: Manner) -> Self {
        Prompter {
            seat: Seat::new(script.form()),
            script,
            manner,
            stand: None,
            now: f64::NEG_INFINITY,
            planned: None,
            speaking: None,
            called: [None; 4],
            pressed: f64::NEG_INFINITY,
            told: [None; 4],
            aside: Vec::new(),
            thanked: false,
            next: 0,
        }
    }

    /// How the dance is called.
    pub fn manner(&self) -> &Manner {
        &self.manner
    }

    /// The dance is to be so many times through; `None` if nobody knows. `now` is how
    /// much sound was heard, seconds. Appends what that changes. The band is told of it only
    /// when no second press has followed.
    pub fn set_times(&mut self, times: Option<u32>, now: f64, sayings: &mut Vec<Saying>) {
        self.pass(now);
        if self.manner.fading.times == times {
            return;
        }
        self.manner.fading.times = times;
        self.pressed = now;
        self.withdraw(sayings);
        self.drop_aside(sayings);
        self.thanked = false;
        let stale = |s: &Speaking| matches!(s.call.subject, Subject::Signal(..));
        if self.speaking.as_ref().is_some_and(stale) {
            self.stop(sayings);
        }
    }

    /// Appends that nothing is said any more of what was ordered. `now` is how much
    /// sound was heard, seconds.
    pub fn hush(&mut self, now: f64, sayings: &mut Vec<Saying>) {
        self.pass(now);
        self.withdraw(sayings);
        self.stop(sayings);
        self.drop_aside(sayings);
    }

    /// Takes the next event and appends what it changes.
    pub fn push(&mut self, event: &Event, sayings: &mut Vec<Saying>) {
        self.pass(event.announced());
        let introducing = |call: &Call| call.subject == Subject::Introduction;
        if self.aside.iter().any(introducing) {
            self.drop_aside(sayings);
        }
        match event {
            Event::LeadIn(lead_in) => self.lead_in(lead_in, sayings),
            Event::Beat(beat) => self.beat(beat, sayings),
            // The dance goes on in its own form, whatever the tune's.
            Event::Form(_) => {}
            Event::Phrase(phrase) => {
                self.seat.phrase(phrase);
                // If its beat came first, that beat's number is known only now.
                if let Some(stand) = self.stand
                    && (phrase.time - stand.time).abs() < SAME
                {
                    self.stand_on(stand.time, stand.period, sayings);
                    self.choose(sayings);
                }
            }
        }
    }

    /// Lets time pass until `now`: what was planned for a moment that is heard has
    /// begun; what is over is over.
    fn pass(&mut self, now: f64) {
        self.now = self.now.max(now);
        if let Some(call) = self.planned.take_if(|call| call.start <= self.now) {
            match call.subject {
                Subject::Figure { number, .. } => {
                    self.called.rotate_right(1);
                    self.called[0] = Some((number, call.over_by));
                }
                other => {
                    self.told.rotate_right(1);
                    self.told[0] = Some(other);
                }
            }
            let number = self.stand.and_then(|stand| stand.number);
            let left = match (call.subject, number) {
                (Subject::Figure { number: start, .. }, Some(number)) => start - number,
                _ => 0,
            };
            let by = call.end();
            self.speaking = Some(Speaking { call, by, left });
        }
        self.speaking.take_if(|speaking| speaking.by <= self.now);
        self.aside.retain(|call| call.end() > self.now);
    }

    fn beat(&mut self, beat: &Beat, sayings: &mut Vec<Saying>) {
        let period = 60.0 / beat.steps_per_minute;
        if !(period.is_finite() && period > 0.0) {
            return;
        }
        self.seat.beat(beat);
        self.stand_on(beat.time, period, sayings);
        // Whether a "one" is believed is told by its phrase, at the same moment.
        if beat.count != Some(1) || self.seat.confirmed() {
            self.choose(sayings);
        }
    }

    /// Takes in where the tune is now: does what is being said still hold?
    fn stand_on(&mut self, time: f64, period: f64, sayings: &mut Vec<Saying>) {
        let number = self.seat.number();
        let before = self.stand.replace(Stand {
            time,
            period,
            number,
        });
        let Some(speaking) = &mut self.speaking else {
            return;
        };
        let Subject::Figure { number: start, .. } = speaking.call.subject else {
            return;
        };
        // Beats go on while the count is not known.
        let since = before.map_or(0.0, |before| (time - before.time) / period);
        speaking.left -= since.round() as i64;
        if let Some(number) = number
            && start - number != speaking.left
        {
            speaking.left = start - number;
            let times = self.manner.fading.times;
            let next = self.script.next_after(number - 1, times);
            let comes_next = next.is_some_and(|(next, _)| next == start);
            if !(comes_next && self.seat.confirmed()) {
                self.called.iter_mut().for_each(|called| {
                    called.take_if(|(number, _)| *number == start);
                });
                return self.stop(sayings);
            }
        }
        let starts_at = time + speaking.left as f64 * period;
        let by = speaking.call.end().min(starts_at.max(self.now));
        if (by - speaking.by).abs() > MOVED {
            speaking.by = by;
            let id = speaking.call.id;
            sayings.push(Saying::Stop { id, by });
        }
    }

    /// Stops at once what is being said.
    fn stop(&mut self, sayings: &mut Vec<Saying>) {
        if let Some(speaking) = self.speaking.take() {
            let (id, by) = (speaking.call.id, self.now);
            sayings.push(Saying::Stop { id, by });
        }
    }

    /// Takes back what has not begun.
    fn withdraw(&mut self, sayings: &mut Vec<Saying>) {
        if let Some(call) = self.planned.take() {
            sayings.push(Saying::Withdraw { id: call.id });
        }
    }

    /// A tune begins: everything is new.
    fn lead_in(&mut self, lead_in: &LeadIn, sayings: &mut Vec<Saying>) {
        self.hush(self.now, sayings);
        self.seat.clear();
        self.called = [None; 4];
        self.told = [None; 4];
        self.thanked = false;
        self.stand = None;
        let period = (lead_in.one - lead_in.time) / 4.0;
        if period.is_finite() && period > 0.0 {
            self.stand = Some(Stand {
                time: lead_in.one - period,
                period,
                number: Some(-1),
            });
            let draft = self.draft_of_first(lead_in.one, period);
            self.adopt(draft, sayings);
        }
    }

    /// Plans what comes next from the beat that the tune stands on.
    fn choose(&mut self, sayings: &mut Vec<Saying>) {
        let draft = match self.stand {
            Some(Stand {
                time,
                period,
                number: Some(number),
            }) if self.seat.confirmed() => self.draft(number, time, period),
            _ => None,
        };
        self.adopt(draft, sayings);
        self.thank(sayings);
    }

    /// Makes `draft` what is planned.
    fn adopt(&mut self, draft: Option<Draft>, sayings: &mut Vec<Saying>) {
        let Some(draft) = draft else {
            return self.withdraw(sayings);
        };
        let same = |call: &Call| call.subject == draft.subject;
        let id = match &self.planned {
            Some(call) if same(call) => {
                let moved = (call.start - draft.start).abs() > MOVED;
                if !moved && call.pace == draft.pace {
                    return;
                }
                call.id
            }
            _ => {
                self.withdraw(sayings);
                self.next += 1;
                self.next - 1
            }
        };
        let call = Call {
            id,
            subject: draft.subject,
            start: draft.start,
            pace: draft.pace,
            seconds: draft.line.seconds / draft.pace,
            words: draft.line.words,
            over_by: draft.over_by,
        };
        self.planned = Some(call.clone());
        sayings.push(Saying::Say(call));
    }

    /// From when on something can be said.
    fn free_at(&self) -> f64 {
        let speaking = self.speaking.as_ref();
        speaking.map_or(f64::NEG_INFINITY, |speaking| speaking.by + GAP)
    }

    /// Whether the figure that starts on beat `number` at `time` was called.
    fn was_called(&self, number: i64, time: f64, period: f64) -> bool {
        let again =
            |(n, t): &(i64, f64)| *n == number && (time - t).abs() < SAME_START_BEATS * period;
        self.called.iter().flatten().any(again)
    }
}

#[cfg(test)]
mod tests;
