//! Reading keys of a TOML table, with a trouble for each that does not fit.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::source::{CardError, Source, Trouble};
use super::words::Named;

/// How alike two words must be before one is offered for the other
/// (Jaro–Winkler, 0 to 1).
const ALIKE: f64 = 0.8;

/// Reads tables of one source and gathers what is wrong with them.
pub(crate) struct Reader<'a> {
    pub(crate) source: Source<'a>,
    pub(crate) troubles: Vec<Trouble>,
    /// What is missing: told last, since a slip elsewhere is often the cause.
    pub(crate) absent: Vec<Trouble>,
    pub(crate) warnings: Vec<Trouble>,
}

/// A table and the words that errors use for it.
pub(crate) struct Block<'t, 'i> {
    pub(crate) table: &'t DeTable<'i>,
    /// As in "a figure of A1".
    pub(crate) what: String,
    /// Where to point when something is missing.
    pub(crate) span: Range<usize>,
}

impl<'a> Reader<'a> {
    pub(crate) fn new(source: Source<'a>) -> Self {
        Reader {
            source,
            troubles: Vec::new(),
            absent: Vec::new(),
            warnings: Vec::new(),
        }
    }

    /// Parses the source, ready to be asked for its keys.
    pub(crate) fn open(
        text: &'a str,
        name: &'a str,
    ) -> Result<(Self, Spanned<DeTable<'a>>), CardError> {
        let source = Source { name, text };
        let document = DeTable::parse(text).map_err(|error| {
            let span = error.span().unwrap_or(text.len()..text.len());
            let message = error.message().replace('\n', "; ");
            let trouble = source.trouble(span, format!("this is not TOML: {message}"));
            CardError::Wrong(vec![trouble])
        })?;
        Ok((Reader::new(source), document))
    }

    /// Whether nothing was wrong or missing so far.
    pub(crate) fn is_content(&self) -> bool {
        self.troubles.is_empty() && self.absent.is_empty()
    }

    pub(crate) fn wrong(&mut self, span: Range<usize>, message: impl Into<String>) {
        self.troubles.push(self.source.trouble(span, message));
    }

    pub(crate) fn lacking(&mut self, span: Range<usize>, message: impl Into<String>) {
        self.absent.push(self.source.trouble(span, message));
    }

    /// All troubles, in an order that helps.
    pub(crate) fn into_troubles(mut self) -> Vec<Trouble> {
        for list in [&mut self.troubles, &mut self.absent] {
            list.sort_by_key(|t| (t.line, t.column));
        }
        self.troubles.append(&mut self.absent);
        self.troubles
    }

    pub(crate) fn doubtful(&mut self, span: Range<usize>, message: impl Into<String>) {
        self.warnings.push(self.source.trouble(span, message));
    }

    /// Every key of `block` that is not in `known` is a trouble.
    pub(crate) fn refuse_unknown(&mut self, block: &Block, known: &[&str]) {
        for key in block.table.keys() {
            if !known.contains(&key.get_ref().as_ref()) {
                let hint = offer(key.get_ref(), known);
                let name = key.get_ref().escape_debug();
                self.wrong(
                    key.span(),
                    format!("unknown key \"{name}\" in {}{hint}", block.what),
                );
            }
        }
    }

    fn missing(&mut self, block: &Block, key: &str, expected: &str) {
        self.lacking(
            block.span.clone(),
            format!("{} has no \"{key}\"; add {expected}", block.what),
        );
    }

    pub(crate) fn other_kind(&mut self, key: &str, value: &Spanned<DeValue>, expected: &str) {
        let found = value.get_ref().type_str();
        self.wrong(
            value.span(),
            format!("\"{key}\" must be {expected}, but this is TOML's {found}"),
        );
    }

    /// Words under `key`, on one line and without stray blanks.
    ///
    /// `expected` is an example line; with it, the key must be there.
    pub(crate) fn words(
        &mut self,
        block: &Block,
        key: &str,
        expected: Option<&str>,
    ) -> Option<String> {
        let Some(value) = block.table.get(key) else {
            if let Some(expected) = expected {
                self.missing(block, key, expected);
            }
            return None;
        };
        self.plain(key, value)
    }

