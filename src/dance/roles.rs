//! The two roles of a couple, in whatever words a caller uses for them.

use std::fmt;

/// Longest role word, in letters.
const LONGEST: usize = 24;

/// Words that calls use for something else: as a role's word they would be
/// changed where no role is meant.
const TAKEN: [&str; 18] = [
    "left",
    "right",
    "partner",
    "partners",
    "neighbour",
    "neighbours",
    "neighbor",
    "neighbors",
    "corner",
    "corners",
    "couple",
    "couples",
    "one",
    "ones",
    "two",
    "twos",
    "all",
    "next",
];

/// Words that cannot name two roles.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}; give two words such as \"lark/robin\" or \"gent/lady\"")]
pub struct RolesError(String);

/// Which of a couple.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Role {
    /// Stands on the left of a couple; by default a lark.
    First,
    /// Stands on the right of a couple; by default a robin.
    Second,
}

/// A role's word for one dancer and for several.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Word {
    one: String,
    many: String,
}

/// The words for the two roles, in small letters.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Roles {
    words: [Word; 2],
}

impl Default for Roles {
    /// Larks and robins (common practice).
    fn default() -> Self {
        Roles {
            words: [Word::new("lark", None), Word::new("robin", None)],
        }
    }
}

impl fmt::Display for Roles {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [first, second] = &self.words;
        write!(f, "{}/{}", first.one, second.one)
    }
}

impl Roles {
    /// Reads words parted by strokes: `gent/lady`, or with plurals of their
    /// own `man/woman/men/women`.
    ///
    /// # Errors
    /// If there are not two to four words of letters, all different, and none
    /// that calls use for something else.
    pub fn parse(text: &str) -> Result<Self, RolesError> {
        Self::from_words(&text.split('/').map(str::trim).collect::<Vec<_>>())
    }

    /// From two words for one dancer each, and up to two plurals.
    ///
    /// # Errors
    /// As [`Roles::parse`].
    pub fn from_words(words: &[&str]) -> Result<Self, RolesError> {
        if !(2..=4).contains(&words.len()) {
            return Err(RolesError(format!(
                "two roles need two words (and plurals if they are odd ones), not {}",
                words.len()
            )));
        }
        let small: Vec<String> = words.iter().map(|w| w.to_lowercase()).collect();
        for (shown, word) in words.iter().zip(&small) {
            let shown = shown.escape_debug();
            if word.is_empty() || !word.chars().all(char::is_alphabetic) {
                return Err(RolesError(format!(
                    "\"{shown}\" is no role's word: use letters only"
                )));
            }
            if word.chars().count() > LONGEST {
                return Err(RolesError(format!("\"{shown}\" is too long to be called")));
            }
            if TAKEN.contains(&word.as_str()) {
                return Err(RolesError(format!(
                    "\"{shown}\" already means something else in calls"
                )));
            }
        }
        let roles = Roles {
            words: [
                Word::new(&small[0], small.get(2)),
                Word::new(&small[1], small.get(3)),
            ],
        };
        let [a, b] = &roles.words;
        if a.one == b.one || a.many == b.many || a.one == b.many || a.many == b.one {
            return Err(RolesError(format!(
                "\"{roles}\" does not tell two roles apart"
            )));
        }
        Ok(roles)
    }

    /// The word for one dancer of `role`.
    pub fn one(&self, role: Role) -> &str {
        &self.words[role as usize].one
    }

    /// The word for several dancers of `role`.
    pub fn many(&self, role: Role) -> &str {
        &self.words[role as usize].many
    }

    /// Letters that stand for `role` in drawings: its first one, or two where
    /// both roles begin alike.
    pub fn letters(&self, role: Role) -> String {
        let [a, b] = [Role::First, Role::Second].map(|r| self.one(r));
        let alike = a.chars().next() == b.chars().next();
        let mut letters = self.one(role).chars();
        let first = letters.next().map(|c| c.to_uppercase().to_string());
        let second = letters.next().filter(|_| alike);
        first.into_iter().chain(second.map(String::from)).collect()
    }

    /// Which role `word` (small letters) names, for one or for several.
    pub fn named(&self, word: &str) -> Option<Role> {
        [Role::First, Role::Second]
            .into_iter()
            .find(|r| word == self.one(*r) || word == self.many(*r))
    }

    /// `text` with these role words changed to those of `to`: singular and
    /// plural, with their capitals, possessives and articles.
    pub fn translate(&self, text: &str, to: &Roles) -> String {
        if self == to {
            return text.to_owned();
        }
        let mut out = String::with_capacity(text.len());
        let mut rest = text;
        while let Some(start) = rest.find(char::is_alphabetic) {
            out.push_str(&rest[..start]);
            rest = &rest[start..];
            let end = rest.find(|c| !char::is_alphabetic(c)).unwrap_or(rest.len());
            let (word, after) = rest.split_at(end);
            rest = after;
            let small = word.to_lowercase();
            let Some(role) = self.named(&small) else {
                out.push_str(word);
                continue;
            };
            let several = small == self.many(role);
            let new = if several { to.many(role) } else { to.one(role) };
            mend_article(&mut out, new);
            out.push_str(&with_capitals_of(word, new));
            if several {
                rest = mend_possessive(&mut out, rest, new);
            }
        }
        out.push_str(rest);
        out
    }
}

