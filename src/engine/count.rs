//! Counting: which beat of the tune each beat is, and what is said of it.

use super::Settings;
use crate::event::{Beat, Event, FormHeard, LeadIn, Phrase};
use crate::hear::beats::LEAD_IN;
use crate::hear::features::PITCHES;
use crate::hear::tracker::Heard;
use crate::phrase::belief::{Belief, COUNTED_BEATS, Evidence, LEAD_IN_BEATS, begun};
use crate::phrase::net::PhraseNet;
use crate::phrase::repeat::Memory;
use crate::phrase::shape::Shape;
use crate::phrase::slip::Slips;
use crate::phrase::{Form, Place};

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

/// Counts the beats that the tracker announces.
pub struct Counter {
    settings: Settings,
    belief: Belief,
    memory: Memory,
    phrase_net: PhraseNet,
    shape: Shape,
    slips: Slips,
    /// The form that the tune seems to have, if not the one told.
    other_form: Option<Form>,
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

impl Counter {
    /// Nothing has been heard yet.
    pub fn new(settings: Settings, phrase_net: PhraseNet) -> Self {
        Counter {
            belief: Belief::new(settings.form, settings.trust),
            memory: Memory::default(),
            phrase_net,
            shape: Shape::new(settings.form),
            slips: Slips::new(settings.form),
            other_form: None,
            counting: false,
            opened: u32::MAX,
            moved: false,
            by_tracker: false,
            alike: 0,
            standing: None,
            reckoned: None,
            since_told: usize::MAX,
            unheard: 0,
            paused: 0,
            led_in: None,
            settings,
        }
    }

    /// The belief over the beats of the tune.
    pub fn belief(&self) -> &Belief {
        &self.belief
    }

    /// The time of the beat that the belief stands on, seconds.
    pub fn standing(&self) -> Option<f64> {
        self.standing.map(|standing| standing.time)
    }

    /// Hears semitone magnitudes at `moment`, seconds.
    #[inline(always)]
    pub fn hear(&mut self, moment: f64, pitches: &[f32; PITCHES]) {
        self.memory.hear(moment, pitches);
    }

    /// Whether the beat last announced was then heard.
    pub fn listened(&mut self, heard: bool) {
        self.unheard = if heard { 0 } else { self.unheard + 1 };
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
            self.recount(by);
        }
    }

    /// What is remembered was counted `by` beats too low for some time.
    fn recount(&mut self, by: i64) {
        let form = self.settings.form;
        self.slips.moved(by);
        self.memory.put_right(|place| form.turned(place, by));
    }

    /// Gives the beat its count, and a phrase its name; `before` is what was heard on the beat
    /// that the belief stands on.
    pub fn count(&mut self, beat: &Heard, before: Option<Evidence>, events: &mut Vec<Event>) {
        if let Some(before) = before {
            self.belief.hear(before);
        }
        if let Some(remembered) = self.memory.take() {
            let weights = self.phrase_net.step(&remembered);
            self.belief.weigh(&weights);
            self.look_for_slips();
            self.look_at_form(beat, events);
        }
        match beat.steps {
            None => self.forget(),
            Some(steps) => self.pass(steps),
        }
        let counted = self.counted(beat);
        self.belief.advance(counted);
        self.doubt(&counted);

        let place = self.belief.likeliest();
        let opening = begun(&counted);
        self.open(opening);
        self.stand(beat, place, opening);
        self.tell_lead_in(beat, &counted, place, events);
        if self.belief.leading_in() > 0.5 {
            self.memory.beat(beat.time, beat.period, None);
            return;
        }
        let (count, sure) = self.belief.count();
        let known = self.is_known(sure);
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
        let sharp = beat.spread <= self.settings.sharp;
        if known && count == 1 && (sharp || !opening) {
            events.push(Event::Phrase(Phrase {
                time: beat.time,
                announced: beat.announced,
                part: place.part(),
                phrase: place.phrase(),
                time_through: self.standing.map_or(1, |standing| standing.time_through),
                sure: sure * beat.sure,
            }));
        }
    }

    /// The beat was lost: what was counted before counts no more.
    fn forget(&mut self) {
        self.belief.forget();
        self.memory.forget();
        self.phrase_net.forget();
        self.shape.forget();
        self.slips.forget();
        self.reckoned = None;
        self.paused = 0;
    }

