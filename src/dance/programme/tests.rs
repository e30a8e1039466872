use super::*;
use crate::dance::programme::parse::{ITEM, TOP};
use crate::dance::{Role, bundled as dances};

/// A programme of these items below a head that nothing is wrong with.
fn of(head: &str, items: &str) -> Result<Programme, CardError> {
    let text = format!("title = \"T\"\n{head}\n{items}");
    Programme::parse(&text, "p.toml", None)
}

fn dance(name: &str, more: &str) -> String {
    format!("[[item]]\ndance = \"{name}\"\n{more}\n")
}

const RING: &str = "the-tin-kettle-ring";
const LANTERNS: &str = "lanterns-on-the-weir";
const UMBRELLA: &str = "the-borrowed-umbrella";
const TEA: &str = "[[item]]\nbreak = \"Tea\"\nminutes = 15\n";

/// The text of a bundled card.
fn card(name: &str) -> &'static str {
    let found = dances().iter().find(|(bundled, _)| *bundled == name);
    found.expect("a bundled dance").1
}

/// The first trouble, as `line:column: message`.
fn first(programme: Result<Programme, CardError>) -> String {
    let error = programme.expect_err("this cannot be used");
    let trouble = error.troubles().first().expect("a place").clone();
    format!("{}:{}: {}", trouble.line, trouble.column, trouble.message)
}

fn advice(programme: &Programme) -> Vec<String> {
    let advice = programme.advice().into_iter();
    advice
        .map(|t| format!("{}: {}", t.line, t.message))
        .collect()
}

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
fn an_evening_takes_lining_up_walking_through_beats_and_breaks() {
    let items = dance(RING, "times = 8\nwalk = 4\nsteps_per_minute = 120")
        + TEA
        + &dance(LANTERNS, "times = 9\nwalk = 5")
        + "[[item]]\nother = \"Waltz\"\nminutes = 3.5\n";
    let programme = of("start = \"23:30\"\nchangeover = 1.5", &items).unwrap();
    let slots = programme.slots();
    // (8 × 64 + 4) beats at 120 a minute; nobody lines up before the first.
    assert_eq!(slots[0].changeover, 0.0);
    assert_eq!(slots[0].minutes(), 4.0 + 516.0 / 120.0);
    // Breaks need no lining up; dances and others do.
    assert_eq!(slots[1].minutes(), 15.0);
    assert_eq!(slots[2].minutes(), 1.5 + 5.0 + 580.0 / 116.0);
    assert_eq!(slots[3].minutes(), 1.5 + 3.5);
    assert!((programme.minutes() - slots[3].end()).abs() < 1e-12);
    // Past midnight the clock begins anew.
    let clock = |at: usize| programme.clock(slots[at].start).unwrap().to_string();
    assert_eq!([clock(0), clock(2)], ["23:30", "23:53"]);
    assert_eq!(programme.clock(40.0).unwrap().to_string(), "0:10");
}

#[test]
fn minutes_of_music_become_whole_times_through() {
    let times = |minutes: f64| {
        let items = dance(
            RING,
            &format!("minutes = {minutes}\nsteps_per_minute = 110"),
        );
        of("", &items).unwrap().items()[0].dance().unwrap().times
    };
    // Once through and the lead-in takes 68 beats, 37 seconds at 110.
    assert_eq!([0.0, 0.1, 1.2, 7.0, 8.0].map(times), [1, 1, 2, 12, 14]);
}

#[test]
fn a_dance_without_a_tempo_of_its_own_takes_the_cards() {
    let programme = of("", &dance(LANTERNS, "times = 1")).unwrap();
    assert_eq!(
        programme.items()[0].dance().unwrap().steps_per_minute,
        116.0
    );
    assert_eq!(programme.items()[0].tunes, ["reel"], "and its kind of tune");
}

