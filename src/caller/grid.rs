//! When the beats are: from seconds to beats and back.

use serde::{Deserialize, Serialize};

/// The beats of a tune, numbered from its first, with what lies between and beyond.
///
/// Beyond its ends, and so in a lead-in that was not counted, beats go on at the tempo
/// of the nearest ones.
///
/// ```
/// use eightclap::caller::Grid;
/// let grid = Grid::even(10.0, 120.0, 64).unwrap();
/// assert_eq!(grid.time_of(8.0), 14.0);
/// assert_eq!(grid.beat_at(9.0), -2.0);
/// ```
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Kept")]
pub struct Grid {
    /// Number of the first beat; negative in a lead-in.
    first: i64,
    /// Seconds, ascending; at least two.
    times: Vec<f64>,
}

/// A grid as it is kept, before it is looked at: a file may hold anything.
#[derive(Deserialize)]
struct Kept {
    first: i64,
    times: Vec<f64>,
}

/// No rehearsal has more beats: ten hours at 160 a minute.
const MOST: usize = 100_000;

impl TryFrom<Kept> for Grid {
    type Error = &'static str;

    fn try_from(Kept { first, times }: Kept) -> Result<Self, Self::Error> {
        let ascending = times.windows(2).all(|two| two[0] < two[1]);
        let possible = times.iter().all(|time| time.abs() < 1e7);
        match ascending && possible && (2..=MOST).contains(&times.len()) {
            true if first.unsigned_abs() <= MOST as u64 => Ok(Grid { first, times }),
            _ => Err("times of beats that cannot be"),
        }
    }
}

/// Beats over which the tempo is taken for what lies beyond them.
const NEAR: usize = 8;

impl Grid {
    /// `beats` beats at an even tempo, the first at `one` seconds.
    ///
    /// `None` for a tempo that is none, or fewer than two beats.
    pub fn even(one: f64, steps_per_minute: f64, beats: u32) -> Option<Self> {
        let period = 60.0 / steps_per_minute;
        let all = (0..i64::from(beats)).map(|n| (n, one + n as f64 * period));
        Self::numbered(all)
    }

    /// Beats with their numbers, in any order. Beats that are missing are put evenly
    /// between their neighbours; of two with one number the later one counts, and those
    /// that run backwards in time do not.
    ///
    /// `None` if fewer than two are left.
    pub fn numbered(beats: impl IntoIterator<Item = (i64, f64)>) -> Option<Self> {
        let mut all: std::collections::BTreeMap<i64, f64> = Default::default();
        all.extend(beats.into_iter().filter(|(_, time)| time.is_finite()));
        let mut all = all.into_iter();
        let (first, time) = all.next()?;
        let mut times = vec![time];
        for (number, time) in all {
            let last = times[times.len() - 1];
            let missing = number - first - times.len() as i64 + 1;
            if time <= last || missing < 1 {
                continue;
            }
            let each = (time - last) / missing as f64;
            times.extend((1..missing).map(|n| last + n as f64 * each));
            times.push(time);
        }
        (times.len() >= 2).then_some(Grid { first, times })
    }

    /// The same beats `by` seconds later.
    pub fn later(mut self, by: f64) -> Self {
        self.times.iter_mut().for_each(|time| *time += by);
        self
    }

    /// Seconds at `beat`, with fractions.
    pub fn time_of(&self, beat: f64) -> f64 {
        let at = beat - self.first as f64;
        let last = self.times.len() - 1;
        if at <= 0.0 {
            return self.times[0] + at * self.period(0);
        }
        if at >= last as f64 {
            return self.times[last] + (at - last as f64) * self.period(last);
        }
        let (below, part) = (at.floor() as usize, at.fract());
        self.times[below] + part * (self.times[below + 1] - self.times[below])
    }

    /// The beat at `time` seconds, with fractions.
    pub fn beat_at(&self, time: f64) -> f64 {
        let last = self.times.len() - 1;
        let first = self.first as f64;
        if time <= self.times[0] {
            return first + (time - self.times[0]) / self.period(0);
        }
        if time >= self.times[last] {
            return first + last as f64 + (time - self.times[last]) / self.period(last);
        }
        let below = self.times.partition_point(|t| *t <= time) - 1;
        let (from, to) = (self.times[below], self.times[below + 1]);
        first + below as f64 + (time - from) / (to - from)
    }

    /// The number of the last beat.
    pub fn last(&self) -> i64 {
        self.first + self.times.len() as i64 - 1
    }

    /// Mean tempo of the tune's beats, steps per minute.
    pub fn steps_per_minute(&self) -> f64 {
        let last = self.times.len() - 1;
        60.0 * last as f64 / (self.times[last] - self.times[0])
    }

    /// Seconds a beat around the beat at `index`.
    fn period(&self, index: usize) -> f64 {
        let last = self.times.len() - 1;
        let from = index.saturating_sub(NEAR);
        let to = (index + NEAR).min(last);
        (self.times[to] - self.times[from]) / (to - from) as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seconds_and_beats_are_two_names_of_one_moment() {
        let grid = Grid::numbered([(-1, 0.4), (0, 1.0), (1, 1.5), (4, 3.3)]).unwrap();
        for beat in [-9.0, -1.0, -0.5, 0.0, 0.25, 2.0, 3.9, 4.0, 17.5] {
            let there = grid.beat_at(grid.time_of(beat));
            assert!((there - beat).abs() < 1e-9, "{beat} became {there}");
        }
        assert!(
            (grid.time_of(2.0) - 2.1).abs() < 1e-9,
            "missing beats are even"
        );
        assert_eq!(grid.last(), 4);
    }

    #[test]
    fn what_is_no_row_of_beats_makes_no_grid() {
        assert_eq!(Grid::numbered([(0, 1.0)]), None);
        assert_eq!(Grid::numbered([(0, 1.0), (1, f64::NAN)]), None);
        assert_eq!(Grid::numbered([(0, 1.0), (1, 0.5)]), None);
        assert_eq!(Grid::even(0.0, f64::NAN, 64), None);
    }
}