    /// Moves on by the `steps` beats since the last one: about 1 if none was missed.
    fn pass(&mut self, steps: f64) {
        let form = self.settings.form;
        let on = steps.round() as i64;
        self.reckoned = self.reckoned.map(|place| form.turned(place, on));
        let trust = &self.settings.trust;
        let beginning = self.opened < trust.opening || self.belief.leading_in() > 0.1;
        let other = (steps - steps.round()).abs() > trust.apart;
        self.moved |= beginning && other;
        self.alike = if other { 0 } else { self.alike + 1 };
        if steps < PAUSE {
            self.belief.pass(steps - 1.0);
        } else {
            self.belief.pause(steps - 1.0, self.unheard);
            self.paused = AFTER_PAUSE;
            self.counting = false;
        }
    }

    /// What the tracker counts of lead-in and tune, as far as it is to be believed.
    fn counted(&mut self, beat: &Heard) -> [f32; COUNTED_BEATS] {
        let mut counted = [0.0; COUNTED_BEATS];
        counted.copy_from_slice(&beat.modes[LEAD_IN..LEAD_IN + COUNTED_BEATS]);
        // What the caller said since the tracker began to count is worth more.
        self.since_told = self.since_told.saturating_add(1);
        let overruled = counted.iter_mut().skip(self.since_told);
        overruled.for_each(|p| *p = 0.0);
        if self.paused > 0 {
            let p = counted.iter().sum::<f32>().min(1.0);
            let by = NEW_AFTER_PAUSE / (NEW_AFTER_PAUSE * p + 1.0 - p);
            counted.iter_mut().for_each(|x| *x *= by);
        }
        counted
    }

    /// Doubts the count when the tracker's own count ends, if it was not heard well.
    fn doubt(&mut self, counted: &[f32; COUNTED_BEATS]) {
        // The tracker's own count of the first beats goes on over them.
        // A lead-in on the beats that are heard now says more than what came before it.
        self.moved &= counted[LEAD_IN_BEATS - 1] < 0.5 || self.alike < LED_IN_BY;
        let by_tracker = counted.iter().sum::<f32>() >= STILL_COUNTED;
        let began = self.opened < self.settings.trust.opening;
        if !by_tracker && (self.by_tracker || self.moved && began) {
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
        }
        // A beginning that was only suspected puts nothing in doubt.
        self.moved &= by_tracker;
        self.by_tracker = by_tracker;
    }

    /// Counts the beats since a tune began; before an `opening` there was another one.
    fn open(&mut self, opening: bool) {
        if !opening {
            self.opened = self.opened.saturating_add(1);
            return;
        }
        if self.opened > 0 {
            self.slips.forget();
            self.reckoned = None;
        }
        self.opened = 0;
        self.shape.forget();
    }

    /// Notes the beat that the belief stands on now.
    fn stand(&mut self, beat: &Heard, place: Place, opening: bool) {
        let last = self.settings.form.beats() - 1;
        let time_through = match self.standing {
            Some(s) if !opening => {
                let again = place.beat == 0 && s.place.beat == last;
                s.time_through + u32::from(again)
            }
            _ => 1,
        };
        self.standing = Some(Standing {
            time: beat.time,
            period: beat.period,
            place,
            time_through,
        });
    }

    /// Tells of a lead-in. Its fourth beat tells of the "one" a whole beat ahead; where that
    /// was not clear, the "one" itself tells of the lead-in before it.
    fn tell_lead_in(
        &mut self,
        beat: &Heard,
        counted: &[f32; COUNTED_BEATS],
        place: Place,
        events: &mut Vec<Event>,
    ) {
        let led_in = counted[LEAD_IN_BEATS - 1] > 0.5 && place.beat == 0;
        let leads_in =
            counted[LEAD_IN_BEATS - 2] > 0.5 && beat.spread <= self.settings.sharp_lead_in;
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
    }

    /// Whether a count of this sureness is believed.
    fn is_known(&self, sure: f32) -> bool {
        // Sureness wavers: what was believed once is believed a little longer.
        let by_tune = self.belief.by_tune() || self.paused > 0;
        let enough = match (self.counting, by_tune) {
            (true, _) => self.settings.clap_down_to,
            (false, false) => self.settings.clap_above,
            (false, true) if self.opened < self.settings.form.beats() => {
                self.settings.clap_above_begun
            }
            (false, true) => self.settings.clap_above_by_tune,
        };
        // In a tune of another form only a beginning that was heard tells the count.
        let form_fits = self.other_form.is_none() || self.belief.counted();
        sure >= enough && form_fits && !self.moved
    }

    /// Puts the count right when the tune's own repetition tells that it slipped.
    fn look_for_slips(&mut self) {
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
        self.recount(by);
        self.belief.slipped(by, SLIPPED);
        let form = self.settings.form;
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
}
