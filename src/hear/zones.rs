//! The places in a beat at which it is weighed: around the beat itself, its half, and
//! its thirds.

use super::lanes::{LANES, each};

/// Half-width of the zone around a beat, grid steps (±20 ms).
pub(super) const ZONE: usize = 4;
/// The shortest beat that holds them all, grid steps.
pub(super) const SHORTEST: usize = 3 * (ZONE + 1);

/// What a position near a beat or an off-beat is multiplied by.
pub(super) type Factors = [f32; 2 * ZONE + 1];

/// Factors for a group of positions, and the same less one.
#[derive(Debug, Clone, Copy)]
struct Group {
    by: [f32; LANES],
    less_one: [f32; LANES],
}

impl Group {
    /// Factors from number `from` on; where there are none, nothing changes.
    #[inline(always)]
    fn new(factors: &Factors, from: isize) -> Self {
        let by = std::array::from_fn(|k| {
            let at = usize::try_from(from + k as isize).ok();
            at.and_then(|at| factors.get(at)).copied().unwrap_or(1.0)
        });
        let less_one = by.map(|factor| factor - 1.0);
        Group { by, less_one }
    }

    /// Multiplies the states from `start` on; adds to `growth` by how much they grow.
    #[inline(always)]
    fn weigh(&self, window: &mut [f32], start: usize, growth: &mut [f32; LANES]) {
        if let Some(states) = window[start..].first_chunk_mut::<LANES>() {
            let before = *states;
            *states = each(|k| before[k] * self.by[k]);
            *growth = each(|k| growth[k] + before[k] * self.less_one[k]);
        }
    }
}

/// The factors around an off-beat, which lies in one piece: a group, and one more. (Two
/// groups would reach into those of the next off-beat, and reading what has only just
/// been written in another cut takes long.)
struct OffBeat {
    group: Group,
    last: f32,
}

impl OffBeat {
    #[inline(always)]
    fn new(factors: &Factors) -> Self {
        OffBeat {
            group: Group::new(factors, 0),
            last: factors[LANES],
        }
    }

    #[inline(always)]
    fn weigh(&self, window: &mut [f32], start: usize, growth: &mut [f32; LANES], more: &mut f32) {
        self.group.weigh(window, start, growth);
        if let Some(last) = window.get_mut(start + LANES) {
            *more += *last * (self.last - 1.0);
            *last *= self.last;
        }
    }
}

/// The factors around the beat and its off-beats, cut into groups.
pub(super) struct Zones {
    /// Those before the beat, which are the last of a window.
    end: Group,
    /// Those on the beat and after it.
    beginning: Group,
    half: OffBeat,
    third: OffBeat,
}

impl Zones {
    /// For positions around the beat, its half and both its thirds.
    #[inline(always)]
    pub(super) fn new(beat: &Factors, half: &Factors, third: &Factors) -> Self {
        Zones {
            end: Group::new(beat, ZONE as isize - LANES as isize),
            beginning: Group::new(beat, ZONE as isize),
            half: OffBeat::new(half),
            third: OffBeat::new(third),
        }
    }

    /// Multiplies the states of a beat, from position 0 to its last.
    #[inline(always)]
    pub(super) fn weigh(&self, beat: &mut [f32], growth: &mut Growth) {
        let length = beat.len();
        let (half, third, thirds) = (length / 2, length / 3, 2 * length / 3);
        let Growth { some, more, last } = growth;
        let [of_half, of_third, of_thirds] = last;
        self.end.weigh(beat, length - LANES, some);
        self.beginning.weigh(beat, 0, more);
        self.half.weigh(beat, half - ZONE, some, of_half);
        self.third.weigh(beat, third - ZONE, more, of_third);
        self.third.weigh(beat, thirds - ZONE, some, of_thirds);
    }
}

/// By how much states grow: parts, so that no addition waits long for the last.
#[derive(Debug, Default)]
pub(super) struct Growth {
    some: [f32; LANES],
    more: [f32; LANES],
    last: [f32; 3],
}

impl Growth {
    /// All of it.
    pub(super) fn sum(&self) -> f32 {
        self.some.iter().chain(&self.more).chain(&self.last).sum()
    }
}
