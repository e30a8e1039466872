//! The bundled tunes.

use super::*;

#[test]
fn every_bundled_tune_is_aabb_of_64_beats() {
    assert!(tunes().len() >= 4);
    for tune in tunes() {
        let name = tune.name();
        assert_eq!(tune.beats(), 64, "{name}");
        assert!((0.0..1.0).contains(&tune.pickup()), "{name}");
        // The melody is the same in A1 and A2 and in B1 and B2, but for the turn at the
        // end, and not the same in A and B.
        let part = |index: usize| -> Vec<(i64, u8)> {
            let start = index as f64 * 16.0;
            tune.notes()
                .iter()
                .filter(|n| n.beat >= start && n.beat < start + 14.0)
                .map(|n| (((n.beat - start) * 96.0).round() as i64, n.pitch))
                .collect()
        };
        assert_eq!(part(0), part(1), "{name}");
        assert_eq!(part(2), part(3), "{name}");
        assert_ne!(part(0), part(2), "{name}");
        assert!(part(0).len() >= 24, "{name}");
        // Each phrase has a note on its first beat.
        for one in (0..64).step_by(8).map(f64::from) {
            let there = tune.notes().iter().any(|n| (n.beat - one).abs() < 1e-9);
            assert!(there, "{name}: no note on beat {one}");
        }
        // Each part comes home: the tonic in melody and chords.
        let home = tune.chord_at(0.0).unwrap().root;
        for end in [15.0, 31.0, 47.0, 63.0] {
            assert_eq!(tune.chord_at(end).unwrap().root, home, "{name} at {end}");
            let chord = tune.chord_at(end).unwrap();
            let last = tune.notes().iter().rev().find(|n| n.beat <= end).unwrap();
            assert!(chord.holds(last.pitch), "{name} at {end}");
        }
        assert_eq!(tune.notes().last().unwrap().pitch % 12, home, "{name}");
    }
}

#[test]
fn most_melody_notes_fit_their_chords() {
    for tune in tunes() {
        let on: Vec<_> = tune.notes().iter().filter(|n| n.on_beat()).collect();
        let fits = on
            .iter()
            .filter(|n| tune.chord_at(n.beat).unwrap().holds(n.pitch));
        let share = fits.count() as f64 / on.len() as f64;
        assert!(share > 0.75, "{}: {share}", tune.name());
    }
}

#[test]
fn tunes_are_found_by_name_and_title() {
    let kinds: Vec<_> = tunes().iter().map(|t| t.kind().name()).collect();
    for kind in ["reel", "jig", "hornpipe", "march"] {
        assert!(kinds.contains(&kind), "{kind}");
    }
    for t in tunes() {
        assert_eq!(tune(t.name()), Some(t));
        assert_eq!(tune(&t.title().to_uppercase()), Some(t));
    }
    assert!(tune("no such tune").is_none());
}
