//! Whether the tune comes again when its form says so.
//!
//! Once through a tune of form F, every beat repeats the one F beats before it,
//! and no shorter way back is as like throughout. [`Shape`] keeps, for each form
//! that there may be, how like the last beats were to those of one form before. It
//! tells a form only where that lies clearly apart from the form told: what looks
//! alike by chance, or after the band changed tunes, is no form.

use super::form::{Form, PHRASE_BEATS};

/// Shortest and longest form that is looked for, in phrases.
const PHRASES: std::ops::RangeInclusive<usize> = 3..=16;
/// Forms looked for: 24, 32, … 128 beats.
pub const FORMS: usize = *PHRASES.end() - *PHRASES.start() + 1;

/// How like the last whole beat is to the one each form before, against the mean
/// likeness to all beats before: forms as [`beats`] counts them, `None` where the
/// music is not that old.
pub type Again = [Option<f32>; FORMS];

/// Beats over which likeness is gathered.
const WINDOW: usize = 64;
/// Beats of it that a form must have to be compared: half a tune.
const ENOUGH: usize = 32;
/// How much more alike the tune must be in another form than in the one told. Of
/// right forms the margin stayed below 0.033, of wrong ones it came above 0.053
/// (`cargo bench --bench trials -- --only form`; DEVELOPERS.md).
const CLEARLY_OTHER: f32 = 0.045;
/// The same for a form that divides the one told: both repeat then, the longer one
/// a little less. Of right forms it stayed below -0.04.
const CLEARLY_SHORTER: f32 = -0.01;
/// Beats in a row for which another form must look likelier: when a band has changed
/// tunes, the form told looks worse for a while.
const HELD: usize = 32;
/// Least likeness of a form in which a tune comes round: of right forms it was above
/// 0.137. A new tune is like none before it.
const ALIKE: f32 = 0.13;
/// Likeness that is lost at each further repetition, at most: of forms as alike as
/// that, the shortest is the tune's.
const AS_ALIKE: f32 = 0.06;

/// Beats of the form at `index` of [`Again`].
pub fn beats(index: usize) -> usize {
    (PHRASES.start() + index) * PHRASE_BEATS as usize
}

/// Gathers how the tune repeats itself.
#[derive(Debug, Clone)]
pub struct Shape {
    told: Form,
    window: Vec<Again>,
    heard: usize,
    /// Beats for which another form than the one told has looked likelier.
    doubted: usize,
}

impl Shape {
    /// Nothing is known yet of a tune told to have form `told`.
    pub fn new(told: Form) -> Self {
        Shape {
            told,
            window: vec![[None; FORMS]; WINDOW],
            heard: 0,
            doubted: 0,
        }
    }

    /// Forgets what was heard, as when the beat was lost.
    pub fn forget(&mut self) {
        self.window.fill([None; FORMS]);
        self.heard = 0;
        self.doubted = 0;
    }

    /// Takes the next beat; tells the form that the tune seems to have, if that is
    /// clearly another than was told.
    pub fn beat(&mut self, again: Again) -> Option<Form> {
        self.window[self.heard % WINDOW] = again;
        self.heard += 1;
        let other = self.other();
        self.doubted = other.map_or(0, |_| self.doubted + 1);
        other.filter(|_| self.doubted >= HELD)
    }

    /// The form that looks likelier than the one told just now.
    fn other(&self) -> Option<Form> {
        let told = self.told.beats() as usize;
        let known: [Option<f32>; FORMS] = std::array::from_fn(|at| self.likeness(at));
        let of_told = (0..FORMS).find(|&at| beats(at) == told);
        let of_told = known[of_told?]?;
        let others = || {
            let all = known.iter().enumerate();
            all.filter_map(|(at, likeness)| Some((beats(at), (*likeness)?)))
                .filter(|(beats, _)| *beats != told)
        };
        let clearly = |(beats, likeness): &(usize, f32)| {
            let margin = match told.is_multiple_of(*beats) {
                true => CLEARLY_SHORTER,
                false => CLEARLY_OTHER,
            };
            *likeness > ALIKE && likeness - of_told > margin
        };
        let best = others()
            .filter(clearly)
            .map(|(_, likeness)| likeness)
            .max_by(f32::total_cmp)?;
        let (beats, _) = others().find(|(_, likeness)| *likeness >= best - AS_ALIKE)?;
        Form::new(beats as u32).ok()
    }

    /// Mean likeness over the window, if there is enough of it.
    fn likeness(&self, at: usize) -> Option<f32> {
        let known = self.window.iter().filter_map(|again| again[at]);
        let beats = known.clone().count();
        (beats >= ENOUGH).then(|| known.sum::<f32>() / beats as f32)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Plays `times` through a tune whose parts are named by letters; the same
    /// letter sounds alike, and other letters not. Tells the form heard at each beat.
    fn play(told: u32, parts: &str, times: usize) -> Vec<Option<u32>> {
        let mut shape = Shape::new(Form::new(told).unwrap());
        let tune: Vec<(char, usize)> = parts
            .chars()
            .flat_map(|part| (0..16).map(move |beat| (part, beat)))
            .collect();
        let sound: Vec<_> = tune.iter().cycle().take(tune.len() * times).collect();
        (0..sound.len())
            .map(|now| {
                let mut again = [None; FORMS];
                for (at, again) in again.iter_mut().enumerate() {
                    *again = now
                        .checked_sub(beats(at))
                        .map(|then| if sound[then] == sound[now] { 0.4 } else { -0.1 });
                }
                shape.beat(again).map(|form| form.beats())
            })
            .collect()
    }

    #[test]
    fn the_right_form_is_never_doubted() {
        for (told, parts) in [
            (64, "aabb"),
            (48, "aab"),
            (48, "abc"),
            (32, "ab"),
            (80, "aabbc"),
        ] {
            assert!(play(told, parts, 6).iter().all(Option::is_none), "{parts}");
        }
    }

    #[test]
    fn a_wrong_form_is_doubted_a_while_after_it_should_have_come_round() {
        for (told, parts) in [
            (64, "aab"),
            (64, "ab"),
            (48, "aabb"),
            (32, "aabb"),
            (32, "aab"),
        ] {
            let beats = 16 * parts.len() as u32;
            let heard = play(told, parts, 6);
            let doubted = heard.iter().position(Option::is_some).unwrap();
            let within = beats.max(told) + (ENOUGH + HELD) as u32;
            assert!(doubted <= within as usize, "{told} {parts}: {doubted}");
            assert_eq!(*heard.last().unwrap(), Some(beats), "{told} {parts}");
        }
    }

    #[test]
    fn other_tunes_in_the_same_form_are_no_other_form() {
        let medley = play(64, "aabbccddeeffgghh", 1);
        assert!(medley.iter().all(Option::is_none));
    }
}
