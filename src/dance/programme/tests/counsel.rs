//! What an evening is advised of.

use super::*;

#[track_caller]
fn told(programme: &Programme, words: &str) -> String {
    let all = advice(programme);
    let found = all.iter().find(|line| line.contains(words));
    found
        .unwrap_or_else(|| panic!("no \"{words}\" in {all:#?}"))
        .clone()
}

#[track_caller]
fn not_told(programme: &Programme, words: &str) {
    let all = advice(programme);
    assert!(!all.iter().any(|line| line.contains(words)), "{all:#?}");
}

#[test]
fn the_evening_has_to_fit_the_hall() {
    let head = "floor = \"experienced\"\nstart = \"19:30\"\nend = \"20:00\"";
    let twelve = dance(RING, "minutes = 12");
    let long = of(
        head,
        &(twelve.clone() + &dance(LANTERNS, "minutes = 12") + TEA),
    )
    .unwrap();
    assert!(long.spare().unwrap() < -10.0);
    told(&long, "4: the evening lasts until 20:1");
    let short = of(head, &twelve).unwrap();
    told(&short, "there is room for another");
    let unknown = of("floor = \"experienced\"", &twelve).unwrap();
    assert_eq!(unknown.spare(), None);
    assert_eq!(advice(&unknown), [""; 0]);
}

#[test]
fn people_want_a_break_and_no_endless_dance() {
    let hour = "[[item]]\nother = \"Long notices\"\nminutes = 50\n";
    let without = of("floor = \"experienced\"", &(hour.to_owned() + hour)).unwrap();
    told(
        &without,
        "7: 102 minutes without a break by the end of this",
    );
    let with = of("floor = \"experienced\"", &(hour.to_owned() + TEA + hour)).unwrap();
    not_told(&with, "without a break");
    let endless = of("floor = \"experienced\"", &dance(LANTERNS, "times = 40")).unwrap();
    told(
        &endless,
        "4: 22 minutes of music (40 times through) are long for one dance",
    );
}

#[test]
fn newcomers_come_early() {
    // The ring is for newcomers, the lanterns for some experience.
    let walk = "times = 8\nwalk = 4";
    let (ring, lanterns) = (dance(RING, walk), dance(LANTERNS, walk));
    let upside_down = of("", &(lanterns.clone() + &ring)).unwrap();
    told(
        &upside_down,
        "4: the evening opens with a dance for \"some experience\"",
    );
    let right = of("", &(ring.clone() + &lanterns)).unwrap();
    assert_eq!(advice(&right), [""; 0]);
    let regulars = of("floor = \"experienced\"", &(lanterns.clone() + &ring)).unwrap();
    assert_eq!(advice(&regulars), [""; 0]);
    let unwalked = of("", &(ring + &dance(LANTERNS, "times = 8"))).unwrap();
    told(&unwalked, "no minutes for walking it through");
}

/// A folder with cards of the given difficulty and nothing else in common.
fn hard(folder: &Path, levels: &[&str]) -> String {
    let mut items = String::new();
    for (n, level) in levels.iter().enumerate() {
        let text = card(RING).replace("The Tin Kettle Ring", &format!("Ring {n}"));
        let text = text.replace("\"newcomers\"", &format!("\"{level}\""));
        let name = format!("ring{n}.toml");
        std::fs::write(folder.join(&name), text).unwrap();
        items += &dance(&name, "times = 5\nwalk = 3");
    }
    format!("title = \"T\"\n{items}")
}

#[test]
fn the_curve_climbs_in_steps_and_comes_down_at_the_end() {
    let folder = tempfile::tempdir().unwrap();
    let (new, some, old) = ("newcomers", "some experience", "experienced");
    let curve = |levels: &[&str]| {
        let text = hard(folder.path(), levels);
        Programme::parse(&text, "p", Some(folder.path())).unwrap()
    };
    let good = curve(&[new, new, some, some, old, some]);
    for words in ["straight to", "first third", "last", "opens", "cooled"] {
        not_told(&good, words);
    }
    told(
        &curve(&[new, new, new, old, some, new]),
        "from \"newcomers\" straight to \"experienced\"",
    );
    told(
        &curve(&[new, old, some, new, new, new]),
        "in the first third",
    );
    told(
        &curve(&[new, new, some, old]),
        "the hardest kind comes last",
    );
    let text = hard(folder.path(), &[new, some, some, old, some]);
    // The break goes before the fourth dance.
    let at = text.match_indices("[[item]]").nth(3).unwrap().0;
    let text = format!("{}{TEA}{}", &text[..at], &text[at..]);
    let programme = Programme::parse(&text, "p", Some(folder.path())).unwrap();
    told(&programme, "right after the break people have cooled down");
}

#[test]
fn neighbours_that_are_alike_are_noticed() {
    let walk = "times = 8\nwalk = 4";
    let (ring, lanterns) = (dance(RING, walk), dance(LANTERNS, walk));
    let twice = of("", &(ring.clone() + &lanterns + TEA + &ring)).unwrap();
    told(
        &twice,
        "\"The Tin Kettle Ring\" is danced twice: it was item 1 already",
    );

    // The same dance under another name right after it, and after a break.
    let folder = tempfile::tempdir().unwrap();
    let copy = card(UMBRELLA).replace("The Borrowed Umbrella", "The Kept Umbrella");
    std::fs::write(folder.path().join("copy.toml"), copy).unwrap();
    let parse = |items: String| {
        let text = format!("title = \"T\"\nfloor = \"experienced\"\n{items}");
        Programme::parse(&text, "p", Some(folder.path())).unwrap()
    };
    let copy = dance("copy.toml", walk);
    let umbrella = dance(UMBRELLA, walk);
    let alike = parse(umbrella.clone() + &copy);
    let line = told(
        &alike,
        "much of \"The Kept Umbrella\" was just danced in \"The Borrowed Umbrella\"",
    );
    assert!(line.starts_with("8: ") && line.contains("chain"), "{line}");
    not_told(&parse(umbrella + TEA + &copy), "was just danced");
}

#[test]
fn five_of_a_formation_and_three_of_a_tune_are_monotonous() {
    let folder = tempfile::tempdir().unwrap();
    let text = hard(folder.path(), &["newcomers"; 5]);
    let programme = Programme::parse(&text, "p", Some(folder.path())).unwrap();
    told(
        &programme,
        "the 5th dance in a row in the formation \"circle mixer\"",
    );
    not_told(&programme, "rd any in a row");
    let jigs = text.replace("times = 5", "times = 5\ntunes = \"jig\"");
    let programme = Programme::parse(&jigs, "p", Some(folder.path())).unwrap();
    told(&programme, "the 3rd jig in a row");
}

#[test]
fn time_spent_swinging_is_measured_in_beats() {
    let programme = of(
        "",
        &(dance(RING, "times = 9") + &dance(LANTERNS, "times = 3")),
    )
    .unwrap();
    let variety = programme.variety();
    // 8 of 64 beats, and 12 + 8 of 64.
    assert_eq!(variety.swinging, [8.0 / 64.0, 20.0 / 64.0]);
    assert_eq!(
        variety.swinging_in_all,
        (9.0 * 8.0 + 3.0 * 20.0) / (12.0 * 64.0)
    );
    assert_eq!(variety.tunes.get("reel"), Some(&1));
    assert_eq!(variety.formations.len(), 2);
    assert!(variety.figures >= 10, "{}", variety.figures);
}
