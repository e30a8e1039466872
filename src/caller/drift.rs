//! How much later and later an echo comes than a filter foretells: two crystals differ.

use realfft::num_complex::Complex32;

use super::echo::BLOCK;
use crate::sound::timeline::median;

/// Blocks between two looks at how late the echo comes (0.5 s), looks for which a filter is
/// kept to compare with, and samples of lateness from which it is too old.
pub(super) const LOOK: u32 = 31;
const LOOKS: u32 = 6;
const FAR: f64 = 2.0;
/// Bins that are looked at, 200 to 2000 Hz: there tunes have most of their sound, and
/// lateness that counts turns no phase all the way round.
const LOWEST: usize = 6;
const HIGHEST: usize = 64;
/// How much of what is looked at has to agree.
const PLAIN: f32 = 0.97;

/// Looks through which a line can be drawn.
const CLEAR_LOOKS: usize = 4;

/// How the echo comes later and later, or sooner, than a filter of a moment ago foretells.
#[derive(Debug, Default)]
pub(super) struct Drift {
    /// That filter: by partition and bin.
    kept: Vec<Vec<Complex32>>,
    /// What is heard times what it foretells, by bin, since the last look.
    cross: Vec<Complex32>,
    blocks: u32,
    looks: u32,
    /// Samples by which the echo was later at the last look.
    later: Option<f64>,
    found: Option<f64>,
}

impl Drift {
    /// Against this filter.
    pub(super) fn of(filter: Vec<Vec<Complex32>>) -> Self {
        let bins = filter.first().map_or(0, Vec::len);
        Drift {
            kept: filter,
            cross: vec![Complex32::default(); bins],
            ..Drift::default()
        }
    }

    /// The filter that is compared with; empty before the first look.
    pub(super) fn kept(&self) -> &[Vec<Complex32>] {
        &self.kept
    }

    /// Takes the spectra of what was heard in a block and of what the filter foretold.
    pub(super) fn add(&mut self, heard: &[Complex32], echo: &[Complex32]) {
        for (sum, (heard, echo)) in self.cross.iter_mut().zip(heard.iter().zip(echo)) {
            *sum += heard * echo.conj();
        }
    }

    /// A block is over, and `filter` is the present one.
    pub(super) fn pass(&mut self, filter: &[Vec<Complex32>]) {
        self.blocks += 1;
        if self.blocks < LOOK {
            return;
        }
        self.blocks = 0;
        self.looks += 1;
        let now = self.take_later();
        let all = f64::from(LOOK) * BLOCK as f64;
        self.found = now
            .zip(self.later)
            .map(|(now, before)| (now - before) / all);
        self.later = now;
        if self.looks >= LOOKS || now.is_none_or(|now| now.abs() > FAR) {
            *self = Drift {
                found: self.found,
                ..Drift::of(filter.to_vec())
            };
        }
    }

    /// By how many samples a sample the echo has come later of late; told once.
    pub(super) fn found(&mut self) -> Option<f64> {
        self.found.take()
    }

    /// Samples by which the echo was later than foretold since this was asked last: the slope
    /// of the phase between the two over frequency, where it is clear.
    pub(super) fn take_later(&mut self) -> Option<f64> {
        let step = std::f32::consts::PI / BLOCK as f32;
        let bins = self.cross.iter().enumerate().take(HIGHEST).skip(LOWEST);
        let (mut slope, mut weight) = (0.0, 0.0);
        for (bin, cross) in bins.clone() {
            let turn = step * bin as f32;
            slope -= cross.norm() * turn * cross.arg();
            weight += cross.norm() * turn * turn;
        }
        let later = slope / weight;
        let (mut along, mut all) = (0.0, 0.0);
        for (bin, cross) in bins {
            along += (cross * Complex32::from_polar(1.0, step * bin as f32 * later)).re;
            all += cross.norm();
        }
        self.cross.fill(Complex32::default());
        (later.is_finite() && along > PLAIN * all).then_some(f64::from(later))
    }
}

/// Where the line through `points` begins, and its slope: the middle one of the slopes
/// between all of them, which some that are far off do not turn (Sen, "Estimates of the
/// regression coefficient based on Kendall's tau", JASA 63, 1968).
pub(super) fn line(points: &[(f64, f64)]) -> Option<(f64, f64)> {
    if points.len() < CLEAR_LOOKS {
        return None;
    }
    let pairs = points.iter().enumerate().flat_map(|(n, a)| {
        let later = points[n + 1..].iter();
        later.map(move |b| (b.1 - a.1) / (b.0 - a.0))
    });
    let slope = median(&mut pairs.collect::<Vec<f64>>());
    let begins = points.iter().map(|(x, y)| y - slope * x);
    Some((median(&mut begins.collect::<Vec<f64>>()), slope))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is heard of a flat spectrum that comes `later` samples later.
    fn heard(later: f32) -> Vec<Complex32> {
        let step = std::f32::consts::PI / BLOCK as f32;
        let bin = |n: usize| Complex32::from_polar(1.0, -step * n as f32 * later);
        (0..=BLOCK).map(bin).collect()
    }

    #[test]
    fn an_echo_that_comes_later_and_later_is_found_to() {
        let flat = heard(0.0);
        let mut drift = Drift::default();
        let mut found = Vec::new();
        for block in 0..6 * LOOK {
            drift.add(&heard(50e-6 * (block * BLOCK as u32) as f32), &flat);
            drift.pass(std::slice::from_ref(&flat));
            found.extend(drift.found());
        }
        assert!(found.len() >= 2, "{found:?}");
        assert!(found.iter().all(|f| (f - 50e-6).abs() < 1e-6), "{found:?}");
    }

    #[test]
    fn what_agrees_with_nothing_tells_nothing() {
        let flat = heard(0.0);
        let mut drift = Drift::of(vec![flat.clone()]);
        let noise: Vec<Complex32> = (0..=BLOCK)
            .map(|n| Complex32::from_polar(1.0, (n * n) as f32))
            .collect();
        drift.add(&noise, &flat);
        assert_eq!(drift.take_later(), None);
    }

    #[test]
    fn some_points_far_off_do_not_turn_a_line() {
        let mut points: Vec<(f64, f64)> = (0..9)
            .map(|n| (f64::from(n), 3.0 - 0.5 * f64::from(n)))
            .collect();
        (points[2].1, points[6].1) = (40.0, -70.0);
        assert_eq!(line(&points), Some((3.0, -0.5)));
        assert_eq!(line(&points[..3]), None);
    }
}
