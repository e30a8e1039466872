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
//! Two things keep it cheap. Positions are kept in rings whose origin moves, so
//! that moving on costs nothing; and what is heard is expressed as a ratio
//! against "nothing special happens here", so that only the positions near a
//! beat or an off-beat are touched. Modes are scaled as a whole.

pub use super::expect::Expectations;
use super::net::Activation;

/// Grid steps a second; each step is 5 ms.
pub(super) const STEPS_PER_SECOND: f64 = 200.0;
/// Grid steps an activation frame.
const STEPS_PER_FRAME: usize = 2;

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

/// One tempo's place in the rings.
#[derive(Debug, Clone, Copy)]
struct Tempo {
    /// Positions in a beat (grid steps).
    length: usize,
    /// Where this tempo's ring begins in a mode's states.
    start: usize,
    /// Ring index of position 0 at the present step.
    origin: usize,
}

impl Tempo {
    #[inline(always)]
    fn index(&self, position: usize) -> usize {
        let i = self.origin + position;
        self.start + if i >= self.length { i - self.length } else { i }
    }
}

/// A mode's share of the belief: `scale * states`.
#[derive(Debug, Clone)]
struct Share {
    states: Vec<f32>,
    scale: f32,
    sum: f32,
}

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
    tempi: Vec<Tempo>,
    prior: Vec<f32>,
    /// Row `i`: probabilities of going from tempo `i` to `i - REACH ..= i + REACH`.
    change: Vec<[f32; 2 * REACH + 1]>,
    none: f32,
    shares: [Share; MODES - 1],
    /// Mass that passed its beat in this frame, by tempo before and after it;
    /// `arriving` has [`REACH`] tempi more at each end.
    wrapped: Vec<[f32; STEPS_PER_FRAME]>,
    arriving: Vec<[f32; STEPS_PER_FRAME]>,
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

/// Tempo steps reachable at one beat.
const REACH: usize = 8;
/// Half-width of the zone around a beat, grid steps (±20 ms).
const ZONE: usize = 4;
/// How much a position near the beat counts as the beat: a Gaussian of 10 ms.
const ZONE_SHAPE: [f32; ZONE + 1] = [1.0, 0.882_5, 0.606_5, 0.324_7, 0.135_3];
/// Share of frames on which a head's label is set: the prior its odds are judged by.
const BEAT_PRIOR: f32 = 0.06;
/// An empty mode takes in no less than this.
const WORTH_WAKING: f32 = 5e-6;
/// A share below this is dropped.
const NEGLIGIBLE: f32 = 1e-6;

impl BarPointer {
    /// A pointer that knows nothing yet.
    pub fn new(expect: Expectations) -> Self {
        let shortest = (60.0 * STEPS_PER_SECOND / expect.fastest).round() as usize;
        let longest = (60.0 * STEPS_PER_SECOND / expect.slowest).round() as usize;
        let mut tempi = Vec::new();
        let mut start = 0;
        for length in shortest..=longest.max(shortest) {
            tempi.push(Tempo {
                length,
                start,
                origin: 0,
            });
            start += length;
        }
        let steps_per_minute = |t: &Tempo| 60.0 * STEPS_PER_SECOND / t.length as f64;
        let mut prior: Vec<f32> = tempi
            .iter()
            .map(|t| {
                let z = (steps_per_minute(t) / expect.usual).ln() / expect.tempo_spread;
                (-0.5 * z * z).exp() as f32
            })
            .collect();
        let sum: f32 = prior.iter().sum();
        prior.iter_mut().for_each(|p| *p /= sum);
        let change = (0..tempi.len())
            .map(|i| {
                let mut row = [0.0f32; 2 * REACH + 1];
                for (slot, p) in row.iter_mut().enumerate() {
                    let Some(to) = (i + slot).checked_sub(REACH).and_then(|k| tempi.get(k)) else {
                        continue;
                    };
                    let ratio = to.length as f64 / tempi[i].length as f64;
                    *p = (-expect.steadiness * (ratio - 1.0).abs()).exp() as f32;
                }
                let sum: f32 = row.iter().sum();
                row.map(|p| p / sum)
            })
            .collect();
        let empty = Share {
            states: vec![0.0; start],
            scale: 1.0,
            sum: 0.0,
        };
        let mut pointer = BarPointer {
            expect,
            wrapped: vec![[0.0; STEPS_PER_FRAME]; tempi.len()],
            arriving: vec![[0.0; STEPS_PER_FRAME]; tempi.len() + 2 * REACH],
            prior,
            change,
            none: 0.7,
            shares: std::array::from_fn(|_| empty.clone()),
            frames: 0,
            played: 0,
            silent: 0,
            tempi,
        };
        // A recording may begin in the middle of a tune, anywhere in the beat.
        let tune = &mut pointer.shares[TUNE - 1];
        for (tempo, &p) in pointer.tempi.iter().zip(&pointer.prior) {
            let each = 0.3 * p / tempo.length as f32;
            tune.states[tempo.start..tempo.start + tempo.length].fill(each);
        }
        tune.sum = 0.3;
        pointer
    }

