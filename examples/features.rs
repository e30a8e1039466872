//! Writes the onset features of a WAV file as raw 32-bit floats, for training
//! the beat network: `cargo run --release --example features -- IN.wav OUT.f32`.

use std::io::Write;

use eightclap::hear::features::Features;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [input, output] = args.as_slice() else {
        return Err("usage: features IN.wav OUT.f32".into());
    };
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
    let mut out = std::io::BufWriter::new(std::fs::File::create(output)?);
    let mut samples = &mono[..];
    while let Some(frame) = features.next(&mut samples) {
        for value in frame.features {
            out.write_all(&value.to_le_bytes())?;
        }
    }
    Ok(())
}
