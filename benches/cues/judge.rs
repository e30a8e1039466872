//! What was heard in a simulated dance, against its true beats.
//!
//! Nothing here is taken from the scheduler but the orders that it gives: what is
//! danced when comes from the card and the band's own beats, what should have been said
//! from the plan as its words say it.
//!
//! Shared with `tests/cues.rs`.

use eightclap::cue::{Call, LAST_TIME, Prompter, Saying, TWO_MORE};
use eightclap::dance::FigureAt;

use super::world::{Happening, Step, World};

/// How long after its figure's true first beat a call may still be heard, seconds: as
/// far as the beats themselves are foreseen wrongly at a jump of the tempo. (The project
/// takes a clap within 70 ms for right.)
pub const LATE: f64 = 0.050;

/// A call begins on a beat as far as that is foreseen; where the tempo jumps that may be
/// so long before it, seconds. (Of 86 million beats none was foreseen more than 0.128 s
/// wrongly.)
const NEAR: f64 = 0.13;

/// A call that a correction shows to be wrong has so many seconds to fall silent.
const FALLS_SILENT: f64 = 0.1;

/// What the words take at their quickest, and the breath after them: as documented.
const QUICKEST: f64 = 1.25;
pub const BREATH: f64 = 0.12;

/// Words that were heard.
#[derive(Debug, Clone)]
pub struct Heard {
    pub words: String,
    pub from: f64,
    pub to: f64,
    /// When they would have ended by themselves.
    pub whole: f64,
    pub pace: f64,
    pub call: Call,
}

/// Counts over dances.
#[derive(Debug, Clone, Default)]
pub struct Count {
    pub dances: usize,
    pub beats: usize,
    pub jumps: usize,
    pub corrections: usize,
    /// Calls of figures.
    pub calls: usize,
    pub late: usize,
    pub overlapping: usize,
    pub wrong: usize,
    pub early: usize,
    /// Of them, begun while the count was wrong or in doubt: these have to be right once
    /// the count is.
    pub misled: usize,
    /// Cut off at their figure though the count was right, and by how much, seconds.
    pub cut: Vec<f64>,
    /// Cut off there for the count was wrong before or meanwhile.
    pub cut_misled: usize,
    /// Stopped for another figure comes first.
    pub stopped: usize,
    /// From the end of a call to its figure's first beat, seconds, where the count was
    /// right all along.
    pub spare: Vec<f64>,
    /// Beats from the beginning of a call to its figure.
    pub ahead: Vec<f64>,
    pub hurried: usize,
    /// Figures by what was wanted and what was heard.
    pub full: Shares,
    pub short: Shares,
    pub silent: Shares,
    /// Signals to the band: wanted, heard, and heard at a wrong time.
    pub signals: usize,
    pub signals_heard: usize,
    pub signals_wrong: usize,
    /// What was wrong, in words.
    pub faults: Vec<String>,
}

/// What became of figures for which the same was wanted.
#[derive(Debug, Clone, Copy, Default)]
pub struct Shares {
    pub figures: usize,
    pub full: usize,
    pub short: usize,
    pub nothing: usize,
    /// Of those with nothing: whose words are too long for their room.
    pub no_room: usize,
    /// Of those with nothing: the count was not known all through the room.
    pub not_known: usize,
}

/// Lets the scheduler call the dance; what sounds, as a loudspeaker would that does what
/// it is told at once.
pub fn perform(world: &World) -> Vec<Heard> {
    let mut prompter = Prompter::new(world.script.clone(), world.manner);
    let mut heard: Vec<Heard> = Vec::new();
    let mut sayings = Vec::new();
    for happening in &world.happenings {
        let now = match happening {
            Happening::Event(event) => {
                prompter.push(event, &mut sayings);
                event.announced()
            }
            Happening::Times(times, at) => {
                prompter.set_times(*times, *at, &mut sayings);
                *at
            }
        };
        for saying in sayings.drain(..) {
            obey(&mut heard, saying, now);
        }
    }
    heard.retain(|heard| heard.to > heard.from);
    heard
}

