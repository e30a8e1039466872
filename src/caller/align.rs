//! Two recordings of one evening: how much later one of them began.

use crate::sound::resample::resample;
use crate::sound::roundtrip::correlate;

use super::ear::EarError;
use super::frames::RATE;

/// Seconds of both that are compared.
const COMPARED: usize = 40;
/// The furthest apart that they may begin, seconds.
const FURTHEST: usize = 8;
/// How far the best place must stand out of all others.
const CLEAR: f32 = 8.0;

/// How many seconds later than in `played` its sound comes in `heard`, both mono at their
/// rates; `None` if it is not in there, or at no clear place.
///
/// # Errors
/// If a rate is out of all reason.
pub fn align(heard: (u32, &[f32]), played: (u32, &[f32])) -> Result<Option<f64>, EarError> {
    let (heard, played) = (whitened(heard)?, whitened(played)?);
    let reach = FURTHEST * RATE as usize;
    // Silence before, so that it may come sooner too.
    let mut shifted = vec![0.0; reach];
    shifted.extend(&heard);
    let Some(likeness) = correlate(&shifted, &played) else {
        return Ok(None);
    };
    let near = &likeness[..likeness.len().min(2 * reach)];
    let best = (0..near.len()).max_by(|a, b| near[*a].abs().total_cmp(&near[*b].abs()));
    let Some(best) = best else { return Ok(None) };
    let mean = near.iter().map(|x| x * x).sum::<f32>() / near.len() as f32;
    let clear = near[best].abs() > CLEAR * mean.sqrt();
    Ok(clear.then(|| (best as f64 - reach as f64) / f64::from(RATE)))
}

/// The beginning at [`RATE`], as differences, so that low notes, which ring on, do not
/// blur where the strokes are.
fn whitened((rate, sound): (u32, &[f32])) -> Result<Vec<f32>, EarError> {
    let end = sound.len().min(COMPARED * rate as usize);
    let out = resample(&sound[..end], rate, RATE)?;
    Ok(out.windows(2).map(|w| w[1] - 0.95 * w[0]).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sound::band::{self, Performance, Settings, signals};

    #[test]
    fn a_band_that_leaks_in_is_found_where_it_is_and_nothing_else_is() {
        let settings = Settings {
            times: 1,
            ..Settings::default()
        };
        let tune = band::tune("boots-on-the-fender").expect("bundled");
        let rate = settings.sample_rate;
        let played = Performance::new(tune, settings).expect("good").render();
        let noise = signals::white_noise(played.len() as f64 / f64::from(rate), rate, 0.05, 1);
        for offset in [-1.25, 0.0, 0.040, 3.5] {
            let shift = (offset * f64::from(rate)).round() as i64;
            let heard: Vec<f32> = (0..noise.len() as i64 - 8)
                .map(|n| {
                    let leak = usize::try_from(n - shift).ok().and_then(|n| played.get(n));
                    noise[n as usize] + 0.1 * leak.copied().unwrap_or(0.0)
                })
                .collect();
            let found = align((rate, &heard), (rate, &played)).unwrap();
            let found = found.expect("it is there");
            assert!((found - offset).abs() < 0.001, "{found} for {offset}");
        }
        assert_eq!(align((rate, &noise), (rate, &played)).unwrap(), None);
        assert_eq!(align((rate, &[]), (rate, &[])).unwrap(), None);
    }
}
