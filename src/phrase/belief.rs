//! Which beat of the tune this is.

use super::form::{Form, PART_BEATS, PHRASE_BEATS, Place};
use super::net::PLACES;

/// Lead-in beats before a tune.
pub const LEAD_IN_BEATS: usize = 4;
/// Beats that the beat tracker counts by itself: the lead-in's, and the tune's
/// first four.
pub const COUNTED_BEATS: usize = LEAD_IN_BEATS + 4;

/// What a beat-by-beat belief expects.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trust {
    /// Probability a beat that the band drops or adds beats, or was miscounted.
    pub slip: f32,
    /// Share of slips that are by one, two or four beats ([`NEAR_SLIPS`]); the
    /// others may lead anywhere.
    pub near_slip: f32,
    /// Weight of the "one" activation's log odds.
    pub one_weight: f32,
    /// Weight of the "part" activation's log odds.
    pub part_weight: f32,
    /// Weight of what the phrase network makes of each beat; 1 takes it at its
    /// word.
    pub tune_weight: f32,
    /// The same while the count comes from the tune's beginning: what was
    /// counted is then better known than what the tune seems to say.
    pub counted_tune_weight: f32,
    /// Beats after the tune's first for which its count is doubted when other beats are
    /// heard than before.
    pub opening: u32,
    /// How far from the old ones they have to lie, beats.
    pub apart: f64,
    /// Probability that the count is then a beat wrong, one way or the other.
    pub wrong: f32,
}

impl Default for Trust {
    fn default() -> Self {
        Trust {
            slip: 5e-4,
            near_slip: 0.8,
            one_weight: 0.1,
            part_weight: 0.1,
            tune_weight: 0.7,
            counted_tune_weight: 0.4,
            opening: 16,
            apart: 0.2,
            wrong: 0.5,
        }
    }
}

/// What was heard at the beat the belief stands on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evidence {
    /// Probability that a phrase begins here, by its sound.
    pub one: f32,
    /// Probability that a part begins here, by its sound.
    pub part: f32,
}

/// Beats by which a count slips, forward or back, and how often each way: a bar
/// is left out or played twice, a beat miscounted, more seldom two bars.
pub const NEAR_SLIPS: [(usize, f32); 3] = [(2, 0.3), (1, 0.15), (4, 0.05)];
/// How often the music goes on by the clock over a pause; else it stands still until the
/// band goes on.
const BY_THE_CLOCK: f32 = 0.4;
/// Spread about a whole number of the beats that such a pause seems to last: the tempo is
/// known to a hundredth or two.
const OFF_THE_CLOCK: f64 = 0.1;
/// Beats announced into a silence, against those that were not heard, and how often.
const STOPPED: [(i64, f32); 3] = [(0, 0.6), (1, 0.2), (-1, 0.2)];

/// Parts of a beat up to which a number of beats is rounded without doubt.
const SURELY_ROUNDED: f64 = 0.42;

/// Whether, by the beat tracker's `counted`, the tune has most probably just begun:
/// the next beat is one of its first five.
pub fn begun(counted: &[f32; COUNTED_BEATS]) -> bool {
    counted[LEAD_IN_BEATS - 1..].iter().sum::<f32>() > 0.5
}

/// A belief over the lead-in's four beats and every beat of the tune.
#[derive(Debug, Clone)]
pub struct Belief {
    form: Form,
    trust: Trust,
    lead_in: [f32; LEAD_IN_BEATS],
    places: Vec<f32>,
    next: Vec<f32>,
    told_by: ToldBy,
}

/// What told the count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum ToldBy {
    /// Nothing but the tune itself.
    Tune,
    /// The tune's beginning or the caller, before a pause.
    BeforePause,
    /// The tune's beginning or the caller, without a pause since.
    Beginning,
}

impl Belief {
    /// A belief that knows nothing.
    pub fn new(form: Form, trust: Trust) -> Self {
        let beats = form.beats() as usize;
        Belief {
            form,
            trust,
            lead_in: [0.0; LEAD_IN_BEATS],
            places: vec![1.0 / beats as f32; beats],
            next: vec![0.0; beats],
            told_by: ToldBy::Tune,
        }
    }

    /// Forgets everything.
    pub fn forget(&mut self) {
        self.told_by = ToldBy::Tune;
        self.lead_in = [0.0; LEAD_IN_BEATS];
        let even = 1.0 / self.places.len() as f32;
        self.places.fill(even);
    }

    /// Probability of each place in the tune, by beat.
    pub fn places(&self) -> &[f32] {
        &self.places
    }