fn obey(heard: &mut Vec<Heard>, saying: Saying, now: f64) {
    let id = match &saying {
        Saying::Say(call) => call.id,
        Saying::Withdraw { id } | Saying::Stop { id, .. } => *id,
    };
    let known = heard.iter().position(|heard| heard.call.id == id);
    let begun = known.is_some_and(|at| heard[at].from <= now);
    match (saying, known) {
        (Saying::Say(call), _) => {
            assert!(!begun, "it is said already: {call:?}");
            assert!(
                call.start >= now,
                "ordered after its time: {call:?} at {now}"
            );
            heard.retain(|heard| heard.call.id != id);
            heard.push(Heard {
                words: call.words.to_string(),
                from: call.start,
                to: call.start + call.seconds,
                whole: call.start + call.seconds,
                pace: call.pace,
                call,
            });
        }
        (Saying::Withdraw { .. }, Some(at)) => {
            assert!(!begun, "taken back after it began: {:?}", heard[at]);
            heard.remove(at);
        }
        (Saying::Stop { by, .. }, Some(at)) => {
            let heard = &mut heard[at];
            assert!(heard.to > now, "stopped after its end: {heard:?} at {now}");
            heard.to = by.max(now).min(heard.whole);
        }
        (saying, None) => panic!("nobody knows what {saying:?} is"),
    }
}

impl Count {
    /// Judges a dance.
    pub fn add(&mut self, world: &World, heard: &[Heard]) {
        self.dances += 1;
        self.beats += world.steps.len();
        self.jumps += world.jumps;
        self.corrections += world.corrections;
        let mut in_order: Vec<&Heard> = heard.iter().collect();
        in_order.sort_by(|a, b| a.from.total_cmp(&b.from));
        for pair in in_order.windows(2) {
            if pair[1].from < pair[0].to {
                self.overlapping += 1;
                self.faults.push(format!("overlap: {pair:?}"));
            }
        }
        let starts = starts(world);
        for heard in in_order
            .iter()
            .filter(|heard| is_figure(world, &heard.words))
        {
            self.call(world, heard, &starts);
        }
        for start in &starts {
            self.figure(world, start, &in_order);
        }
        self.signals(world, &in_order);
    }

    /// Judges one call.
    fn call(&mut self, world: &World, heard: &Heard, starts: &[Start]) {
        self.calls += 1;
        self.hurried += usize::from(heard.pace > 1.0);
        // What was believed when it began: of the last beat announced by then. If that
        // was wrong, when it was put right.
        let said = world.steps.iter().filter(|s| s.announced <= heard.from);
        let belief = said.max_by(|a, b| a.announced.total_cmp(&b.announced));
        let known = belief.is_none_or(|step| step.known);
        let put_right = world
            .steps
            .iter()
            .filter(|s| s.known && s.announced >= heard.from)
            .map(|s| s.announced)
            .fold(f64::INFINITY, f64::min);
        // The same where it went wrong while the call was heard.
        let meanwhile = |s: &&Step| s.announced >= heard.from && s.announced <= heard.to;
        let mut astray = world.steps.iter().filter(meanwhile);
        let astray = astray.rfind(|s| !s.known && s.believed.is_some());
        let silent_by = match astray.map(|step| step.announced) {
            None if known => f64::NEG_INFINITY,
            None => put_right + FALLS_SILENT,
            Some(astray) => {
                let after = |s: &&Step| s.known && s.announced > astray;
                let right = world.steps.iter().find(after);
                right.map_or(f64::INFINITY, |s| s.announced) + FALLS_SILENT
            }
        };
        self.misled += usize::from(!known);
        // It may begin on a figure's first beat, as well as that is foreseen.
        let from = match put_right {
            at if !known && at < heard.to => at,
            _ => heard.from + NEAR,
        };
        let next = starts.iter().find(|start| start.time > from);
        let named = |start: &Start| {
            start.figure.call == heard.words || start.figure.short.as_deref() == Some(&heard.words)
        };
        let right = next.filter(|start| named(start));
        let Some(right) = right else {
            self.stopped += usize::from(heard.to < heard.whole);
            // After the last figure the band stops, which nobody can know.
            if heard.to > silent_by && next.is_some() {
                self.wrong += 1;
                self.faults.push(format!("wrong: {heard:?}, next {next:?}"));
            }
            return;
        };
        let spare = right.time - heard.to;
        let all_along = world
            .steps
            .iter()
            .filter(|s| (heard.from..heard.whole).contains(&s.announced))
            .all(|step| step.known || step.believed.is_none());
        match (heard.to < heard.whole, known && all_along) {
            (true, true) => self.cut.push(heard.whole - heard.to),
            (true, false) => self.cut_misled += 1,
            (false, true) => self.spare.push(spare),
            (false, false) => {}
        }
        if spare < -LATE && heard.to > silent_by {
            self.late += 1;
            self.faults.push(format!("late by {}: {heard:?}", -spare));
        }
        let before = right.room_from(world);
        self.ahead.push(right.beats_after(world, heard.from));
        if known && right.number > 0 && heard.from < before - NEAR {
            self.early += 1;
            self.faults
                .push(format!("too early: {heard:?} for {right:?}"));
        }
    }

