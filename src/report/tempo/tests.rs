use super::*;
use proptest::prelude::*;

/// Even beats at `tempo` from 1 s on.
fn even(tempo: f64, count: u32) -> Vec<f64> {
    (0..count)
        .map(|k| 1.0 + f64::from(k) * 60.0 / tempo)
        .collect()
}

/// A number from −1 to 1 that looks like chance.
fn chance(k: usize) -> f64 {
    let mixed = (k as u64 + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    ((mixed ^ (mixed >> 29)).wrapping_mul(0xbf58_476d_1ce4_e5b9) >> 11) as f64 / (1u64 << 52) as f64
        - 1.0
}

fn metered(beats: &[f64]) -> Meter {
    let mut meter = Meter::default();
    for beat in beats {
        meter.push(*beat);
    }
    meter
}

fn near(a: Option<f64>, b: f64, within: f64) -> bool {
    a.is_some_and(|a| (a - b).abs() <= within)
}

#[test]
fn even_beats_read_exactly_over_every_span() {
    for tempo in [40.0, 60.0, 116.0, 132.0, 220.0] {
        let meter = metered(&even(tempo, 100));
        let reading = meter.reading().unwrap();
        for read in [reading.now, reading.over_8, reading.over_64] {
            assert!(near(read, tempo, 1e-6), "{tempo}: {reading:?}");
        }
        assert!(near(meter.whole().map(|w| w.value), tempo, 1e-6));
    }
}

#[test]
fn spans_are_known_from_half_of_them_on() {
    let beats = even(120.0, 40);
    let known = |count: usize| {
        let meter = metered(&beats[..count]);
        [4, 8, 64].map(|span| meter.over(span).is_some())
    };
    assert_eq!(known(2), [false; 3]);
    assert_eq!(known(3), [true, false, false]);
    assert_eq!(known(5), [true, true, false]);
    assert_eq!(known(32), [true, true, false]);
    assert_eq!(known(33), [true, true, true]);
    assert_eq!(Meter::default().reading(), None);
    assert_eq!(metered(&beats[..1]).whole(), None);
}

#[test]
fn missed_and_doubled_beats_spoil_nothing() {
    let mut beats = even(116.0, 128);
    for k in [120, 99, 98, 70, 33, 32, 31, 9] {
        beats.remove(k);
    }
    for (k, after) in [(3, 0.06), (20, 0.21), (21, 0.03), (50, 0.2), (90, 0.31)] {
        let extra = beats[k] + after;
        beats.push(extra);
    }
    beats.sort_by(f64::total_cmp);
    let meter = metered(&beats);
    assert_eq!((meter.beats(), meter.strays()), (120, 5));
    assert!(near(meter.whole().map(|w| w.value), 116.0, 1e-6));
    assert!(near(meter.over(64), 116.0, 1e-6));
    // The mean of intervals would be far off.
    let mean = 60.0 * (beats.len() - 1) as f64 / (beats[beats.len() - 1] - beats[0]);
    assert!((mean - 116.0).abs() > 1.0, "{mean}");
}

#[test]
fn single_wild_beats_have_no_weight() {
    let mut beats = even(120.0, 64);
    for k in [5, 17, 40, 63] {
        beats[k] += 0.11;
    }
    let meter = metered(&beats);
    assert!(near(meter.whole().map(|w| w.value), 120.0, 0.01));
    assert!(near(meter.over(8), 120.0, 0.2), "{:?}", meter.over(8));
}

#[test]
fn peoples_beats_read_within_their_standard_error() {
    // 12 ms either way, evenly: a standard deviation of 7 ms.
    let jittered = |seed: usize| -> Vec<f64> {
        let beat = |(k, t)| t + 0.012 * chance(1000 * seed + k);
        even(116.0, 64).into_iter().enumerate().map(beat).collect()
    };
    let mut outside = 0;
    for seed in 0..100 {
        let whole = metered(&jittered(seed)).whole().unwrap();
        assert!((whole.value - 116.0).abs() < 0.1, "{whole:?}");
        assert!((0.005..0.03).contains(&whole.error), "{whole:?}");
        outside += u32::from((whole.value - 116.0).abs() > 2.0 * whole.error);
    }
    // One in twenty would be expected.
    assert!(outside < 15, "{outside}");
}

/// Beats whose tempo changes by `drift` steps per minute per minute, from 110 on.
fn drifting(drift: f64, count: u32) -> Vec<f64> {
    let mut time = 0.0;
    (0..count)
        .map(|_| {
            let at = time;
            // Half a beat on, the tempo is that of the beat's middle.
            let middle = time + 0.5 * 60.0 / 110.0;
            time += 60.0 / (110.0 + drift * middle / 60.0);
            at
        })
        .collect()
}

#[test]
fn drift_and_spread_are_those_of_the_beats() {
    for drift in [-4.0, -0.5, 0.0, 2.0, 6.0] {
        let meter = metered(&drifting(drift, 200));
        let steady = meter.steadiness().unwrap();
        assert!(
            (steady.drift.value - drift).abs() < 0.05,
            "{drift}: {steady:?}"
        );
        assert!(steady.spread < 0.05, "{steady:?}");
        let beats = drifting(drift, 200).into_iter().enumerate();
        let beats: Vec<f64> = beats.map(|(k, t)| t + 0.01 * chance(k)).collect();
        let steady = metered(&beats).steadiness().unwrap();
        assert!(
            (steady.drift.value - drift).abs() < 3.0 * steady.drift.error,
            "{steady:?}"
        );
        assert!((0.05..0.4).contains(&steady.spread), "{steady:?}");
    }
    // Stretches of 8 beats by turns at 112 and 118: the spread is about 3.
    let mut time = 0.0;
    let beats: Vec<f64> = (0..160)
        .map(|k| {
            let at = time;
            time += 60.0 / if k / 8 % 2 == 0 { 112.0 } else { 118.0 };
            at
        })
        .collect();
    let steady = metered(&beats).steadiness().unwrap();
    assert!((steady.spread - 3.0).abs() < 0.4, "{steady:?}");
    assert!(metered(&even(116.0, 32)).steadiness().is_none());
    assert!(metered(&even(116.0, 33)).steadiness().is_some());
}

#[test]
fn a_pause_begins_a_new_run() {
    let mut beats = even(116.0, 64);
    beats.extend(even(116.0, 64).iter().map(|t| t + 100.77));
    let meter = metered(&beats);
    assert_eq!(meter.beats(), 128);
    // The pause is no multiple of a beat, and does no harm.
    assert!(near(meter.whole().map(|w| w.value), 116.0, 1e-6));
    assert_eq!(metered(&beats[..65]).over(8), None);
}

#[test]
fn a_band_that_speeds_up_is_read_over_all_its_beats() {
    let mut beats = even(118.0, 65);
    let end = beats[64];
    beats.extend((1..=128).map(|k| end + f64::from(k) * 60.0 / 125.0));
    // One wild beat among them still has no weight.
    beats[30] += 0.1;
    let counted = 60.0 * 192.0 / (beats[192] - beats[0]);
    let whole = metered(&beats).whole().unwrap().value;
    assert!((whole - counted).abs() < 1.0, "{whole} for {counted}");
}

#[test]
fn a_beginning_at_twice_the_tempo_is_left_out_of_the_whole() {
    let mut beats = even(112.0, 30);
    let end = beats[29];
    beats.extend(even(56.0, 40).iter().map(|t| end + t));
    let whole = metered(&beats).whole();
    assert!(near(whole.map(|w| w.value), 56.0, 1e-6), "{whole:?}");
}

#[test]
fn another_tempo_or_the_off_beat_is_taken_up() {
    for (later, shift) in [(180.0, 0.0), (90.0, 0.0), (60.0, 0.0), (120.0, 0.25)] {
        let mut beats = even(120.0, 40);
        let end = beats[39] + shift;
        beats.extend((1..40).map(|k| end + f64::from(k) * 60.0 / later));
        let meter = metered(&beats);
        assert!(
            near(meter.over(8), later, 1e-6),
            "{later}: {:?}",
            meter.over(8)
        );
    }
}

#[test]
fn another_reading_replaces_what_it_overlaps() {
    let mut meter = metered(&even(120.0, 20));
    let anew: Vec<f64> = even(90.0, 20).iter().map(|t| t + 6.0).collect();
    meter.restart(anew[0]);
    assert!(anew.iter().all(|t| meter.push(*t)));
    assert!(near(meter.over(8), 90.0, 1e-6));
    assert_eq!(meter.beats(), 12 + 20);
}

#[test]
fn what_is_no_time_is_not_counted() {
    let mut meter = metered(&even(120.0, 10));
    assert!(!meter.push(f64::NAN));
    assert!(!meter.push(f64::INFINITY));
    assert!(!meter.push(2.0));
    assert!(near(meter.over(8), 120.0, 1e-6));
}

#[test]
fn the_table_follows_the_tune_or_counts_beats() {
    let meter = metered(&even(120.0, 200));
    let rows = meter.table(&[]);
    let names: Vec<&str> = rows.iter().map(|r| r.name.as_str()).collect();
    assert_eq!(
        names,
        [
            "beats 1 to 64",
            "beats 65 to 128",
            "beats 129 to 192",
            "beats 193 to 200"
        ]
    );
    assert!(rows.iter().all(|r| (r.tempo - 120.0).abs() < 1e-6));
    assert!(rows[0].range.is_some_and(|(low, high)| high - low < 1e-6));
    // The predicted ones are some hundredths of a second beside the beats.
    let rows = meter.table(&[(1, 3.04), (2, 34.96)]);
    let told: Vec<(&str, usize)> = rows.iter().map(|r| (r.name.as_str(), r.beats)).collect();
    assert_eq!(told, [("before", 4), ("time 1", 64), ("time 2", 132)]);
    assert_eq!(Meter::default().table(&[]), []);
}

proptest! {
    #[test]
    fn any_times_at_all_are_survived(times in prop::collection::vec(-1e3f64..1e6, 0..60)) {
        let meter = metered(&times);
        for tempo in [meter.over(4), meter.over(8), meter.over(64)].into_iter().flatten() {
            prop_assert!(tempo.is_finite() && tempo > 0.0);
        }
        prop_assert!(meter.beats() <= times.len());
        let _ = (meter.steadiness(), meter.table(&[]));
    }
}
