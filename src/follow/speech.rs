//! Speaking calls: where each is on the clock of whoever plays, and with which sound.

use std::sync::Arc;

use super::plan::Step;
use crate::cue::voice::{Clip, Repertoire, Voice};
use crate::cue::{Call, Manner, Prompter, Saying, Script};
use crate::event::Event;
use crate::sound::mix::FADE;

/// Numbers of calls begin here, clear of those of claps and ticks.
const FIRST: u64 = 1 << 40;

/// More calls than any dance has.
const A_DANCE: u64 = 1 << 20;

/// A call is ordered anew when it has moved by so much, seconds.
const MOVED: f64 = 0.0005;

/// Seconds for which a call that is over is remembered.
const REMEMBERED: f64 = 2.0;

/// How a dance is called aloud: by whom, what, and how.
#[derive(Debug, Clone)]
pub struct Calling {
    /// Whoever speaks.
    pub voice: Arc<Voice>,
    /// What that sounds like at one rate.
    pub repertoire: Arc<Repertoire>,
    /// All the words, to be prepared at another.
    pub words: Arc<[String]>,
    /// What is said, and how long it takes.
    pub script: Arc<Script>,
    /// When it is said.
    pub manner: Manner,
    /// Whether it is heard at first.
    pub on: bool,
    /// Gain of the voice.
    pub gain: f32,
}

impl Calling {
    /// What the words sound like at `rate` samples a second; may take seconds.
    pub fn at_rate(&self, rate: u32) -> Arc<Repertoire> {
        match self.repertoire.rate() == rate {
            true => self.repertoire.clone(),
            false => {
                let words = self.words.iter().map(String::as_str);
                Arc::new(self.voice.prepare(words, rate))
            }
        }
    }
}

/// The sound of a call.
pub(super) fn clip<'a>(repertoire: &'a Repertoire, call: &Call) -> Option<&'a Clip> {
    let clips = &repertoire.get(&call.words)?.clips;
    clips.iter().find(|clip| clip.pace >= call.pace - 1e-6)
}

/// The prompter, and whether it is heard.
#[derive(Debug, Clone)]
pub(super) struct Prompting {
    prompter: Prompter,
    on: bool,
    sayings: Vec<Saying>,
}

impl Prompting {
    pub(super) fn new(calling: &Calling) -> Self {
        Prompting {
            prompter: Prompter::new(calling.script.clone(), calling.manner),
            on: calling.on,
            sayings: Vec::new(),
        }
    }

    /// Takes an event; what it changes is to be [`taken`](Self::take).
    pub(super) fn event(&mut self, event: &Event) {
        self.prompter.push(event, &mut self.sayings);
        // It keeps its place all the same.
        if !self.on {
            self.sayings.clear();
        }
    }

    /// Turns the voice on or off, at `now`, seconds of sound.
    pub(super) fn set_on(&mut self, on: bool, now: f64) {
        if self.on != on {
            self.prompter.hush(now, &mut self.sayings);
            if on {
                self.sayings.clear();
            }
            self.on = on;
        }
    }

    /// So many times through are wanted, as was said at `now`, seconds of sound.
    pub(super) fn set_times(&mut self, times: Option<u32>, now: f64) {
        self.prompter.set_times(times, now, &mut self.sayings);
        if !self.on {
            self.sayings.clear();
        }
    }

    /// Introductions from `from` on, seconds of sound.
    pub(super) fn introduce(&mut self, from: f64) {
        if self.on {
            self.prompter.introduce(from, &mut self.sayings);
        }
    }

    /// What has changed since it was asked last.
    pub(super) fn take(&mut self) -> std::vec::Drain<'_, Saying> {
        self.sayings.drain(..)
    }
}

/// A call on its way.
#[derive(Debug, Clone)]
struct Spoken {
    call: Call,
    /// When it is to be silent, seconds of sound, if not at its end.
    stop: Option<f64>,
    /// The times that it was last ordered for, on the clock of whoever plays.
    ordered: Option<f64>,
    stop_ordered: Option<f64>,
    /// It sounds, did, or never will.
    played: bool,
}

/// Plans calls for a loudspeaker with a clock of its own.
#[derive(Debug, Clone)]
pub(super) struct Speech {
    /// Nobody calls something without a card.
    prompting: Option<Prompting>,
    calls: Vec<Spoken>,
    steps: Vec<Step>,
    /// The number of this dance's first call.
    first: u64,
}

impl Speech {
    pub(super) fn new(calling: &Calling) -> Self {
        Speech {
            prompting: Some(Prompting::new(calling)),
            calls: Vec::new(),
            steps: Vec::new(),
            first: FIRST,
        }
    }

