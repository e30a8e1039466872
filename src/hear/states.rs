//! Where the bar pointer keeps its belief: for each tempo a row of positions.
//!
//! Every state moves on at each frame, so a row is a window that slides: position 0
//! stands where the window begins, and to move on the window begins a little sooner.
//! What is to be multiplied lies in one piece, and in whole groups of eight, so that it
//! goes through vector registers without a branch. A window that has slid to the front
//! of its row is copied to the row's end, once in some forty frames.

use super::lanes::{LANES, each, sum};
use super::zones::{Growth, SHORTEST, Zones};

/// Grid steps an activation frame: positions by which the states move on.
pub(super) const STEPS_PER_FRAME: usize = 2;
/// Tempo steps reachable at one beat.
pub(super) const REACH: usize = 8;

/// Least room that windows have to slide in, positions.
const SLACK: usize = 64;

/// One tempo's window.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tempo {
    /// Positions in a beat (grid steps).
    pub(super) length: usize,
    /// Where position 0 stands in a row.
    origin: usize,
}

/// All tempi, and how the rows are cut: the same for all modes.
#[derive(Debug, Clone)]
pub(super) struct Grid {
    tempi: Vec<Tempo>,
    /// Numbers in a row.
    row: usize,
    /// Probabilities of a change of tempo at a beat, for each group of tempi to which it
    /// leads: from `REACH` tempi before them to `REACH` after them.
    changes: Vec<[[Arrival; GROUP]; 2 * REACH + 1]>,
    /// What left its beat in this frame, [`REACH`] tempi more at each end.
    wrapped: Vec<Arrival>,
    /// The same at the tempi at which it starts the next beat.
    arriving: Vec<Arrival>,
}

/// The first positions of a beat.
type Arrival = [f32; STEPS_PER_FRAME];
/// Tempi whose first positions make a group.
const GROUP: usize = LANES / STEPS_PER_FRAME;

impl Grid {
    /// Tempi of `lengths` positions a beat, which get longer. `change(from, to)` is the
    /// weight of a change of tempo at a beat.
    pub(super) fn new(lengths: &[usize], change: impl Fn(usize, usize) -> f32) -> Self {
        let row = lengths.iter().max().map_or(0, |longest| longest + SLACK);
        let tempi: Vec<Tempo> = lengths
            .iter()
            .map(|&length| {
                let length = length.max(SHORTEST);
                let origin = row - length;
                Tempo { length, origin }
            })
            .collect();
        let groups = tempi.len().div_ceil(GROUP);
        let nothing = [0.0; STEPS_PER_FRAME];
        let mut changes = vec![[[nothing; GROUP]; 2 * REACH + 1]; groups];
        for from in 0..tempi.len() {
            let reached = from.saturating_sub(REACH)..tempi.len().min(from + REACH + 1);
            let sum: f32 = reached.clone().map(|to| change(from, to)).sum();
            for to in reached {
                let p = [change(from, to) / sum; STEPS_PER_FRAME];
                changes[to / GROUP][from + REACH - to][to % GROUP] = p;
            }
        }
        Grid {
            tempi,
            row,
            changes,
            wrapped: vec![nothing; groups * GROUP + 2 * REACH],
            arriving: vec![nothing; groups * GROUP],
        }
    }

    /// The tempi.
    pub(super) fn tempi(&self) -> &[Tempo] {
        &self.tempi
    }

    /// Moves all windows on by a frame; what passes the end of its beat in `shares`, one
    /// for each mode in the order in which they follow each other, starts the next one.
    #[inline(always)]
    pub(super) fn move_on(&mut self, shares: &mut [Share]) {
        for (k, tempo) in self.tempi.iter_mut().enumerate() {
            if tempo.origin < STEPS_PER_FRAME {
                let (from, to) = (tempo.origin, self.row - tempo.length);
                for share in shares.iter_mut().filter(|share| share.dirty) {
                    let row = &mut share.states[k * self.row..(k + 1) * self.row];
                    row.copy_within(from..from + tempo.length, to);
                }
                tempo.origin = to;
            }
            tempo.origin -= STEPS_PER_FRAME;
        }
        // From the last mode to the first, so that no mass moves twice.
        for mode in (0..shares.len()).rev() {
            let leaving = self.leave(&mut shares[mode]);
            let to = (mode + 1).min(shares.len() - 1);
            if leaving > 0.0 {
                let from_scale = shares[mode].scale;
                let share = &mut shares[to];
                if share.sum == 0.0 && to != mode {
                    share.scale = 1.0;
                }
                let gain = from_scale / share.scale;
                share.sum += leaving * gain;
                share.dirty = true;
                self.arrive(share, gain);
            }
        }
    }

