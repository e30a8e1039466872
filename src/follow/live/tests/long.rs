//! Late in a long run: after a hundred hours, where counts of 32 bits are full.

use super::*;
use crate::follow::live::tally::DELAYS;

/// Ten minutes that begin `hours` after the start, with counts that pass 2^32 half way
/// through if it is late: how far each phrase's clap was off.
fn ten_minutes(hours: u32) -> Vec<f64> {
    let (once, phrases) = tune();
    let rate = 48_000;
    // The tune again and again, with pauses of a quarter of its length.
    let round = once.len() + once.len() / 4;
    let times = 600 * rate / round;
    let mut sound = vec![0.0; times * round];
    for place in sound.chunks_exact_mut(round) {
        place[..once.len()].copy_from_slice(&once);
    }
    let mut hall = Hall::new(sound, 0.0);
    let late = hours > 0;
    if late {
        let before = |rate: u64| (1u64 << 32) - 300 * rate;
        hall.first = before(rate as u64);
        hall.mic.count = hall.first;
        hall.speaker.count = before(44_100);
        // The common time goes on from where it is.
        let begun = 3_600.0 * f64::from(hours);
        hall.mic.begin(begun - hall.first as f64 / hall.mic.rate);
        let counted = hall.speaker.count as f64 / hall.speaker.rate;
        hall.speaker.begin(begun - counted);
        hall.live.zero = begun;
        hall.live.base = -i64::try_from(hall.first).expect("32 bits");
    }
    let mut off = Vec::new();
    for time in 0..times {
        let start = (time * round) as f64 / rate as f64;
        hall.until(start + once.len() as f64 / rate as f64 + 2.0);
        off.extend(phrases.iter().map(|phrase| hall.error(start + phrase)));
    }
    assert_eq!(
        late,
        hall.mic.count > 1 << 32 && hall.speaker.count > 1 << 32
    );
    // Bounded, however long it goes on.
    assert!(hall.live.kept.len() <= (KEPT * rate as f64) as usize);
    assert!(hall.live.tally.delays.len() <= DELAYS);
    off
}

#[test]
fn in_its_hundredth_hour_it_claps_as_in_its_first() {
    let [first, hundredth] = [0, 100].map(ten_minutes);
    let near = |off: &[f64]| off.iter().filter(|off| off.abs() < 0.04).count();
    let (then, now) = (near(&first), near(&hundredth));
    println!("{then} and {now} claps of {}", first.len());
    println!("{first:.3?}");
    assert!(then * 100 >= first.len() * 80);
    assert!(now + 4 >= then, "{now} claps, not {then}: {hundredth:.3?}");
}