    /// Weighs the present beat by what was heard on it.
    pub fn hear(&mut self, heard: Evidence) {
        let odds = |p: f32, prior: f32| {
            let p = p.clamp(0.002, 0.998);
            (p / (1.0 - p)).ln() - (prior / (1.0 - prior)).ln()
        };
        let one = (self.trust.one_weight * odds(heard.one, 1.0 / PHRASE_BEATS as f32)).exp();
        let part = (self.trust.part_weight * odds(heard.part, 1.0 / PART_BEATS as f32)).exp();
        for (place, p) in (0u32..).zip(&mut self.places) {
            if place.is_multiple_of(PHRASE_BEATS) {
                *p *= one;
            }
            if place.is_multiple_of(PART_BEATS) {
                *p *= part;
            }
        }
        self.normalise();
    }

    /// Weighs the beat *before* the present one by what the phrase network made
    /// of it: the logarithm of a weight for each place.
    ///
    /// Only tunes of form A1 A2 B1 B2 are judged: the network knows no other.
    pub fn weigh(&mut self, heard: &[f32; PLACES]) {
        if self.form != Form::default() {
            return;
        }
        let weight = match self.counted() {
            true => self.trust.counted_tune_weight,
            false => self.trust.tune_weight,
        };
        self.weigh_places(heard.iter().map(|heard| weight * heard));
    }

    /// Weighs the beat *before* the present one by the logarithms of a weight for each place.
    pub fn weigh_places(&mut self, weights: impl Iterator<Item = f32>) {
        let beats = self.places.len();
        for (before, weight) in weights.enumerate() {
            self.places[(before + 1) % beats] *= weight.exp();
        }
        self.normalise();
    }

    /// Moves on to the next beat. `counted[k]` is the probability, by the beat
    /// tracker, that the beat now left was the `k`-th of the four lead-in beats
    /// and the tune's first four, in this order.
    pub fn advance(&mut self, counted: [f32; COUNTED_BEATS]) {
        let beats = self.places.len();
        let by_count = counted.iter().sum::<f32>().min(1.0);
        let total: f32 = self.places.iter().sum();
        let anywhere = 1.0 / beats as f32;
        let near = self.trust.near_slip;
        for (place, next) in self.next.iter_mut().enumerate() {
            let ago = |by: usize| self.places[(place + beats - by % beats) % beats];
            let before = ago(1) / total.max(1e-9);
            let nearby = NEAR_SLIPS
                .iter()
                .map(|(by, often)| often * (ago(1 + by) + ago(beats + 1 - by)))
                .sum::<f32>()
                / total.max(1e-9);
            let slipped = near * nearby + (1.0 - near) * anywhere;
            let share = before + self.trust.slip * (slipped - before);
            let share = if total > 1e-9 { share } else { anywhere };
            *next = (1.0 - by_count) * share;
        }
        let (lead_in, opening) = counted.split_at(LEAD_IN_BEATS - 1);
        if begun(&counted) {
            self.told_by = ToldBy::Beginning;
        }
        for (next, p) in self.next.iter_mut().zip(opening) {
            *next += p;
        }
        std::mem::swap(&mut self.places, &mut self.next);
        self.lead_in[0] = 0.0;
        self.lead_in[1..].copy_from_slice(lead_in);
        self.normalise();
    }

    /// `beats` went by unheard, or less than none; about 0 when all is well.
    ///
    /// Near a half it is not known which way to round.
    pub fn pass(&mut self, beats: f64) {
        let whole = beats.round();
        if whole == 0.0 && beats.abs() < SURELY_ROUNDED {
            return;
        }
        self.turn(whole as i64);
        let rest = beats - whole;
        if rest.abs() >= SURELY_ROUNDED {
            self.next.copy_from_slice(&self.places);
            self.turn(rest.signum() as i64);
            for (p, q) in self.places.iter_mut().zip(&self.next) {
                *p = 0.5 * (*p + q);
            }
        }
    }

    /// The tune has moved on by `beats` against the count; `sure` is the probability of it.
    pub fn slipped(&mut self, beats: i64, sure: f32) {
        self.next.copy_from_slice(&self.places);
        self.turn(beats);
        for (p, stood) in self.places.iter_mut().zip(&self.next) {
            *p = sure * *p + (1.0 - sure) * stood;
        }
    }

    /// The count that the tune's beginning told may be a beat wrong either way, with this
    /// probability: what was counted were other beats than those that are heard now.
    pub fn doubt(&mut self, wrong: f32) {
        self.told_by = ToldBy::Tune;
        let beats = self.places.len();
        self.next.copy_from_slice(&self.places);
        for (place, p) in self.places.iter_mut().enumerate() {
            let sides = self.next[(place + 1) % beats] + self.next[(place + beats - 1) % beats];
            *p = (1.0 - wrong) * self.next[place] + 0.5 * wrong * sides;
        }
    }

