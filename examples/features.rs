//! Writes the onset features of a recording as raw 32-bit floats, for training
//! the beat network: `cargo run --release --example features -- IN.wav OUT.f32`.

use std::io::Write;

use eightclap::hear::features::Features;
use eightclap::sound::file::load_mono;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [input, output] = args.as_slice() else {
        return Err("usage: features IN.wav OUT.f32".into());
    };
    let (rate, mono) = load_mono(input)?;
    let mut features = Features::new(rate)?;
    let mut out = std::io::BufWriter::new(std::fs::File::create(output)?);
    let mut samples = &mono[..];
    while let Some(frame) = features.next(&mut samples) {
        for value in frame.features {
            out.write_all(&value.to_le_bytes())?;
        }
    }
    Ok(())
}
