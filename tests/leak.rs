//! The program's own claps and calls in its microphone do not lead it astray.

#[path = "../benches/trials/leak.rs"]
mod leak;
#[path = "../benches/trials/level.rs"]
#[allow(dead_code, reason = "shared with the bench")]
mod level;

use std::collections::HashMap;
use std::sync::Arc;

use eightclap::cue::voice::{self, Voice};
use eightclap::cue::{Call, Fading, Manner, Prompter, Saying, Script};
use eightclap::dance::{Card, LANTERNS_ON_THE_WEIR};
use eightclap::engine::{Engine, Settings};
use eightclap::event::Event;
use eightclap::report::accuracy::Figures;
use eightclap::sound::band::{self, Backup, Performance, Truth};
use leak::{DELAYS, Softer, hear_with_claps};
use rayon::prelude::*;

const RATE: u32 = 22_050;

/// A bundled tune as sound, with its truth and its loudness.
struct Tune {
    samples: Vec<f32>,
    truth: Truth,
    rms: f32,
}

fn tunes() -> Vec<Tune> {
    let play = |(seed, tune)| {
        let settings = band::Settings {
            seed,
            times: 2,
            backup: [Backup::Piano, Backup::None][seed as usize % 2],
            sample_rate: RATE,
            ..band::Settings::default()
        };
        let played = Performance::new(tune, settings).expect("good");
        let (samples, truth) = (played.render(), played.truth().clone());
        let at = |beat: f64| (beat * f64::from(RATE)) as usize;
        let music = at(truth.beats[0])..at(truth.beats[127]);
        let rms = level::rms(&samples[music]);
        Tune {
            samples,
            truth,
            rms,
        }
    };
    let all: Vec<_> = (1..).zip(band::tunes()).collect();
    all.into_par_iter().map(play).collect()
}

/// Mean beat F and share of phrases clapped, in percent, with claps coming back
/// so or not at all.
fn percent(tunes: &[Tune], back: Option<(Softer, u32)>) -> (f64, f64) {
    percent_of(tunes, |engine, samples, rms| match back {
        Some((softer, delay)) => hear_with_claps(engine, samples, RATE, rms, softer, delay),
        None => {
            let mut events = Vec::new();
            engine.push(samples, &mut events);
            events
        }
    })
}

/// Mean beat F and share of phrases clapped, in percent, when the tunes are heard so.
fn percent_of(
    tunes: &[Tune],
    hear: impl Fn(&mut Engine, &mut [f32], f32) -> Vec<Event> + Sync,
) -> (f64, f64) {
    let figures: Vec<Figures> = tunes
        .par_iter()
        .map(|tune| {
            let mut engine = Engine::new(RATE, Settings::default()).expect("a usual rate");
            let mut samples = tune.samples.clone();
            let events = hear(&mut engine, &mut samples, tune.rms);
            let seconds = samples.len() as f64 / f64::from(RATE);
            Figures::of(&tune.truth, &events, seconds)
        })
        .collect();
    let n = figures.len() as f64;
    let right: usize = figures.iter().map(|f| f.phrases_right).sum();
    let all: usize = figures.iter().map(|f| f.phrases).sum();
    (
        100.0 * figures.iter().map(|f| f.f).sum::<f64>() / n,
        100.0 * right as f64 / all as f64,
    )
}

#[test]
fn own_claps_in_the_microphone_cost_less_than_a_point() {
    let tunes = tunes();
    assert!(tunes.len() >= 5);
    let (f, phrases) = percent(&tunes, None);
    println!("without: F {f:.2} %, phrases {phrases:.1} %");
    assert!(f > 97.0 && phrases > 99.0, "F {f}, phrases {phrases}");
    for softer in [Softer::Power, Softer::Peak] {
        for delay in DELAYS {
            let (with_f, with_phrases) = percent(&tunes, Some((softer, delay)));
            let name = format!("after {delay} ms, -6 dB {}", softer.name());
            println!("{name}: F {with_f:.2} %, phrases {with_phrases:.1} %");
            assert!(with_f > f - 1.0, "{name}: F fell from {f} to {with_f}");
            assert!(
                with_phrases > phrases - 1.0,
                "{name}: phrases fell from {phrases} to {with_phrases}"
            );
        }
    }
}

