//! Hearing and counting in one state machine: samples in, events out.
//!
//! The engine has no clock, thread or device: live sound, files, tests and
//! benches run the same code. What it says depends only on the samples it was
//! given, never on how they were cut into blocks, and never on samples after
//! the moment it speaks.

use crate::event::{Beat, Event, FormHeard, LeadIn, Phrase};
use crate::hear::beats::{Expectations, LEAD_IN};
use crate::hear::features::{FEATURES, FRAME_RATE, Features, PITCHES, RateError, WINDOW};
use crate::hear::net::{Activation, Net};
use crate::hear::tracker::{Heard, Tracker};
use crate::phrase::belief::{Belief, COUNTED_BEATS, Evidence, LEAD_IN_BEATS, Trust, begun};
use crate::phrase::net::PhraseNet;
use crate::phrase::repeat::Memory;
use crate::phrase::shape::Shape;
use crate::phrase::slip::Slips;
use crate::phrase::{Form, Place};

/// What the engine is told about the music beforehand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// The tune's form.
    pub form: Form,
    /// Probability of the likeliest count above which the engine begins to clap.
    pub clap_above: f32,
    /// The same where the count comes from the tune alone, not from a beginning that was
    /// heard or from the caller.
    pub clap_above_by_tune: f32,
    /// Probability of it down to which the engine then goes on clapping.
    pub clap_down_to: f32,
    /// Largest spread, seconds, of the tune's first beat that is clapped on: with
    /// lead-ins heard well it is 8 to 11 ms.
    pub sharp: f64,
    /// The same of a lead-in's fourth beat that tells of the tune's first.
    pub sharp_lead_in: f64,
    /// Expectations of the beat.
    pub expect: Expectations,
    /// Trust in the phrase evidence.
    pub trust: Trust,
}

impl Default for Settings {
    fn default() -> Self {
        Settings {
            form: Form::default(),
            clap_above: 0.6,
            clap_above_by_tune: 0.8,
            clap_down_to: 0.45,
            sharp: 0.010,
            sharp_lead_in: 0.0115,
            expect: Expectations::default(),
            trust: Trust::default(),
        }
    }
}

/// Beats between two announced beats from which the band must have paused.
const PAUSE: f64 = 3.0;

/// Probability below which a beat is none of those that the beat tracker counts.
const STILL_COUNTED: f32 = 0.2;
/// Beats in a row, the tune's first the last, that are enough to have led in.
const LED_IN_BY: u32 = 2;
/// Probability of a count after the beats that the tracker counts, from which it is believed
/// although other beats are heard by then than first: the tracker has counted them anew. Of
/// 23 such counts in 432 recordings the seven from here on were right, of the others nine.
const COUNTED_ON: f32 = 0.93;
/// Probability of a count after the beats that the tracker counts, below which the tune's
/// beginning was not heard well enough to count from.
const BEGUN_WELL: f32 = 0.7;

/// Activation of a beat below which nothing was heard of it.
const UNHEARD: f32 = 0.35;
/// Beats after a pause for which it is asked where the tune went on.
const AFTER_PAUSE: u32 = 16;
/// Probability of a count from which that is known.
const GOES_ON: f32 = 0.97;
/// Odds that the band begins anew after a short pause, against those that the beat network
/// takes for granted, which are even: what sounds like a lead-in are mostly the tune's next
/// beats.
const NEW_AFTER_PAUSE: f32 = 0.2;
/// Probability of a slip that the tune's own repetition tells.
const SLIPPED: f32 = 0.9;

/// Activations kept to judge a beat by: 1.28 s.
const KEPT: usize = 128;
/// Frames that go through each stage together, if there are so many.
const TOGETHER: usize = 16;
/// Seconds around a beat in which a "one" is looked for.
const ONE_REACH: f64 = 0.045;