    /// Another dance is called from now on, seconds of sound, or (`None`) nothing is: what
    /// waits of the last one is taken back, what sounds of it may end.
    pub(super) fn next_dance(&mut self, calling: Option<&Calling>, now: f64) {
        self.set_on(false, now);
        self.prompting = calling.map(Prompting::new);
        self.calls.clear();
        self.first += A_DANCE;
    }

    /// Takes an event as it becomes known.
    pub(super) fn event(&mut self, event: &Event) {
        if let Some(prompting) = &mut self.prompting {
            prompting.event(event);
        }
        self.obey(event.announced());
    }

    /// Turns the voice on or off, at `now`, seconds of sound.
    pub(super) fn set_on(&mut self, on: bool, now: f64) {
        if let Some(prompting) = &mut self.prompting {
            prompting.set_on(on, now);
        }
        self.obey(now);
    }

    /// So many times through are wanted, as was said at `now`, seconds of sound.
    pub(super) fn set_times(&mut self, times: Option<u32>, now: f64) {
        if let Some(prompting) = &mut self.prompting {
            prompting.set_times(times, now);
        }
        self.obey(now);
    }

    /// Introductions from `now` on, seconds of sound.
    pub(super) fn introduce(&mut self, now: f64) {
        if let Some(prompting) = &mut self.prompting {
            prompting.introduce(now);
        }
        self.obey(now);
    }

    fn obey(&mut self, now: f64) {
        let sayings = self.prompting.iter_mut().flat_map(Prompting::take);
        for saying in sayings {
            match saying {
                Saying::Say(call) => match self.calls.iter_mut().find(|c| c.call.id == call.id) {
                    Some(spoken) => spoken.call = call,
                    None => self.calls.push(Spoken {
                        call,
                        stop: None,
                        ordered: None,
                        stop_ordered: None,
                        played: false,
                    }),
                },
                Saying::Withdraw { id } => self.calls.retain(|spoken| {
                    let taken_back = spoken.call.id == id;
                    if taken_back && spoken.ordered.is_some() {
                        let id = self.first + id;
                        self.steps.push(Step::Withdraw { id });
                        // It may sound already, for loudspeakers are told ahead.
                        let at = f64::NEG_INFINITY;
                        self.steps.push(Step::Stop { id, at });
                    }
                    !taken_back
                }),
                Saying::Stop { id, by } => {
                    if let Some(spoken) = self.calls.iter_mut().find(|c| c.call.id == id) {
                        spoken.stop = Some(by);
                    }
                }
            }
        }
        self.calls
            .retain(|spoken| spoken.call.end() + REMEMBERED > now);
    }

    /// The call that an order is for.
    pub(super) fn call(&self, id: u64) -> Option<&Call> {
        let of = |spoken: &&Spoken| self.first + spoken.call.id == id;
        self.calls.iter().find(of).map(|spoken| &spoken.call)
    }

    /// Whether an order is for a call.
    pub(super) fn is_call(id: u64) -> bool {
        id >= FIRST
    }

    /// What is to be done now, as in [`Plan::steps`](super::plan::Plan::steps).
    pub(super) fn steps(&mut self, now: f64, place: impl Fn(f64) -> Option<f64>) -> Vec<Step> {
        let moved = |before: Option<f64>, at: f64| before.is_none_or(|b| (b - at).abs() > MOVED);
        for spoken in &mut self.calls {
            let id = self.first + spoken.call.id;
            spoken.played |= spoken.ordered.is_some_and(|ordered| ordered < now);
            if !spoken.played
                && let Some(at) = place(spoken.call.start)
                && moved(spoken.ordered, at)
            {
                spoken.ordered = Some(at);
                self.steps.push(Step::Play { id, at });
            }
            if spoken.ordered.is_some()
                && let Some(at) = spoken.stop.and_then(&place)
                && moved(spoken.stop_ordered, at)
            {
                spoken.stop_ordered = Some(at);
                self.steps.push(Step::Stop { id, at });
            }
        }
        std::mem::take(&mut self.steps)
    }

    /// Whoever plays says that `id` came too late: it is not ordered again.
    pub(super) fn missed(&mut self, id: u64) {
        let mut calls = self.calls.iter_mut();
        if let Some(spoken) = calls.find(|c| self.first + c.call.id == id) {
            spoken.played = true;
        }
    }

    /// Forgets what was ordered: there is another loudspeaker, or none.
    pub(super) fn clear(&mut self) {
        self.calls.clear();
        self.steps.clear();
    }
}

/// When a call that is to be silent `by` then falls silent at the earliest, if that is
/// known only at `now`: it fades.
pub(super) fn silent_by(by: f64, now: f64) -> f64 {
    by.max(now + FADE)
}
