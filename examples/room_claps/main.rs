//! How well the room's claps are told from the music: a table.
//!
//! `cargo run --release --example room_claps`, or with `-- others` after it for tunes
//! and seeds that the detector was not made with.

mod hall;

use eightclap::hear::claps::RoomClaps;
use eightclap::sound::band::{Backup, Room};
use hall::Hall;

/// Tunes and seeds with which the detector was made, and others.
const OWN: (&[&str], [u64; 2]) = (
    &[
        "boots-on-the-fender",
        "kettle-on-the-landing",
        "lamplighters-ladder",
    ],
    [1, 2],
);
const OTHERS: (&[&str], [u64; 2]) = (&["ferry-committee", "three-geese-late"], [3, 4]);

/// All ones of these tunes with each of these seeds.
fn all(hall: &Hall, (tunes, seeds): (&[&'static str], [u64; 2])) -> Vec<Option<RoomClaps>> {
    let mut all = Vec::new();
    for seed in seeds {
        for tune in tunes {
            let hall = hall.clone();
            all.extend(Hall { tune, seed, ..hall }.judge());
        }
    }
    all
}

fn quantile(sorted: &[f64], share: f64) -> f64 {
    let at = ((sorted.len() as f64 - 1.0) * share).round() as usize;
    sorted.get(at).copied().unwrap_or(f64::NAN)
}

fn main() {
    let others = std::env::args().any(|arg| arg == "others");
    let music = if others { OTHERS } else { OWN };
    println!(
        "| room | people, spread | late by | claps against music | own clap | heard | error, median | 95 % | spread told |"
    );
    println!("|---|---|---|---|---|---|---|---|---|");
    let mut halls = Vec::new();
    for level in [12.0, 6.0, 3.0, 0.0, -3.0] {
        halls.push(Hall {
            level,
            ..Hall::default()
        });
    }
    for offset in [-0.15, -0.08, 0.08, 0.15] {
        halls.push(Hall {
            offset,
            ..Hall::default()
        });
    }
    for spread in [0.0, 0.015, 0.06] {
        halls.push(Hall {
            spread,
            ..Hall::default()
        });
    }
    halls.push(Hall {
        people: 2,
        ..Hall::default()
    });
    halls.push(Hall {
        people: 60,
        ..Hall::default()
    });
    halls.push(Hall {
        room: Room::SMALL,
        ..Hall::default()
    });
    halls.push(Hall {
        room: Room::DRY,
        ..Hall::default()
    });
    halls.push(Hall {
        crowd: 1.0,
        ..Hall::default()
    });
    halls.push(Hall {
        backup: Backup::None,
        ..Hall::default()
    });
    for own in [1.0, 0.3] {
        halls.push(Hall {
            own,
            offset: 0.08,
            ..Hall::default()
        });
    }
    for (own, crowd) in [(0.0, 0.3), (1.0, 0.3), (0.3, 0.3), (0.0, 1.0)] {
        halls.push(Hall {
            people: 0,
            own,
            crowd,
            ..Hall::default()
        });
    }
    halls.push(Hall {
        people: 0,
        own: 1.0,
        room: Room::DRY,
        ..Hall::default()
    });
    for hall in halls {
        let all = all(&hall, music);
        let heard: Vec<&RoomClaps> = all.iter().flatten().collect();
        let mut errors: Vec<f64> = heard
            .iter()
            .map(|r| 1e3 * (r.offset - hall.offset))
            .collect();
        errors.sort_by(f64::total_cmp);
        let mut sizes: Vec<f64> = errors.iter().map(|e| e.abs()).collect();
        sizes.sort_by(f64::total_cmp);
        let mut spreads: Vec<f64> = heard.iter().map(|r| 1e3 * r.spread).collect();
        spreads.sort_by(f64::total_cmp);
        let people = match hall.people {
            0 => "nobody".to_owned(),
            n => format!("{n}, {:.0} ms", 1e3 * hall.spread),
        };
        let told = match heard.is_empty() {
            true => "– | – | –".to_owned(),
            false => format!(
                "{:+.0} ms | {:.0} ms | {:.0} ms",
                quantile(&errors, 0.5),
                quantile(&sizes, 0.95),
                quantile(&spreads, 0.5),
            ),
        };
        println!(
            "| {:.1} s, {:.1} | {people} | {:.0} ms | {:+.0} dB | {:.1} | {} of {} | {told} |",
            hall.room.rt60,
            hall.room.wet,
            1e3 * hall.offset,
            hall.level,
            hall.own,
            heard.len(),
            all.len(),
        );
    }
}
