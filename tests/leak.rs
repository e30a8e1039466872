//! The program's own claps in its microphone do not lead it astray.

#[path = "../benches/trials/leak.rs"]
mod leak;
#[path = "../benches/trials/level.rs"]
#[allow(dead_code, reason = "shared with the bench")]
mod level;

use eightclap::engine::{Engine, Settings};
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
    let figures: Vec<Figures> = tunes
        .par_iter()
        .map(|tune| {
            let mut engine = Engine::new(RATE, Settings::default()).expect("a usual rate");
            let mut samples = tune.samples.clone();
            let events = match back {
                Some((softer, delay)) => {
                    hear_with_claps(&mut engine, &mut samples, RATE, tune.rms, softer, delay)
                }
                None => {
                    let mut events = Vec::new();
                    engine.push(&samples, &mut events);
                    events
                }
            };
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
