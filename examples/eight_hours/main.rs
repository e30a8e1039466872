//! An evening and a night of listening in a minute or two: what grows, what drifts.
//!
//! `cargo run --example eight_hours`, or with hours and a seed after `--`: the development
//! build, for its checks of overflow. Bundled tunes, talk and silence go through
//! [`Live`] and the screen's state as a microphone and a loudspeaker would hand them on
//! whose clocks are 100 millionths apart, whose stamps wander by up to 18 ms, and which
//! lose some sound every few minutes. It ends with an error if memory grows, if claps
//! fall otherwise in the last hour than in the first, or if a count is lost.

mod hall;

use std::alloc::System;
use std::process::ExitCode;
use std::time::Instant;

use hall::{Hall, RATE};
use stats_alloc::{INSTRUMENTED_SYSTEM, StatsAlloc};

#[global_allocator]
static COUNTED: &StatsAlloc<System> = &INSTRUMENTED_SYSTEM;

/// Bytes in use now.
fn heap() -> f64 {
    let stats = COUNTED.stats();
    let moved = stats.bytes_reallocated as f64;
    stats.bytes_allocated as f64 + moved - stats.bytes_deallocated as f64
}

/// Heap may grow so much after the first hour, bytes: the tempo meter keeps each beat, and
/// delays are kept up to a hundred thousand; their lists double.
const GROWS: f64 = 6e6;
/// The last hour's claps are no further off than the first's by more than this, seconds.
const DRIFTS: f64 = 0.005;

fn main() -> ExitCode {
    let mut args = std::env::args().skip(1).filter(|arg| arg != "--bench");
    let hours: u32 = args.next().and_then(|a| a.parse().ok()).unwrap_or(8);
    let seed: u64 = args.next().and_then(|a| a.parse().ok()).unwrap_or(1);
    let begun = Instant::now();
    let mut hall = Hall::new(seed, f64::from(hours) * 3_600.0);
    println!(
        "{:.0} s to play the tunes; then {hours} h at {RATE} Hz, seed {seed}",
        begun.elapsed().as_secs_f64()
    );
    println!("hour  ones  clapped  off by (median, 95 %)  stray claps  holes  missing  heap");
    let begun = Instant::now();
    let mut rows = Vec::with_capacity(hours as usize);
    for hour in 1..=hours {
        hall.until(f64::from(hour) * 3_600.0);
        let (heap, tally) = (heap(), hall.live.tally());
        let (holes, missing, seconds) = (tally.holes, tally.missing, tally.seconds);
        let of = hall.judge();
        println!(
            "{hour:4} {:5} {:7.1}% {:11.1}, {:4.1} ms {:12} {holes:6} {missing:6.2} s {:6.2} MB",
            of.ones,
            100.0 * of.clapped,
            1e3 * of.median,
            1e3 * of.most,
            of.stray,
            heap / 1e6,
        );
        rows.push((of, heap, seconds));
    }
    let took = begun.elapsed().as_secs_f64();
    println!(
        "{took:.0} s, {:.0} times as fast as time; {} events, {} orders",
        f64::from(hours) * 3_600.0 / took,
        hall.events,
        hall.ordered
    );
    let (Some(first), Some(last)) = (rows.first(), rows.last()) else {
        return ExitCode::FAILURE;
    };
    let expected = hall.heard_samples as f64 / f64::from(RATE);
    let failures = [
        (last.1 - first.1 > GROWS, "memory grows"),
        (last.0.median - first.0.median > DRIFTS, "claps drift"),
        (last.0.clapped < first.0.clapped - 0.1, "claps are lost"),
        ((last.2 - expected).abs() > 1e-3, "seconds are miscounted"),
    ];
    let mut code = ExitCode::SUCCESS;
    for (_, what) in failures.iter().filter(|(failed, _)| *failed) {
        println!("FAILED: {what}");
        code = ExitCode::FAILURE;
    }
    code
}
