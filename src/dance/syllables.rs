//! How long words take to say, by counting syllables.

/// Syllables a caller speaks in a second: English is spoken at some 4 to 6
/// (from memory); over a band one speaks clearly rather than fast.
pub const SYLLABLES_A_SECOND: f64 = 4.5;

/// Words that the rules below get wrong.
const ODD: [(&str, usize); 10] = [
    ("diagonal", 4),
    ("everybody", 4),
    ("every", 2),
    ("everyone", 3),
    ("area", 3),
    ("idea", 3),
    ("lion", 2),
    ("someone", 2),
    ("sometimes", 2),
    ("zigzag", 2),
];

/// Seconds that `words` take to say at [`SYLLABLES_A_SECOND`].
pub fn seconds(words: &str) -> f64 {
    syllables(words) as f64 / SYLLABLES_A_SECOND
}

/// Syllables of English `words`: groups of vowels, less the silent ones.
/// A number counts as its digits' names. Good to about one word in twenty.
pub fn syllables(words: &str) -> usize {
    words
        .to_lowercase()
        .split(|c: char| !c.is_alphanumeric() && c != '\'' && c != '’')
        .map(|word| {
            let letters: String = word.chars().filter(|c| c.is_alphabetic()).collect();
            let digits = word.chars().filter(|c| c.is_numeric());
            digits.map(digit).sum::<usize>() + of_word(&letters)
        })
        .sum()
}

fn digit(digit: char) -> usize {
    if digit == '7' { 2 } else { 1 }
}

fn is_vowel(c: char) -> bool {
    "aeiouyàáâäæèéêëìíîïòóôöøùúûü".contains(c)
}

fn of_word(word: &str) -> usize {
    if word.is_empty() {
        return 0;
    }
    if let Some((_, count)) = ODD.iter().find(|(odd, _)| *odd == word) {
        return *count;
    }
    let letters: Vec<char> = word.chars().collect();
    // A y at the start sounds like a consonant, as in "you".
    let vowel = |at: usize| is_vowel(letters[at]) && !(at == 0 && letters[at] == 'y');
    let mut groups = 0;
    let mut after_vowel = false;
    for at in 0..letters.len() {
        let now = vowel(at);
        groups += usize::from(now && !after_vowel);
        after_vowel = now;
    }
    // "going", "seeing": the ending is a syllable of its own.
    if let Some(stem) = word.strip_suffix("ing")
        && stem.ends_with(is_vowel)
    {
        groups += 1;
    }
    groups = groups.saturating_sub(usize::from(silent_end(word)));
    groups.max(1)
}

/// Whether the word's last vowel, an e, is silent: "line", "lines", "turned",
/// but not "circle", "centre", "places", "started".
fn silent_end(word: &str) -> bool {
    let ends = |stem: &str, of: &[&str]| of.iter().any(|e| stem.ends_with(e));
    let consonant = |stem: &str| stem.ends_with(|c| !is_vowel(c));
    if let Some(stem) = word.strip_suffix('e') {
        let sounded = ends(stem, &["l", "r"]) && consonant(&stem[..stem.len() - 1]);
        return consonant(stem) && !sounded;
    }
    if let Some(stem) = word.strip_suffix("es") {
        let hisses = ends(stem, &["s", "c", "x", "z", "g", "ch", "sh"]);
        let sounded = ends(stem, &["l", "r"]) && consonant(&stem[..stem.len() - 1]);
        return consonant(stem) && !hisses && !sounded;
    }
    if let Some(stem) = word.strip_suffix("ed") {
        return consonant(stem) && !ends(stem, &["t", "d"]);
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_of_the_trade_are_counted_as_spoken() {
        for (words, count) in [
            ("swing", 1),
            ("circle left, three places", 6),
            ("robins do-si-do, once and a half", 9),
            ("neighbours balance", 4),
            ("allemande right", 4),
            ("promenade", 3),
            ("right hands in, make a star", 6),
            ("couples promenade across", 7),
            ("into the centre", 5),
            ("pass through to the next", 5),
            ("long lines, forward and back", 6),
            ("square through", 2),
            ("California twirl", 5),
            ("petronella", 4),
            ("opposites", 3),
            ("ladies chain", 3),
            ("turned, started, going", 5),
            ("you and your neighbour's shadow", 7),
            ("the ones, the twos", 4),
            ("half a hey", 3),
            ("thread the needle", 4),
            ("weave the ring", 3),
            ("2 7", 3),
            ("", 0),
            ("–!", 0),
        ] {
            assert_eq!(syllables(words), count, "{words}");
        }
    }

    #[test]
    fn any_text_is_counted() {
        for text in [
            "é",
            "ß le",
            "le",
            "re",
            "es",
            "ed",
            "e",
            "日本語",
            "\u{1f600}",
        ] {
            assert!(syllables(text) <= text.chars().count() + 1, "{text}");
        }
    }
}
