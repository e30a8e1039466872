mod times;

use std::collections::BTreeSet;

use proptest::prelude::*;

use super::*;
use crate::dance::{Card, Figures, Formation, Role};

/// A card of these figures, with beats that fill whole parts.
fn card(formation: &str, figures: &[(&str, u32)]) -> Card {
    with_ends(
        formation,
        &figures
            .iter()
            .map(|(n, b)| (*n, *b, ""))
            .collect::<Vec<_>>(),
    )
}

fn with_ends(formation: &str, figures: &[(&str, u32, &str)]) -> Card {
    let mut text = String::new();
    let mut beats = 0;
    for (name, length, ends) in figures {
        let part = ["A1", "A2", "B1", "B2", "C1", "C2", "D1", "D2"][beats as usize / 16];
        text += &format!("[[{part}]]\nfigure = \"{name}\"\nbeats = {length}\ncall = \"x\"\n");
        if !ends.is_empty() {
            text += &format!("ends = \"{ends}\"\n");
        }
        beats += length;
    }
    assert!(beats % 16 == 0, "{beats}");
    let parts = &["A1", "A2", "B1", "B2", "C1", "C2", "D1", "D2"][..beats as usize / 16];
    let head = format!("title = \"t\"\nformation = \"{formation}\"\nform = {parts:?}\n");
    Card::parse(&(head + &text), "t").unwrap_or_else(|e| panic!("{e}"))
}

/// The second group of four after `figures`, clockwise from the upper left, as
/// in "1L 1R 2L 2R", if all were followed.
fn four(formation: &str, figures: &[(&str, u32)]) -> Result<String, String> {
    let mut list = figures.to_vec();
    let beats: u32 = list.iter().map(|(_, b)| b).sum();
    let fill = (16 - beats % 16) % 16;
    if fill > 0 {
        list.push(("balance", fill));
    }
    let followed = follow(&card(formation, &list), Figures::builtin(), 6).unwrap();
    if let Some(stop) = followed.stopped {
        return Err(format!("{}: {}", list[stop.figure].0, stop.why));
    }
    let set = followed.after.last().unwrap();
    let (_, places) = set.groups().nth(1).unwrap();
    Ok(places.map(|s| name(set, s.unwrap())).join(" "))
}

fn name(set: &Set, s: Standing) -> String {
    let number = if set.is_one(s.dancer) { 1 } else { 2 };
    let role = if s.dancer.role == Role::First {
        'L'
    } else {
        'R'
    };
    format!("{number}{role}")
}

const IMPROPER: &str = "1R 1L 2R 2L";
const PROPER: &str = "1L 1R 2R 2L";
const BECKET: &str = "2L 1R 1L 2R";

#[track_caller]
fn gives(formation: &str, figures: &[(&str, u32)], expected: &str) {
    assert_eq!(
        four(formation, figures).as_deref(),
        Ok(expected),
        "{figures:?}"
    );
}

#[test]
fn sets_begin_as_their_formation_says() {
    gives("duple improper", &[("balance", 16)], IMPROPER);
    gives("duple proper", &[("balance", 16)], PROPER);
    gives("becket", &[("balance", 16)], BECKET);
    assert!(Set::new(Formation::Square, 4).is_none());
    assert!(Set::new(Formation::CircleMixer, 4).is_none());
}

#[test]
fn what_is_danced_all_the_way_leaves_all_as_they_were() {
    for formation in ["duple improper", "duple proper"] {
        let start = four(formation, &[("balance", 16)]).unwrap();
        for figures in [
            &[("circle left", 8)][..],
            &[("circle right four places", 8)],
            &[("star by the left", 8), ("star by the right", 8)],
            &[
                ("circle left three places", 8),
                ("circle right three places", 8),
            ],
            &[
                ("circle left one place", 8),
                ("star left three places", 8),
                ("circle right two places", 8),
            ],
            &[("robins do-si-do", 8), ("larks allemande left twice", 8)],
            &[
                ("neighbours allemande right once and a half", 8),
                ("neighbours allemande left half", 8),
            ],
            &[("partners box the gnat", 4), ("partners change places", 4)],
            &[
                ("balance and spin to the right", 8),
                ("balance and spin to the right", 8),
                ("balance and spin to the right", 8),
                ("balance and spin to the right", 8),
            ],
            &[("spin to the right", 4), ("spin to the left", 4)],
            &[("pass through along", 4), ("pass through along", 4)],
            &[("pass through across", 4), ("pass through across", 4)],
        ] {
            gives(formation, figures, &start);
        }
    }
    // Those that need couples side by side.
    for figures in [
        &[("robins chain across", 8), ("robins chain across", 8)][..],
        &[("robins chain over and back", 16)],
        &[("half a hey", 8), ("half a hey", 8)],
        &[
            ("right and left through", 8),
            ("partners promenade across", 8),
        ],
        &[("hey for four", 16)],
        &[("cross trail", 8), ("square through two", 8)],
        &[
            ("pass through across", 4),
            ("california twirl", 4),
            ("right and left through", 8),
        ],
        &[("partners roll away", 4), ("partners roll away", 4)],
        &[
            ("down the hall, turn as couples", 8),
            ("come back and bend the line", 8),
        ],
        &[("down the hall", 8), ("bend the line", 8)],
    ] {
        gives("becket", figures, BECKET);
    }
}