    /// Takes what passes the end of its beat out of a share into `wrapped`, and leaves
    /// its first positions empty; gives how much that is.
    #[inline(always)]
    fn leave(&mut self, share: &mut Share) -> f32 {
        if !share.dirty {
            return 0.0;
        }
        let mut moved = 0.0;
        let rows = share.states.chunks_exact_mut(self.row);
        let wrapped = self.wrapped[REACH..].iter_mut();
        for ((tempo, row), wrapped) in self.tempi.iter().zip(rows).zip(wrapped) {
            let window = &mut row[tempo.origin..][..tempo.length + STEPS_PER_FRAME];
            if let Some(last) = window.last_chunk::<STEPS_PER_FRAME>() {
                *wrapped = *last;
            }
            moved += wrapped.iter().sum::<f32>();
            window[..STEPS_PER_FRAME].fill(0.0);
        }
        share.sum = (share.sum - moved).max(0.0);
        moved
    }

    /// Adds what is in `wrapped`, times `gain`, to a share, at the tempi that it comes to.
    #[inline(always)]
    fn arrive(&mut self, share: &mut Share, gain: f32) {
        let groups = self.arriving.as_chunks_mut::<GROUP>().0.iter_mut();
        let from = self.wrapped.windows(2 * REACH + GROUP).step_by(GROUP);
        for ((arriving, changes), from) in groups.zip(&self.changes).zip(from) {
            let mut sums = [0.0; LANES];
            for (change, from) in changes.iter().zip(from.windows(GROUP)) {
                let (change, from) = (change.as_flattened(), from.as_flattened());
                sums = each(|k| sums[k] + change[k] * from[k]);
            }
            let sums = each(|k| gain * sums[k]);
            arriving.as_flattened_mut().copy_from_slice(&sums);
        }
        let rows = share.states.chunks_exact_mut(self.row);
        for ((tempo, row), arriving) in self.tempi.iter().zip(rows).zip(&self.arriving) {
            let first = &mut row[tempo.origin..tempo.origin + STEPS_PER_FRAME];
            for (state, arriving) in first.iter_mut().zip(arriving) {
                *state += arriving;
            }
        }
    }
}

/// A mode's share of the belief: `scale * states`.
#[derive(Debug, Clone)]
pub(super) struct Share {
    /// A row for each tempo. Outside the windows there may be anything while it is in use.
    states: Vec<f32>,
    pub(super) scale: f32,
    pub(super) sum: f32,
    /// Whether any state may be other than 0.
    dirty: bool,
}

/// Sums over the states near a beat.
#[derive(Debug, Default)]
pub(super) struct Moments {
    /// Probability.
    pub(super) mass: f64,
    /// Steps ahead, and their squares, times probability.
    pub(super) first: f64,
    pub(super) second: f64,
    /// Steps a beat, times probability.
    pub(super) periods: f64,
}

impl Share {
    /// Nothing, at all tempi of `grid`.
    pub(super) fn new(grid: &Grid) -> Self {
        Share {
            states: vec![0.0; grid.row * grid.tempi.len()],
            scale: 1.0,
            sum: 0.0,
            dirty: false,
        }
    }

    /// Probability of this mode.
    pub(super) fn mass(&self) -> f32 {
        self.scale * self.sum
    }

    /// Spreads `mass` over all positions, by the tempi's `prior`.
    pub(super) fn spread(&mut self, grid: &Grid, prior: &[f32], mass: f32) {
        let rows = self.states.chunks_exact_mut(grid.row);
        for ((tempo, row), p) in grid.tempi.iter().zip(rows).zip(prior) {
            let each = mass * p / tempo.length as f32;
            row[tempo.origin..tempo.origin + tempo.length].fill(each);
        }
        self.sum = mass;
        self.dirty = true;
    }

    /// Adds `mass`, before the scale, to the beat at every tempo by the `prior`.
    #[inline(always)]
    pub(super) fn enter(&mut self, grid: &Grid, prior: &[f32], mass: f32) {
        let rows = self.states.chunks_exact_mut(grid.row);
        for ((tempo, row), p) in grid.tempi.iter().zip(rows).zip(prior) {
            row[tempo.origin] += mass * p;
        }
        self.sum += mass;
        self.dirty = true;
    }

    /// Multiplies the states near the beat and its off-beats.
    #[inline(always)]
    pub(super) fn weigh(&mut self, grid: &Grid, zones: &Zones) {
        if !self.dirty {
            return;
        }
        let mut growth = Growth::default();
        let rows = self.states.chunks_exact_mut(grid.row);
        for (tempo, row) in grid.tempi.iter().zip(rows) {
            zones.weigh(
                &mut row[tempo.origin..tempo.origin + tempo.length],
                &mut growth,
            );
        }
        self.sum = (self.sum + growth.sum()).max(0.0);
    }

