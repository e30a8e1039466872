//! Hearing whether a room claps on one: a rendered band in a hall, people who
//! clap with known offsets, and what is made of the microphone's sound.

#[path = "../examples/room_claps/hall.rs"]
mod hall;

use eightclap::hear::claps::{RoomClaps, Stretch, room_claps};
use eightclap::sound::band::Room;
use hall::Hall;

fn heard(hall: &Hall) -> Vec<RoomClaps> {
    hall.judge().into_iter().flatten().collect()
}

fn median(mut all: Vec<f64>) -> f64 {
    all.sort_by(f64::total_cmp);
    all[all.len() / 2]
}

/// Half of the usual rate, for speed.
fn hall() -> Hall {
    Hall {
        rate: 22_050,
        ..Hall::default()
    }
}

#[test]
fn a_room_that_claps_is_heard_as_early_together_or_late() {
    for offset in [-0.15, -0.08, 0.0, 0.08, 0.15] {
        let heard = heard(&Hall { offset, ..hall() });
        assert!(heard.len() >= 6, "{offset}: only {} of 8", heard.len());
        let found = median(heard.iter().map(|r| r.offset).collect());
        assert!((found - offset).abs() < 0.025, "{offset}: heard at {found}");
    }
}

#[test]
fn nobody_is_taken_for_a_clapping_room() {
    for (own, room) in [
        (0.0, Room::HALL),
        (1.0, Room::HALL),
        (0.3, Room::HALL),
        (1.0, Room::DRY),
    ] {
        let hall = Hall {
            people: 0,
            own,
            room,
            ..hall()
        };
        let heard = heard(&hall);
        assert!(heard.len() <= 1, "own clap {own}: {heard:?}");
    }
}

#[test]
fn the_room_is_heard_beside_the_programs_own_clap() {
    let heard = heard(&Hall {
        own: 0.5,
        offset: 0.09,
        level: 9.0,
        ..hall()
    });
    assert!(heard.len() >= 5, "{heard:?}");
    let found = median(heard.iter().map(|r| r.offset).collect());
    assert!((found - 0.09).abs() < 0.035, "{found}");
}

#[test]
fn a_ragged_room_has_a_wider_spread_than_one_that_is_together() {
    let spread = |spread| {
        let heard = heard(&Hall {
            spread,
            people: 30,
            level: 9.0,
            ..hall()
        });
        median(heard.iter().map(|r| r.spread).collect())
    };
    let (together, ragged) = (spread(0.01), spread(0.08));
    assert!(ragged > together + 0.02, "{together} {ragged}");
}

#[test]
fn too_little_sound_is_no_judgement() {
    let silence = vec![0.0; 8_000];
    for (length, one) in [
        (0, 0.0),
        (10, 0.0),
        (8_000, 0.1),
        (8_000, 5.0),
        (8_000, f64::NAN),
    ] {
        let stretch = Stretch {
            heard: &silence[..length],
            played: &silence[..length],
            rate: 8_000,
            one,
            beat: 0.25,
        };
        assert_eq!(room_claps(&stretch), None, "{length} {one}");
    }
    let all = Stretch {
        heard: &silence,
        played: &silence,
        rate: 8_000,
        one: 0.5,
        beat: 0.1,
    };
    assert_eq!(room_claps(&all), None, "silence");
}
