//! Whether the band left beats out, or played some twice.
//!
//! After once through, and after each repeated part, every beat of the tune has been
//! heard before. Where the band loses a bar, the beats from there on are no longer like
//! those that stood at the same places, but like those some beats on. [`Slips`] remembers
//! which place each beat was thought to be at, and gathers for every slip there may be how
//! much better it explains what is heard than no slip does: cumulative sums that never
//! fall below nothing (E. S. Page, "Continuous inspection schemes", Biometrika 41,
//! 1954). A sum that grows beyond all doubt tells the slip.
//!
//! What is compared are places of one count with each other, so that a count that was wrong
//! from the beginning on neither gains nor loses by it.

use super::belief::NEAR_SLIPS;
use super::form::{Form, PART_BEATS};
use super::repeat::REMEMBERED;

/// Logarithm of a likelihood ratio for each unit of likeness by which a slip explains a
/// beat better.
const WEIGHT: f32 = 8.0;
/// What it has to be better by at each beat, as such a logarithm.
const MARGIN: f32 = 0.8;
/// Most that one beat may say.
const MOST: f32 = 1.6;
/// Most that one beat may say of where the tune goes on, as such a logarithm.
const TOLD: f32 = 1.5;
/// Sum that tells one of [`NEAR_SLIPS`].
const SURELY_NEAR: f32 = 6.0;
/// Sum that tells any other.
const SURELY_FAR: f32 = 9.0;
/// Beats over which it settles how alike the band plays what it plays again.
const SETTLES: f32 = 32.0;
/// Where between the usual likeness and that of what is played again new music may lie.
const NEW: f32 = 0.4;
/// The same of music that surely is played again.
const AGAIN: f32 = 0.6;
/// Share of the last beats that must have been played again before a slip: else the tune is
/// of another form than was told, or not counted right.
const ROUND: f32 = 0.5;
/// Beats over which that share is taken.
const ROUND_BEATS: f32 = 8.0;
/// How alike that is thought to be before it was heard.
const ALIKE: f32 = 0.8;

/// What speaks for a slip by so many beats.
#[derive(Debug, Clone, Copy, Default)]
struct Case {
    /// The sum gathered.
    sum: f32,
    /// The first beat of those gathered.
    since: u64,
    /// Whether the tune came round as it should until then.
    came_round: bool,
}

/// Compares each beat with those before it at the same place, and at others.
#[derive(Debug, Clone)]
pub struct Slips {
    form: Form,
    /// The places of the last beats, beat `k` at `k % REMEMBERED`; `None` where not known.
    places: [Option<u32>; REMEMBERED],
    /// Beats heard.
    heard: u64,
    /// For each number of beats the tune may have moved on by.
    cases: Vec<Case>,
    /// For each place, the greatest likeness to a beat heard there.
    likeness: Vec<Option<f32>>,
    /// Usual likeness of beats to those at the same place.
    alike: f32,
    /// Share of the last beats that were as like as that.
    round: f32,
    /// Mean likeness of the last beat to all before it.
    usual: f32,
}

impl Slips {
    /// Nothing is known yet of a tune of form `form`.
    pub fn new(form: Form) -> Self {
        let beats = form.beats() as usize;
        Slips {
            form,
            places: [None; REMEMBERED],
            heard: 0,
            cases: vec![Case::default(); beats],
            likeness: vec![None; beats],
            alike: ALIKE,
            round: 0.0,
            usual: 0.0,
        }
    }

    /// Forgets all beats.
    pub fn forget(&mut self) {
        self.places.fill(None);
        self.alike = ALIKE;
        self.round = 0.0;
        self.cases.fill(Case::default());
    }

    /// Hears a beat that is thought to be at `place` of the tune, and how like it is to
    /// the one before, to the one before that, and so on.
    pub fn beat(&mut self, place: Option<u32>, likes: impl Iterator<Item = f32>) {
        self.likeness.fill(None);
        self.gather(place, likes);
    }