#[test]
fn mistakes_are_told_with_their_place_and_a_remedy() {
    let ring = dance(RING, "times = 8");
    for (head, items, wanted) in [
        ("", "", "1:1: the programme has no items"),
        (
            "start = \"7pm\"",
            &*ring,
            "2:9: \"start\" must be a time of day such as \"19:30\"",
        ),
        (
            "floor = \"all\"",
            &ring,
            "2:9: \"all\" is no floor that is known here",
        ),
        (
            "hal = \"x\"",
            &ring,
            "2:1: unknown key \"hal\" in the programme; did you mean \"hall\"?",
        ),
        (
            "times = 8",
            &ring,
            "2:1: \"times\" belongs to an item: put it below [[item]]",
        ),
        (
            "",
            "[[item]]\ndance = \"the-tin-ketle-ring\"\ntimes = 3",
            "4:9: \"the-tin-ketle-ring\" is neither a card's file beside the programme nor a bundled dance; did you mean \"the-tin-kettle-ring\"?",
        ),
        (
            "",
            "[[item]]\nbreak = \"Tea\"",
            "4:9: \"break\" does not say how long",
        ),
        (
            "",
            "[[item]]\nminutes = 3",
            "3:1: an item has no \"dance\", \"break\" or \"other\"",
        ),
        (
            "",
            "[[item]]\nbreak = \"Tea\"\nother = \"x\"\nminutes = 3",
            "5:9: an item is one thing: leave out \"other\" or \"break\"",
        ),
        (
            "",
            "[[item]]\nbreak = \"Tea\"\nminutes = 3\nwalk = 2",
            "6:8: \"walk\" is for dances with a card",
        ),
        (
            "",
            &dance(RING, "times = 0"),
            "5:9: \"times\" cannot be 0; expected 1 to 64",
        ),
        (
            "",
            &dance(RING, "times = 3\nminutes = 4"),
            "6:11: a dance has \"times\" (times through) or \"minutes\", not both",
        ),
        ("", &dance(RING, ""), "4:9: the dance does not say how long"),
        (
            "",
            &dance(RING, "minutes = -1"),
            "5:11: \"minutes\" cannot be -1; expected minutes from 0 to 240",
        ),
        (
            "",
            &dance(RING, "times = 3\nsteps_per_minute = 300"),
            "6:20: 300 steps per minute cannot be danced",
        ),
        (
            "",
            "[[item]]\ndance = [1]\ntimes = 3",
            "4:9: \"dance\" must be words in quotation marks",
        ),
        (
            "",
            "[item]\ndance = \"x\"",
            "3:1: \"item\" must be a list of items",
        ),
        ("", "item = 3", "3:8: \"item\" must be a list of items"),
        ("", "item = []", "3:8: \"item\" is empty"),
        ("", "[[item", "this is not TOML"),
    ] {
        let found = first(of(head, items));
        assert!(found.contains(wanted), "{found}\nfor {wanted}");
    }
}

#[test]
fn a_card_beside_the_programme_is_found_and_its_mistakes_are_told() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
    write(
        "mine.toml",
        &card(LANTERNS).replace("Lanterns on the Weir", "Mine"),
    );
    write("bad.toml", "title = \"Bad\"");
    let text = format!("title = \"T\"\n{}", dance("mine.toml", "times = 3"));
    write("good.toml", &text);
    let programme = Programme::load(folder.path().join("good.toml")).unwrap();
    assert_eq!(programme.items()[0].title(), "Mine");

    write("evening.toml", &text.replace("mine", "bad"));
    let found = first(Programme::load(folder.path().join("evening.toml")));
    assert!(
        found.starts_with("3:9: this dance's card cannot be used: "),
        "{found}"
    );
    assert!(found.contains("bad.toml:1:1: "), "{found}");

    write("evening.toml", &text.replace("mine", "lost"));
    let found = first(Programme::load(folder.path().join("evening.toml")));
    assert!(
        found.contains("lost.toml: there is no such dance card"),
        "{found}"
    );
    let error = Programme::load(folder.path().join("none.toml")).unwrap_err();
    assert!(
        error.to_string().contains("there is no such programme"),
        "{error}"
    );
}

