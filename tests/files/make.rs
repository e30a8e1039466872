//! Sound files and measurements for the tests on files.

use eightclap::sound::file::{FileError, Recording};
use std::path::{Path, PathBuf};

/// Where the kept sound files are.
pub fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/sound")
        .join(name)
}

/// The kept files, one of each kind, and how exact their clicks' times are, in
/// seconds: a file without a length in it cannot say how much silence its
/// encoder put first.
pub const KEPT: [(&str, f64); 7] = [
    ("clicks.mp3", 0.001),
    ("no-length.mp3", 0.030),
    ("clicks.flac", 0.0002),
    ("clicks.ogg", 0.001),
    ("clicks.m4a", 0.001),
    ("clicks.aac", 0.030),
    ("clicks.aiff", 0.001),
];

/// The moments of the clicks, seconds.
pub const CLICKS: [f64; 3] = [0.25, 0.75, 1.25];

/// Reads a recording to its end, mixed to one channel.
pub fn read_all(path: &Path) -> Result<(Vec<f32>, Recording), FileError> {
    let mut recording = Recording::open(path)?;
    let (mut all, mut block) = (Vec::new(), Vec::new());
    while recording.read_mono(&mut block)? > 0 {
        assert!(block.len() <= 100_000, "a block of {} frames", block.len());
        all.extend_from_slice(&block);
    }
    Ok((all, recording))
}

/// The loudest moment within 0.1 s of each click, seconds.
pub fn clicks_in(sound: &[f32], rate: u32) -> Vec<f64> {
    let rate = f64::from(rate);
    CLICKS
        .iter()
        .filter_map(|at| {
            let from = ((at - 0.1) * rate) as usize;
            let to = (((at + 0.1) * rate) as usize).min(sound.len());
            let near = sound.get(from..to)?;
            let loudest = near
                .iter()
                .enumerate()
                .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
            (loudest.1.abs() > 0.25).then_some((from + loudest.0) as f64 / rate)
        })
        .collect()
}

/// How strong a tone of `hz` is: its amplitude.
pub fn tone(sound: &[f32], rate: u32, hz: f64) -> f64 {
    let step = std::f64::consts::TAU * hz / f64::from(rate);
    let (mut re, mut im) = (0.0, 0.0);
    for (n, s) in sound.iter().enumerate() {
        let angle = n as f64 * step;
        re += f64::from(*s) * angle.cos();
        im += f64::from(*s) * angle.sin();
    }
    2.0 * (re * re + im * im).sqrt() / sound.len() as f64
}

/// A tone of 440 Hz at half of full scale in every channel of a WAV file.
pub fn write_tone(path: &Path, spec: hound::WavSpec, seconds: f64) {
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    let frames = (f64::from(spec.sample_rate) * seconds) as u32;
    for n in 0..frames {
        let t = f64::from(n) / f64::from(spec.sample_rate);
        let value = 0.5 * (std::f64::consts::TAU * 440.0 * t).sin();
        for _ in 0..spec.channels {
            match spec.sample_format {
                hound::SampleFormat::Float => writer.write_sample(value as f32).unwrap(),
                hound::SampleFormat::Int => {
                    let full = (1i64 << (spec.bits_per_sample - 1)) as f64;
                    writer.write_sample((value * full) as i32).unwrap();
                }
            }
        }
    }
    writer.finalize().unwrap();
}

/// The bytes of a WAV file with any header one likes.
pub fn wav_bytes(
    tag: u16,
    channels: u16,
    rate: u32,
    bits: u16,
    claimed: Option<u32>,
    data: &[u8],
) -> Vec<u8> {
    let block = channels.wrapping_mul(bits / 8);
    // Kinds other than plain numbers end with the length of what follows: 0.
    let plain = matches!(tag, 1 | 3);
    let mut b = b"RIFF\0\0\0\0WAVEfmt ".to_vec();
    b.extend_from_slice(&[if plain { 16 } else { 18 }, 0, 0, 0]);
    b.extend_from_slice(&tag.to_le_bytes());
    b.extend_from_slice(&channels.to_le_bytes());
    b.extend_from_slice(&rate.to_le_bytes());
    b.extend_from_slice(&rate.wrapping_mul(u32::from(block)).to_le_bytes());
    b.extend_from_slice(&block.to_le_bytes());
    b.extend_from_slice(&bits.to_le_bytes());
    if !plain {
        b.extend_from_slice(&[0, 0]);
    }
    b.extend_from_slice(b"data");
    b.extend_from_slice(&claimed.unwrap_or(data.len() as u32).to_le_bytes());
    b.extend_from_slice(data);
    let riff = b.len() as u32 - 8;
    b[4..8].copy_from_slice(&riff.to_le_bytes());
    b
}