/// Hears a band and counts its phrases.
pub struct Engine {
    settings: Settings,
    features: Features,
    net: Net,
    tracker: Tracker,
    belief: Belief,
    memory: Memory,
    phrase_net: PhraseNet,
    shape: Shape,
    slips: Slips,
    /// The form that the tune seems to have, if not the one told.
    other_form: Option<Form>,
    /// The newest activations, by frame number modulo [`KEPT`].
    recent: [Activation; KEPT],
    frames: u64,
    /// Whether the last beat's count was sure enough.
    counting: bool,
    /// Beats since the tune's first was heard to begin.
    opened: u32,
    /// Other beats are heard since than those of the lead-in: its count is in doubt.
    moved: bool,
    /// Whether the beat tracker counted the last beat.
    by_tracker: bool,
    /// Beats since other beats were heard than before.
    alike: u32,
    /// The beat the belief stands on, once there is one.
    standing: Option<Standing>,
    /// Where in the tune that beat is, if the count goes on that was known last or, before,
    /// was the first.
    reckoned: Option<u32>,
    /// Beats since the caller told the count.
    since_told: usize,
    /// The beat announced, until it was listened for.
    awaited: Option<f64>,
    /// Beats in a row up to the last that were announced and not heard.
    unheard: usize,
    /// Beats for which it is still asked where the tune went on after a pause.
    paused: u32,
    /// The "one" that the last beat, a lead-in's fourth, told of, seconds.
    led_in: Option<f64>,
}

/// The beat last announced, and where the tune was then.
#[derive(Debug, Clone, Copy)]
struct Standing {
    time: f64,
    period: f64,
    place: Place,
    time_through: u32,
}

impl Engine {
    /// An engine for mono sound at `rate` samples a second.
    pub fn new(rate: u32, settings: Settings) -> Result<Self, RateError> {
        Self::with_nets(rate, settings, Net::trained(), PhraseNet::trained())
    }

    /// An engine that hears with other networks than those that ship, to compare
    /// them.
    pub fn with_nets(
        rate: u32,
        settings: Settings,
        net: Net,
        phrase_net: PhraseNet,
    ) -> Result<Self, RateError> {
        let features = Features::new(rate)?;
        Ok(Engine {
            features,
            tracker: Tracker::new(settings.expect, net.delay()),
            net,
            belief: Belief::new(settings.form, settings.trust),
            memory: Memory::default(),
            phrase_net,
            shape: Shape::new(settings.form),
            slips: Slips::new(settings.form),
            other_form: None,
            recent: [Activation::default(); KEPT],
            frames: 0,
            counting: false,
            opened: u32::MAX,
            moved: false,
            by_tracker: false,
            alike: 0,
            standing: None,
            reckoned: None,
            paused: 0,
            since_told: usize::MAX,
            awaited: None,
            unheard: 0,
            led_in: None,
            settings,
        })
    }

    /// Seconds of sound heard, in whole frames of 10 ms.
    pub fn heard(&self) -> f64 {
        self.frames as f64 / f64::from(FRAME_RATE)
    }

    /// The belief over the beats of the tune.
    pub fn belief(&self) -> &Belief {
        &self.belief
    }

    /// The activation of the newest frame, which speaks of the moment
    /// [`Self::activation_delay`] seconds before [`Self::heard`].
    pub fn activation(&self) -> Activation {
        self.recent[(self.frames as usize + KEPT - 1) % KEPT]
    }

    /// Seconds by which activations lag behind the sound heard.
    pub fn activation_delay(&self) -> f64 {
        self.net.delay()
    }