    /// The words of a value, on one line and without stray blanks.
    fn plain(&mut self, key: &str, value: &Spanned<DeValue>) -> Option<String> {
        let Some(text) = value.get_ref().as_str() else {
            self.other_kind(key, value, "words in quotation marks");
            return None;
        };
        let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
        if text.chars().any(char::is_control) {
            self.wrong(
                value.span(),
                format!("\"{key}\" holds a control character; use plain words"),
            );
            return None;
        }
        if text.is_empty() {
            self.wrong(
                value.span(),
                format!("\"{key}\" is empty; write some words"),
            );
            return None;
        }
        Some(text)
    }

    /// One of the words that `T` knows.
    pub(super) fn one_of<T: Named>(&mut self, block: &Block, expected: Option<&str>) -> Option<T> {
        let word = self.words(block, T::WHAT, expected)?;
        let found = T::ALL
            .iter()
            .find(|(name, _)| name.eq_ignore_ascii_case(&word));
        if let Some((_, value)) = found {
            return Some(*value);
        }
        let names: Vec<&str> = T::ALL.iter().map(|(name, _)| *name).collect();
        let span = block.table.get(T::WHAT).map_or(0..0, Spanned::span);
        self.wrong(
            span,
            format!(
                "\"{word}\" is no {} that is known here{}; known: {}",
                T::WHAT,
                offer(&word, &names),
                names.join(", ")
            ),
        );
        None
    }

    /// A whole number under `key`, with its span.
    pub(crate) fn whole(
        &mut self,
        block: &Block,
        key: &str,
        expected: &str,
    ) -> Option<(i64, Range<usize>)> {
        let Some(value) = block.table.get(key) else {
            self.missing(block, key, expected);
            return None;
        };
        let number = value
            .get_ref()
            .as_integer()
            .and_then(|n| i64::from_str_radix(n.as_str(), n.radix()).ok());
        match number {
            Some(number) => Some((number, value.span())),
            None => {
                self.other_kind(key, value, "a whole number");
                None
            }
        }
    }

    /// A number under `key`, if it is there, with its span.
    pub(crate) fn number(&mut self, block: &Block, key: &str) -> Option<(f64, Range<usize>)> {
        let value = block.table.get(key)?;
        let number = match value.get_ref() {
            DeValue::Integer(n) => i64::from_str_radix(n.as_str(), n.radix())
                .ok()
                .map(|n| n as f64),
            DeValue::Float(n) => n.as_str().parse().ok(),
            _ => None,
        };
        match number {
            Some(number) => Some((number, value.span())),
            None => {
                self.other_kind(key, value, "a number");
                None
            }
        }
    }

    /// Yes or no under `key`, if it is there.
    pub(crate) fn flag(&mut self, block: &Block, key: &str) -> Option<bool> {
        let value = block.table.get(key)?;
        let flag = value.get_ref().as_bool();
        if flag.is_none() {
            self.other_kind(key, value, "true or false");
        }
        flag
    }

    /// Lines under `key`: one, or a list of several. Empty if it is not there.
    pub(crate) fn lines(&mut self, block: &Block, key: &str) -> Vec<String> {
        let Some(value) = block.table.get(key) else {
            return Vec::new();
        };
        match value.get_ref() {
            DeValue::Array(items) => {
                let lines = items.iter().map(|item| self.plain(key, item));
                lines.collect::<Vec<_>>().into_iter().flatten().collect()
            }
            DeValue::String(_) => self.plain(key, value).into_iter().collect(),
            _ => {
                self.other_kind(key, value, "words in quotation marks, or a list of them");
                Vec::new()
            }
        }
    }

    /// The items of an array under `key`, if it is there and one.
    pub(crate) fn items<'t, 'i>(
        &mut self,
        block: &Block<'t, 'i>,
        key: &str,
        expected: &str,
    ) -> Option<&'t [Spanned<DeValue<'i>>]> {
        let value = block.table.get(key)?;
        match value.get_ref() {
            DeValue::Array(items) => Some(items),
            _ => {
                self.other_kind(key, value, expected);
                None
            }
        }
    }
}

/// `; did you mean "…"?` if one of `known` is much like `word`.
pub(crate) fn offer(word: &str, known: &[&str]) -> String {
    nearest(word, known).map_or_else(String::new, |name| format!("; did you mean \"{name}\"?"))
}

/// The one of `known` that is most like `word`, if it is much like it.
pub(crate) fn nearest<'k>(word: &str, known: &[&'k str]) -> Option<&'k str> {
    let word = word.to_lowercase();
    known
        .iter()
        .map(|name| (strsim::jaro_winkler(&word, &name.to_lowercase()), *name))
        .filter(|(likeness, _)| *likeness >= ALIKE)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| name)
}
