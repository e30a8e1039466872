//! The engine as a whole, on tunes of the house band: what it announces is
//! right, ahead of its time, and depends on nothing but the sound heard so far.

use std::sync::LazyLock;

use eightclap::engine::{Engine, Settings};
use eightclap::event::{Event, NOTICE};
use eightclap::report::measures::{HIT_WINDOW, f_measure, matches};
use eightclap::sound::band::{self, Backup, Performance, Room, Truth, signals};
use proptest::prelude::*;

const RATE: u32 = 44_100;

fn performance(name: &str, seed: u64, change: impl FnOnce(&mut band::Settings)) -> Performance {
    let mut settings = band::Settings {
        seed,
        times: 2,
        sample_rate: RATE,
        ..band::Settings::default()
    };
    change(&mut settings);
    Performance::new(band::tune(name).expect("a bundled tune"), settings).expect("good settings")
}

fn hear(sound: &[f32], rate: u32, block: usize) -> Vec<Event> {
    let mut engine = Engine::new(rate, Settings::default()).expect("a usual rate");
    let mut events = Vec::new();
    for samples in sound.chunks(block.max(1)) {
        engine.push(samples, &mut events);
    }
    events
}

fn claps(events: &[Event]) -> Vec<f64> {
    events
        .iter()
        .filter_map(|e| match e {
            Event::Phrase(p) => Some(p.time),
            _ => None,
        })
        .collect()
}

/// Half a tune with its lead-in, rendered once for all tests that cut it up.
static PIECE: LazyLock<Vec<f32>> = LazyLock::new(|| {
    let mut sound = performance("kettle-on-the-landing", 5, |s| s.times = 1).render();
    sound.truncate(20 * RATE as usize);
    sound
});
static PIECE_EVENTS: LazyLock<Vec<Event>> = LazyLock::new(|| hear(&PIECE, RATE, PIECE.len()));

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn blocks_of_any_size_give_the_same_events(sizes in prop::collection::vec(1usize..6000, 1..40)) {
        let mut engine = Engine::new(RATE, Settings::default()).expect("a usual rate");
        let mut events = Vec::new();
        let mut rest = &PIECE[..];
        for size in sizes.iter().cycle() {
            let (block, later) = rest.split_at((*size).min(rest.len()));
            engine.push(block, &mut events);
            rest = later;
            if rest.is_empty() {
                break;
            }
        }
        prop_assert_eq!(&events, &*PIECE_EVENTS);
    }

    #[test]
    fn what_comes_later_changes_nothing(cut in 0.5f64..19.5, noise in any::<u64>()) {
        let at = (cut * f64::from(RATE)) as usize;
        let mut other = PIECE[..at].to_vec();
        // Silence for some, noise for others.
        other.extend(match noise % 2 {
            0 => vec![0.0; RATE as usize],
            _ => signals::white_noise(1.0, RATE, 0.3, noise),
        });
        let known = |events: &[Event]| {
            events.iter().filter(|e| e.announced() <= cut).copied().collect::<Vec<_>>()
        };
        prop_assert_eq!(known(&hear(&other, RATE, 700)), known(&PIECE_EVENTS));
    }
}

#[test]
fn single_samples_are_blocks_too() {
    assert_eq!(hear(&PIECE, RATE, 1), *PIECE_EVENTS);
}

#[test]
fn every_beat_and_phrase_is_announced_ahead_and_in_order() {
    let events = &*PIECE_EVENTS;
    assert!(events.len() > 30);
    let mut last_beat = 0.0;
    for pair in events.windows(2) {
        assert!(pair[0].announced() <= pair[1].announced());
    }
    for event in events {
        if !matches!(event, Event::LeadIn(_)) {
            assert!(event.time() - event.announced() >= NOTICE, "{event:?}");
        }
        if let Event::Beat(beat) = event {
            assert!(beat.time > last_beat + 0.25, "{event:?} after {last_beat}");
            last_beat = beat.time;
        }
    }
}

