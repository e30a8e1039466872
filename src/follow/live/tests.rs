//! Following the house band with devices that drift, jitter, lose sound and
//! die, in simulated time.

mod calls;
mod dances;
mod long;

use super::super::speech::Calling;
use super::*;
use crate::cue::voice::{self, Voice};
use crate::cue::{Manner, Script};
use crate::dance::LANTERNS_ON_THE_WEIR;
use crate::sound::band::{self, Performance, Room};
use crate::sound::timeline::fake::Device;
use std::collections::{BTreeMap, BTreeSet};

/// What the microphone's driver takes to hand a block over, seconds.
const TRANSPORT: f64 = 0.008;
/// From the moment that a block is asked for until it sounds, seconds.
const DEPTH: f64 = 0.035;

/// Own claps are told for so long, and a little more, seconds.
const REMEMBERED_FOR: f64 = 2.1;

/// The tune, once through at a quick tempo, and its phrases, seconds.
fn tune() -> (Vec<f32>, Vec<f64>) {
    let settings = band::Settings {
        steps_per_minute: 120.0,
        times: 1,
        sample_rate: 48_000,
        room: Room::SMALL,
        ..band::Settings::default()
    };
    let tune = band::tune("kettle-on-the-landing").expect("bundled");
    let performance = Performance::new(tune, settings).expect("good");
    (performance.render(), performance.truth().phrases.clone())
}

/// A hall with a band, a microphone and a loudspeaker.
struct Hall {
    sound: Vec<f32>,
    live: Live,
    mic: Device,
    speaker: Device,
    /// What the microphone counted before the tune.
    first: u64,
    /// Samples of the tune that the microphone never counted.
    skipped: u64,
    /// Frames ordered, by clap.
    orders: BTreeMap<u64, u64>,
    /// When claps sounded, common time.
    claps: Vec<f64>,
    /// What sounds or did: ordered once more, it goes on and nothing is added.
    sounded: BTreeSet<u64>,
    /// Calls that sounded: words, when they began, common time, and how long they took.
    calls: Vec<(String, f64, f64)>,
    deaf: bool,
    depth: f64,
    /// Calls that were to stop.
    stopped: Vec<u64>,
}

impl Hall {
    fn new(sound: Vec<f32>, round_trip: f64) -> Self {
        let mut live = Live::new(48_000, Settings::default(), None).expect("a usual rate");
        live.microphone(48_000).expect("a usual rate");
        live.loudspeaker(Some(44_100));
        live.set_round_trip(round_trip);
        Hall {
            sound,
            live,
            mic: Device::new(11, 48_000.0, 60.0, 480),
            speaker: Device::new(12, 44_100.0, -40.0, 1_024),
            first: 0,
            skipped: 0,
            orders: BTreeMap::new(),
            claps: Vec::new(),
            sounded: BTreeSet::new(),
            calls: Vec::new(),
            deaf: false,
            depth: DEPTH,
            stopped: Vec::new(),
        }
    }

    /// When second `at` of the tune is at the microphone, common time, if it
    /// has lost nothing since.
    fn heard(&self, at: f64) -> f64 {
        let skipped = self.skipped as f64;
        self.mic
            .true_time(at * 48_000.0 - skipped + self.first as f64)
    }

    /// Lets time pass until second `end` of the tune.
    fn until(&mut self, end: f64) -> Vec<Event> {
        let mut events = Vec::new();
        while self.mic.count - self.first + self.skipped < (end * 48_000.0) as u64 {
            let now = self.mic.true_time((self.mic.count + 480) as f64) + TRANSPORT;
            while self.speaker.true_time(self.speaker.count as f64) - self.depth < now {
                // What is ordered for this block sounds in it; what was for an
                // earlier one and came late does not.
                let (from, to) = (self.speaker.count, self.speaker.count + 1_024);
                let due = self.orders.extract_if(.., |_, at| (from..to).contains(at));
                let due: Vec<(u64, u64)> = due.collect();
                self.orders.retain(|_, at| *at >= to);
                for (id, at) in due {
                    self.sounded.insert(id);
                    let sounds = self.speaker.true_time(at as f64);
                    match self.live.called(id) {
                        Some(call) => {
                            let words = call.words.to_string();
                            self.calls.push((words, sounds, call.seconds));
                        }
                        None => self.claps.push(sounds),
                    }
                }
                self.live.played_at(self.speaker.next());
            }
            let at = (self.mic.count - self.first + self.skipped) as usize;
            let stamp = self.mic.next();
            if !self.deaf {
                self.live.heard_at(stamp);
                let block: Vec<f32> = (at..at + 480)
                    .map(|n| self.sound.get(n).copied().unwrap_or(0.0))
                    .collect();
                self.live.push(&block, now);
            }
            self.live.tick(now);
            for step in self.live.take_steps() {
                match step {
                    Step::Play { id, .. } if self.sounded.contains(&id) => None,
                    Step::Play { id, at } => self.orders.insert(id, at.round() as u64),
                    Step::Withdraw { id } => self.orders.remove(&id),
                    Step::Stop { id, .. } => {
                        self.stopped.push(id);
                        None
                    }
                };
            }
            events.extend(self.live.take_events().0);
        }
        events
    }

