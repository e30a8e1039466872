//! Whole times through: who moves on how far, and who waits at the ends.

use std::collections::BTreeSet;

use super::*;

/// The dance of the house, in its bare figures.
const PLAIN: &[(&str, u32)] = &[
    ("neighbours swing", 16),
    ("robins do-si-do once and a half", 8),
    ("partners swing", 8),
    ("long lines forward and back", 8),
    ("star by the right", 8),
    ("circle left three places", 8),
    ("balance the ring", 4),
    ("pass through to the next", 4),
];

#[test]
fn a_dance_moves_every_couple_one_place_a_time() {
    for couples in [4, 5, 6, 7, 9] {
        let starts = times(
            &card("duple improper", PLAIN),
            Figures::builtin(),
            couples,
            2 * couples,
        )
        .unwrap();
        progresses(&starts, couples);
        // Everybody is home again, facing as at first.
        assert_eq!(
            starts[0].standings(),
            starts[2 * couples].standings(),
            "{couples}"
        );
    }
}

/// Ones go one row down, twos one row up; who came to an end waits there once.
fn progresses(starts: &[Set], couples: usize) {
    for pair in starts.windows(2) {
        let waiting: BTreeSet<u16> = pair[0]
            .groups()
            .filter(|(_, four)| four.contains(&None))
            .flat_map(|(_, four)| four.iter().flatten().map(|s| s.dancer.couple))
            .collect();
        for couple in 1..=couples as u16 {
            let row = |set: &Set, role| set.place_of(Dancer { couple, role }).unwrap();
            let lark = Dancer {
                couple,
                role: Role::First,
            };
            let (old, new) = (row(&pair[0], Role::First), row(&pair[1], Role::First));
            assert_eq!(new.0, row(&pair[1], Role::Second).0, "partners share a row");
            let step = match (waiting.contains(&couple), pair[0].is_one(lark)) {
                (true, _) => 0,
                (_, true) => 1,
                (_, false) => -1,
            };
            assert_eq!(new.0 - old.0, step);
            // The lark is on the left facing the next ones, also after waiting.
            let right = new.1 == Column::Right;
            assert_eq!(right, pair[1].is_one(lark));
        }
    }
}

#[test]
fn couples_slide_round_a_becket_set() {
    let dance = card(
        "becket",
        &[
            ("circle left", 8),
            ("partners swing", 8),
            ("long lines", 8),
            ("balance", 4),
            ("slide left to the next", 4),
        ],
    );
    for couples in [4, 5, 6, 7, 8] {
        let starts = times(&dance, Figures::builtin(), couples, 2 * couples).unwrap();
        // Each couple goes round all places of the set, waiting out twice.
        let lark = Dancer {
            couple: 1,
            role: Role::First,
        };
        let places: BTreeSet<Place> = starts.iter().map(|s| s.place_of(lark).unwrap()).collect();
        assert!(places.len() >= 2 * couples - 2, "{places:?}");
        assert_eq!(
            starts[0].standings(),
            starts[2 * couples].standings(),
            "{couples}"
        );
    }
    let followed = follow(&dance, Figures::builtin(), 8).unwrap();
    assert_eq!(followed.outcome, Some(Outcome::MovedOn(1)));
    let right = card(
        "becket",
        &[("circle left", 8), ("balance", 4), ("slide right", 4)],
    );
    assert_eq!(
        follow(&right, Figures::builtin(), 8).unwrap().outcome,
        Some(Outcome::MovedOn(1))
    );
    times(&right, Figures::builtin(), 6, 12).unwrap();
}

#[test]
fn a_double_progression_moves_two_places_a_time() {
    let figures = [
        ("pass through to the next", 4),
        ("neighbours do-si-do", 8),
        ("pass through to the next", 4),
    ];
    for couples in 4..=9 {
        let starts = times(
            &card("duple improper", &figures),
            Figures::builtin(),
            couples,
            couples,
        )
        .unwrap();
        // Twice as far a time, so everybody is home in half as many.
        assert_eq!(starts[0].standings(), starts[couples].standings());
        let lark = Dancer {
            couple: 1,
            role: Role::First,
        };
        assert_eq!(starts[1].place_of(lark), Some((2, Column::Right)));
    }
}

#[test]
fn what_comes_out_is_told() {
    let outcome = |formation, figures: &[(&str, u32)]| {
        let followed = follow(&card(formation, figures), Figures::builtin(), 10).unwrap();
        assert_eq!(followed.stopped, None);
        followed.outcome.unwrap()
    };
    let astray = |formation, figures: &[(&str, u32)], why: &str| match outcome(formation, figures) {
        Outcome::Astray(said) => assert!(said.contains(why), "{said}"),
        other => panic!("{other:?}"),
    };
    assert_eq!(
        outcome("duple improper", &[("circle left", 16)]),
        Outcome::MovedOn(0)
    );
    assert_eq!(
        outcome(
            "duple improper",
            &[("balance", 4), ("pass through along", 4), ("balance", 8)]
        ),
        Outcome::MovedOn(1)
    );
    // Twice through to the next is a double progression.
    let double = [
        ("pass through to the next", 4),
        ("balance", 8),
        ("pass through to the next", 4),
    ];
    assert_eq!(outcome("duple improper", &double), Outcome::MovedOn(2));
    assert_eq!(
        outcome(
            "duple proper",
            &[("pass through to the next", 4), ("balance", 12)]
        ),
        Outcome::MovedOn(1)
    );
    astray(
        "duple improper",
        &[("circle left three places", 8), ("balance", 8)],
        "not together",
    );
    astray(
        "duple improper",
        &[("partners change places", 8), ("balance", 8)],
        "changed sides",
    );
    astray(
        "duple improper",
        &[("down the hall", 8), ("balance", 8)],
        "in a line",
    );
    astray("becket", &[("half a hey", 8), ("balance", 8)], "other side");
    astray(
        "duple improper",
        &[("ones change places", 4), ("balance", 12)],
        "changed sides",
    );
}

#[test]
fn a_card_may_say_where_a_figure_ends() {
    let ends = |figures: &[(&str, u32, &str)]| {
        let followed =
            follow(&with_ends("duple improper", figures), Figures::builtin(), 6).unwrap();
        assert_eq!(followed.stopped, None);
        let set = followed.after.last().unwrap().clone();
        let (_, places) = set.groups().nth(1).unwrap();
        places.map(|s| name(&set, s.unwrap())).join(" ")
    };
    assert_eq!(
        ends(&[("contra corners", 16, "where they began")]),
        IMPROPER
    );
    assert_eq!(ends(&[("waltz about", 16, "L2 R2 / R1 L1")]), "2L 2R 1L 1R");
    assert_eq!(ends(&[("partners swing", 16, "facing up")]), "1L 1R 2R 2L");
}
