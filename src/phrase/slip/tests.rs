use super::*;
use crate::phrase::PART_BEATS;

/// How like beats of the same music are, and of other music.
const SAME: f32 = 0.8;
const OTHER: f32 = 0.3;

/// A tune of four parts: its beats by what is heard on them, the same number the same.
fn tune(parts: [u32; 4]) -> Vec<u32> {
    let beats = parts.map(|part| (0..PART_BEATS).map(move |beat| part * 100 + beat));
    beats.into_iter().flatten().collect()
}

/// A tune A A B B.
fn reel() -> Vec<u32> {
    tune([1, 1, 2, 2])
}

/// Hears `music` counted from place 0 on, puts the count right where a slip is told, and
/// gives each slip with the number of the beat on which it was told.
fn follow(music: &[u32]) -> Vec<(usize, i64)> {
    follow_from(0, music).0
}

/// The same with the first beat counted as `place`; and the place of the last beat.
fn follow_from(place: u32, music: &[u32]) -> (Vec<(usize, i64)>, u32) {
    let form = Form::default();
    let mut slips = Slips::new(form);
    let mut place = form.turned(place, -1);
    let mut told = Vec::new();
    for (now, beat) in music.iter().enumerate() {
        place = form.turned(place, 1);
        // Chance, always the same, in how alike beats are.
        let chance = |then: usize| 0.1 * ((now * 7 + then * 13) % 11) as f32 / 11.0;
        let like = |then: usize| if music[then] == *beat { SAME } else { OTHER };
        let likes = (0..now).rev().map(|then| like(then) + chance(then));
        slips.beat(Some(place), likes);
        if let Some(by) = slips.slipped() {
            slips.moved(by);
            place = form.turned(place, by);
            told.push((now, by));
        }
    }
    (told, place)
}

#[test]
fn a_tune_that_comes_round_never_slips() {
    assert_eq!(follow(&reel().repeat(4)), []);
    assert_eq!(follow(&tune([1, 2, 3, 4]).repeat(4)), []);
}

#[test]
fn another_tune_is_no_slip() {
    let medley = [reel().repeat(2), tune([5, 5, 6, 6]).repeat(2)].concat();
    assert_eq!(follow(&medley), []);
}

#[test]
fn beats_left_out_or_played_twice_are_told_within_a_phrase_and_once() {
    for (at, again, by) in [
        (70, 0, 2),
        (70, 2, -2),
        (85, 0, 4),
        (100, 1, -1),
        (52, 0, 2),
    ] {
        let mut music = reel().repeat(4);
        match again {
            0 => drop(music.drain(at..at + by as usize)),
            _ => drop(music.splice(at..at, music[at - again..at].to_vec())),
        }
        let told = follow(&music);
        assert_eq!(told.len(), 1, "{at} {by}: {told:?}");
        assert_eq!(told[0].1, by, "{at}: {told:?}");
        assert!((at..at + 10).contains(&told[0].0), "{at} {by}: {told:?}");
    }
}

#[test]
fn what_is_lost_where_all_is_new_is_told_when_it_comes_again() {
    let mut music = reel().repeat(3);
    music.drain(34..36);
    let told = follow(&music);
    // The second B is like the first from the slip on; A comes two beats too soon.
    assert_eq!(told.iter().map(|told| told.1).sum::<i64>(), 2, "{told:?}");
    assert!(told.iter().all(|told| told.0 < 80), "{told:?}");
}

#[test]
fn a_count_that_was_wrong_from_the_beginning_stays_as_it_is() {
    let music = tune([1, 2, 3, 4]).repeat(3);
    for wrong in [2, 5, 16, 40] {
        let (told, place) = follow_from(wrong, &music);
        assert_eq!(told, [], "{wrong}");
        assert_eq!(place, Form::default().turned(wrong, -1), "{wrong}");
    }
}

#[test]
fn a_tune_of_another_form_tells_no_slip() {
    // Each part ends as it begins, two beats sooner.
    let part = |name: u32| (0..PART_BEATS).map(move |beat| name * 100 + beat % 14);
    let music: Vec<u32> = [1, 1, 2, 2].repeat(4).into_iter().flat_map(part).collect();
    let form = Form::new(32).unwrap();
    let mut slips = Slips::new(form);
    for (now, beat) in music.iter().enumerate() {
        let like = |then: usize| if music[then] == *beat { SAME } else { OTHER };
        slips.beat(Some(now as u32 % 32), (0..now).rev().map(like));
        assert_eq!(slips.slipped(), None, "{now}");
    }
}

#[test]
fn where_a_tune_goes_on_after_a_pause_weighs_most() {
    let music = [reel(), reel()[..24].to_vec()].concat();
    let mut slips = Slips::new(Form::default());
    let like = |now: usize, then: usize| {
        if music[then] == music[now] {
            SAME
        } else {
            OTHER
        }
    };
    for now in 0..music.len() {
        slips.beat(
            Some(now as u32 % 64),
            (0..now).rev().map(|then| like(now, then)),
        );
    }
    // After a pause it goes on in the middle of the first part.
    let goes_on = |then: usize| {
        if music[then] == reel()[8] {
            SAME
        } else {
            OTHER
        }
    };
    slips.beat(None, (0..music.len()).rev().map(goes_on));
    let weights: Vec<f32> = slips.weights().collect();
    assert!(
        weights[8] > 0.0 && weights[8] - weights[30] > 1.5,
        "{weights:?}"
    );
}

#[test]
fn what_was_forgotten_tells_no_slip() {
    let mut slips = Slips::new(Form::default());
    for beat in 0..32 {
        slips.beat(Some(beat), (0..beat).map(|_| OTHER));
    }
    slips.forget();
    slips.beat(Some(0), (0..31).map(|_| SAME));
    assert_eq!(slips.slipped(), None);
    assert!(slips.weights().all(|weight| weight == 0.0));
}