/// The words of a dance, spoken: where nobody speaks them, talk as long as they take.
fn words(card: &Card) -> HashMap<String, Arc<[f32]>> {
    let settings = voice::Settings {
        engine: voice::Choice::None,
        ..voice::Settings::default()
    };
    let voice = Voice::new(settings).expect("no folder to read");
    let words = Script::words(card);
    let spoken = voice.prepare(words.iter().map(String::as_str), RATE);
    let sound = |words: &str| match spoken.get(words) {
        Some(said) => said.clips[0].samples.clone(),
        None => {
            let seconds = 0.2 + words.len() as f64 / 15.0;
            band::signals::babble(seconds, RATE, 0.2, words.len() as u64).into()
        }
    };
    words.iter().map(|w| (w.clone(), sound(w))).collect()
}

/// `samples`, heard in blocks of 10 ms while each call that the engine's own events
/// bring about comes back `delay` milliseconds after its time, `gain` times as loud as
/// the music (power while it is spoken). Every figure is called in full.
fn hear_with_calls(
    engine: &mut Engine,
    samples: &mut [f32],
    music_rms: f32,
    words: &HashMap<String, Arc<[f32]>>,
    (gain, delay): (f32, u32),
) -> Vec<Event> {
    let card = Card::parse(LANTERNS_ON_THE_WEIR, "card").expect("bundled");
    let seconds = |said: &str| Some(words.get(said)?.len() as f64 / f64::from(RATE));
    let fading = Fading {
        full: u32::MAX,
        ..Fading::default()
    };
    let manner = Manner { fading, lead: 1 };
    let mut prompter = Prompter::new(Arc::new(Script::new(&card, seconds)), manner);
    let (mut events, mut sayings, mut waiting) = (Vec::new(), Vec::new(), Vec::<Call>::new());
    let mut said = 0;
    let block = RATE as usize / 100;
    for start in (0..samples.len()).step_by(block) {
        let end = (start + block).min(samples.len());
        let now = end as f64 / f64::from(RATE);
        let back = |call: &Call| call.start + f64::from(delay) / 1000.0;
        for call in waiting.extract_if(.., |call| back(call) < now) {
            let sound = &words[&*call.words];
            let gain = gain * music_rms / level::active(sound, RATE);
            level::mix(samples, RATE, back(&call), sound, gain);
            said += 1;
        }
        let known = events.len();
        engine.push(&samples[start..end], &mut events);
        for event in &events[known..] {
            prompter.push(event, &mut sayings);
        }
        for saying in sayings.drain(..) {
            // One that is stopped is heard to its end here, which is harder to bear.
            let (Saying::Say(Call { id, .. }) | Saying::Withdraw { id }) = saying else {
                continue;
            };
            waiting.retain(|call| call.id != id);
            if let Saying::Say(call) = saying {
                waiting.push(call);
            }
        }
    }
    assert!(said > 10, "only {said} calls");
    events
}

#[test]
fn own_calls_in_the_microphone_cost_little() {
    let tunes = tunes();
    let card = Card::parse(LANTERNS_ON_THE_WEIR, "card").expect("bundled");
    let words = words(&card);
    let (f, phrases) = percent(&tunes, None);
    for (decibels, points) in [(-12, 1.0), (-6, 1.0), (0, 2.0)] {
        for delay in [20, 80] {
            let gain = 10f32.powf(decibels as f32 / 20.0);
            let (with_f, with_phrases) = percent_of(&tunes, |engine, samples, rms| {
                hear_with_calls(engine, samples, rms, &words, (gain, delay))
            });
            let name = format!("calls after {delay} ms, {decibels} dB");
            println!(
                "{name}: F {with_f:.2} % of {f:.2}, phrases {with_phrases:.1} % of {phrases:.1}"
            );
            assert!(with_f > f - points, "{name}: F fell from {f} to {with_f}");
            assert!(
                with_phrases > phrases - 3.0 * points,
                "{name}: phrases fell from {phrases} to {with_phrases}"
            );
        }
    }
}
