//! The house band: its tunes, what is known of a performance, and how that sounds.

mod heard;
mod truth;
mod tunes;

use super::*;

fn short(tune: &Tune, settings: Settings) -> Performance {
    let settings = Settings {
        times: 1,
        ..settings
    };
    Performance::new(tune, settings).unwrap()
}

fn rms(x: &[f32]) -> f64 {
    (x.iter().map(|v| f64::from(*v).powi(2)).sum::<f64>() / x.len() as f64).sqrt()
}

fn decibels(level: f64) -> f64 {
    20.0 * level.log10()
}
