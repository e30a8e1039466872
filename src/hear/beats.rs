//! Where in the beat the band is: a bar pointer over tempo, phase and lead-in.
//!
//! The hidden state is a tempo, a position within the beat, and a *mode*:
//! nobody plays, one of the four lead-in beats, one of the tune's first four
//! beats, or the tune after them. It is followed forward in time only (Whiteley, Cemgil & Godsill, "Bayesian modelling of
//! temporal structure in musical audio", ISMIR 2006), on the efficient grid of
//! Krebs, Böck & Widmer ("An efficient state-space model for joint tempo and
//! meter tracking", ISMIR 2015): each tempo has as many positions as its beat
//! has time steps, every step moves one position on, and the tempo changes only
//! from one beat to the next.
//!
//! Two things keep it cheap. Positions are kept in windows that slide
//! (`states.rs`), so that moving on costs nothing; and what is heard is expressed as
//! a ratio against "nothing special happens here", so that only the positions near a
//! beat or an off-beat are touched. Modes are scaled as a whole.

pub use super::expect::Expectations;
use super::net::Activation;
use super::states::{Grid, STEPS_PER_FRAME, Share};
use super::zones::{Factors, ZONE, Zones};

/// Grid steps a second; each step is 5 ms.
pub(super) const STEPS_PER_SECOND: f64 = 200.0;

/// The modes of the pointer, in the order of [`BarPointer::modes`].
pub const MODES: usize = 10;
/// Nobody plays for dancing.
pub const NONE: usize = 0;
/// The first of the four lead-in beats; the others follow.
pub const LEAD_IN: usize = 1;
/// The first of the tune's first four beats; the others follow. They are kept
/// apart so that a belief about where the tune began can still be mended by what
/// is heard after it.
pub const OPENING: usize = 5;
/// The tune after its first four beats, or joined somewhere in the middle.
pub const TUNE: usize = 9;

/// A guess at the next beat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NextBeat {
    /// Seconds from the pointer's present moment to the beat.
    pub ahead: f64,
    /// Seconds a beat.
    pub period: f64,
    /// Spread (standard deviation) of `ahead`, seconds.
    pub spread: f64,
    /// Probability of this guess against all others, silence included.
    pub mass: f32,
    /// How `mass` is shared between the modes *before* that beat.
    pub modes: [f32; MODES],
}

/// The belief over tempo, phase and mode.
#[derive(Debug, Clone)]
pub struct BarPointer {
    expect: Expectations,
    grid: Grid,
    prior: Vec<f32>,
    none: f32,
    shares: [Share; MODES - 1],
    frames: u64,
    /// Frames for which somebody has played, short pauses left out.
    played: u64,
    /// Frames for which nobody has played since; 0 while somebody plays.
    silent: u64,
}

/// A number of frames in seconds.
fn seconds(frames: u64) -> f64 {
    frames as f64 * STEPS_PER_FRAME as f64 / STEPS_PER_SECOND
}

/// How much a position near the beat counts as the beat: a Gaussian of 10 ms.
const ZONE_SHAPE: [f32; ZONE + 1] = [1.0, 0.882_5, 0.606_5, 0.324_7, 0.135_3];
/// Share of frames on which a head's label is set: the prior its odds are judged by.
const BEAT_PRIOR: f32 = 0.06;
/// Probability that a recording begins in the middle of a tune.
const JOINED: f32 = 0.3;
/// An empty mode takes in no less than this.
const WORTH_WAKING: f32 = 5e-6;
/// A share below this is dropped.
const NEGLIGIBLE: f32 = 1e-6;