    /// By how many beats the tune has moved on against the count, if it surely has.
    pub fn slipped(&self) -> Option<i64> {
        let beats = self.cases.len();
        let near = |by: usize| {
            let slips = NEAR_SLIPS.iter();
            slips
                .map(|(near, _)| *near)
                .any(|near| near == by || near == beats - by)
        };
        let surely = |by: usize| if near(by) { SURELY_NEAR } else { SURELY_FAR };
        let told = |by: &usize| {
            let case = self.cases[*by];
            case.came_round && case.sum > surely(*by)
        };
        // Of those that are sure one near is likelier.
        let by = (1..beats).filter(told).max_by(|&a, &b| {
            let sums = self.cases[a].sum.total_cmp(&self.cases[b].sum);
            near(a).cmp(&near(b)).then(sums)
        })?;
        let by = by as i64;
        Some(if by > beats as i64 / 2 {
            by - beats as i64
        } else {
            by
        })
    }

    /// Compares the beat, and gathers what it says for slips: nothing without a place, or
    /// where it is the first there.
    fn gather(&mut self, place: Option<u32>, likes: impl Iterator<Item = f32>) -> Option<()> {
        let now = self.heard;
        self.heard += 1;
        self.places[now as usize % REMEMBERED] = place;
        let usual = self.compare(now, likes)?;
        self.usual = usual;
        let place = place? as usize;
        let beats = self.cases.len();
        let same = self.likeness[place]?;
        // A new tune is like nothing much: that explains what a slip does not.
        let least = same.max(usual + NEW * (self.alike - usual));
        let again = f32::from(same >= usual + AGAIN * (self.alike - usual));
        self.alike += (same - self.alike) / SETTLES;
        for (by, case) in self.cases.iter_mut().enumerate().skip(1) {
            let Some(other) = self.likeness[(place + by) % beats] else {
                continue;
            };
            let better = (WEIGHT * (other - least) - MARGIN).min(MOST);
            if case.sum == 0.0 {
                case.since = now;
                case.came_round = self.round >= ROUND;
            }
            case.sum = (case.sum + better).max(0.0);
        }
        self.round += (again - self.round) / ROUND_BEATS;
        Some(())
    }

    /// The count was moved on by `by` beats, as the band had slipped by them unnoticed.
    pub fn moved(&mut self, by: i64) {
        let beats = self.cases.len() as i64;
        let case = self.cases[by.rem_euclid(beats) as usize];
        let since = if case.sum > 0.0 {
            case.since
        } else {
            self.heard
        };
        let oldest = self.heard.saturating_sub(REMEMBERED as u64);
        for beat in oldest..self.heard {
            let place = &mut self.places[beat as usize % REMEMBERED];
            // How much before what tells of it the band slipped is not known.
            *place = place
                .filter(|_| beat >= since)
                .map(|place| self.form.turned(place, by));
        }
        self.cases.fill(Case::default());
    }

    /// Logarithm of a weight for each place of the tune, by how like the last beat is to those
    /// heard there; 0 where there were none.
    pub fn weights(&self) -> impl Iterator<Item = f32> + '_ {
        let middle = 0.5 * (self.alike + self.usual);
        let weight = move |like: f32| (WEIGHT * (like - middle)).clamp(-TOLD, TOLD);
        self.likeness
            .iter()
            .map(move |like| like.map_or(0.0, weight))
    }

    /// Notes the likeness of beat `now` to those at each place; tells the usual one.
    fn compare(&mut self, now: u64, likes: impl Iterator<Item = f32>) -> Option<f32> {
        let (mut sum, mut count) = (0.0, 0.0);
        for (like, ago) in likes.zip(1..REMEMBERED as u64) {
            let Some(then) = now.checked_sub(ago) else {
                break;
            };
            sum += like;
            count += 1.0;
            let Some(place) = self.places[then as usize % REMEMBERED] else {
                continue;
            };
            for place in [Some(place), self.twin(place)].into_iter().flatten() {
                let best = &mut self.likeness[place as usize];
                *best = Some(best.map_or(like, |best| best.max(like)));
            }
        }
        (count > 0.0).then(|| sum / count)
    }

    /// The place that repeats `place`: in the usual form the second and fourth parts
    /// repeat the first and third.
    fn twin(&self, place: u32) -> Option<u32> {
        let first = (place / PART_BEATS).is_multiple_of(2);
        (self.form == Form::default() && first).then_some(place + PART_BEATS)
    }
}

#[cfg(test)]
mod tests;