    /// Hears mono `samples` (full scale is ±1) and appends what it decides to
    /// `events`, in the order in which it became known.
    pub fn push(&mut self, mut samples: &[f32], events: &mut Vec<Event>) {
        // Of a long block several frames go through each stage in a row: what a stage
        // needs then stays close to the processor. Each hears them one by one all the same.
        let mut heard = [(Activation::default(), [0.0; PITCHES]); TOGETHER];
        let mut features = [[0.0; FEATURES]; TOGETHER];
        loop {
            let mut frames = 0;
            for (features, (_, pitches)) in features.iter_mut().zip(&mut heard) {
                let Some(frame) = self.features.next(&mut samples) else {
                    break;
                };
                (*features, *pitches) = (*frame.features, *frame.pitches);
                frames += 1;
            }
            let heard = &mut heard[..frames];
            for (features, (activation, _)) in features.iter().zip(&mut *heard) {
                *activation = self.net.step(features);
            }
            for (activation, pitches) in heard {
                self.hear(*activation, pitches, events);
            }
            if frames < TOGETHER {
                return;
            }
        }
    }

    /// Takes in one frame's activation and semitone magnitudes.
    fn hear(&mut self, activation: Activation, pitches: &[f32; PITCHES], events: &mut Vec<Event>) {
        self.recent[self.frames as usize % KEPT] = activation;
        self.frames += 1;
        let heard = self.heard();
        let beat = self.tracker.step(heard, &activation);
        self.memory.hear(heard - 0.5 * WINDOW, pitches);
        self.listen_for_it();
        if let Some(beat) = beat {
            self.count(&beat, events);
        }
    }

    /// Notes, once, whether the beat announced was then heard.
    fn listen_for_it(&mut self) {
        let Some(time) = self.awaited else { return };
        let moment = self.heard() - self.net.delay();
        if moment < time + ONE_REACH {
            return;
        }
        self.awaited = None;
        let strongest = self
            .around(time)
            .map(|heard| heard.beat)
            .fold(0.0, f32::max);
        self.unheard = match strongest < UNHEARD {
            true => self.unheard + 1,
            false => 0,
        };
    }

    /// The caller says that the beat nearest to `time` (seconds) is a "one".
    pub fn say_one(&mut self, time: f64) {
        if let Some(standing) = self.standing {
            let ago = ((standing.time - time) / standing.period).round();
            self.belief.say_one(ago as i64);
            self.settle();
        }
    }

    /// The caller moves the count by `beats`; forward is positive.
    pub fn move_count(&mut self, beats: i32) {
        if self.standing.is_some() {
            self.belief.move_count(i64::from(beats));
            self.settle();
        }
    }

    /// Takes the place of the beat last announced from the corrected belief.
    fn settle(&mut self) {
        let place = self.belief.likeliest();
        self.paused = 0;
        self.moved = false;
        self.since_told = 0;
        self.reckon(place);
        if let Some(standing) = &mut self.standing {
            standing.place = place;
        }
    }

    /// The beat last announced is known to be at `place`. If the count that was known before
    /// has it elsewhere, that was wrong for some time.
    fn reckon(&mut self, place: Place) {
        let reckoned = self.reckoned.replace(place.beat);
        if let Some(reckoned) = reckoned.filter(|reckoned| *reckoned != place.beat) {
            let by = i64::from(place.beat) - i64::from(reckoned);
            self.slips.moved(by);
            self.memory
                .put_right(|place| self.settings.form.turned(place, by));
        }
    }

