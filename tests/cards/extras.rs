//! Keys that most cards do without.

use eightclap::dance::{
    Card, Ends, Facing, LANTERNS_ON_THE_WEIR, NEW_CARD, Progression, Role, Roles, bundled,
};

use super::{after, says, wrong};

fn with(top: &str) -> Card {
    let text = LANTERNS_ON_THE_WEIR.replacen("[[A1]]", &format!("{top}\n[[A1]]"), 1);
    Card::parse(&text, "my.toml").unwrap_or_else(|e| panic!("{e}"))
}

fn bad(top: &str) -> String {
    wrong(&LANTERNS_ON_THE_WEIR.replacen("[[A1]]", &format!("{top}\n[[A1]]"), 1))
}

#[test]
fn a_card_may_say_what_happens_once() {
    let card = with(
        "notes = [\"one\", \"  two \"]\n[intro]\nsay = \"hands four\"\n\
         [ending]\nsay = [\"thank your partner\", \"thank the band\"]\n\
         figure = \"bow\"\ncall = \"bow to your partner\"\nshort = \"bow\"",
    );
    assert_eq!(card.notes(), ["one", "two"]);
    assert_eq!(card.intro().say, ["hands four"]);
    assert!(card.intro().figure.is_none() && !card.intro().is_empty());
    let ending = card.ending();
    assert_eq!(ending.say.len(), 2);
    let figure = ending.figure.as_ref().unwrap();
    assert_eq!(
        (figure.name.as_str(), figure.short.as_deref()),
        ("bow", Some("bow"))
    );
    let plain = Card::parse(LANTERNS_ON_THE_WEIR, "x").unwrap();
    assert!(plain.intro().is_empty() && plain.ending().is_empty() && plain.notes().is_empty());

    says(
        &bad("[intro]\ncall = \"x\""),
        &["\"call\" in [intro] needs the figure's name"],
    );
    says(
        &bad("[ending]\nfigure = \"x\""),
        &["[ending] has no \"call\""],
    );
    says(
        &bad("[ending]\nsays = \"x\""),
        &["unknown key \"says\" in [ending]; did you mean \"say\"?"],
    );
    says(
        &bad("intro = \"hands four\""),
        &["\"intro\" must be a table headed [intro]"],
    );
    says(
        &bad("notes = 3"),
        &["\"notes\" must be words in quotation marks, or a list of them"],
    );
    says(
        &bad("notes = [3]"),
        &["\"notes\" must be words in quotation marks"],
    );
}

#[test]
fn a_card_has_its_own_role_words() {
    let card = with("roles = [\"gent\", \"lady\"]");
    assert_eq!(card.roles().many(Role::Second), "ladies");
    assert_eq!(
        Card::parse(LANTERNS_ON_THE_WEIR, "x").unwrap().roles(),
        &Roles::default()
    );
    says(
        &bad("roles = [\"gent\"]"),
        &["\"roles\": two roles need two words"],
    );
    says(
        &bad("roles = \"gent/lady\""),
        &["\"roles\" must be a list of two words"],
    );
    says(
        &bad("roles = [1, 2]"),
        &["\"roles\" must be a list of two words"],
    );
    says(
        &bad("roles = [\"left\", \"right\"]"),
        &["already means something else"],
    );
}

