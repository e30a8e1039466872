//! Writes the semitone magnitudes of WAV files as raw 32-bit floats (36 each
//! 10 ms) beside them, for training the phrase network:
//! `cargo run --release --example semitones -- NAME.wav ...` writes `NAME.p36`.

use std::io::Write;
use std::path::Path;

use eightclap::hear::features::Features;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let inputs: Vec<String> = std::env::args().skip(1).collect();
    if inputs.is_empty() {
        return Err("usage: semitones NAME.wav ...".into());
    }
    for input in &inputs {
        let mut wav = hound::WavReader::open(input)?;
        let spec = wav.spec();
        let raw: Vec<f32> = match spec.sample_format {
            hound::SampleFormat::Float => wav.samples::<f32>().collect::<Result<_, _>>()?,
            hound::SampleFormat::Int => {
                let scale = 1.0 / (1u64 << (spec.bits_per_sample - 1)) as f32;
                wav.samples::<i32>()
                    .map(|s| s.map(|s| s as f32 * scale))
                    .collect::<Result<_, _>>()?
            }
        };
        let channels = usize::from(spec.channels);
        let mono: Vec<f32> = raw
            .chunks(channels)
            .map(|frame| frame.iter().sum::<f32>() / channels as f32)
            .collect();
        let mut features = Features::new(spec.sample_rate)?;
        let output = Path::new(input).with_extension("p36");
        let mut out = std::io::BufWriter::new(std::fs::File::create(output)?);
        let mut samples = &mono[..];
        while let Some(frame) = features.next(&mut samples) {
            for value in frame.pitches {
                out.write_all(&value.to_le_bytes())?;
            }
        }
        out.flush()?;
    }
    Ok(())
}