    /// Gives a beat its count, and a phrase its name.
    fn count(&mut self, beat: &Heard, events: &mut Vec<Event>) {
        if let Some(standing) = self.standing {
            let heard = self.evidence(standing.time);
            self.belief.hear(heard);
        }
        if let Some(remembered) = self.memory.take() {
            let weights = self.phrase_net.step(&remembered);
            self.belief.weigh(&weights);
            self.look_for_slips();
            self.look_at_form(beat, events);
        }
        match beat.steps {
            None => {
                self.belief.forget();
                self.memory.forget();
                self.phrase_net.forget();
                self.shape.forget();
                self.slips.forget();
                self.reckoned = None;
                self.paused = 0;
            }
            Some(steps) => {
                let form = self.settings.form;
                let on = steps.round() as i64;
                self.reckoned = self.reckoned.map(|place| form.turned(place, on));
                let trust = &self.settings.trust;
                let beginning = self.opened < trust.opening || self.belief.leading_in() > 0.1;
                let other = (steps - steps.round()).abs() > trust.apart;
                self.moved |= beginning && other;
                self.alike = if other { 0 } else { self.alike + 1 };
                match steps >= PAUSE {
                    true => {
                        self.belief.pause(steps - 1.0, self.unheard);
                        self.paused = AFTER_PAUSE;
                        self.counting = false;
                    }
                    false => self.belief.pass(steps - 1.0),
                }
            }
        }
        let mut counted = [0.0; COUNTED_BEATS];
        counted.copy_from_slice(&beat.modes[LEAD_IN..LEAD_IN + COUNTED_BEATS]);
        // What the caller said since the tracker began to count is worth more.
        self.since_told = self.since_told.saturating_add(1);
        counted
            .iter_mut()
            .skip(self.since_told)
            .for_each(|p| *p = 0.0);
        if self.paused > 0 {
            let p = counted.iter().sum::<f32>().min(1.0);
            let by = NEW_AFTER_PAUSE / (NEW_AFTER_PAUSE * p + 1.0 - p).max(1e-6);
            counted.iter_mut().for_each(|x| *x *= by);
        }
        self.belief.advance(counted);
        // The tracker's own count of the first beats goes on over them.
        // A lead-in on the beats that are heard now says more than what came before it.
        self.moved &= counted[LEAD_IN_BEATS - 1] < 0.5 || self.alike < LED_IN_BY;
        let by_tracker = counted.iter().sum::<f32>() >= STILL_COUNTED;
        if self.by_tracker && !by_tracker {
            let sure = self.belief.count().1;
            let doubted = match self.moved {
                true => (sure < COUNTED_ON).then_some(self.settings.trust.wrong),
                false => {
                    let begun = self.opened < COUNTED_BEATS as u32;
                    (begun && sure < BEGUN_WELL).then_some(0.0)
                }
            };
            if let Some(wrong) = doubted {
                self.belief.doubt(wrong);
            }
            self.moved = false;
        }
        self.by_tracker = by_tracker;
        // A beginning that was only suspected is over when its time is.
        self.moved &= by_tracker || self.opened < self.settings.trust.opening;

        let leading = self.belief.leading_in();
        let (count, sure) = self.belief.count();
        let place = self.belief.likeliest();
        let led_in = counted[LEAD_IN_BEATS - 1] > 0.5 && place.beat == 0;
        let sharp = beat.spread <= self.settings.sharp;
        let leads_in =
            counted[LEAD_IN_BEATS - 2] > 0.5 && beat.spread <= self.settings.sharp_lead_in;
        let opening = begun(&counted);
        if opening && self.opened > 0 {
            self.slips.forget();
            self.reckoned = None;
        }
        self.opened = match opening {
            true => 0,
            false => self.opened.saturating_add(1),
        };
        if opening {
            self.shape.forget();
        }
        let time_through = match self.standing {
            _ if opening => 1,
            Some(s) if place.beat == 0 && s.place.beat + 1 == self.settings.form.beats() => {
                s.time_through + 1
            }
            Some(s) => s.time_through,
            None => 1,
        };
        self.awaited = Some(beat.time);
        self.standing = Some(Standing {
            time: beat.time,
            period: beat.period,
            place,
            time_through,
        });
        // Its fourth beat tells of the "one" a whole beat ahead; where that was not
        // clear, the "one" itself tells of the lead-in before it.
        let told = self.led_in.take();
        let one = match (leads_in, led_in) {
            (true, _) => Some(beat.time + beat.period),
            (_, true) => told.is_none().then_some(beat.time),
            _ => None,
        };
        if let Some(one) = one {
            events.push(Event::LeadIn(LeadIn {
                time: one - LEAD_IN_BEATS as f64 * beat.period,
                announced: beat.announced,
                one,
            }));
        }
        self.led_in = one.filter(|one| *one > beat.time);
        if leading > 0.5 {
            self.memory.beat(beat.time, beat.period, None);
            return;
        }
        // Sureness wavers: what was believed once is believed a little longer.
        let by_tune = self.belief.by_tune() || self.paused > 0;
        let enough = match (self.counting, by_tune) {
            (true, _) => self.settings.clap_down_to,
            (false, false) => self.settings.clap_above,
            (false, true) => self.settings.clap_above_by_tune,
        };
        // In a tune of another form only a beginning that was heard tells the count.
        let form_fits = self.other_form.is_none() || self.belief.counted();
        let known = sure >= enough && form_fits && !self.moved;
        self.counting = known;
        if known || self.reckoned.is_none() {
            self.reckon(place);
        }
        self.memory.beat(beat.time, beat.period, self.reckoned);
        events.push(Event::Beat(Beat {
            time: beat.time,
            announced: beat.announced,
            count: known.then_some(count),
            steps_per_minute: 60.0 / beat.period,
            sure: beat.sure,
        }));
        // A lead-in heard badly tells that the tune begins, but not when to the
        // hundredth of a second: then the first clap is left to the next phrase.
        if known && count == 1 && (sharp || !opening) {
            events.push(Event::Phrase(Phrase {
                time: beat.time,
                announced: beat.announced,
                part: place.part(),
                phrase: place.phrase(),
                time_through,
                sure: sure * beat.sure,
            }));
        }
    }

