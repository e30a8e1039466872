//! Live sound cannot wait for memory: once the band plays, hearing and mixing
//! ask the system for none.
//!
//! The counting allocator counts for the whole process, so this file holds a
//! single test; a second one, running beside it, would be counted too.

use std::alloc::System;

use eightclap::engine::{Engine, Settings};
use eightclap::event::Event;
use eightclap::sound::band::{self, Performance};
use eightclap::sound::clap;
use eightclap::sound::mix::Mixer;
use eightclap::sound::peak::Limiter;
use stats_alloc::{INSTRUMENTED_SYSTEM, Region, Stats, StatsAlloc};

#[global_allocator]
static COUNTED: &StatsAlloc<System> = &INSTRUMENTED_SYSTEM;

const RATE: u32 = 44_100;
/// 10 ms.
const BLOCK: usize = 441;
/// Seconds after which everything must be in place. The lead-in starts within.
const SETTLED: usize = 2;

/// Runs `work` and gives what it asked of the allocator.
fn counting(work: impl FnOnce()) -> Stats {
    let region = Region::new(COUNTED);
    work();
    region.change()
}

fn assert_none(what: &str, stats: Stats) {
    let calls = stats.allocations + stats.reallocations + stats.deallocations;
    assert_eq!(calls, 0, "{what} asked the allocator: {stats:?}");
}

#[test]
fn hearing_and_mixing_allocate_nothing_once_they_run() {
    let seen = counting(|| drop(std::hint::black_box(vec![0u8; 100])));
    assert_eq!(seen.allocations, 1, "the allocator does not count");

    let tune = band::tune("boots-on-the-fender").expect("a bundled tune");
    let settings = band::Settings {
        times: 1,
        sample_rate: RATE,
        ..band::Settings::default()
    };
    let performance = Performance::new(tune, settings).expect("good settings");
    let ones = performance.truth().phrases.clone();
    let mut sound = performance.render();
    // Also through the end of the music, and into what is no music at all.
    sound.extend(band::signals::white_noise(4.0, RATE, 0.1, 1));
    sound.extend([f32::NAN; 2 * RATE as usize]);

    let mut engine = Engine::new(RATE, Settings::default()).expect("a usual rate");
    let mut events: Vec<Event> = Vec::with_capacity(1000);
    let (start, rest) = sound.split_at(SETTLED * RATE as usize);
    engine.push(start, &mut events);
    // Two phrases by ear, then the caller says where "one" is, so that claps
    // are given whatever the ear made of the lead-in.
    let (led_in, later) = rest.split_at((ones[2] * f64::from(RATE)) as usize - start.len());
    let heard = counting(|| {
        for block in led_in.chunks(BLOCK) {
            engine.push(block, &mut events);
        }
        engine.say_one(ones[2]);
        for block in later.chunks(BLOCK) {
            engine.push(block, &mut events);
        }
    });
    assert_none("the engine", heard);
    let claps: Vec<f64> = events
        .iter()
        .filter_map(|e| match e {
            Event::Phrase(phrase) => Some(phrase.time),
            _ => None,
        })
        .collect();
    assert!(claps.len() + 3 >= ones.len(), "only {} claps", claps.len());

    let (mut mixer, mut limiter) = (Mixer::new(), Limiter::new(RATE, 1));
    let clap = clap::group(RATE);
    let before = sound.clone();
    let mixed = counting(|| {
        let mut due = claps
            .iter()
            .map(|t| (t * f64::from(RATE)) as u64)
            .peekable();
        for block in sound.chunks_mut(BLOCK) {
            let soon = mixer.now() + 100 * BLOCK as u64;
            while let Some(at) = due.next_if(|&at| at < soon) {
                assert!(mixer.schedule(at, clap.clone(), 1.0));
            }
            mixer.mix(block, 1);
            limiter.pass(block);
        }
    });
    assert_none("mixing and limiting", mixed);
    let clapped = (claps[0] * f64::from(RATE)) as usize..;
    let (mixed, before) = (&sound[clapped.clone()][..BLOCK], &before[clapped][..BLOCK]);
    assert_ne!(mixed, before, "nothing was mixed in");
}