impl Word {
    fn new(one: &str, many: Option<&String>) -> Self {
        Word {
            one: one.to_owned(),
            many: many.cloned().unwrap_or_else(|| plural(one)),
        }
    }
}

/// The plural by the rules of English; odd ones that name dancers are listed.
fn plural(one: &str) -> String {
    for (ending, many) in [("woman", "women"), ("man", "men"), ("child", "children")] {
        if let Some(stem) = one.strip_suffix(ending) {
            return format!("{stem}{many}");
        }
    }
    let vowel = |c: char| "aeiou".contains(c);
    if let Some(stem) = one.strip_suffix('y')
        && !stem.ends_with(vowel)
        && !stem.is_empty()
    {
        return format!("{stem}ies");
    }
    let hisses = ["s", "x", "z", "ch", "sh"];
    let s = if hisses.iter().any(|h| one.ends_with(h)) {
        "es"
    } else {
        "s"
    };
    format!("{one}{s}")
}

/// `new` in capitals where `old` is: all, the first, or none.
fn with_capitals_of(old: &str, new: &str) -> String {
    let mut letters = old.chars();
    let first = letters.next().is_some_and(char::is_uppercase);
    let others = letters.clone().next().is_some() && letters.all(char::is_uppercase);
    match (first, others) {
        (true, true) => new.to_uppercase(),
        (true, false) => {
            let mut new = new.chars();
            let head = new.next().into_iter().flat_map(char::to_uppercase);
            head.chain(new).collect()
        }
        _ => new.to_owned(),
    }
}

/// Makes "a" before the new word "an", or the other way, as its sound asks.
fn mend_article(out: &mut String, new: &str) {
    let spoken_vowel = new.starts_with(|c: char| "aeiou".contains(c));
    let word_start = |at: usize| !out[..at].ends_with(char::is_alphabetic);
    let stem = out.trim_end_matches(' ');
    if stem.len() == out.len() {
        return;
    }
    let found = ["an", "An", "a", "A"]
        .into_iter()
        .find(|a| stem.ends_with(a) && word_start(stem.len() - a.len()));
    let Some(article) = found else { return };
    let end = stem.len();
    let start = end - article.len();
    let wanted = match (spoken_vowel, &article[..1]) {
        (true, "a") => "an",
        (true, _) => "An",
        (false, "a") => "a",
        (false, _) => "A",
    };
    out.replace_range(start..end, wanted);
}

/// After a plural: `larks'` is `men's` with another word, and back. Writes the
/// possessive's end and gives what follows it.
fn mend_possessive<'t>(out: &mut String, rest: &'t str, new: &str) -> &'t str {
    let Some(mark) = rest.chars().next().filter(|c| "'’".contains(*c)) else {
        return rest;
    };
    let after = &rest[mark.len_utf8()..];
    let own_s = after.strip_prefix('s');
    let after = own_s.unwrap_or(after);
    if after.starts_with(char::is_alphabetic) {
        return rest;
    }
    // A closing quotation mark looks like a possessive; before a word it is one.
    let possessive = own_s.is_some() || after.trim_start().starts_with(char::is_alphabetic);
    out.push(mark);
    if possessive && !new.ends_with('s') {
        out.push('s');
    }
    after
}

#[cfg(test)]
mod tests {
    use super::*;

    fn to(words: &str, text: &str) -> String {
        Roles::default().translate(text, &Roles::parse(words).unwrap())
    }

    #[test]
    fn words_change_with_their_form() {
        assert_eq!(
            to("gent/lady", "robins chain to a lark"),
            "ladies chain to a gent"
        );
        assert_eq!(to("owl/fox", "A lark and a robin"), "An owl and a fox");
        assert_eq!(
            to("owl/fox", "LARKS, Robins; larking"),
            "OWLS, Foxes; larking"
        );
        assert_eq!(
            to("man/woman", "the larks' line, a robin's hand"),
            "the men's line, a woman's hand"
        );
        assert_eq!(
            to("man/woman/men/women", "larks’ left, 'robins'"),
            "men’s left, 'women'"
        );
        let men = Roles::parse("man/woman").unwrap();
        assert_eq!(
            men.translate("the men's line", &Roles::default()),
            "the larks' line"
        );
    }

    #[test]
    fn roles_may_be_swapped_and_come_back() {
        let text = "Larks allemande left; the robin's lark, robins' larks";
        let swapped = Roles::parse("robin/lark").unwrap();
        let there = Roles::default().translate(text, &swapped);
        assert_eq!(
            there,
            "Robins allemande left; the lark's robin, larks' robins"
        );
        assert_eq!(swapped.translate(&there, &Roles::default()), text);
    }

    #[test]
    fn letters_tell_the_roles_apart() {
        let letters = |words: &str| {
            let roles = Roles::parse(words).unwrap();
            [Role::First, Role::Second].map(|r| roles.letters(r))
        };
        assert_eq!(letters("lark/robin"), ["L", "R"]);
        assert_eq!(letters("lead/lass"), ["Le", "La"]);
    }

    #[test]
    fn bad_words_are_refused_with_a_remedy() {
        for bad in [
            "",
            "lark",
            "lark/",
            "lark/lark",
            "left/right",
            "a b/c",
            "1/2",
            "a/b/c/d/e",
            "lark/larks",
        ] {
            let error = Roles::parse(bad).unwrap_err().to_string();
            assert!(error.contains("lark/robin"), "{bad}: {error}");
        }
    }
}
