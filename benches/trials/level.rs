//! How loud a sound is, and one sound over another.

/// Seconds in which loudness is taken.
const WINDOW: f64 = 0.020;
/// Windows softer than the loudest by this factor are pauses: -30 dB.
const PAUSE: f32 = 0.0316;

/// Root mean square; 0 of nothing.
pub fn rms(sound: &[f32]) -> f32 {
    let energy: f64 = sound.iter().map(|&x| f64::from(x).powi(2)).sum();
    (energy / sound.len().max(1) as f64).sqrt() as f32
}

/// Root mean square of every 20 ms.
fn windows(sound: &[f32], rate: u32) -> Vec<f32> {
    let len = ((WINDOW * f64::from(rate)) as usize).max(1);
    sound.chunks(len).map(rms).collect()
}

/// Root mean square of the loudest 20 ms.
pub fn loudest(sound: &[f32], rate: u32) -> f32 {
    windows(sound, rate).into_iter().fold(0.0, f32::max)
}

/// Root mean square while there is sound, pauses left out.
pub fn active(sound: &[f32], rate: u32) -> f32 {
    let floor = PAUSE * loudest(sound, rate);
    let loud = windows(sound, rate).into_iter().filter(|&w| w > floor);
    let (sum, count) = loud.fold((0.0, 0), |(sum, count), w| (sum + w * w, count + 1));
    (sum / count.max(1) as f32).sqrt()
}

/// Largest sample.
pub fn peak(sound: &[f32]) -> f32 {
    sound.iter().fold(0.0, |most, x| most.max(x.abs()))
}

/// Scales `sound` to a root mean square of `to`.
pub fn set_rms(sound: &mut [f32], to: f32) {
    let now = rms(sound);
    if now > 0.0 {
        sound.iter_mut().for_each(|x| *x *= to / now);
    }
}

/// Adds `sound` to `out` from `at` seconds on; what lies outside is not heard.
pub fn mix(out: &mut [f32], rate: u32, at: f64, sound: &[f32], gain: f32) {
    let start = (at * f64::from(rate)).round() as i64;
    let unheard = (-start).clamp(0, sound.len() as i64) as usize;
    let start = start.clamp(0, out.len() as i64) as usize;
    for (y, x) in out[start..].iter_mut().zip(&sound[unheard..]) {
        *y += gain * x;
    }
}