impl BarPointer {
    /// A pointer that knows nothing yet.
    pub fn new(expect: Expectations) -> Self {
        let shortest = (60.0 * STEPS_PER_SECOND / expect.fastest).round() as usize;
        let longest = (60.0 * STEPS_PER_SECOND / expect.slowest).round() as usize;
        let lengths: Vec<usize> = (shortest..=longest.max(shortest)).collect();
        let steadiness = expect.steadiness;
        let grid = Grid::new(&lengths, |from, to| {
            let ratio = lengths[to] as f64 / lengths[from] as f64;
            (-steadiness * (ratio - 1.0).abs()).exp() as f32
        });
        let mut prior: Vec<f32> = lengths
            .iter()
            .map(|&length| {
                let steps_per_minute = 60.0 * STEPS_PER_SECOND / length as f64;
                let z = (steps_per_minute / expect.usual).ln() / expect.tempo_spread;
                (-0.5 * z * z).exp() as f32
            })
            .collect();
        let sum: f32 = prior.iter().sum();
        prior.iter_mut().for_each(|p| *p /= sum);
        let mut shares = std::array::from_fn(|_| Share::new(&grid));
        // A recording may begin in the middle of a tune, anywhere in the beat.
        shares[TUNE - 1].spread(&grid, &prior, JOINED);
        BarPointer {
            expect,
            grid,
            prior,
            none: 1.0 - JOINED,
            shares,
            frames: 0,
            played: 0,
            silent: 0,
        }
    }

    /// Probability of each mode.
    pub fn modes(&self) -> [f32; MODES] {
        let mut modes = [self.none; MODES];
        for (mode, share) in modes[1..].iter_mut().zip(&self.shares) {
            *mode = share.mass();
        }
        modes
    }

    /// Moves on by one frame and takes in what was heard at its end.
    #[inline(always)]
    pub fn step(&mut self, heard: &Activation) {
        self.grid.move_on(&mut self.shares);
        self.begin_and_end();
        self.weigh(heard);
        self.normalise();
        self.keep_time();
        self.frames += 1;
    }

    /// Lead-ins begin, tunes are joined, lost or ended.
    #[inline(always)]
    fn begin_and_end(&mut self) {
        let mut first_strokes = self.expect.lead_in_begins;
        let mut begins = self.expect.tune_begins;
        let mut joins = self.expect.tune_joined;
        if seconds(self.frames) < self.expect.settling {
            first_strokes[1..].fill(0.0);
            begins = 0.0;
        }
        if self.pausing() {
            first_strokes = first_strokes.map(|p| p * self.expect.begins_in_pause);
            begins *= self.expect.begins_in_pause;
            joins = self.expect.tune_resumes;
        }
        let lead_ins = first_strokes.map(|p| p * self.none);
        let begins = self.none * begins;
        let joins = self.none * joins;
        let mut stops = 0.0;
        for share in &mut self.shares {
            stops += share.mass() * self.expect.playing_stops;
            share.scale *= 1.0 - self.expect.playing_stops;
        }
        self.none += stops - lead_ins.iter().sum::<f32>() - begins - joins;
        for (beat, mass) in lead_ins.into_iter().enumerate() {
            self.enter(LEAD_IN + beat, mass);
        }
        self.enter(OPENING, begins);
        let tune = &mut self.shares[TUNE - 1];
        let lost = tune.mass() * self.expect.beat_lost;
        tune.scale *= 1.0 - self.expect.beat_lost;
        self.enter(TUNE, joins + lost);
    }

    /// Whether the silence, if it is one, may be a pause within a tune.
    fn pausing(&self) -> bool {
        seconds(self.played) > self.expect.tune_lasts
            && seconds(self.silent) < self.expect.longest_pause
    }

    /// Keeps account of who has played for how long.
    fn keep_time(&mut self) {
        if self.none >= 0.5 {
            self.silent += 1;
        } else {
            if seconds(self.silent) >= self.expect.longest_pause {
                self.played = 0;
            }
            self.silent = 0;
            self.played += 1;
        }
    }

    /// Adds `mass` to `mode` on its beat, at every tempo by the prior.
    fn enter(&mut self, mode: usize, mass: f32) {
        let share = &mut self.shares[mode - 1];
        if share.sum == 0.0 {
            // An empty mode is not worth waking for this.
            if mass < WORTH_WAKING {
                return;
            }
            share.scale = 1.0;
        }
        share.enter(&self.grid, &self.prior, mass / share.scale);
    }