    /// Judges whether a figure was called as it was to be.
    fn figure(&mut self, world: &World, start: &Start, heard: &[&Heard]) {
        let fading = world.manner.fading;
        let time = (start.number / i64::from(world.card.form().beats())) as u32 + 1;
        let shares = if time <= fading.full {
            &mut self.full
        } else if time <= fading.full + fading.short {
            &mut self.short
        } else {
            &mut self.silent
        };
        shares.figures += 1;
        let from = start.room_from(world) - NEAR;
        let mine = |h: &&&Heard| h.from >= from && h.from < start.time;
        let says = |words: Option<&str>| {
            heard
                .iter()
                .filter(mine)
                .any(|h| words == Some(h.words.as_str()))
        };
        if says(Some(&start.figure.call)) {
            shares.full += 1;
        } else if says(start.figure.short.as_deref()) {
            shares.short += 1;
        } else {
            shares.nothing += 1;
            let room = start.time - start.room_from(world);
            let full = world.lengths[&start.figure.call];
            let short = start
                .figure
                .short
                .as_ref()
                .map(|words| world.lengths[words]);
            let least = short.map_or(full, |short| short.min(full));
            if least / QUICKEST + BREATH > room {
                shares.no_room += 1;
            } else if !start.known(world) {
                shares.not_known += 1;
            }
        }
    }

    /// Judges what the band was told: that two more times follow, or the last, in the
    /// last part before or the first part of the time through that is meant.
    fn signals(&mut self, world: &World, heard: &[&Heard]) {
        let form = i64::from(world.card.form().beats());
        let danced = world.steps.len() as i64 / form;
        let Some(times) = world.times.map(i64::from) else {
            return;
        };
        for (words, before) in [(TWO_MORE, 2), (LAST_TIME, 1)] {
            // Told at the end of this time through, from 0, or after it.
            let told_in = times - before - 1;
            if told_in >= 0 && told_in < danced {
                self.signals += 1;
            }
            for heard in heard.iter().filter(|heard| heard.words == words) {
                let place = world
                    .steps
                    .iter()
                    .rev()
                    .find(|s| s.time <= heard.from + NEAR);
                let border = (told_in + 1) * form;
                let near = |s: &Step| (border - 16..border + 16).contains(&s.number);
                if place.is_some_and(near) {
                    self.signals_heard += 1;
                } else if place.is_none_or(|step| step.known) {
                    self.signals_wrong += 1;
                    self.faults.push(format!("signal: {heard:?} at {place:?}"));
                }
            }
        }
    }
}

/// A figure's true start.
#[derive(Debug, Clone)]
pub struct Start {
    time: f64,
    number: i64,
    figure: FigureAt,
    /// First beat of the figure before.
    before: i64,
}

impl Start {
    fn room_from(&self, world: &World) -> f64 {
        let from = self.before.max(self.number - 8).max(0);
        world.steps[from as usize].time
    }

    /// Whether the engine knew where it was from a beat before the room on.
    fn known(&self, world: &World) -> bool {
        let from = self.before.max(self.number - 8) - 1;
        from >= 0
            && world.steps[from as usize..self.number as usize]
                .iter()
                .all(|step| step.known)
    }

    /// Beats from `time` to this start.
    fn beats_after(&self, world: &World, time: f64) -> f64 {
        let at = world.steps[..self.number as usize]
            .iter()
            .rev()
            .find(|step| step.time <= time + NEAR);
        at.map_or(f64::NAN, |step| (self.number - step.number) as f64)
    }
}

/// All figures of the dance, as the band plays.
fn starts(world: &World) -> Vec<Start> {
    let form = i64::from(world.card.form().beats());
    let mut before = 0;
    let mut starts = Vec::new();
    for step in &world.steps {
        let beat = step.number.rem_euclid(form);
        let figures = world.card.figures();
        if let Some(figure) = figures.iter().find(|f| i64::from(f.start_beat) == beat) {
            starts.push(Start {
                time: step.time,
                number: step.number,
                figure: figure.clone(),
                before,
            });
            before = step.number;
        }
    }
    starts
}

fn is_figure(world: &World, words: &str) -> bool {
    world
        .card
        .figures()
        .iter()
        .any(|f| f.call == words || f.short.as_deref() == Some(words))
}
