//! The instruments. Each adds its sound to a block and keeps its own state, so
//! that blocks of any size give the same samples.

mod fiddle;
mod filter;
mod percussion;
mod piano;
mod plucked;

pub(super) use fiddle::{Fiddle, Stroke};
pub(super) use filter::{Filters, Shape};
pub(super) use percussion::Percussion;
pub(super) use piano::Piano;
pub(super) use plucked::Plucks;

/// Hertz of a MIDI note number, 69 being A at 440 Hz.
fn hertz(pitch: f64) -> f64 {
    440.0 * ((pitch - 69.0) / 12.0).exp2()
}

/// Factor a sample by which something dies away by 60 dB in `seconds`.
fn decay60(seconds: f64, rate: f64) -> f64 {
    (-6.907_755 / (seconds * rate)).exp()
}

/// Coefficient of a one-pole smoother with a time constant of `seconds`.
fn smoother(seconds: f64, rate: f64) -> f64 {
    1.0 - (-1.0 / (seconds * rate)).exp()
}

#[cfg(test)]
mod tests {
    use super::super::score::Plucked;
    use super::*;
    use realfft::RealFftPlanner;

    const RATE: f64 = 44_100.0;

    /// The loudest frequency within a semitone of `near`, by parabola over the peak.
    fn loudest(x: &[f32], near: f64) -> f64 {
        let size = 1 << 16;
        let mut frame: Vec<f32> = (0..size)
            .map(|i| {
                let w = (std::f32::consts::PI * (i as f32 + 0.5) / x.len().min(size) as f32).sin();
                x.get(i).map_or(0.0, |v| v * w * w)
            })
            .collect();
        let fft = RealFftPlanner::<f32>::new().plan_fft_forward(size);
        let mut spectrum = fft.make_output_vec();
        fft.process(&mut frame, &mut spectrum).unwrap();
        let bin = |hz: f64| (hz * size as f64 / RATE).round() as usize;
        let log = |k: usize| f64::from(spectrum[k].norm()).ln();
        let top = (bin(near / 1.06)..=bin(near * 1.06))
            .max_by(|a, b| log(*a).total_cmp(&log(*b)))
            .unwrap();
        let (a, b, c) = (log(top - 1), log(top), log(top + 1));
        (top as f64 + 0.5 * (a - c) / (a - 2.0 * b + c)) * RATE / size as f64
    }

    fn cents(x: &[f32], pitch: f64) -> f64 {
        1200.0 * (loudest(x, hertz(pitch)) / hertz(pitch)).log2()
    }

    #[test]
    fn strings_and_keys_are_in_tune() {
        for (kind, pitches) in [
            (Plucked::Mandolin, [62.0, 69.0, 83.0]),
            (Plucked::Guitar, [50.0, 57.0, 67.0]),
            (Plucked::Bass, [34.0, 40.0, 45.0]),
        ] {
            for pitch in pitches {
                let mut out = vec![0.0; 44_100];
                let mut plucks = Plucks::new(RATE, 1);
                plucks.pluck(kind, pitch, 1.0, 1.0);
                plucks.add_to(&mut out);
                let off = cents(&out, pitch);
                assert!(off.abs() < 9.0, "{kind:?} {pitch}: {off} cents");
            }
        }
        for pitch in [46.0, 57.0, 69.0] {
            let mut out = vec![0.0; 44_100];
            let mut piano = Piano::new(RATE, 1);
            piano.strike(pitch, 1.0, 1.0);
            piano.add_to(&mut out);
            let off = cents(&out, pitch);
            assert!(off.abs() < 9.0, "piano {pitch}: {off} cents");
        }
        for pitch in [55.0, 69.0, 83.0] {
            let mut out = vec![0.0; 44_100];
            let mut fiddle = Fiddle::new(RATE, 1);
            let stroke = Stroke {
                pitch,
                seconds: 1.0,
                level: 1.0,
                slurred: false,
            };
            fiddle.bow(stroke, None);
            fiddle.add_to(&mut out);
            let off = cents(&out, pitch);
            assert!(off.abs() < 20.0, "fiddle {pitch}: {off} cents");
        }
    }
}