    /// Probability of each mode.
    pub fn modes(&self) -> [f32; MODES] {
        let mut modes = [self.none; MODES];
        for (mode, share) in modes[1..].iter_mut().zip(&self.shares) {
            *mode = share.scale * share.sum;
        }
        modes
    }

    /// Moves on by one frame and takes in what was heard at its end.
    #[inline(always)]
    pub fn step(&mut self, heard: &Activation) {
        self.move_on();
        self.begin_and_end();
        self.weigh(heard);
        self.normalise();
        self.keep_time();
        self.frames += 1;
    }

    /// Every state moves two positions on; those past the beat's end start the
    /// next beat, perhaps at another tempo and in the next mode.
    #[inline(always)]
    fn move_on(&mut self) {
        for tempo in &mut self.tempi {
            tempo.origin = if tempo.origin >= STEPS_PER_FRAME {
                tempo.origin - STEPS_PER_FRAME
            } else {
                tempo.origin + tempo.length - STEPS_PER_FRAME
            };
        }
        // From the last mode to the first, so that no mass moves twice.
        for mode in (0..self.shares.len()).rev() {
            if self.shares[mode].sum == 0.0 {
                continue;
            }
            let share = &mut self.shares[mode];
            let mut moved = 0.0;
            for (tempo, out) in self.tempi.iter().zip(&mut self.wrapped) {
                for (position, out) in out.iter_mut().enumerate() {
                    *out = std::mem::take(&mut share.states[tempo.index(position)]);
                    moved += *out;
                }
            }
            share.sum = (share.sum - moved).max(0.0);
            let to = (mode + 1).min(MODES - 2);
            let from_scale = share.scale;
            let share = &mut self.shares[to];
            if share.sum == 0.0 && to != mode {
                share.scale = 1.0;
            }
            let gain = from_scale / share.scale;
            share.sum += moved * gain;
            self.arriving.fill([0.0; STEPS_PER_FRAME]);
            for (i, wrapped) in self.wrapped.iter().enumerate() {
                if wrapped.iter().all(|&w| w == 0.0) {
                    continue;
                }
                let wrapped = wrapped.map(|w| gain * w);
                let within_reach = &mut self.arriving[i..i + 2 * REACH + 1];
                for (arriving, p) in within_reach.iter_mut().zip(&self.change[i]) {
                    for (a, w) in arriving.iter_mut().zip(wrapped) {
                        *a += p * w;
                    }
                }
            }
            for (tempo, arriving) in self.tempi.iter().zip(&self.arriving[REACH..]) {
                for (position, &a) in arriving.iter().enumerate() {
                    share.states[tempo.index(position)] += a;
                }
            }
        }
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
            stops += share.scale * share.sum * self.expect.playing_stops;
            share.scale *= 1.0 - self.expect.playing_stops;
        }
        self.none += stops - lead_ins.iter().sum::<f32>() - begins - joins;
        for (beat, mass) in lead_ins.into_iter().enumerate() {
            self.enter(LEAD_IN + beat, mass);
        }
        self.enter(OPENING, begins);
        let tune = &mut self.shares[TUNE - 1];
        let lost = tune.scale * tune.sum * self.expect.beat_lost;
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
        let mass = mass / share.scale;
        for (tempo, &p) in self.tempi.iter().zip(&self.prior) {
            share.states[tempo.index(0)] += mass * p;
        }
        share.sum += mass;
    }

    /// Multiplies the belief by the likelihood of what was heard.
    #[inline(always)]
    fn weigh(&mut self, heard: &Activation) {
        let e = &self.expect;
        let beat = shaped(e.beat_weight * odds(heard.beat, BEAT_PRIOR));
        let half = shaped(e.off_beat_weight * odds(heard.half, 0.5 * BEAT_PRIOR));
        let third = shaped(e.off_beat_weight * odds(heard.third, 0.5 * BEAT_PRIOR));
        for share in &mut self.shares {
            if share.sum == 0.0 {
                continue;
            }
            let mut change = 0.0;
            for tempo in &self.tempi {
                let length = tempo.length;
                let zones = [
                    (length, &beat),
                    (length / 2, &half),
                    (length / 3, &third),
                    (2 * length / 3, &third),
                ];
                let ring = &mut share.states[tempo.start..tempo.start + length];
                for (centre, factors) in zones {
                    let mut first = tempo.origin + centre - ZONE;
                    while first >= length {
                        first -= length;
                    }
                    // A zone in one piece has a length that the compiler knows.
                    if let Some(zone) = ring[first..].first_chunk_mut::<{ 2 * ZONE + 1 }>() {
                        change += scale(zone, factors);
                    } else {
                        let (early, late) = factors.split_at(length - first);
                        change += scale(&mut ring[first..], early);
                        change += scale(&mut ring[..late.len()], late);
                    }
                }
            }
            share.sum = (share.sum + change).max(0.0);
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
            if anew && share.sum != 0.0 {
                let lift = share.scale;
                for state in &mut share.states {
                    *state *= lift;
                }
                share.scale = 1.0;
                share.sum = share.states.iter().sum();
            }
            total += share.scale * share.sum;
        }
        let by = 1.0 / total.max(f32::MIN_POSITIVE);
        self.none *= by;
        for share in &mut self.shares {
            share.scale *= by;
            if share.sum != 0.0 && share.scale * share.sum < NEGLIGIBLE {
                share.states.fill(0.0);
                share.sum = 0.0;
                share.scale = 1.0;
            }
        }
        self.none = self.none.max(NEGLIGIBLE);
    }

    /// Fills `histogram` with the probability that the next beat is `k` grid
    /// steps (5 ms each) ahead.
    pub fn next_beats(&self, histogram: &mut [f32]) {
        histogram.fill(0.0);
        for share in self.shares.iter().filter(|s| s.sum != 0.0) {
            for tempo in &self.tempi {
                for position in 0..tempo.length {
                    if let Some(bin) = histogram.get_mut(tempo.length - position) {
                        *bin += share.scale * share.states[tempo.index(position)];
                    }
                }
            }
        }
    }

    /// Bins that [`Self::next_beats`] needs.
    pub fn histogram_len(&self) -> usize {
        self.tempi.last().map_or(0, |t| t.length) + 1
    }

    /// The beat expected about `ahead` seconds from now, within `reach` seconds.
    ///
    /// Beats just past (negative `ahead`) are counted too, so that the answer
    /// does not change when the pointer passes them.
    pub fn around(&self, ahead: f64, reach: f64) -> Option<NextBeat> {
        let low = ((ahead - reach) * STEPS_PER_SECOND).round() as i64;
        let high = ((ahead + reach) * STEPS_PER_SECOND).round() as i64;
        let (mut mass, mut first, mut second, mut periods) = (0.0f64, 0.0f64, 0.0f64, 0.0f64);
        let mut modes = [0.0f32; MODES];
        for (mode, share) in self.shares.iter().enumerate() {
            if share.sum == 0.0 {
                continue;
            }
            let scale = f64::from(share.scale);
            let mut in_mode = 0.0f64;
            for tempo in &self.tempi {
                let length = tempo.length as i64;
                let mut in_tempo = 0.0f64;
                for steps in low.max(1 - length)..=high.min(length) {
                    // A beat `steps` ahead is at position `length - steps`; one
                    // just past is at `-steps`.
                    let position = if steps > 0 { length - steps } else { -steps };
                    let p = f64::from(share.states[tempo.index(position as usize)]);
                    in_tempo += p;
                    first += scale * p * steps as f64;
                    second += scale * p * (steps * steps) as f64;
                }
                in_mode += scale * in_tempo;
                periods += scale * in_tempo * length as f64;
            }
            modes[mode + 1] = in_mode as f32;
            mass += in_mode;
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

/// Multiplies `states` by `factors`; gives by how much their sum grew.
#[inline(always)]
fn scale(states: &mut [f32], factors: &[f32]) -> f32 {
    let mut change = 0.0;
    for (state, factor) in states.iter_mut().zip(factors) {
        change += *state * (factor - 1.0);
        *state *= factor;
    }
    change
}

/// Log odds of `p` above those of `prior`, within reason.
#[inline(always)]
fn odds(p: f32, prior: f32) -> f32 {
    let p = p.clamp(0.003, 0.997);
    (p / (1.0 - p)).ln() - (prior / (1.0 - prior)).ln()
}

/// Likelihood ratios of the positions around a (sub-)beat for weighted log odds.
#[inline(always)]
fn shaped(weighted: f32) -> [f32; 2 * ZONE + 1] {
    std::array::from_fn(|k| (weighted * ZONE_SHAPE[k.abs_diff(ZONE)]).exp())
}
