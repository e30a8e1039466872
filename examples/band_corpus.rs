//! Writes recordings of the house band with their truth, for the accuracy bench:
//! `cargo run --release --example band_corpus -- DIR [COUNT]`.
//!
//! Each recording differs in tune, tempo, instruments, lead-in, room and noise.

use std::path::PathBuf;

use eightclap::sound::band::{self, Backup, Lead, LeadIn, Performance, Room, Settings};
use eightclap::sound::write::{Depth, WavOut};

fn main() -> anyhow::Result<()> {
    let mut args = std::env::args().skip(1);
    let Some(folder) = args.next().map(PathBuf::from) else {
        anyhow::bail!("usage: band_corpus DIR [COUNT]");
    };
    let count: u64 = args.next().map_or(Ok(24), |n| n.parse())?;
    std::fs::create_dir_all(&folder)?;
    let pick = |k: u64, of: usize| (k % of as u64) as usize;
    for k in 0..count {
        let tune = &band::tunes()[pick(k, band::tunes().len())];
        let settings = Settings {
            seed: 1000 + k,
            steps_per_minute: 106.0 + (k * 7 % 17) as f64,
            times: 2,
            speed_up: [0.0, 0.0, 0.04][pick(k, 3)],
            lead: [Lead::Fiddle, Lead::Fiddle, Lead::Mandolin][pick(k / 2, 3)],
            backup: [Backup::Piano, Backup::Guitar, Backup::None][pick(k / 3, 3)],
            lead_in: [LeadIn::Fiddle, LeadIn::Piano, LeadIn::Clicks][pick(k / 4, 3)],
            room: [Room::DRY, Room::SMALL, Room::HALL][pick(k / 5, 3)],
            noise: [0.0, 0.01, 0.03][pick(k / 7, 3)],
            ..Settings::default()
        };
        let rate = settings.sample_rate;
        let performance = Performance::new(tune, settings)?;
        let path = folder.join(format!("{k:02}_{}.wav", tune.name()));
        let mut wav = WavOut::create(&path, rate, 1, Depth::Int16)?;
        wav.write(&performance.render())?;
        wav.finish()?;
        let truth = serde_json::to_string_pretty(performance.truth())?;
        std::fs::write(path.with_extension("json"), truth + "\n")?;
        println!("{}", path.display());
    }
    Ok(())
}