/// Asserts that all phrases of `truth` are clapped, the first one included, and
/// hardly anything else; gives the beats' F-measure.
fn assert_right(name: &str, truth: &Truth, events: &[Event]) -> f64 {
    let claps = claps(events);
    let first = claps.first().copied().unwrap_or(f64::NAN);
    assert!(
        (first - truth.phrases[0]).abs() <= HIT_WINDOW,
        "{name}: first clap at {first:.3}, phrase at {:.3}",
        truth.phrases[0]
    );
    let right = matches(&truth.phrases, &claps, HIT_WINDOW).len();
    assert_eq!(right, truth.phrases.len(), "{name}: phrases clapped");
    // The band stops without a word: one clap may follow its last phrase.
    assert!(claps.len() <= right + 1, "{name}: {} claps", claps.len());
    let beats: Vec<f64> = events
        .iter()
        .filter_map(|e| match e {
            Event::Beat(b) => Some(b.time),
            _ => None,
        })
        .collect();
    f_measure(&truth.beats, &beats, HIT_WINDOW)
}

#[test]
fn every_bundled_tune_is_clapped_right() {
    for (seed, tune) in (1..).zip(band::tunes()) {
        for backup in [Backup::Piano, Backup::None] {
            let played = performance(tune.name(), seed, |s| {
                s.backup = backup;
                s.room = Room::SMALL;
            });
            let events = hear(&played.render(), RATE, 512);
            let name = format!("{} with {backup:?}", tune.title());
            let f = assert_right(&name, played.truth(), &events);
            assert!(f > 0.97, "{name}: F {f:.3}");
        }
    }
}

#[test]
fn parts_and_times_through_are_named_as_played() {
    let played = performance("boots-on-the-fender", 3, |_| ());
    let events = hear(&played.render(), RATE, 512);
    let named: Vec<(f64, &str, u32)> = events
        .iter()
        .filter_map(|e| match e {
            Event::Phrase(p) => Some((p.time, p.part.name(), p.time_through)),
            _ => None,
        })
        .collect();
    for (k, part) in played.truth().parts.iter().enumerate() {
        let (_, name, time_through) = named
            .iter()
            .find(|(t, ..)| (t - part.t).abs() <= HIT_WINDOW)
            .unwrap_or_else(|| panic!("no clap at {:.2}", part.t));
        assert_eq!(*name, part.name);
        assert_eq!(*time_through as usize, k / 4 + 1);
    }
}

#[test]
fn the_lead_in_is_told_a_beat_before_the_tune() {
    let lead_ins: Vec<_> = PIECE_EVENTS
        .iter()
        .filter_map(|e| match e {
            Event::LeadIn(l) => Some(*l),
            _ => None,
        })
        .collect();
    let [lead_in] = lead_ins[..] else {
        panic!("{lead_ins:?}");
    };
    let played = performance("kettle-on-the-landing", 5, |s| s.times = 1);
    let truth = played.truth();
    assert!((lead_in.one - truth.beats[0]).abs() <= HIT_WINDOW);
    assert!((lead_in.time - truth.lead_in[0]).abs() <= 2.0 * HIT_WINDOW);
    let beat = truth.beats[1] - truth.beats[0];
    assert!(lead_in.one - lead_in.announced > beat, "{lead_in:?}");
}

#[test]
fn silence_and_noise_never_clap() {
    let rate = 44_100;
    for (name, sound) in [
        ("silence", vec![0.0; 60 * rate as usize]),
        ("soft noise", signals::white_noise(60.0, rate, 0.01, 1)),
        ("loud noise", signals::white_noise(60.0, rate, 0.7, 2)),
        ("people talking", signals::babble(60.0, rate, 0.05, 3)),
        ("not numbers", vec![f32::NAN; 30 * rate as usize]),
        ("beyond all bounds", vec![f32::MAX; 30 * rate as usize]),
    ] {
        let events = hear(&sound, rate, 4096);
        assert!(claps(&events).is_empty(), "{name}: {:?}", claps(&events));
    }
}

