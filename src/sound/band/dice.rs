//! Chance, the same on every machine and with every version of the crates.

use rand_pcg::Pcg32;
use rand_pcg::rand_core::{Rng, SeedableRng};

/// A stream of chance for one player or one job.
///
/// Numbers are made here from raw 32-bit words and only by adding and
/// multiplying, so that a seed gives the same performance for good.
#[derive(Debug, Clone)]
pub struct Dice(Pcg32);

impl Dice {
    /// The stream `job` of `seed`; jobs do not disturb each other.
    pub fn new(seed: u64, job: u64) -> Self {
        Dice(Pcg32::seed_from_u64(
            seed ^ job.wrapping_mul(0x9E37_79B9_7F4A_7C15),
        ))
    }

    /// A stream of its own for one note, so that the order in which notes are worked on
    /// does not matter.
    pub fn branch(&mut self) -> Self {
        let seed = u64::from(self.0.next_u32());
        Dice::new(seed, u64::from(self.0.next_u32()))
    }

    /// Even between 0 and 1.
    pub fn even(&mut self) -> f64 {
        f64::from(self.0.next_u32()) / 4_294_967_296.0
    }

    /// Even between `low` and `high`.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.even()
    }

    /// Bell-shaped, mean 0 and standard deviation `sd`, never beyond 6 `sd`
    /// (the sum of twelve even numbers).
    pub fn bell(&mut self, sd: f64) -> f64 {
        sd * ((0..12).map(|_| self.even()).sum::<f64>() - 6.0)
    }

    /// True with chance `p`.
    pub fn chance(&mut self, p: f64) -> bool {
        self.even() < p
    }

    /// White noise, even between -1 and 1.
    pub fn noise(&mut self) -> f32 {
        (self.0.next_u32() as i32) as f32 / 2_147_483_648.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_seed_gives_the_same_numbers_for_good() {
        let mut dice = Dice::new(1, 2);
        let words: Vec<u32> = (0..3).map(|_| dice.0.next_u32()).collect();
        assert_eq!(words, [2_033_982_106, 1_252_834_852, 1_385_858_864]);
    }

    #[test]
    fn the_bell_has_its_spread() {
        let mut dice = Dice::new(5, 0);
        let x: Vec<f64> = (0..4000).map(|_| dice.bell(0.01)).collect();
        let mean = x.iter().sum::<f64>() / x.len() as f64;
        let sd = (x.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / x.len() as f64).sqrt();
        assert!(mean.abs() < 0.001, "{mean}");
        assert!((sd - 0.01).abs() < 0.001, "{sd}");
    }
}
