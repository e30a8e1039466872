//! The guide as text for a terminal or a file.

use unicode_width::UnicodeWidthStr;

use super::super::lesson::wrap;
use super::{Block, Kind, TOPICS, Topic, Voice};

/// Stands for a blank inside something to type while lines are broken: that stays whole.
const JOINED: char = '\u{1}';
/// Stand before and after what is to be struck twice.
const BOLD: [char; 2] = ['\u{2}', '\u{3}'];

/// How what matters stands out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Emphasis {
    /// By quotation marks and an underline: plain text.
    Marks,
    /// By letters that are struck twice, a backspace between, as pagers show bold.
    Overstruck,
}

/// The list of topics.
pub fn contents() -> String {
    let wide = TOPICS.iter().map(|topic| topic.name.len()).max();
    let wide = wide.unwrap_or(0);
    let lines = TOPICS
        .iter()
        .map(|topic| format!("  {:wide$}  {}\n", topic.name, topic.title()));
    lines.collect()
}

/// A topic in lines of at most `width` columns.
pub fn text(topic: Topic, width: usize, emphasis: Emphasis) -> String {
    let mut out = String::new();
    let mut before = None;
    for block in topic.blocks() {
        let is_item = matches!(block.kind, Kind::Item(_));
        // Items of a list stand together.
        let together = is_item && before == Some(true);
        if !out.is_empty() && !together {
            out.push('\n');
        }
        let words = words(&block, emphasis);
        match block.kind {
            Kind::Heading if emphasis == Emphasis::Marks => {
                out.push_str(&format!("{words}\n{}\n", "=".repeat(words.width())));
            }
            Kind::Heading => out.push_str(&format!("{}{words}{}\n", BOLD[0], BOLD[1])),
            Kind::Paragraph => out.push_str(&wrap(&words, "", width)),
            Kind::Item(Some(n)) => out.push_str(&wrap(&words, &format!("{n}. "), width)),
            Kind::Item(None) => out.push_str(&wrap(&words, "- ", width)),
        }
        before = Some(is_item);
    }
    struck(&out.replace(JOINED, " "))
}

fn words(block: &Block, emphasis: Emphasis) -> String {
    let mut text = String::new();
    for piece in &block.pieces {
        let words = &piece.words;
        let bold = |words: &str| {
            let joined = words.replace(' ', &JOINED.to_string());
            format!("{}{joined}{}", BOLD[0], BOLD[1])
        };
        match (piece.voice, emphasis) {
            (Voice::Plain, _) | (Voice::Strong, Emphasis::Marks) => text.push_str(words),
            (Voice::Word, _) => text.push_str(&format!("\"{words}\"")),
            (Voice::Code, Emphasis::Marks) => {
                text.push_str(&format!("`{}`", words.replace(' ', &JOINED.to_string())));
            }
            (Voice::Code | Voice::Strong, Emphasis::Overstruck) => text.push_str(&bold(words)),
        }
    }
    text
}

/// Strikes twice what is marked so.
fn struck(text: &str) -> String {
    let mut out = String::new();
    let mut bold = false;
    for c in text.chars() {
        match c {
            _ if c == BOLD[0] => bold = true,
            _ if c == BOLD[1] => bold = false,
            _ if bold && !c.is_whitespace() => out.extend([c, '\u{8}', c]),
            _ => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What a pager shows of struck letters.
    fn seen(text: &str) -> String {
        let mut out = String::new();
        for c in text.chars() {
            match c {
                '\u{8}' => drop(out.pop()),
                c => out.push(c),
            }
        }
        out
    }

    #[test]
    fn lines_fit_and_hold_no_stray_signs() {
        for topic in TOPICS {
            for (width, emphasis) in [(40, Emphasis::Marks), (78, Emphasis::Overstruck)] {
                let text = text(*topic, width, emphasis);
                if emphasis == Emphasis::Marks {
                    assert!(!text.contains('\u{8}'), "{text}");
                }
                for line in seen(&text).lines() {
                    // Something to type is never broken, so it alone may stand out.
                    let whole = line.trim_start_matches(['-', ' ']).starts_with('`');
                    assert!(line.width() <= width || whole, "{line}");
                    assert!(!line.contains(|c: char| c.is_control()), "{line:?}");
                    assert!(!line.contains("**"), "{line}");
                }
            }
        }
    }

    #[test]
    fn what_matters_stands_out_in_both_ways() {
        let topic = Topic::named("privacy").expect("a topic");
        let plain = text(topic, 78, Emphasis::Marks);
        assert!(plain.starts_with("Privacy\n=======\n\nNothing"), "{plain}");
        assert!(
            plain.contains("`eightclap progress --delete all`"),
            "{plain}"
        );
        let struck = text(topic, 78, Emphasis::Overstruck);
        assert!(struck.starts_with("P\u{8}Pr\u{8}r"), "{struck:?}");
        assert!(seen(&struck).contains(" eightclap progress --delete all deletes"));
    }

    #[test]
    fn every_topic_is_in_the_contents() {
        let contents = contents();
        assert_eq!(contents.lines().count(), TOPICS.len());
        assert!(
            contents.contains("  not-sure       What \"not sure\" means\n"),
            "{contents}"
        );
    }
}