#[test]
fn calls_and_notes_take_the_callers_words() {
    for (name, text) in bundled() {
        let card = Card::parse(text, name).unwrap();
        let gents = Roles::parse("gent/lady").unwrap();
        let changed = card.with_roles(&gents);
        assert_eq!(changed.roles(), &gents);
        let texts = |card: &Card| -> String {
            let figures = card.figures().iter().flat_map(|f| {
                [
                    Some(&f.name),
                    Some(&f.call),
                    f.short.as_ref(),
                    f.note.as_ref(),
                ]
            });
            let once = card.intro().say.iter().chain(&card.ending().say).map(Some);
            let notes = card.notes().iter().map(Some);
            let all = figures.chain(once).chain(notes).flatten();
            all.map(|t| t.to_lowercase() + "\n").collect()
        };
        let said = texts(&changed);
        assert!(!said.contains("robin") && !said.contains("lark"), "{said}");
        // There and back again nothing is lost.
        assert_eq!(texts(&changed.with_roles(card.roles())), texts(&card));
        assert_eq!(changed.title(), card.title());
    }
    let lanterns = Card::parse(LANTERNS_ON_THE_WEIR, "x").unwrap();
    let others = lanterns.with_roles(&Roles::parse("man/woman").unwrap());
    assert_eq!(others.figures()[2].name, "women do-si-do once and a half");
    assert_eq!(others.figures()[2].short.as_deref(), Some("women do-si-do"));
}

#[test]
fn progression_and_endings_are_read() {
    let plain = Card::parse(LANTERNS_ON_THE_WEIR, "x").unwrap();
    assert_eq!(plain.progression(), Progression::Single);
    assert_eq!(
        with("progression = \"double\"").progression(),
        Progression::Double
    );
    says(
        &bad("progression = \"triple\""),
        &[
            "is no progression that is known here",
            "single, double, none",
        ],
    );
    let text = LANTERNS_ON_THE_WEIR.replacen("beats = 12", "beats = 12\nends = \"facing down\"", 1);
    let card = Card::parse(&text, "x").unwrap();
    assert_eq!(card.figures()[1].ends, Some(Ends::Facing(Facing::Down)));
    says(
        &after("beats = 12", "beats = 12\nends = \"somewhere\""),
        &[
            "my.toml:19:8: \"ends\" cannot be \"somewhere\"; expected \"facing across\"",
            "L2 R2 / R1 L1",
        ],
    );
    says(
        &after("beats = 12", "beats = 12\ncrosses = 1"),
        &["\"crosses\" must be true or false"],
    );
}

#[test]
fn a_crossing_on_purpose_is_no_warning() {
    let text = |crosses: &str| {
        format!(
            "title = 'x'\nformation = 'square'\nform = ['A1']\n\
             A1 = [{{ figure = 'bow', beats = 4, call = 'bow' }}, \
             {{ figure = 'star', beats = 8, call = 'star'{crosses} }}, \
             {{ figure = 'bow', beats = 4, call = 'bow' }}]"
        )
    };
    assert_eq!(Card::parse(&text(""), "x").unwrap().warnings().len(), 1);
    assert!(
        Card::parse(&text(", crosses = true"), "x")
            .unwrap()
            .warnings()
            .is_empty()
    );
    let needless = LANTERNS_ON_THE_WEIR.replacen("beats = 12", "beats = 12\ncrosses = true", 1);
    assert!(Card::parse(&needless, "x").unwrap().warnings().is_empty());
    let needless = LANTERNS_ON_THE_WEIR.replacen("beats = 4", "beats = 4\ncrosses = true", 1);
    let card = Card::parse(&needless, "x").unwrap();
    says(
        &card.warnings()[0].to_string(),
        &["does not cross the start of a phrase"],
    );
}

#[test]
fn the_card_to_begin_with_is_good() {
    use eightclap::dance::{Figures, check};
    let card = Card::parse(NEW_CARD, "new.toml").unwrap_or_else(|e| panic!("{e}"));
    let report = check::check(&card, Figures::builtin(), &|_| None);
    assert!(report.findings.is_empty(), "{:?}", report.findings);
    // What it offers behind marks can be used as it stands.
    let used: String = NEW_CARD
        .lines()
        .map(|line| {
            let key = line.strip_prefix("# ").filter(|l| {
                l.starts_with('[') || l.split_once(" = ").is_some_and(|(k, _)| !k.contains(' '))
            });
            key.unwrap_or(line).to_owned() + "\n"
        })
        .collect();
    let card = Card::parse(&used, "new.toml").unwrap_or_else(|e| panic!("{e}"));
    assert!(!card.intro().is_empty() && !card.ending().is_empty() && card.author().is_some());
}
