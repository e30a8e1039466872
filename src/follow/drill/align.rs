//! By how much a tune is later in a microphone than the devices say.

use std::collections::VecDeque;

use crate::sound::roundtrip::correlate;
use crate::sound::timeline::median;

/// Seconds by which devices may be off what they say of themselves.
pub(super) const OFF: f64 = 0.15;
/// How many times the correlation's own noise (the median of its size) its peak
/// has to be. Of noise alone the largest of some thousands is 6 times that; a tune
/// in a large hall gave 20 to 40.
const CLEAR: f64 = 8.0;
/// Alignments that are kept: clocks drift.
const KEPT: usize = 5;

/// What was found lately.
#[derive(Debug, Clone, Default)]
pub(super) struct Alignment {
    lags: VecDeque<f64>,
}

impl Alignment {
    /// Looks for `played` in `wide`, which begins [`OFF`] before it is expected and
    /// ends that much after it. Where the tune does not stand out (in headphones),
    /// nothing is learnt.
    pub(super) fn look(&mut self, wide: &[f32], played: &[f32], rate: u32) {
        // The difference of neighbours brings out what is short and high.
        let edges = |sound: &[f32]| -> Vec<f32> { sound.windows(2).map(|w| w[1] - w[0]).collect() };
        let Some(likeness) = correlate(&edges(wide), &edges(played)) else {
            return;
        };
        let room = (2.0 * OFF * f64::from(rate)) as usize;
        let likeness = &likeness[..room.min(likeness.len())];
        let mut sizes: Vec<f64> = likeness.iter().map(|l| f64::from(l.abs())).collect();
        let usual = median(&mut sizes).max(1e-12);
        let peak = (0..likeness.len()).max_by(|a, b| likeness[*a].total_cmp(&likeness[*b]));
        if let Some(peak) = peak.filter(|peak| f64::from(likeness[*peak]) > CLEAR * usual) {
            if self.lags.len() == KEPT {
                self.lags.pop_front();
            }
            self.lags.push_back(peak as f64 / f64::from(rate) - OFF);
        }
    }

    /// Seconds by which the tune is later than expected, if that is known.
    pub(super) fn lag(&self) -> Option<f64> {
        let mut all: Vec<f64> = self.lags.iter().copied().collect();
        (!all.is_empty()).then(|| median(&mut all))
    }
}