    /// The microphone loses `seconds` of sound without a word.
    fn hole(&mut self, seconds: f64) {
        self.mic.hole(seconds);
        self.skipped += (seconds * 48_000.0) as u64;
    }

    /// How far the nearest clap is from when second `at` of the tune is heard.
    fn error(&self, at: f64) -> f64 {
        let heard = self.heard(at);
        let off = self.claps.iter().map(|clap| clap - heard);
        off.min_by(|a, b| a.abs().total_cmp(&b.abs()))
            .unwrap_or(9.0)
    }
}

#[test]
fn claps_fall_on_the_phrases_though_clocks_drift_and_sound_is_lost() {
    let (sound, phrases) = tune();
    let mut hall = Hall::new(sound, 0.0);
    let mut errors = Vec::new();
    let mut check = |hall: &Hall, from: f64, to: f64| {
        for phrase in phrases.iter().filter(|p| (from..to).contains(*p)) {
            errors.push((*phrase, hall.error(*phrase)));
        }
    };
    hall.until(14.0);
    check(&hall, 0.0, 14.0);
    hall.hole(0.07);
    hall.until(22.0);
    check(&hall, 14.0, 22.0);
    hall.speaker.hole(0.09);
    hall.until(38.0);
    check(&hall, 22.0, 36.0);
    println!("{errors:.3?}");
    assert_eq!(errors.len(), 8);
    for (phrase, error) in &errors {
        assert!(
            error.abs() < 0.04,
            "the phrase at {phrase:.1} s: {error:.3}"
        );
    }
    // Once more, at most, where the band would have gone on: until then nothing tells that it ends.
    let (in_tune, after): (Vec<f64>, Vec<f64>) = hall
        .claps
        .iter()
        .partition(|clap| **clap < hall.heard(33.0));
    assert_eq!(in_tune.len(), 8, "{in_tune:?}");
    assert!(after.len() <= 1, "{after:?}");
    let own: Vec<f64> = hall.live.own_claps().collect();
    let last = hall.live.sound() - REMEMBERED_FOR;
    assert!(own.iter().all(|clap| *clap > last), "{own:?}");
    let tally = hall.live.tally();
    assert_eq!(tally.holes, 1);
    assert!((tally.missing - 0.07).abs() < 0.025, "{}", tally.missing);
    let (middle, most) = tally.delay().expect("events");
    assert!(
        (0.0..0.03).contains(&middle) && most < 0.06,
        "{middle} {most}"
    );
}

#[test]
fn a_slow_loudspeaker_gets_its_claps_a_beat_ahead() {
    let (sound, phrases) = tune();
    let mut hall = Hall::new(sound, 0.0);
    // A wireless one: four times the notice that a phrase is announced with.
    hall.depth = 0.25;
    hall.until(37.0);
    // Of the first the lead-in tells.
    for phrase in &phrases {
        let error = hall.error(*phrase);
        assert!(
            error.abs() < 0.04,
            "the phrase at {phrase:.1} s: {error:.3}"
        );
    }
}

#[test]
fn a_measured_round_trip_is_taken_off() {
    let (sound, phrases) = tune();
    let early = |round_trip: f64| {
        let mut hall = Hall::new(sound.clone(), round_trip);
        hall.until(20.0);
        hall.error(phrases[2])
    };
    let apart = early(0.0) - early(0.1);
    assert!((apart - 0.1).abs() < 0.01, "{apart}");
}