    /// The band fell silent for `beats`, into which the last `unheard` beats announced fell,
    /// and goes on. Either the music went on by the clock unheard: then it is on the beat
    /// again. Or it stood still, and goes on where it stopped.
    pub fn pause(&mut self, beats: f64, unheard: usize) {
        if self.told_by == ToldBy::Beginning {
            self.told_by = ToldBy::BeforePause;
        }
        self.pass(beats);
        let off = (beats - beats.round()) / OFF_THE_CLOCK;
        let on_beat = (-0.5 * off * off).exp() / (OFF_THE_CLOCK * std::f64::consts::TAU.sqrt());
        let by_clock = BY_THE_CLOCK * on_beat as f32;
        let by_clock = by_clock / (by_clock + 1.0 - BY_THE_CLOCK);
        // What stood still is what `pass` made, turned back.
        let back = beats.round() as i64 + unheard as i64;
        let n = self.places.len() as i64;
        self.next.copy_from_slice(&self.places);
        for (place, p) in (0i64..).zip(&mut self.places) {
            let stood: f32 = STOPPED
                .iter()
                .map(|(into, often)| {
                    often * self.next[(place + into + back).rem_euclid(n) as usize]
                })
                .sum();
            *p = by_clock * *p + (1.0 - by_clock) * stood;
        }
    }

    /// The caller says that the beat `beats_ago` beats before the present one
    /// was a "one" (negative: a beat yet to come).
    ///
    /// Whatever is known of the part is kept: the belief turns by the fewest
    /// beats that make it so.
    pub fn say_one(&mut self, beats_ago: i64) {
        self.places_known();
        let phrase = i64::from(PHRASE_BEATS);
        let count = i64::from(self.likeliest().count()) - 1;
        let turn = (beats_ago - count).rem_euclid(phrase);
        let turn = if turn > phrase / 2 {
            turn - phrase
        } else {
            turn
        };
        self.turn(turn);
        self.only_ones(beats_ago);
    }

    /// Moves the count by `beats` (forward is positive), and is sure of it.
    pub fn move_count(&mut self, beats: i64) {
        self.places_known();
        let count = self.likeliest().count();
        let beats_ago = i64::from(count) - 1 + beats;
        self.turn(beats);
        self.only_ones(beats_ago);
    }

    /// The likeliest beat of the tune: the likeliest count first, then the
    /// likeliest phrase with that count.
    pub fn likeliest(&self) -> Place {
        let (count, _) = self.count();
        let best = (0..self.places.len())
            .filter(|place| place % PHRASE_BEATS as usize == usize::from(count) - 1)
            .max_by(|&a, &b| self.places[a].total_cmp(&self.places[b]).then(b.cmp(&a)))
            .unwrap_or(0);
        self.form.place(best as u64)
    }

    /// Whether the count comes from the tune's beginning or the caller, without a pause
    /// since: not from the tune alone.
    pub fn counted(&self) -> bool {
        self.told_by == ToldBy::Beginning
    }

    /// Whether nothing but the tune itself ever told the count.
    pub fn by_tune(&self) -> bool {
        self.told_by == ToldBy::Tune
    }

    /// The likeliest count, 1 to 8, and its probability.
    pub fn count(&self) -> (u8, f32) {
        let mut counts = [0.0f32; PHRASE_BEATS as usize];
        for (place, p) in self.places.iter().enumerate() {
            counts[place % PHRASE_BEATS as usize] += p;
        }
        let mut best = 0;
        for (i, &p) in counts.iter().enumerate() {
            if p > counts[best] {
                best = i;
            }
        }
        (best as u8 + 1, counts[best])
    }

    /// Probability that the present beat is one of the lead-in.
    pub fn leading_in(&self) -> f32 {
        self.lead_in.iter().sum()
    }

    /// Leaves only places for which the beat `beats_ago` beats before is a "one".
    fn only_ones(&mut self, beats_ago: i64) {
        for (place, p) in self.places.iter_mut().enumerate() {
            if (place as i64 - beats_ago).rem_euclid(i64::from(PHRASE_BEATS)) != 0 {
                *p *= 1e-6;
            }
        }
        self.normalise();
    }

    fn turn(&mut self, beats: i64) {
        let by = beats.rem_euclid(self.places.len() as i64) as usize;
        self.places.rotate_right(by);
    }

    /// Gives the lead-in's share to the tune: the caller says that it is on, and where.
    fn places_known(&mut self) {
        self.told_by = ToldBy::Beginning;
        self.lead_in = [0.0; LEAD_IN_BEATS];
        self.normalise();
    }

    fn normalise(&mut self) {
        let total: f32 = self.places.iter().chain(&self.lead_in).sum();
        if total > 1e-12 {
            let by = 1.0 / total;
            self.places.iter_mut().for_each(|p| *p *= by);
            self.lead_in.iter_mut().for_each(|p| *p *= by);
        } else {
            self.forget();
        }
    }
}

#[cfg(test)]
mod tests;
