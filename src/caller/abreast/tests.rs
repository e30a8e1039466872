use super::*;
use crate::sound::timeline::fake::Device;

const RATE: u32 = 8_000;
const BLOCK: u64 = 80;

/// A loudspeaker and a microphone, whose stamps wander by up to 18 ms and now and then
/// lie, and what is made of them.
struct World {
    speaker: Device,
    mic: Device,
    abreast: Abreast,
    /// A ramp: a sample's value tells its frame.
    played: Vec<f32>,
    start: f64,
    /// Samples given out, and those among them before which a shift was told.
    given: u64,
    shifts: Vec<u64>,
    /// Of every piece given out: its first sample, and by how many seconds the playback
    /// beside it is ahead of the truth.
    ahead: Vec<(u64, f64)>,
}

impl World {
    fn new(seed: u64, ppm: f64, seconds: f64) -> World {
        let rate = f64::from(RATE);
        let mut world = World {
            speaker: Device::new(seed, rate, 0.0, BLOCK),
            mic: Device::new(seed + 1, rate, ppm, BLOCK),
            abreast: Abreast::new(RATE),
            played: (0..(seconds * rate) as u32).map(|n| n as f32).collect(),
            start: f64::NAN,
            given: 0,
            shifts: Vec::new(),
            ahead: Vec::new(),
        };
        world.abreast.microphone(RATE, 0.0);
        world
    }

    /// Goes on until `time`, by the true clock.
    fn until(&mut self, time: f64) {
        let rate = f64::from(RATE);
        let mut beside = Beside::default();
        while self.mic.true_time(self.mic.count as f64) < time {
            let now = self.mic.true_time(self.mic.count as f64);
            while self.speaker.true_time(self.speaker.count as f64) <= now {
                self.abreast.played(self.speaker.next());
            }
            if self.start.is_nan() && now > 5.0 {
                self.start = self.abreast.start(now + 0.5).expect("stamps") as f64;
            }
            self.abreast.stamp(self.mic.next());
            self.abreast.heard(vec![0.0; BLOCK as usize]);
            while self.abreast.next(&self.played, false, &mut beside) {
                if beside.shifted {
                    self.shifts.push(self.given);
                }
                // (Truth as it was; nothing is lost while samples are held back.)
                let heard = self.mic.true_time(self.given as f64);
                let truth = self.speaker.true_count(heard) - self.start;
                if beside.played[0] > 0.0 {
                    let ahead = (f64::from(beside.played[0]) - truth) / rate;
                    self.ahead.push((self.given, ahead));
                }
                self.given += beside.heard.len() as u64;
            }
        }
    }

    /// How far the place of a moment of the microphone is from the truth, seconds.
    fn off(&self, time: f64) -> f64 {
        let sample = self.mic.true_count(time);
        let place = self.abreast.seconds_of(sample / f64::from(RATE));
        let truth = (self.speaker.true_count(time) - self.start) / f64::from(RATE);
        place.expect("played by then") - truth
    }
}

#[test]
fn clocks_that_differ_stay_beside_each_other_without_a_jolt() {
    for (seed, ppm) in [(1, 0.0), (2, 30.0), (3, -100.0)] {
        let mut world = World::new(seed, ppm, 400.0);
        world.until(300.0);
        assert!(world.shifts.is_empty(), "{:?}", world.shifts);
        for (sample, ahead) in world.ahead.iter().skip(200) {
            assert!(
                (ahead - SOONER).abs() < 0.012,
                "{ppm} ppm: {:.1} ms ahead at {sample}",
                1e3 * ahead
            );
        }
        // A quarter of a millisecond a second at most: a filter can follow that.
        for second in world.ahead.windows(101) {
            let change = (second[100].1 - second[0].1).abs();
            // (A ramp's samples tell a frame to a quarter: so far does f32 go.)
            let own = 1e-6 * f64::abs(ppm) + 1e-4;
            assert!(change < MOST + own, "{ppm} ppm: {change}");
        }
        assert!(world.off(290.0).abs() < 0.008, "{:.4}", world.off(290.0));
    }
}

#[test]
fn samples_that_a_microphone_lost_are_missed_where_they_were() {
    let mut world = World::new(4, 20.0, 200.0);
    world.until(60.0);
    let (before, hole) = (world.off(58.0), world.mic.count);
    let told = world
        .abreast
        .seconds_of((hole - 16_000) as f64 / f64::from(RATE));
    world.mic.hole(0.2);
    world.until(80.0);
    assert_eq!(world.shifts.len(), 1, "{:?}", world.shifts);
    let off = world.shifts[0] as f64 - hole as f64;
    assert!(off.abs() <= 4.0 * BLOCK as f64, "{off} samples beside it");
    // What was said before it stays where it was; what was said after it is right too.
    let still = world
        .abreast
        .seconds_of((hole - 16_000) as f64 / f64::from(RATE));
    assert!(before.abs() < 0.008, "{before}");
    assert!(
        told.zip(still).is_some_and(|(a, b)| (a - b).abs() < 1e-9),
        "{told:?} {still:?}"
    );
    assert!(world.off(75.0).abs() < 0.012, "{:.4}", world.off(75.0));
}

#[test]
fn frames_that_a_loudspeaker_was_short_of_come_later() {
    let mut world = World::new(5, -20.0, 200.0);
    world.until(60.0);
    world.speaker.hole(0.15);
    world.until(100.0);
    assert_eq!(world.shifts.len(), 1, "{:?}", world.shifts);
    let at = world.mic.true_time(world.shifts[0] as f64);
    assert!((at - 60.15).abs() < 0.2, "{at}");
    assert!(world.off(75.0).abs() < 0.012, "{:.4}", world.off(75.0));
}

#[test]
fn nothing_is_beside_a_microphone_before_the_playback_begins() {
    let mut abreast = Abreast::new(RATE);
    let mut beside = Beside::default();
    assert!(!abreast.next(&[], true, &mut beside), "no microphone");
    abreast.microphone(RATE, 0.0);
    abreast.heard([0.5; 100]);
    assert!(
        !abreast.next(&[1.0; 1_000], false, &mut beside),
        "held back"
    );
    assert!(abreast.next(&[1.0; 1_000], true, &mut beside));
    assert_eq!((beside.heard.len(), beside.played[0]), (80, 0.0));
    assert!(abreast.next(&[1.0; 1_000], true, &mut beside));
    assert_eq!(beside.heard.len(), 20);
    assert!(!abreast.next(&[1.0; 1_000], true, &mut beside));
    assert_eq!(abreast.seconds_of(0.0), None);
}
