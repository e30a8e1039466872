//! When two texts are the same call.

/// The words of `text` in the form that calls are compared by: lower case, no
/// punctuation, one space between words. What stands for a word is that word.
///
/// ```
/// use eightclap::cue::voice::normal;
///
/// assert_eq!(normal("Robins, do-si-do!"), "robins do si do");
/// assert_eq!(normal("  Neighbours' swing"), "neighbours swing");
/// ```
pub fn normal(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars().flat_map(char::to_lowercase) {
        match c {
            // An apostrophe is within a word or at its end, never between two.
            '\'' | '’' | '‘' | 'ʼ' => {}
            '&' => push_word(&mut out, "and"),
            c if c.is_alphanumeric() => out.push(c),
            _ => push_word(&mut out, ""),
        }
    }
    out.truncate(out.trim_end().len());
    out
}

/// Ends the word before, if there is one, and adds `word` as one of its own.
fn push_word(out: &mut String, word: &str) {
    if !out.is_empty() && !out.ends_with(' ') {
        out.push(' ');
    }
    if !word.is_empty() {
        out.push_str(word);
        out.push(' ');
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn spelling_makes_no_difference() {
        for text in [
            "Swing your partner",
            "swing your partner!",
            "  swing -- your\tPARTNER.",
            "swing_your-partner",
            "“Swing your partner”",
        ] {
            assert_eq!(normal(text), "swing your partner", "{text}");
        }
        assert_eq!(normal("balance & swing"), "balance and swing");
        assert_eq!(normal("Élodie’s turn"), "élodies turn");
        assert_eq!(normal("…!"), "");
    }

    #[test]
    fn other_words_stay_other_words() {
        assert_ne!(normal("star left"), normal("star by the left"));
        assert_ne!(normal("to day"), normal("today"));
    }

    proptest! {
        #[test]
        fn a_normal_text_is_its_own_normal(text in "\\PC*") {
            let once = normal(&text);
            prop_assert_eq!(normal(&once), once.clone());
            prop_assert!(!once.contains("  ") && once.trim() == once);
        }
    }
}