#[test]
fn the_caller_s_word_for_one_is_taken() {
    let played = performance("kettle-on-the-landing", 9, |s| s.times = 1);
    let sound = played.render();
    let truth = played.truth();
    let mut engine = Engine::new(RATE, Settings::default()).expect("a usual rate");
    let mut events = Vec::new();
    let cut = ((truth.beats[18] - 0.2) * f64::from(RATE)) as usize;
    engine.push(&sound[..cut], &mut events);
    // Wrongly: the phrase began two beats ago, on the first of A2.
    engine.say_one(truth.beats[17]);
    let before = events.len();
    engine.push(&sound[cut..], &mut events);
    let claps = claps(&events[before..]);
    assert!(
        (claps[0] - truth.beats[25]).abs() <= HIT_WINDOW,
        "{claps:?}"
    );

    // And back again with the arrows, while it plays.
    let mut engine = Engine::new(RATE, Settings::default()).expect("a usual rate");
    let mut events = Vec::new();
    engine.push(&sound[..cut], &mut events);
    engine.say_one(truth.beats[17]);
    engine.move_count(1);
    let before = events.len();
    engine.push(&sound[cut..], &mut events);
    let next = events[before..].iter().find_map(|e| match e {
        Event::Phrase(p) => Some((p.time, p.part.name())),
        _ => None,
    });
    let (time, part) = next.expect("a phrase");
    assert!((time - truth.beats[24]).abs() <= HIT_WINDOW, "{time}");
    assert_eq!(part, "A2");
}

#[test]
fn a_lead_in_beside_the_tune_s_beats_is_not_counted_from_for_long() {
    // After the four strokes the band waits for half a beat, or comes in as much too soon.
    for (name, late) in [
        ("kettle-on-the-landing", 0.45),
        ("boots-on-the-fender", -0.45),
    ] {
        let performance = performance(name, 3, |s| s.times = 1);
        let (sound, truth) = (performance.render(), performance.truth());
        let one = truth.beats[0];
        let beat = truth.beats[1] - one;
        let at = |seconds: f64| (seconds * f64::from(RATE)) as usize;
        // (A hair before the tune's first note.)
        let cut = at(one - 0.03);
        let mut spoilt = match late > 0.0 {
            true => [&sound[..cut], &vec![0.0; at(late * beat)]].concat(),
            false => sound[..cut - at(-late * beat)].to_vec(),
        };
        spoilt.extend_from_slice(&sound[cut..]);
        let claps = claps(&hear(&spoilt, RATE, 4_410));
        // One clap may come where the lead-in promised it, and one while half beats are
        // still taken for beats.
        let wrong: Vec<f64> = claps
            .iter()
            .filter(|clap| **clap > one + 8.5 * beat)
            .filter(|clap| {
                let phrase = |p: &f64| (p + late * beat - **clap).abs() <= HIT_WINDOW;
                // Nor can one know when a band will stop.
                let end = truth.beats[truth.beats.len() - 1] + late * beat;
                !truth.phrases.iter().any(phrase) && **clap < end
            })
            .copied()
            .collect();
        assert!(wrong.is_empty(), "{name}: {wrong:?} of {claps:?}");
    }
}

#[test]
fn a_microphone_that_opens_just_before_the_lead_in_takes_nothing_from_its_count() {
    // The room's noise comes on out of nothing: it is no stroke, and no band.
    for seed in [1, 3, 4, 8] {
        let performance = performance("kettle-on-the-landing", seed, |s| {
            (s.times, s.silence, s.steps_per_minute) = (1, 4.0, 124.0);
        });
        let mut sound = performance.render();
        sound.truncate(14 * RATE as usize);
        for unheard in [1.3, 1.33] {
            let opened = (unheard * f64::from(RATE)) as usize;
            let sound = [vec![0.0; opened], sound.clone()].concat();
            let claps = claps(&hear(&sound, RATE, 441));
            let one = performance.truth().phrases[0] + unheard;
            let first = claps.first().copied().unwrap_or(f64::INFINITY);
            assert!(
                (first - one).abs() <= HIT_WINDOW,
                "{seed}: {first}, not {one}"
            );
        }
    }
}