    /// Multiplies the belief by the likelihood of what was heard.
    #[inline(always)]
    fn weigh(&mut self, heard: &Activation) {
        let e = &self.expect;
        let beat = shaped(e.beat_weight * odds(heard.beat, BEAT_PRIOR));
        let half = shaped(e.off_beat_weight * odds(heard.half, 0.5 * BEAT_PRIOR));
        let third = shaped(e.off_beat_weight * odds(heard.third, 0.5 * BEAT_PRIOR));
        let zones = Zones::new(&beat, &half, &third);
        for share in &mut self.shares {
            share.weigh(&self.grid, &zones);
        }
        let weigh = |p: f32| (p.max(e.mode_floor)).powf(e.mode_weight);
        self.none *= weigh(heard.none);
        let (lead_in, tune) = (weigh(heard.lead_in), weigh(heard.tune));
        for (mode, share) in self.shares.iter_mut().enumerate() {
            share.scale *= if mode + 1 >= OPENING { tune } else { lead_in };
        }
    }

    #[inline(always)]
    fn normalise(&mut self) {
        // Running sums gather rounding errors; every second they are made anew.
        let anew = self.frames.is_multiple_of(100);
        let mut total = self.none;
        for share in &mut self.shares {
            if anew {
                share.renew(&self.grid);
            }
            total += share.mass();
        }
        let by = 1.0 / total.max(f32::MIN_POSITIVE);
        self.none *= by;
        for share in &mut self.shares {
            share.scale *= by;
            if share.mass() < NEGLIGIBLE {
                share.clear();
            }
        }
        self.none = self.none.max(NEGLIGIBLE);
    }

    /// Fills `histogram` with the probability that the next beat is `k` grid
    /// steps (5 ms each) ahead.
    pub fn next_beats(&self, histogram: &mut [f32]) {
        histogram.fill(0.0);
        for share in self.shares.iter().filter(|share| share.sum != 0.0) {
            share.next_beats(&self.grid, histogram);
        }
    }

    /// Bins that [`Self::next_beats`] needs.
    pub fn histogram_len(&self) -> usize {
        self.grid.tempi().last().map_or(0, |t| t.length) + 1
    }

    /// The beat expected about `ahead` seconds from now, within `reach` seconds.
    ///
    /// Beats just past (negative `ahead`) are counted too, so that the answer
    /// does not change when the pointer passes them.
    #[inline(always)]
    pub fn around(&self, ahead: f64, reach: f64) -> Option<NextBeat> {
        let low = ((ahead - reach) * STEPS_PER_SECOND).round() as i64;
        let high = ((ahead + reach) * STEPS_PER_SECOND).round() as i64;
        let (mut mass, mut first, mut second, mut periods) = (0.0f64, 0.0f64, 0.0f64, 0.0f64);
        let mut modes = [0.0f32; MODES];
        for (mode, share) in self.shares.iter().enumerate() {
            if share.sum == 0.0 {
                continue;
            }
            let near = share.around(&self.grid, low, high);
            modes[mode + 1] = near.mass as f32;
            mass += near.mass;
            first += near.first;
            second += near.second;
            periods += near.periods;
        }
        if mass <= f64::from(NEGLIGIBLE) {
            return None;
        }
        let mean = first / mass;
        Some(NextBeat {
            ahead: mean / STEPS_PER_SECOND,
            period: periods / mass / STEPS_PER_SECOND,
            spread: (second / mass - mean * mean).max(0.0).sqrt() / STEPS_PER_SECOND,
            mass: mass as f32,
            modes,
        })
    }
}

/// Log odds of `p` above those of `prior`, within reason.
#[inline(always)]
fn odds(p: f32, prior: f32) -> f32 {
    let p = p.clamp(0.003, 0.997);
    (p / (1.0 - p)).ln() - (prior / (1.0 - prior)).ln()
}

/// Likelihood ratios of the positions around a (sub-)beat for weighted log odds.
#[inline(always)]
fn shaped(weighted: f32) -> Factors {
    let to_the_side = ZONE_SHAPE.map(|shape| (weighted * shape).exp());
    std::array::from_fn(|k| to_the_side[k.abs_diff(ZONE)])
}
