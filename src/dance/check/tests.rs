use super::*;
use crate::dance::{Card, Figures};

fn report(text: &str) -> Report {
    let card = Card::parse(text, "t").unwrap_or_else(|e| panic!("{e}"));
    check(&card, Figures::builtin(), &|_| None)
}

/// A dance of two parts: name, beats, call.
fn dance(top: &str, figures: &[(&str, u32, &str)]) -> String {
    let mut text = format!("title = \"t\"\nform = [\"A1\", \"A2\"]\n{top}\n");
    let mut beats = 0;
    for (name, length, call) in figures {
        let part = if beats < 16 { "A1" } else { "A2" };
        text += &format!("[[{part}]]\nfigure = \"{name}\"\nbeats = {length}\ncall = \"{call}\"\n");
        beats += length;
    }
    text
}

const MIXER: &str = "formation = \"circle mixer\"";

#[track_caller]
fn only(report: &Report, kind: Kind, piece: &str) {
    let found: Vec<&Finding> = report.findings.iter().filter(|f| f.kind == kind).collect();
    let [finding] = found[..] else {
        panic!("{kind:?}: {:?}", report.findings);
    };
    assert!(
        finding.trouble.message.contains(piece),
        "{}",
        finding.trouble
    );
}

#[track_caller]
fn none(report: &Report, kind: Kind) {
    assert!(
        report.findings.iter().all(|f| f.kind != kind),
        "{:?}",
        report.findings
    );
}

#[test]
fn an_unknown_figure_gets_an_offer_at_its_place() {
    let text = dance(
        MIXER,
        &[("partners swign", 16, "swing"), ("promenade", 16, "walk")],
    );
    let report = report(&text);
    only(&report, Kind::UnknownFigure, "did you mean \"swing\"?");
    assert_eq!(report.findings[0].trouble.line, 5);
    let who = dance(
        MIXER,
        &[("partnres swing", 16, "swing"), ("promenade", 16, "walk")],
    );
    only(
        &self::report(&who),
        Kind::UnknownFigure,
        "\"partnres\" is not understood; did you mean \"partners\"?",
    );
    let free = [
        ("partners swing by the stage", 16, "swing"),
        ("promenade", 16, "walk"),
    ];
    none(&self::report(&dance(MIXER, &free)), Kind::UnknownFigure);
    assert_eq!(report.findings[0].trouble.column, 10);
}

#[test]
fn other_peoples_role_words_are_noticed() {
    let figures = [
        ("ladies chain", 8, "chain"),
        ("promenade", 8, "walk"),
        ("promenade", 16, "walk"),
    ];
    only(
        &report(&dance(MIXER, &figures)),
        Kind::RoleWord,
        "\"ladies\" is no role",
    );
    let own = format!("{MIXER}\nroles = [\"gent\", \"lady\"]");
    assert!(report(&dance(&own, &figures)).findings.is_empty());
    // What is said of figures is said in the card's words.
    let slip = [
        ("ladeis chain", 8, "chain"),
        ("promenade", 8, "walk"),
        ("ladies chain", 16, "walk"),
    ];
    let slip = report(&dance(&own, &slip));
    only(
        &slip,
        Kind::Length,
        "\"ladies chain\" usually takes 8 beats",
    );
}

#[test]
fn calls_are_measured_against_their_room() {
    let long = "everybody take your partner by the hand and promenade around the ring";
    let figures = [
        ("promenade", 16, "walk"),
        ("balance", 4, "balance"),
        ("swing", 12, long),
    ];
    let text = dance(MIXER, &figures);
    only(
        &report(&text),
        Kind::LongCall,
        "longer than what it has before it (2.1 s)",
    );
    let near = "please take your partner by the hand now all";
    let figures = [("promenade", 16, "walk"), ("promenade", 16, near)];
    only(
        &report(&dance(MIXER, &figures)),
        Kind::LongCall,
        "shorten it to 9 syllables",
    );
    // A voice that knows better is believed.
    let card = Card::parse(&text, "t").unwrap();
    let quick = check(&card, Figures::builtin(), &|_| Some(1.0));
    none(&quick, Kind::LongCall);
    assert!(quick.calls.iter().all(|c| c.measured && c.fits()));
    let slow = check(&card, Figures::builtin(), &|w| (w == "walk").then_some(2.1));
    assert_eq!(
        slow.findings
            .iter()
            .filter(|f| f.kind == Kind::LongCall)
            .count(),
        2
    );
    assert!((slow.calls[0].beats_ahead() - 4.06).abs() < 0.01);
    // A faster tempo leaves less room.
    let fast = text
        .replace(MIXER, &format!("{MIXER}\nsteps_per_minute = 140"))
        .replace(long, "one two three four five six seven");
    only(&report(&fast), Kind::LongCall, "8 syllables");
}

#[test]
fn swinging_and_roles_are_weighed() {
    let improper = "formation = \"duple improper\"";
    let lots = [
        ("neighbours balance and swing", 16, "x"),
        ("partners swing", 16, "x"),
    ];
    let much = report(&dance(improper, &lots));
    assert_eq!(much.swinging, 28);
    only(&much, Kind::Swinging, "88 %: more");
    let none_at_all = [
        ("circle left", 16, "x"),
        ("larks allemande left twice", 16, "x"),
    ];
    let little = report(&dance(improper, &none_at_all));
    only(&little, Kind::Swinging, "0 %: less");
    assert_eq!(little.active, [32, 16]);
    only(
        &little,
        Kind::RolesUnbalanced,
        "larks dance 32 beats and robins only 16",
    );
    none(&report(&dance(MIXER, &none_at_all)), Kind::Swinging);
    let even = [
        ("larks allemande left twice", 16, "x"),
        ("robins do-si-do twice", 16, "x"),
    ];
    none(&report(&dance(MIXER, &even)), Kind::RolesUnbalanced);
}

