//! The tempo meter on sounds of known tempo.

use eightclap::report::tempo::Meter;
use eightclap::steps::{By, Step, Steps};
use rayon::prelude::*;

#[path = "tempo/sounds.rs"]
mod sounds;

use sounds::{Click, Sound, air, band, clicks, noises, snaps, waltz, with_noise};

fn steps(sound: &Sound, block: usize) -> Vec<Step> {
    let mut listener = Steps::new(sound.rate, 112.0).unwrap();
    let mut steps = Vec::new();
    for samples in sound.samples.chunks(block) {
        listener.push(samples, &mut steps);
    }
    listener.end(&mut steps);
    steps
}

fn meter(sound: &Sound) -> (Meter, Option<By>) {
    let steps = steps(sound, 4096);
    let mut meter = Meter::default();
    for step in &steps {
        if step.anew {
            meter.restart(step.time);
        }
        meter.push(step.time);
    }
    (meter, steps.last().map(|step| step.by))
}

#[test]
fn metronomes_read_within_a_tenth_of_a_step_per_minute() {
    let mut sounds = Vec::new();
    for tempo in [60.0, 90.0, 116.0, 120.0, 132.0] {
        for kind in [Click::Blip, Click::Wood, Click::Bars] {
            sounds.push(clicks(kind, tempo, 24.0, 44_100));
            sounds.push(with_noise(clicks(kind, tempo, 24.0, 48_000)));
        }
    }
    sounds.par_iter().for_each(|sound| {
        let (meter, _) = meter(sound);
        let name = &sound.name;
        let near = |tempo: f64| (tempo - sound.tempo).abs() <= 0.1;
        let whole = meter.whole().unwrap_or_else(|| panic!("{name}: nothing"));
        assert!(near(whole.value), "{name}: {whole:?}");
        let over_8 = meter.over(8).unwrap();
        assert!(near(over_8), "{name}: {over_8} over 8 beats");
        assert!(meter.beats() + 2 >= sound.beats.len(), "{name}");
    });
}

#[test]
fn music_of_any_kind_reads_its_tempo() {
    let sounds = [
        (band("kettle-on-the-landing", 116.0, 5, 22_050), By::Engine),
        (band("lamplighters-ladder", 108.0, 6, 22_050), By::Engine),
        (waltz(84.0, 22_050), By::Pulse),
        (air(66.0, 22_050), By::Pulse),
    ];
    sounds.par_iter().for_each(|(sound, by)| {
        let (meter, found) = meter(sound);
        let whole = meter.whole().unwrap_or_else(|| panic!("{}", sound.name));
        assert!(
            (whole.value - sound.tempo).abs() < 0.15,
            "{}: {whole:?} by {found:?}",
            sound.name
        );
        assert_eq!(found, Some(*by), "{}", sound.name);
    });
    let (meter, _) = meter(&snaps(120.0, 22_050));
    assert!((meter.whole().unwrap().value - 120.0).abs() < 0.15);
}

#[test]
fn without_a_beat_there_is_no_tempo() {
    noises().par_iter().for_each(|sound| {
        let (meter, _) = meter(sound);
        assert!(
            meter.beats() < 12,
            "{}: {} beats",
            sound.name,
            meter.beats()
        );
    });
}

#[test]
fn blocks_of_any_size_give_the_same_steps() {
    let sound = clicks(Click::Wood, 126.0, 12.0, 11_025);
    let whole = steps(&sound, usize::MAX);
    assert!(whole.len() > 20);
    for block in [1, 551, 10_000] {
        assert_eq!(steps(&sound, block), whole);
    }
}