#[test]
fn cards_speak_the_programmes_words_for_the_roles() {
    let items = dance(LANTERNS, "times = 1\nnotes = \"tell the gents\"");
    let programme = of("roles = [\"gent\", \"lady\"]", &items).unwrap();
    let card = &programme.items()[0].dance().unwrap().card;
    assert!(
        card.figures()
            .iter()
            .any(|f| f.name.starts_with("ladies do-si-do"))
    );
    let programme = programme.with_roles(&Roles::parse("port/star").unwrap());
    assert_eq!(programme.roles().one(Role::First), "port");
    assert_eq!(programme.items()[0].notes, ["tell the ports"]);
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

#[test]
fn words_for_tunes_that_look_like_slips_are_asked_about() {
    let with = |tunes: &str| of("", &dance(RING, &format!("times = 3\ntunes = {tunes}"))).unwrap();
    for good in [
        "\"jig\"",
        "[\"Jigs\", \"marches\", \"waltzes\"]",
        "\"something from the hills\"",
    ] {
        assert!(with(good).warnings().is_empty(), "{good}");
    }
    let slip = with("[\"jig\", \"horpnipe\"]");
    assert!(
        slip.warnings()[0]
            .message
            .contains("did you mean \"hornpipe\"?")
    );
}

#[test]
fn bundled_programmes_and_the_template_have_nothing_wrong_with_them() {
    for (name, text) in bundled().iter().chain(&[("template", TEMPLATE)]) {
        let programme = Programme::parse(text, name, None).unwrap_or_else(|e| panic!("{e}"));
        assert!(programme.warnings().is_empty());
        assert_eq!(advice(&programme), [""; 0], "{name}");
    }
}

#[test]
fn the_schema_and_the_parser_know_the_same_keys_and_files() {
    let schema: serde_json::Value = serde_json::from_str(SCHEMA).unwrap();
    let keys = |at: &serde_json::Value| -> Vec<String> {
        at["properties"]
            .as_object()
            .unwrap()
            .keys()
            .cloned()
            .collect()
    };
    let sorted = |keys: &[&str]| {
        let mut keys: Vec<String> = keys.iter().map(|k| k.to_string()).collect();
        keys.sort();
        keys
    };
    let mut found = keys(&schema);
    found.sort();
    assert_eq!(found, sorted(&TOP));
    let mut found = keys(&schema["$defs"]["item"]);
    found.sort();
    assert_eq!(found, sorted(&ITEM));

    let validator = jsonschema::validator_for(&schema).unwrap();
    let valid = |text: &str| {
        let value: toml::Value = toml::from_str(text).unwrap();
        validator.is_valid(&serde_json::to_value(value).unwrap())
    };
    for (name, text) in bundled().iter().chain(&[("template", TEMPLATE)]) {
        assert!(valid(text), "{name}");
        assert!(!valid(&text.replace("times =", "time =")), "{name}");
        assert!(!valid(&text.replace("break =", "brake =")), "{name}");
        assert!(!valid(&text.replace("19:30", "half past seven")), "{name}");
    }
}

#[test]
fn an_evening_is_followed_by_its_plan_and_its_clock() {
    let items = dance(RING, "times = 8\nwalk = 4\nsteps_per_minute = 120") + TEA;
    let programme = of("start = \"19:30\"", &items).unwrap();
    // It begins five minutes late, after a hundred seconds of waiting.
    let mut evening = Evening::new(programme, 0, 100.0, Clock::parse("19:35"));
    let standing = evening.standing(160.0);
    assert_eq!((standing.elapsed, standing.planned), (60.0, 498.0));
    assert_eq!((standing.left, standing.to_end), (438.0, 438.0 + 900.0));
    assert_eq!(standing.clock.unwrap().to_string(), "19:36");
    assert_eq!(standing.behind, Some(5.0));
    // Two minutes over: that much further behind.
    let standing = evening.standing(100.0 + 498.0 + 120.0);
    assert_eq!((standing.left, standing.behind), (-120.0, Some(7.0)));
    assert_eq!(standing.to_end, 900.0);

    assert!(evening.go_on(718.0));
    assert_eq!((evening.item().0, evening.item().1.title()), (2, "Tea"));
    let standing = evening.standing(718.0);
    assert!((standing.behind.unwrap() - 7.0).abs() < 1e-9);
    assert!(!evening.go_on(719.0), "there is no third");
    assert!(evening.go_back(720.0) && !evening.go_back(721.0));
    assert_eq!(evening.standing(725.0).elapsed, 5.0);
    assert!(evening.next_item().is_some());
}

#[test]
fn an_evening_before_midnight_may_start_after_it() {
    let programme = of("start = \"0:10\"", TEA).unwrap();
    let evening = Evening::new(programme, 7, 0.0, Clock::parse("23:58"));
    assert_eq!(evening.standing(0.0).behind, Some(-12.0));
}

#[test]
fn times_of_day_are_read_strictly() {
    for (text, shown) in [("0:00", "0:00"), ("9:05", "9:05"), (" 23:59 ", "23:59")] {
        assert_eq!(Clock::parse(text).unwrap().to_string(), shown);
    }
    for bad in [
        "", "9", "9:5", "24:00", "9:60", "-1:00", "1:+3", "a:bc", "19:30:00", "1 9:00",
    ] {
        assert_eq!(Clock::parse(bad), None, "{bad}");
    }
}
