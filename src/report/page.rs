//! What all pages for print have in common.

use maud::{DOCTYPE, Markup, PreEscaped, html};

/// One family of letters on all pages, whatever they are of: without feet, as they are
/// read from a stand in poor light.
const LETTERS: &str = "body, svg { font-family: 'Source Sans 3', 'Noto Sans', 'DejaVu Sans', \
Arial, sans-serif }\n";

/// A page that needs no other file: its `title` in the window, how it looks (`styles`,
/// CSS, one after the other), and its body with a class (which may be empty).
pub(super) fn document(title: &str, styles: &[&str], class: &str, body: Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(LETTERS)) @for style in styles { (PreEscaped(style)) } }
            }
            body class=[(!class.is_empty()).then_some(class)] { (body) }
        }
    }
}