#[test]
fn heads_and_shoulders_get_a_rest() {
    let dizzy = [
        ("neighbours swing", 12, "x"),
        ("balance", 4, "x"),
        ("partners swing", 16, "x"),
    ];
    // The dance begins again with the swing: 16 and 12 beats in a row.
    only(
        &report(&dance(MIXER, &dizzy)),
        Kind::Dizzy,
        "28 beats of turning",
    );
    only(&report(&dance(MIXER, &dizzy)), Kind::Shoulders, "28 beats");
    let rested = [
        ("balance", 4, "x"),
        ("neighbours swing", 12, "x"),
        ("circle left", 16, "x"),
    ];
    none(&report(&dance(MIXER, &rested)), Kind::Dizzy);
    let again = [
        ("balance and swing", 16, "x"),
        ("balance and swing", 16, "x"),
    ];
    none(&report(&dance(MIXER, &again)), Kind::Dizzy);
    let all = [("swing", 16, "x"), ("swing", 16, "x")];
    only(&report(&dance(MIXER, &all)), Kind::Dizzy, "32 beats");
}

#[test]
fn newcomers_are_not_left_behind() {
    let new = format!("{MIXER}\ndifficulty = \"newcomers\"");
    let hard = [
        ("hey", 16, "x"),
        ("roll away", 4, "x"),
        ("promenade", 12, "x"),
    ];
    let found = report(&dance(&new, &hard));
    let too_hard: Vec<_> = found
        .findings
        .iter()
        .filter(|f| f.kind == Kind::TooHard)
        .collect();
    assert_eq!(too_hard.len(), 2, "{too_hard:?}");
    assert_eq!(found.fit_for, Difficulty::SomeExperience);
    none(
        &report(&dance(&new.replace("newcomers", "some experience"), &hard)),
        Kind::TooHard,
    );
    let harder = [
        ("hey", 16, "x"),
        ("mad robin", 8, "x"),
        ("cross trail", 8, "x"),
    ];
    let some = report(&dance(
        &new.replace("newcomers", "some experience"),
        &harder,
    ));
    only(&some, Kind::TooHard, "3 figures need dancers who know them");
    assert_eq!(some.fit_for, Difficulty::Experienced);
    let easy = [("circle left", 16, "x"), ("promenade", 16, "x")];
    assert_eq!(report(&dance(&new, &easy)).fit_for, Difficulty::Newcomers);
}

#[test]
fn progression_is_held_against_the_card() {
    let improper = "formation = \"duple improper\"";
    let on = [
        ("neighbours swing", 12, "x"),
        ("balance", 4, "x"),
        ("long lines", 8, "x"),
        ("forward and back", 8, "x"),
    ];
    none(&report(&dance(improper, &on)), Kind::Progression);
    let double = format!("{improper}\nprogression = \"double\"");
    only(
        &report(&dance(&double, &on)),
        Kind::Progression,
        "moved on by one couple, but the card's progression is \"double\"",
    );
    let stay = [
        ("neighbours do-si-do twice", 16, "x"),
        ("circle left", 16, "x"),
    ];
    only(
        &report(&dance(improper, &stay)),
        Kind::Progression,
        "nobody has moved on",
    );
    none(
        &report(&dance(
            &format!("{improper}\nprogression = \"none\""),
            &stay,
        )),
        Kind::Progression,
    );
    let astray = [
        ("circle left three places", 16, "x"),
        ("long lines", 16, "x"),
    ];
    only(
        &report(&dance(improper, &astray)),
        Kind::Progression,
        "partners are not together",
    );
}

#[test]
fn figures_danced_once_are_checked_too() {
    let once = |once: &str| {
        let figures = [("promenade", 16, "walk"), ("promenade", 16, "walk")];
        report(&dance(&format!("{MIXER}\n{once}"), &figures))
    };
    let good = once("[ending]\nfigure = \"bow\"\ncall = \"bow to your partner\"");
    assert!(good.findings.is_empty(), "{:?}", good.findings);
    let slip = once("[intro]\nfigure = \"balence\"\ncall = \"x\"");
    only(&slip, Kind::UnknownFigure, "did you mean \"balance\"?");
    let long = once(
        "[intro]\nfigure = \"bow\"\ncall = \"bow to your partner and then to your neighbour\"",
    );
    only(&long, Kind::LongCall, "what it has before it (2.1 s)");
}

#[test]
fn odd_lengths_are_noticed() {
    let figures = [("long lines", 16, "x"), ("promenade", 16, "x")];
    only(
        &report(&dance(MIXER, &figures)),
        Kind::Length,
        "usually takes 8 beats, here 16",
    );
}

#[test]
fn bundled_dances_are_good_in_every_way() {
    for (name, text) in crate::dance::bundled() {
        let card = Card::parse(text, name).unwrap_or_else(|e| panic!("{e}"));
        let report = check(&card, Figures::builtin(), &|_| None);
        let told: Vec<String> = report
            .findings
            .iter()
            .map(|f| f.trouble.to_string())
            .collect();
        assert!(told.is_empty(), "{}", told.join("\n"));
        if let Some(followed) = report.followed {
            assert_eq!(followed.stopped, None, "{name}");
            assert_eq!(followed.outcome, Some(Outcome::MovedOn(1)), "{name}");
        }
    }
}
