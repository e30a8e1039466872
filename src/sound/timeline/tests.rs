//! Devices that count as real ones do, for hours, without hardware.

use super::fake::Device;
use super::*;
use proptest::prelude::*;
use rand::RngExt;
use rand_pcg::Pcg32;
use rand_pcg::rand_core::SeedableRng;

/// Runs two devices for `seconds` with a hole in either now and then; returns
/// the errors (seconds) of placing a moment of one in the other, twice a
/// second, those within 2 s of a hole apart.
fn hour(seed: u64, seconds: f64, holes: bool) -> (Vec<f64>, Vec<f64>) {
    let mut mic = Device::new(seed, 48_000.0, 60.0, 480);
    let mut speaker = Device::new(seed + 1, 44_100.0, -40.0, 1_024);
    let (mut heard, mut played) = (TimeLine::new(48_000), TimeLine::new(44_100));
    let mut dice = Pcg32::seed_from_u64(seed + 2);
    let (mut errors, mut near_holes) = (Vec::new(), Vec::new());
    let (mut next_hole, mut last_hole) = (40.0, -9.0);
    let mut now = 3.0;
    while now < seconds {
        now += 0.5;
        while mic.true_time(mic.count as f64) < now {
            heard.stamp(mic.next());
        }
        while speaker.true_time(speaker.count as f64) < now {
            played.stamp(speaker.next());
        }
        if holes && now > next_hole {
            let long = dice.random_range(0.02..0.12);
            match dice.random_range(0..2) {
                0 => mic.hole(long),
                _ => speaker.hole(long),
            }
            last_hole = now;
            next_hole = now + dice.random_range(30.0..200.0);
        }
        // A beat that falls a tenth of a second from now.
        let moment = now + 0.1;
        if now > 5.0 {
            let sample = mic.true_count(moment);
            let at = heard.time_of(sample).unwrap();
            let wanted = speaker.true_count(moment);
            let error = (played.count_at(at).unwrap() - wanted) / speaker.rate;
            match now - last_hole < 2.0 {
                true => near_holes.push(error.abs()),
                false => errors.push(error.abs()),
            }
        }
    }
    (errors, near_holes)
}

fn share(errors: &mut [f64], part: f64) -> f64 {
    errors.sort_by(f64::total_cmp);
    errors[((errors.len() - 1) as f64 * part) as usize]
}

#[test]
fn two_crystals_stay_together_for_an_hour() {
    for seed in [1, 20, 300] {
        let (mut errors, mut near) = hour(seed, 3_600.0, true);
        let (middle, most) = (share(&mut errors, 0.5), share(&mut errors, 1.0));
        let worst_near = share(&mut near, 1.0);
        println!(
            "seed {seed}: median {:.2} ms, 99 % {:.2} ms, worst {:.2} ms; by a hole {:.1} ms",
            1e3 * middle,
            1e3 * share(&mut errors, 0.99),
            1e3 * most,
            1e3 * worst_near
        );
        assert!(middle < 0.0015, "{middle}");
        assert!(share(&mut errors, 0.99) < 0.007);
        // For some seconds after a hole both lines rest on few stamps.
        assert!(most < 0.012, "{most}");
        // Until it is noticed a hole shifts by its own length, no more.
        assert!(worst_near < 0.13, "{worst_near}");
    }
}

#[test]
fn the_crystals_speed_is_found() {
    let mut device = Device::new(7, 48_000.0, 85.0, 512);
    let mut line = TimeLine::new(48_000);
    for _ in 0..(180 * 48_000 / 512) {
        assert_eq!(line.stamp(device.next()), None, "no hole was there");
    }
    assert!((line.fast_by() - 85.0).abs() < 15.0, "{}", line.fast_by());
}

#[test]
fn a_hole_is_told_with_its_length() {
    for (seed, long) in [(1, 0.02), (2, 0.045), (3, 0.3), (4, 2.5)] {
        let mut device = Device::new(seed, 44_100.0, 30.0, 441);
        let mut line = TimeLine::new(44_100);
        let mut told = Vec::new();
        for block in 0..4_000 {
            if block == 3_000 {
                device.hole(long);
            }
            told.extend(line.stamp(device.next()).map(|by| (block, by)));
        }
        let sum: f64 = told.iter().map(|(_, by)| by).sum();
        assert!((sum - long).abs() < 0.012, "{long}: {told:?}");
        let (first, by) = told[0];
        assert!((3_000..3_130).contains(&first), "{long}: {told:?}");
        assert!((by - long).abs() < 0.025, "{long}: {told:?}");
    }
}

#[test]
fn nothing_is_said_before_the_first_stamp_and_nonsense_is_ignored() {
    let mut line = TimeLine::new(48_000);
    assert_eq!((line.time_of(0.0), line.count_at(0.0)), (None, None));
    assert!(!line.settled());
    line.stamp(Stamp {
        count: 0,
        at: f64::NAN,
    });
    assert_eq!(line.time_of(0.0), None);
    line.stamp(Stamp {
        count: 480,
        at: 1.0,
    });
    line.stamp(Stamp { count: 0, at: 9.0 });
    assert!((line.time_of(480.0).unwrap() - 1.0).abs() < 1e-9);
}

proptest! {
    #[test]
    fn time_and_count_are_each_others_inverse(
        rate in 8_000u32..192_000,
        ppm in -300.0f64..300.0,
        seed in 0u64..1_000,
        at in 0.0f64..100.0,
    ) {
        let mut device = Device::new(seed, f64::from(rate), ppm, u64::from(rate / 100));
        let mut line = TimeLine::new(rate);
        for _ in 0..3_000 {
            line.stamp(device.next());
        }
        let count = at * f64::from(rate);
        let back = line.count_at(line.time_of(count).unwrap()).unwrap();
        prop_assert!((back - count).abs() < 1e-3);
        prop_assert!(line.time_of(count + 1.0) > line.time_of(count));
    }

    #[test]
    fn up_to_a_third_of_wild_stamps_bend_nothing(seed in 0u64..1_000) {
        let mut dice = Pcg32::seed_from_u64(seed);
        let mut line = TimeLine::new(48_000);
        for block in 0..3_000u64 {
            let mut at = 2.0 + 0.01 * block as f64;
            if dice.random_range(0.0..1.0) < 0.3 {
                at += dice.random_range(-0.5..0.5);
            }
            line.stamp(Stamp { count: 480 * block, at });
        }
        prop_assert!((line.time_of(48_000.0 * 28.0).unwrap() - 30.0).abs() < 0.001);
    }
}

#[test]
fn late_in_a_night_the_line_is_as_steady_as_at_first() {
    let mut device = Device::new(7, 48_000.0, 60.0, 480);
    // Ten hours have been counted already.
    device.count = 10 * 3_600 * 48_000;
    let mut line = TimeLine::new(48_000);
    let (mut jumps, mut worst) = (0, 0.0f64);
    for n in 0..60_000 {
        let stamp = device.next();
        jumps += usize::from(line.stamp(stamp).is_some());
        let count = stamp.count as f64;
        if n > 3_000 {
            let off = line.time_of(count).expect("a line") - device.true_time(count);
            worst = worst.max(off.abs());
        }
    }
    assert_eq!(jumps, 0, "nothing was lost");
    assert!(worst < 0.008, "{worst}");
}
