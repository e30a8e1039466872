//! What all pages for print have in common.

use maud::{DOCTYPE, Markup, PreEscaped, html};

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
                style { @for style in styles { (PreEscaped(style)) } }
            }
            body class=[(!class.is_empty()).then_some(class)] { (body) }
        }
    }
}
