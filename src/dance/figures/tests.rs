use super::*;
use crate::dance::roles::Role;

fn read(text: &str) -> Reading<'static> {
    Figures::builtin()
        .read(text, &Roles::default())
        .unwrap_or_else(|| panic!("{text}"))
}

#[test]
fn the_list_is_whole() {
    let figures = Figures::builtin();
    assert!(figures.all().len() >= 60);
    for kind in ["contra", "square", "mixer"] {
        let of_kind = figures
            .all()
            .iter()
            .filter(|f| f.used.iter().any(|u| u == kind));
        assert!(of_kind.count() >= 15, "{kind}");
    }
    for f in figures.all() {
        let texts = [&f.name, &f.ends, &f.call, &f.short, &f.teach];
        assert!(texts.iter().all(|t| !t.trim().is_empty()), "{}", f.name);
        assert!(
            !f.beats.is_empty() && f.beats.iter().all(|b| (2..=64).contains(b)),
            "{}",
            f.name
        );
        assert!(!f.who.is_empty() && f.hard <= 3, "{}", f.name);
        assert!(
            f.used
                .iter()
                .all(|u| ["contra", "square", "mixer"].contains(&u.as_str()))
        );
        assert!(f.short.len() <= f.call.len(), "{}", f.name);
        // What turns fast or hauls says what to look out for.
        assert!(
            !(f.swinging || f.dizzy || f.shoulders) || f.caution.is_some(),
            "{}",
            f.name
        );
    }
    for hurtful in ["swing", "basket", "strip the willow"] {
        assert!(figures.named(hurtful).unwrap().caution.is_some());
    }
}

#[test]
fn no_name_stands_for_two_figures() {
    let names = &Figures::builtin().names;
    for (i, (name, at)) in names.iter().enumerate() {
        for (other, its) in &names[i + 1..] {
            assert!(name != other || at == its, "{name:?}");
        }
    }
}

#[test]
fn who_and_how_far_come_out_of_the_words() {
    let r = read("robins do-si-do once and a half");
    assert_eq!(
        (r.figure.name.as_str(), r.who, r.quarters),
        ("do-si-do", Some(Who::Role(Role::Second)), Some(6))
    );
    let r = read("Circle left, three places");
    assert_eq!(
        (r.figure.name.as_str(), r.who, r.quarters),
        ("circle left", None, Some(3))
    );
    let r = read("neighbors allemande right 1½");
    assert_eq!(
        (r.figure.name.as_str(), r.who, r.quarters),
        ("allemande right", Some(Who::Neighbours), Some(6))
    );
    let r = read("partners swing, end facing down");
    assert_eq!(
        (r.figure.name.as_str(), r.facing),
        ("swing", Some(Facing::Down))
    );
    let r = read("pass through to the next");
    assert_eq!((r.figure.name.as_str(), r.onward), ("pass through", true));
    let r = read("robins chain to your neighbour");
    assert_eq!(
        (r.figure.name.as_str(), r.who, r.to),
        (
            "robins chain",
            Some(Who::Role(Role::Second)),
            Some(Who::Neighbours)
        )
    );
    let r = read("pass through across the set");
    assert_eq!(r.way, Some(Way::Across));
    assert!(read("slide left to the next").onward);
    assert_eq!(
        read("down the hall four in line, turn as couples")
            .figure
            .moves,
        Some(Movement::LineDownCouples)
    );
    for text in [
        "half a hey, robins begin, passing right",
        "partners balance & swing",
        "larks allemande left 1 & 1/2",
        "neighbours balance and swing",
        "half a hey",
        "star by the right",
        "balance the ring",
    ] {
        assert!(read(text).rest.is_empty(), "{text}");
    }
}

#[test]
fn what_is_not_understood_is_kept() {
    assert_eq!(
        read("swing the one behind you").rest,
        ["one", "behind", "you"]
    );
    assert_eq!(
        read("pass through on the left diagonal").rest,
        ["on", "left", "diagonal"]
    );
    assert_eq!(read("partners swing neighbours").rest, ["neighbours"]);
    assert!(
        Figures::builtin()
            .read("fly to the moon", &Roles::default())
            .is_none()
    );
}

#[test]
fn any_role_words_are_read() {
    let roles = Roles::parse("gent/lady").unwrap();
    let figures = Figures::builtin();
    let r = figures.read("ladies chain across", &roles).unwrap();
    assert_eq!(
        (r.figure.name.as_str(), r.who),
        ("robins chain", Some(Who::Role(Role::Second)))
    );
    let r = figures.read("gents allemande left once", &roles).unwrap();
    assert_eq!(r.who, Some(Who::Role(Role::First)));
    assert!(phrase::strange_role("ladies", &Roles::default()));
}

#[test]
fn a_slip_of_the_pen_gets_an_offer() {
    let like = |text| Figures::builtin().like(text, &Roles::default());
    assert_eq!(like("robins alemande right once"), Some("allemande right"));
    assert_eq!(like("neighbours swign"), Some("swing"));
    assert_eq!(like("fly to the moon"), None);
    let word = |text| phrase::like_word(text);
    assert_eq!(word("nieghbours"), Some("neighbours"));
    assert_eq!(word("robbins"), Some("robins"));
    for fine in ["neighbours", "behind", "ring", "x", "stage"] {
        assert_eq!(word(fine), None, "{fine}");
    }
}
