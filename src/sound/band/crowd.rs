//! People: talk without words, and the hush of a full room.

use biquad::Type::{BandPass, LowPass};

use super::dice::Dice;
use super::voice::Filters;

/// RMS of [`Crowd`] at level 1, set to the usual RMS of the band.
pub(super) const BAND_RMS: f32 = 0.1;

/// Talkers: bands of noise that come and go at the pace of syllables.
#[derive(Debug, Clone)]
pub(super) struct Crowd {
    level: f32,
    /// Keeps the noise in a band as strong at any sample rate.
    density: f32,
    dice: Dice,
    hush: Filters,
    air: Filters,
    talkers: Vec<Talker>,
}

#[derive(Debug, Clone)]
struct Talker {
    mouth: Filters,
    loud: f32,
    slope: f32,
    left: u32,
    pace: f64,
}

impl Crowd {
    /// A crowd with an RMS of `level` times the band's.
    pub fn new(level: f64, rate: f64, seed: u64) -> Self {
        let mut dice = Dice::new(seed, 50);
        let talkers = (0..6)
            .map(|_| {
                let at = dice.between(280.0, 1100.0);
                Talker {
                    mouth: Filters::new(rate, &[(BandPass, at, 1.0)]),
                    loud: 0.0,
                    slope: 0.0,
                    left: 0,
                    pace: rate / dice.between(3.0, 6.0),
                }
            })
            .collect();
        Crowd {
            level: level as f32 * BAND_RMS,
            density: (rate / 44_100.0).sqrt() as f32,
            dice,
            hush: Filters::new(rate, &[(LowPass, 700.0, 0.5)]),
            air: Filters::new(rate, &[(LowPass, 2600.0, 0.7)]),
            talkers,
        }
    }

    /// Adds the next samples to `out`.
    pub fn add_to(&mut self, out: &mut [f32]) {
        if self.level <= 0.0 {
            return;
        }
        for y in out {
            let noise = self.dice.noise() * self.density;
            let mut sum = 0.8 * self.hush.run(noise);
            for talker in &mut self.talkers {
                if talker.left == 0 {
                    let samples = talker.pace * self.dice.between(0.7, 1.3);
                    let next = self.dice.even().powi(2) * 2.6;
                    talker.left = samples as u32 + 1;
                    talker.slope = (next as f32 - talker.loud) / talker.left as f32;
                }
                talker.left -= 1;
                talker.loud += talker.slope;
                sum += talker.loud * talker.mouth.run(noise);
            }
            *y += 1.9 * self.level * self.air.run(sum);
        }
    }
}
