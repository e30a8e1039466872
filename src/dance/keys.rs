//! The keys of a card: the parser knows these and no others, and the schema
//! names the same.

/// At the top of a card, apart from the parts.
pub(super) const TOP: [&str; 12] = [
    "title",
    "author",
    "formation",
    "progression",
    "difficulty",
    "tune",
    "steps_per_minute",
    "form",
    "roles",
    "notes",
    "intro",
    "ending",
];

/// Of a figure.
pub(super) const FIGURE: [&str; 7] = [
    "figure", "beats", "call", "short", "note", "crosses", "ends",
];

/// Of an introduction or an ending.
pub(super) const ONCE: [&str; 5] = ["say", "figure", "call", "short", "note"];

/// Parts of the usual tune.
pub(super) const USUAL: [&str; 4] = ["A1", "A2", "B1", "B2"];

#[cfg(test)]
mod tests {
    use serde_json::Value;

    use super::super::words::{Difficulty, Formation, Named, Progression, TuneKind};
    use super::*;
    use crate::phrase::Part;

    fn schema() -> Value {
        serde_json::from_str(super::super::CARD_SCHEMA).unwrap()
    }

    fn keys(of: &Value) -> Vec<String> {
        let mut keys: Vec<String> = of["properties"]
            .as_object()
            .unwrap()
            .keys()
            .cloned()
            .collect();
        keys.sort();
        keys
    }

    fn sorted(keys: impl IntoIterator<Item = &'static str>) -> Vec<String> {
        let mut keys: Vec<String> = keys.into_iter().map(str::to_owned).collect();
        keys.sort();
        keys
    }

    #[test]
    fn the_schema_names_the_keys_that_are_read() {
        let schema = schema();
        let parts = (0..8).map(|i| Part::from_index(i).unwrap().name());
        assert_eq!(keys(&schema), sorted(TOP.into_iter().chain(parts)));
        assert_eq!(keys(&schema["$defs"]["figure"]), sorted(FIGURE));
        assert_eq!(keys(&schema["$defs"]["once"]), sorted(ONCE));
    }

    #[test]
    fn the_schema_names_the_words_that_are_read() {
        fn words<T: Named>() {
            let known: Vec<&str> = T::ALL.iter().map(|(word, _)| *word).collect();
            assert_eq!(
                schema()["properties"][T::WHAT]["enum"],
                serde_json::json!(known)
            );
        }
        words::<Formation>();
        words::<Progression>();
        words::<Difficulty>();
        words::<TuneKind>();
    }
}
