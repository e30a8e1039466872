use super::parse::{DRILL, STEP, TOP};
use super::*;

fn bundled() -> Lesson {
    let (name, text) = BUNDLED;
    Lesson::parse(text, name).unwrap_or_else(|error| panic!("{error}"))
}

#[test]
fn the_bundled_lesson_goes_from_the_lead_in_to_lining_up() {
    let lesson = bundled();
    let titles: Vec<&str> = lesson.steps().iter().map(|s| s.title.as_str()).collect();
    let order = [
        "lead-in",
        "Clap on one",
        "Circle left",
        "centre",
        "weight",
        "swing",
        "Thank",
        "Lining up",
    ];
    let places = order.map(|words| titles.iter().position(|title| title.contains(words)));
    assert!(places.iter().all(Option::is_some), "{titles:?}");
    assert!(places.is_sorted(), "{titles:?}");
    assert!(
        (20.0..=40.0).contains(&lesson.minutes()),
        "{}",
        lesson.minutes()
    );
    for step in lesson.steps() {
        assert!(!step.say.is_empty() && step.minutes > 0.0, "{}", step.title);
    }
    // Where someone could be hurt there is a caution.
    for words in ["Circle left", "weight", "swing"] {
        let step = lesson
            .steps()
            .iter()
            .find(|step| step.title.contains(words));
        assert!(!step.unwrap().caution.is_empty(), "{words}");
    }
    let rules = lesson.rules().join(" ");
    assert!(
        rules.contains("hall's own rules") && rules.contains("qualified teacher"),
        "{rules}"
    );
}

#[test]
fn a_clap_is_full_then_falls_by_equal_steps_then_is_silent() {
    let drill = Drill {
        tune: "x".into(),
        steps_per_minute: 104.0,
        phrases: 16,
        full: 3,
        fade: 3,
    };
    let level = |phrase| 20.0 * drill.loudness(phrase).log10();
    assert_eq!([0, 1, 2].map(level), [0.0; 3]);
    for (phrase, wanted) in [(3, -6.0), (4, -12.0), (5, -18.0)] {
        assert!(
            (level(phrase) - wanted).abs() < 1e-3,
            "{phrase}: {}",
            level(phrase)
        );
    }
    assert_eq!([6, 7, 99].map(|phrase| drill.loudness(phrase)), [0.0; 3]);
    let at_once = Drill {
        fade: 0,
        full: 0,
        ..drill
    };
    assert_eq!(at_once.loudness(0), 0.0);
}

#[test]
fn a_lesson_speaks_the_callers_words() {
    let lesson = bundled().with_roles(&Roles::parse("gent/lady").unwrap());
    let all = format!("{lesson:?}");
    assert!(
        all.contains("Gents have their lady on their right"),
        "roles"
    );
    assert!(!all.contains("Lark") && !all.contains("robin on"));
}

#[test]
fn mistakes_are_told_with_their_place_and_a_remedy() {
    let step = "[[step]]\ntitle = \"S\"\nminutes = 3\nsay = \"x\"\n";
    for (text, wanted) in [
        ("", "1:1: the lesson has no \"title\""),
        ("title = \"T\"", "1:1: the lesson has no steps"),
        (
            "title = \"T\"\nstep = 3",
            "2:8: \"step\" must be a list of steps",
        ),
        (
            "title = \"T\"\nstep = [3]",
            "2:9: \"step\" must be a list of steps",
        ),
        (
            "title = \"T\"\n[[step]]\ntitle = \"S\"\nsay = \"x\"",
            "2:1: a step has no \"minutes\"",
        ),
        (
            "title = \"T\"\n[[step]]\ntitle = \"S\"\nminutes = 3",
            "2:1: a step has no \"say\"",
        ),
        (
            &*format!("title = \"T\"\n{step}roon = \"x\""),
            "6:1: unknown key \"roon\" in a step; did you mean \"room\"?",
        ),
        (
            &format!("title = \"T\"\n{step}drill = 3"),
            "6:9: \"drill\" must be a table headed [step.drill]",
        ),
        (
            &format!("title = \"T\"\n{step}[step.drill]\nphrases = 3"),
            "a drill has no \"tune\"",
        ),
        (
            &format!("title = \"T\"\n{step}[step.drill]\ntune = \"boots-on-the-fende\""),
            "7:8: the house band does not know \"boots-on-the-fende\"; did you mean \"boots-on-the-fender\"?",
        ),
        (
            &format!(
                "title = \"T\"\n{step}[step.drill]\ntune = \"boots-on-the-fender\"\nphrases = 0"
            ),
            "8:11: \"phrases\" cannot be 0; expected 1 to 64 phrases",
        ),
        (
            &format!(
                "title = \"T\"\n{step}[step.drill]\ntune = \"boots-on-the-fender\"\nfade = -1"
            ),
            "8:8: \"fade\" cannot be -1; expected 0 to 64",
        ),
        (
            &format!(
                "title = \"T\"\n{step}[step.drill]\ntune = \"boots-on-the-fender\"\nsteps_per_minute = 7"
            ),
            "8:20: \"steps_per_minute\" cannot be 7; expected 80 to 130",
        ),
        (
            &format!("title = \"T\"\n{}", step.replace('3', "99")),
            "4:11: \"minutes\" cannot be 99; expected 0 to 60",
        ),
        ("title = ", "this is not TOML"),
    ] {
        let error = Lesson::parse(text, "l").expect_err(text);
        let shown: Vec<String> = error
            .troubles()
            .iter()
            .map(|t| format!("{}:{}: {}", t.line, t.column, t.message))
            .collect();
        assert!(shown[0].contains(wanted), "{shown:#?}\nfor {wanted}");
    }
    let error = Lesson::load("/nowhere/lesson.toml").unwrap_err();
    assert!(
        error.to_string().contains("there is no such lesson"),
        "{error}"
    );
}

#[test]
fn the_schema_and_the_parser_know_the_same_keys_and_files() {
    let schema: serde_json::Value = serde_json::from_str(SCHEMA).unwrap();
    let step = &schema["$defs"]["step"];
    for (at, known) in [
        (&schema, &TOP[..]),
        (step, &STEP[..]),
        (&step["properties"]["drill"], &DRILL[..]),
    ] {
        let mut found: Vec<&str> = at["properties"]
            .as_object()
            .unwrap()
            .keys()
            .map(String::as_str)
            .collect();
        let mut known = known.to_vec();
        found.sort();
        known.sort();
        assert_eq!(found, known);
    }
    let validator = jsonschema::validator_for(&schema).unwrap();
    let valid = |text: &str| {
        let value: toml::Value = toml::from_str(text).unwrap();
        validator.is_valid(&serde_json::to_value(value).unwrap())
    };
    assert!(valid(BUNDLED.1));
    for (from, to) in [
        ("say =", "sai ="),
        ("fade = 5", "fade = -5"),
        ("minutes = 3", "minutes = \"3\""),
    ] {
        assert!(
            BUNDLED.1.contains(from) && !valid(&BUNDLED.1.replace(from, to)),
            "{from}"
        );
    }
}