    /// Puts the count right when the tune's own repetition tells that it slipped.
    fn look_for_slips(&mut self) {
        let form = self.settings.form;
        self.slips.beat(self.memory.place(), self.memory.likes());
        if self.paused > 0 {
            // Where the tune goes on is told by what is played then.
            self.belief.weigh_places(self.slips.weights());
            self.paused = match self.belief.count().1 {
                sure if sure > GOES_ON => 0,
                _ => self.paused - 1,
            };
            return;
        }
        let Some(by) = self.slips.slipped() else {
            return;
        };
        self.slips.moved(by);
        self.belief.slipped(by, SLIPPED);
        self.memory.put_right(|place| form.turned(place, by));
        self.reckoned = self.reckoned.map(|place| form.turned(place, by));
        if let Some(standing) = &mut self.standing {
            standing.place = self.belief.likeliest();
        }
    }

    /// Says so when the tune repeats itself in another form than was told.
    fn look_at_form(&mut self, beat: &Heard, events: &mut Vec<Event>) {
        let other = self.shape.beat(self.memory.again());
        if other != self.other_form {
            self.other_form = other;
            events.push(Event::Form(FormHeard {
                time: beat.time,
                announced: beat.announced,
                other,
            }));
        }
    }

    /// What the sound around the beat at `time` says about phrases.
    fn evidence(&self, time: f64) -> Evidence {
        let mut evidence = Evidence {
            one: 0.0,
            part: 0.0,
        };
        for heard in self.around(time) {
            evidence.one = evidence.one.max(heard.one);
            evidence.part = evidence.part.max(heard.part);
        }
        evidence
    }

    /// The activations around the beat at `time`, as far as they are kept.
    fn around(&self, time: f64) -> impl Iterator<Item = &Activation> {
        let centre = (time + self.net.delay()) * f64::from(FRAME_RATE) - 1.0;
        let reach = ONE_REACH * f64::from(FRAME_RATE);
        let first = (centre - reach).round().max(0.0) as u64;
        let last = (centre + reach).round().max(0.0) as u64;
        let oldest = (self.frames + 1).saturating_sub(KEPT as u64);
        (first.max(oldest)..=last.min(self.frames.saturating_sub(1)))
            .map(|frame| &self.recent[frame as usize % KEPT])
    }
}
