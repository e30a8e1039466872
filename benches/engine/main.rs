//! How fast the engine hears: `cargo bench --bench engine`.
//!
//! First come all stages under divan: each figure is for ten seconds of sound on one
//! core; the last column, items a second, is samples a second. Then, in words, how much
//! faster than real time a minute of music goes through each stage; its first three
//! seconds are a lead-in, in which the bar pointer has most to do.
//!
//! Last come the times of single blocks of 10 ms, as they arrive live: what
//! counts there is the worst one. `-- --words` and `-- --blocks` print these parts alone.

mod stages;

use std::time::{Duration, Instant};

use divan::{Bencher, counter::ItemsCount};
use eightclap::engine::{Engine, Settings};
use eightclap::report::measures::quantile;
use eightclap::sound::band::{self, Performance, signals};
use stages::Music;

fn main() {
    let asked = |name: &str| std::env::args().any(|arg| arg == name);
    let (only_words, only_blocks) = (asked("--words"), asked("--blocks"));
    if !(only_words || only_blocks) {
        divan::main();
    }
    // Not when only asked to list the benches, or to test them.
    let all = asked("--bench") && !(only_words || only_blocks);
    if all || only_words {
        words();
    }
    if all || only_blocks {
        blocks();
    }
}

/// How long each stage is run again and again; its shortest time counts, as the system
/// may take the core away in any other.
const LOOK: Duration = Duration::from_millis(1500);

/// The shortest time of a run, seconds.
fn shortest<R: FnOnce() -> usize>(ready: impl Fn() -> R) -> f64 {
    let begun = Instant::now();
    let mut best = f64::INFINITY;
    while begun.elapsed() < LOOK {
        let run = ready();
        let start = Instant::now();
        std::hint::black_box(run());
        best = best.min(start.elapsed().as_secs_f64());
    }
    best
}

/// Says how fast a minute of music goes through each stage.
fn words() {
    let rate = 44_100;
    let music = &Music::new(rate, 60);
    println!("\na minute of music at {rate} Hz on one core, the fastest of many runs");
    let say = |name: &str, seconds: f64| {
        println!(
            "{name:34} {:9.3} ms: {:.0} times as fast as it is played",
            1e3 * seconds,
            music.seconds() / seconds
        );
    };
    say("features", shortest(|| stages::features(music)));
    say("beat network", shortest(|| stages::net(music)));
    say("tracker (bar pointer)", shortest(|| stages::tracker(music)));
    say("phrase tracker", shortest(|| stages::phrase(music)));
    say("scheduler", shortest(|| stages::scheduler(music)));
    say("mixer (claps and ticks)", shortest(|| stages::mixer(music)));
    let engine = shortest(|| stages::engine(music));
    say("the engine, samples to events", engine);
    println!(
        "the engine hears an hour of music in {:.1} s",
        60.0 * engine
    );
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

/// Times a stage on ten seconds of the house band.
fn stage<R: FnOnce() -> usize>(bencher: Bencher, rate: u32, ready: impl Fn(&'static Music) -> R) {
    // The few that there are live as long as the program.
    let music: &'static Music = Box::leak(Box::new(Music::new(rate, 10)));
    bencher
        .counter(ItemsCount::new(music.sound.len()))
        .with_inputs(|| ready(music))
        .bench_local_values(|run| run());
}

#[divan::bench(args = [8_000, 44_100, 48_000, 192_000])]
fn features(bencher: Bencher, rate: u32) {
    stage(bencher, rate, stages::features);
}

#[divan::bench(args = [44_100])]
fn net(bencher: Bencher, rate: u32) {
    stage(bencher, rate, stages::net);
}

#[divan::bench(args = [44_100])]
fn tracker(bencher: Bencher, rate: u32) {
    stage(bencher, rate, stages::tracker);
}

#[divan::bench(args = [44_100])]
fn phrase(bencher: Bencher, rate: u32) {
    stage(bencher, rate, stages::phrase);
}

#[divan::bench(args = [44_100])]
fn scheduler(bencher: Bencher, rate: u32) {
    stage(bencher, rate, stages::scheduler);
}

#[divan::bench(args = [44_100])]
fn mixer(bencher: Bencher, rate: u32) {
    stage(bencher, rate, stages::mixer);
}

#[divan::bench(args = [8_000, 44_100, 48_000, 192_000])]
fn engine(bencher: Bencher, rate: u32) {
    stage(bencher, rate, stages::engine);
}