#[test]
fn a_lost_microphone_is_bridged_and_the_count_is_kept() {
    let (sound, phrases) = tune();
    let mut hall = Hall::new(sound, 0.0);
    hall.until(phrases[2] + 1.0);
    // Deaf for three seconds with a phrase among them.
    hall.deaf = true;
    hall.live.microphone_lost();
    let events = hall.until(phrases[2] + 4.6);
    let beats = |events: &[Event]| {
        let beat = |e: &Event| matches!(e, Event::Beat(_));
        events.iter().filter(|e| beat(e)).count()
    };
    assert!((6..=8).contains(&beats(&events)), "{events:?}");
    let error = hall.error(phrases[3]);
    assert!(error.abs() < 0.06, "clapped unheard: {error}");
    // It comes back with a count of its own.
    let now = hall.mic.true_time(hall.mic.count as f64);
    let counted = hall.mic.count;
    hall.skipped += counted;
    hall.mic = Device::new(13, 48_000.0, 60.0, 480);
    hall.mic.begin(now);
    hall.live.microphone(48_000).expect("a usual rate");
    hall.deaf = false;
    let events = hall.until(37.0);
    let mut last = f64::NEG_INFINITY;
    for event in events.iter().filter(|e| matches!(e, Event::Beat(_))) {
        assert!(event.time() > last + 0.3, "a beat was given twice");
        last = event.time();
    }
    let kept = phrases[4..].iter().filter(|p| hall.error(**p).abs() < 0.04);
    let kept = kept.count();
    println!("claps at {:.2?}", hall.claps);
    assert!(kept >= 3, "{kept} of {} phrases", phrases.len() - 4);
}

#[test]
fn after_a_long_sleep_it_listens_anew() {
    let (sound, phrases) = tune();
    let mut hall = Hall::new(sound, 0.0);
    hall.until(phrases[1] + 1.0);
    let before = hall.live.sound();
    hall.live.slept(3_600.0);
    hall.until(phrases[1] + 1.2);
    let slept = hall.live.sound() - before;
    assert!((3_600.0..3_601.0).contains(&slept), "{slept}");
    // The tune goes on where it was, but its beats have to be found anew.
    let events = hall.until(phrases[2] - 0.5);
    assert!(!events.is_empty());
    let anew = before + 3_600.0..before + 3_605.0;
    assert!(
        events.iter().all(|e| anew.contains(&e.announced())),
        "{events:?}"
    );
}

#[test]
fn every_beat_ticks_where_that_is_wanted() {
    let (sound, phrases) = tune();
    let mut hall = Hall::new(sound, 0.0);
    hall.live.set_claps(false);
    hall.live.set_ticks(true);
    hall.until(phrases[2]);
    hall.live.set_ticks(false);
    // What sounds already is not taken back.
    hall.until(phrases[2] + 1.0);
    let apart: Vec<f64> = hall.claps.windows(2).map(|c| c[1] - c[0]).collect();
    assert!((16..=17).contains(&hall.claps.len()), "{:?}", hall.claps);
    assert!(
        apart.iter().all(|s| (s - 0.5).abs() < 0.04),
        "at 120 a minute: {apart:.3?}"
    );
    assert!(hall.error(phrases[1]).abs() < 0.04);
}

#[test]
fn without_a_loudspeaker_or_with_claps_off_nothing_is_ordered() {
    let (sound, _) = tune();
    let mut hall = Hall::new(sound, 0.0);
    hall.live.set_claps(false);
    hall.until(7.0);
    hall.live.set_claps(true);
    hall.live.loudspeaker(None);
    hall.until(12.0);
    assert!(hall.claps.is_empty() && hall.orders.is_empty());
}

/// A way of calling in which each letter takes 50 ms.
fn calling(card: &Card) -> Calling {
    let voice = Voice::new(voice::Settings {
        engine: voice::Choice::None,
        ..voice::Settings::default()
    });
    Calling {
        voice: Arc::new(voice.expect("no folder to read")),
        repertoire: Arc::default(),
        words: Arc::new([]),
        script: Arc::new(Script::new(card, |words| Some(0.05 * words.len() as f64))),
        manner: Manner::default(),
        on: true,
        gain: 1.0,
    }
}