    /// Multiplies the scale into the states, and sums them anew.
    #[inline(always)]
    pub(super) fn renew(&mut self, grid: &Grid) {
        if !self.dirty {
            return;
        }
        let mut parts = [0.0; LANES];
        let rows = self.states.chunks_exact_mut(grid.row);
        for (tempo, row) in grid.tempi.iter().zip(rows) {
            let window = &mut row[tempo.origin..tempo.origin + tempo.length];
            let (groups, rest) = window.as_chunks_mut::<LANES>();
            for group in groups {
                let scaled = each(|k| group[k] * self.scale);
                parts = each(|k| parts[k] + scaled[k]);
                *group = scaled;
            }
            for (part, state) in parts.iter_mut().zip(rest) {
                *state *= self.scale;
                *part += *state;
            }
        }
        self.scale = 1.0;
        self.sum = parts.iter().sum();
    }

    /// Forgets all. The scale of what is empty would else grow without bound, as it takes
    /// part in every weighing.
    pub(super) fn clear(&mut self) {
        self.sum = 0.0;
        self.scale = 1.0;
        if self.dirty {
            self.states.fill(0.0);
            self.dirty = false;
        }
    }

    /// Adds the probability that the next beat is `k` steps ahead to `histogram[k]`.
    #[inline(always)]
    pub(super) fn next_beats(&self, grid: &Grid, histogram: &mut [f32]) {
        let rows = self.states.chunks_exact(grid.row);
        for (tempo, row) in grid.tempi.iter().zip(rows) {
            let window = &row[tempo.origin..tempo.origin + tempo.length];
            // Position 0 is a whole beat ahead.
            for (bin, state) in histogram.iter_mut().skip(1).zip(window.iter().rev()) {
                *bin += self.scale * state;
            }
        }
    }

    /// Sums over the beats that are `low` to `high` steps ahead; those just past are at
    /// negative steps.
    #[inline(always)]
    pub(super) fn around(&self, grid: &Grid, low: i64, high: i64) -> Moments {
        let centre = (low + high) / 2;
        let (mut mass, mut first, mut second, mut periods) = (0.0, 0.0, 0.0, 0.0);
        let rows = self.states.chunks_exact(grid.row);
        for (tempo, row) in grid.tempi.iter().zip(rows) {
            let window = &row[tempo.origin..tempo.origin + tempo.length];
            let length = tempo.length as i64;
            let mut sums = [[0.0; LANES]; 3];
            // A beat `steps` ahead is at position `length - steps`; one just past is at
            // `-steps`.
            let (nearest, farthest) = (low.max(1), high.min(length));
            if nearest <= farthest {
                let ahead = (length - farthest) as usize..=(length - nearest) as usize;
                moments(&window[ahead], farthest - centre, &mut sums);
            }
            let (oldest, newest) = (low.max(1 - length), high.min(0));
            if oldest <= newest {
                let past = -newest as usize..=-oldest as usize;
                moments(&window[past], newest - centre, &mut sums);
            }
            let sums = sums.map(|parts| f64::from(sum(parts)));
            mass += sums[0];
            first += sums[1];
            second += sums[2];
            periods += sums[0] * length as f64;
        }
        let (scale, centre) = (f64::from(self.scale), centre as f64);
        Moments {
            mass: scale * mass,
            first: scale * (first + centre * mass),
            second: scale * (second + centre * (2.0 * first + centre * mass)),
            periods: scale * periods,
        }
    }
}

/// Adds states one step apart, the first of them at `steps`: their sum, and those of
/// their products with their steps and these steps' squares.
#[inline(always)]
fn moments(states: &[f32], steps: i64, sums: &mut [[f32; LANES]; 3]) {
    let mut add = |states: &[f32; LANES], steps: f32| {
        let at = each(|k| steps - k as f32);
        let turned = each(|k| states[k] * at[k]);
        sums[0] = each(|k| sums[0][k] + states[k]);
        sums[1] = each(|k| sums[1][k] + turned[k]);
        sums[2] = each(|k| sums[2][k] + turned[k] * at[k]);
    };
    let mut steps = steps as f32;
    let (groups, rest) = states.as_chunks::<LANES>();
    for group in groups {
        add(group, steps);
        steps -= LANES as f32;
    }
    let mut last = [0.0; LANES];
    for (slot, state) in last.iter_mut().zip(rest) {
        *slot = *state;
    }
    add(&last, steps);
}

#[cfg(test)]
mod tests;