#[test]
fn worked_by_hand() {
    // Neighbours swing on the side: the lark of the left side is the two.
    gives("duple improper", &[("neighbours swing", 16)], "2L 2R 1L 1R");
    // Circle left three places: everybody one place to the right of home.
    gives(
        "duple improper",
        &[("circle left three places", 8)],
        "1L 2R 2L 1R",
    );
    gives(
        "duple improper",
        &[("star by the left three places", 8)],
        "2L 1R 1L 2R",
    );
    // The robins change places, and partners stand together.
    gives(
        "duple improper",
        &[
            ("neighbours swing", 16),
            ("robins do-si-do once and a half", 8),
            ("partners swing", 8),
        ],
        "2L 1R 1L 2R",
    );
    gives(
        "becket",
        &[("robins chain to your neighbour", 8)],
        "2L 2R 1L 1R",
    );
    gives("becket", &[("half a hey", 8)], "1L 2R 2L 1R");
    gives("becket", &[("partners promenade across", 8)], "1L 2R 2L 1R");
    // Down in a line and each turned alone: left and right are exchanged.
    gives(
        "becket",
        &[
            ("down the hall and turn alone", 8),
            ("up the hall and bend the line", 8),
        ],
        "2R 1L 1R 2L",
    );
    gives(
        "duple proper",
        &[("ones swing, end facing down", 16)],
        "1R 1L 2R 2L",
    );
    gives("duple proper", &[("ones change places", 8)], "1R 1L 2R 2L");
    gives("duple proper", &[("twos cross over", 8)], "1L 1R 2L 2R");
    gives("becket", &[("larks roll away", 8)], "2R 1L 1R 2L");
}

#[test]
fn what_cannot_be_known_is_not_guessed() {
    let not = |formation, figures: &[(&str, u32)], why: &str| {
        let error = four(formation, figures).unwrap_err();
        assert!(error.contains(why), "{figures:?}: {error}");
    };
    let improper = "duple improper";
    not(improper, &[("swing", 16)], "does not say who");
    not(improper, &[("partners swing", 16)], "swing in the middle");
    not(improper, &[("larks swing", 16)], "two of one role");
    not(improper, &[("neighbours allemande right", 8)], "how far");
    not(improper, &[("circle left", 4)], "how far");
    not(
        improper,
        &[("neighbours allemande right three quarters", 8)],
        "between places",
    );
    not(improper, &[("robins chain", 8)], "usual left and right");
    not(
        improper,
        &[("circle left", 8), ("pass through", 4)],
        "across or along",
    );
    not("duple proper", &[("hey", 16)], "both roles on each side");
    not(improper, &[("contra corners", 16)], "cannot be known");
    not(improper, &[("waltz about", 16)], "no figure that is known");
    not(
        improper,
        &[("neighbours swing behind the stage", 16)],
        "behind stage",
    );
    not(improper, &[("slide left", 4)], "becket");
    not(
        improper,
        &[("down the hall", 8), ("circle left", 8)],
        "in a line",
    );
    not(improper, &[("shadows swing", 16)], "which two");
    not(
        "becket",
        &[("turn alone", 4), ("robins chain", 8)],
        "out of the set",
    );
    not(
        "becket",
        &[("robins chain to your partner", 8)],
        "others than it says",
    );
    not(
        "becket",
        &[
            ("partners promenade across", 8),
            ("neighbours promenade across", 8),
        ],
        "side by side",
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    /// Whatever is danced, nobody is lost or doubled, and the same figures
    /// danced by every group keep all groups alike.
    #[test]
    fn everybody_has_one_place(
        formation in prop::sample::select(vec!["duple improper", "duple proper", "becket"]),
        couples in 4usize..12,
        chosen in prop::collection::vec((prop::sample::select(vec![
            "circle left three places", "circle right", "star by the left one place", "neighbours swing",
            "partners swing", "robins chain", "half a hey", "pass through across", "pass through to the next",
            "partners box the gnat", "larks allemande left once and a half", "slide left", "slide right",
            "spin to the right", "down the hall", "bend the line", "turn as couples", "cross trail",
            "california twirl", "right and left through", "neighbours roll away", "ones change places",
        ]), Just(8u32)), 2..16),
    ) {
        let mut chosen = chosen;
        if chosen.len() % 2 == 1 {
            chosen.pop();
        }
        let dance = card(formation, &chosen);
        let followed = follow(&dance, Figures::builtin(), couples).unwrap();
        let mut led_on = false;
        for (set, figure) in followed.after.iter().zip(dance.figures()) {
            led_on |= figure.name.contains("next") || figure.name.contains("slide");
            let standings = set.standings();
            prop_assert_eq!(standings.len(), 2 * couples);
            let dancers: BTreeSet<Dancer> = standings.values().map(|s| s.dancer).collect();
            prop_assert_eq!(dancers.len(), 2 * couples);
            let fours: BTreeSet<String> = set
                .groups()
                .filter(|(_, four)| !four.contains(&None))
                .map(|(_, four)| four.map(|s| name(set, s.unwrap())).join(" "))
                .collect();
            // Those who waited at an end come in as they waited.
            prop_assert!(led_on || fours.len() == 1, "{:?}", fours);
        }
    }

    /// Turning by some places and then by others is turning by their sum.
    #[test]
    fn rings_add_up(a in 0usize..4, b in 0usize..4) {
        let left = ["circle left", "circle left one place", "circle left two places", "circle left three places"];
        let star = ["star right", "star right one place", "star right two places", "star right three places"];
        let both = four("duple improper", &[(left[a], 8), (star[b], 8)]).unwrap();
        let sum = four("duple improper", &[(left[(a + b) % 4], 8)]).unwrap();
        prop_assert_eq!(both, sum);
    }
}
