//! How fast the engine hears: `cargo bench --bench engine`.
//!
//! Each figure is for ten seconds of sound on one core; the last column, items
//! a second, is therefore samples a second: divided by the sample rate it is
//! the speed against real time.
//!
//! Last come the times of single blocks of 10 ms, as they arrive live: what
//! counts there is the worst one.

use std::time::Instant;

use divan::{Bencher, counter::ItemsCount};
use eightclap::engine::{Engine, Settings};
use eightclap::hear::features::Features;
use eightclap::report::measures::quantile;
use eightclap::sound::band::{self, Performance, signals};

fn main() {
    divan::main();
    // Not when only asked to list the benches, or to test them.
    if std::env::args().any(|arg| arg == "--bench") {
        blocks();
    }
}

/// Runs for each block's time.
const RUNS: usize = 7;

/// Times every 10 ms block of a tune with its lead-in, of the same tune from
/// the middle, and of noise, each through a new engine as live sound would go.
///
/// A block costs the same work in every run, but the system may take the core
/// away in between. So a block's time is its shortest of several runs; the last
/// column is the longest single time of all, the system's doings included.
fn blocks() {
    println!("\n10 ms blocks, microseconds each");
    println!(
        "{:10} {:28} {:>6} {:>8} {:>8} {:>8} {:>8} {:>11}",
        "rate", "sound", "blocks", "median", "p99", "p99.9", "max", "interrupted"
    );
    for rate in [44_100, 48_000, 192_000] {
        let played = |start_beat| {
            let tune = band::tune("boots-on-the-fender").expect("a bundled tune");
            let settings = band::Settings {
                sample_rate: rate,
                start_beat,
                times: 2,
                ..band::Settings::default()
            };
            let performance = Performance::new(tune, settings).expect("good settings");
            performance.render()
        };
        for (name, sound) in [
            ("two times through a tune", played(0)),
            ("the same, started mid-tune", played(21)),
            ("loud noise", signals::white_noise(60.0, rate, 0.5, 1)),
        ] {
            let mut times: Vec<f64> = Vec::new();
            let mut longest = 0.0f64;
            for run in 0..RUNS {
                let mut engine = Engine::new(rate, Settings::default()).expect("a usual rate");
                let mut events = Vec::with_capacity(1024);
                for (k, block) in sound.chunks_exact(rate as usize / 100).enumerate() {
                    let begun = Instant::now();
                    engine.push(block, &mut events);
                    let took = begun.elapsed().as_secs_f64() * 1e6;
                    longest = longest.max(took);
                    match run {
                        0 => times.push(took),
                        _ => times[k] = times[k].min(took),
                    }
                }
            }
            let at = |share| quantile(&times, share).unwrap_or(f64::NAN);
            println!(
                "{rate:<10} {name:28} {:6} {:8.1} {:8.1} {:8.1} {:8.1} {longest:11.1}",
                times.len(),
                at(0.5),
                at(0.99),
                at(0.999),
                at(1.0)
            );
        }
    }
}

/// Ten seconds of the house band, from its lead-in on.
fn sound(rate: u32) -> Vec<f32> {
    let settings = band::Settings {
        times: 1,
        sample_rate: rate,
        ..band::Settings::default()
    };
    let tune = &band::tunes()[0];
    let mut sound = Performance::new(tune, settings)
        .expect("good settings")
        .render();
    sound.truncate(10 * rate as usize);
    sound
}

#[divan::bench(args = [8_000, 44_100, 48_000, 192_000])]
fn features(bencher: Bencher, rate: u32) {
    let sound = sound(rate);
    bencher
        .counter(ItemsCount::new(sound.len()))
        .bench_local(|| {
            let mut features = Features::new(rate).expect("a usual rate");
            let mut samples = &sound[..];
            let mut last = 0.0;
            while let Some(frame) = features.next(&mut samples) {
                last = frame.features[0];
            }
            last
        });
}

#[divan::bench(args = [8_000, 44_100, 48_000, 192_000])]
fn engine(bencher: Bencher, rate: u32) {
    let sound = sound(rate);
    bencher
        .counter(ItemsCount::new(sound.len()))
        .with_inputs(|| Engine::new(rate, Settings::default()).expect("a usual rate"))
        .bench_local_values(|mut engine| {
            let mut events = Vec::new();
            engine.push(&sound, &mut events);
            events.len()
        });
}
