//! Calls in simulated dances are never late, never overlap and never name a figure that
//! does not come next.

#[path = "../benches/cues/judge.rs"]
#[allow(dead_code, reason = "shared with the bench")]
mod judge;
#[path = "../benches/cues/world.rs"]
#[allow(dead_code, reason = "shared with the bench")]
mod world;

use judge::{Count, perform};
use world::{Trouble, World};

/// What `seeds` give; the first faults are printed.
fn count(seeds: std::ops::Range<u64>, trouble: Trouble) -> Count {
    let mut count = Count::default();
    for seed in seeds {
        let world = World::new(seed, trouble);
        count.add(&world, &perform(&world));
    }
    for fault in count.faults.iter().take(6) {
        println!("{fault}");
    }
    count
}

#[test]
fn dances_with_troubles_are_called_in_time() {
    let count = count(0..200, Trouble::USUAL);
    assert!(count.jumps > 200 && count.corrections > 200 && count.calls > 2_000);
    assert_eq!((count.late, count.overlapping, count.wrong), (0, 0, 0));
    assert_eq!((count.early, count.signals_wrong), (0, 0));
    // A call is cut off only where the tempo jumps meanwhile.
    assert!(count.cut.len() < count.jumps / 10, "{}", count.cut.len());
}

#[test]
fn in_steady_dances_every_figure_with_room_is_called() {
    let count = count(0..100, Trouble::NONE);
    assert_eq!((count.late, count.overlapping, count.wrong), (0, 0, 0));
    assert_eq!((count.early, count.signals_wrong), (0, 0));
    assert_eq!((count.cut.len(), count.stopped, count.misled), (0, 0, 0));
    for shares in [count.full, count.short] {
        assert!(shares.figures > 500);
        let unexplained = shares.nothing - shares.no_room - shares.not_known;
        assert_eq!(unexplained, 0, "{shares:?}");
    }
    assert!(count.full.full > 4 * count.full.short, "{:?}", count.full);
    assert!(count.signals_heard * 10 >= count.signals * 9);
    let least = count.spare.iter().fold(f64::INFINITY, |a, b| a.min(*b));
    assert!(least > judge::BREATH - 1e-6, "{least}");
}

/// The judge itself: it must see what is wrong.
#[test]
fn late_overlapping_and_wrong_calls_are_found() {
    let world = World::new(0, Trouble::NONE);
    let right = perform(&world);
    let judged = |heard: &[judge::Heard]| {
        let mut count = Count::default();
        count.add(&world, heard);
        (count.late, count.overlapping, count.wrong)
    };
    assert_eq!(judged(&right), (0, 0, 0));
    let figures: Vec<usize> = (0..right.len())
        .filter(|n| right[*n].pace >= 1.0 && right[*n].words != eightclap::cue::LAST_TIME)
        .collect();
    let mut late = right.clone();
    late[figures[2]].to += 3.0;
    assert!(judged(&late).0 >= 1);
    let mut twice = right.clone();
    let mut again = right[figures[2]].clone();
    again.from += 0.1;
    twice.push(again);
    assert_eq!(judged(&twice).1, 1);
    let mut wrong = right.clone();
    let other = right.iter().find(|h| h.words != right[figures[2]].words);
    wrong[figures[2]].words = other.expect("another call").words.clone();
    assert_eq!(judged(&wrong).2, 1);
}
