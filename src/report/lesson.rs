//! A lesson as its caller reads it: lines for the terminal, and a sheet for print.

use std::fmt::Write;

use maud::html;

use super::page::document;
use crate::dance::lesson::{Drill, Lesson};
use crate::sound::band;

/// What a drill does, in words.
pub fn drill_in_words(drill: &Drill) -> String {
    let phrases = |n: u32| match n {
        1 => "1 phrase".to_owned(),
        n => format!("{n} phrases"),
    };
    let tune = band::tune(&drill.tune).map_or(drill.tune.as_str(), |tune| tune.title());
    let played = format!(
        "{tune}, {} at {:.0} steps per minute",
        phrases(drill.phrases),
        drill.steps_per_minute
    );
    let clapped = drill.full.min(drill.phrases);
    let faded = drill.fade.min(drill.phrases - clapped);
    let alone = drill.phrases - clapped - faded;
    match (faded, alone) {
        (0, 0) => format!("{played}, clapped throughout"),
        (0, alone) => format!("{played}: {} clapped, {} for the room", clapped, alone),
        (faded, alone) => {
            format!("{played}: {clapped} clapped, {faded} fading, {alone} for the room")
        }
    }
}

/// The whole script in lines; `width` columns at most where words allow.
pub fn script(lesson: &Lesson, width: usize) -> String {
    let mut out = format!(
        "{}\n{:.0} minutes in {} steps\n\n",
        lesson.title(),
        lesson.minutes(),
        lesson.steps().len()
    );
    for rule in lesson.rules() {
        out += &wrap(rule, "* ", width);
    }
    for (n, step) in (1..).zip(lesson.steps()) {
        // Writing to a string cannot fail.
        let _ = write!(out, "\n{n}. {} ({} min)\n", step.title, step.minutes);
        for line in &step.say {
            out += &wrap(line, "   » ", width);
        }
        let more = [("room: ", &step.room), ("watch: ", &step.watch)];
        for (label, text) in more {
            if let Some(text) = text {
                out += &wrap(text, &format!("   {label}"), width);
            }
        }
        for line in &step.caution {
            out += &wrap(line, "   ! ", width);
        }
        if let Some(drill) = &step.drill {
            out += &wrap(&drill_in_words(drill), "   drill: ", width);
        }
    }
    out
}

/// `text` broken at blanks after `width` characters, behind `label`.
pub fn wrap(text: &str, label: &str, width: usize) -> String {
    let indent = " ".repeat(label.chars().count());
    let (mut out, mut line) = (String::new(), label.to_owned());
    let mut empty = true;
    for word in text.split_whitespace() {
        let longer = line.chars().count() + usize::from(!empty) + word.chars().count();
        if !empty && longer > width {
            out.push_str(&line);
            out.push('\n');
            line = indent.clone();
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    out + &line + "\n"
}

const STYLE: &str = "
@page { size: A4; margin: 12mm 14mm; }
* { box-sizing: border-box; }
body { font-size: 9.4pt; line-height: 1.28;
  color: #000; background: #fff; margin: 0 auto; max-width: 182mm; }
@media screen { body { padding: 13mm 0; } }
header { border-bottom: 2.5pt solid #000; padding-bottom: 2mm; margin-bottom: 2mm; }
h1 { font-size: 20pt; line-height: 1.1; margin: 0 0 1mm; }
header p { margin: 0; }
header ul { margin: 1.5mm 0 0; padding-left: 5mm; font-size: 9pt; }
section { display: grid; grid-template-columns: 11mm 1fr 62mm; column-gap: 4mm;
  border-bottom: .5pt solid #777; padding: 1.7mm 0; break-inside: avoid; }
.n { font-size: 17pt; font-weight: 700; line-height: 1; text-align: right; }
.n small { display: block; font-size: 8pt; font-weight: 400; margin-top: 1mm; }
h2 { font-size: 12pt; line-height: 1.15; margin: 0 0 .8mm; }
.say { margin: 0 0 .9mm; padding-left: 3mm; border-left: 1.5pt solid #000; }
aside { font-size: 8pt; line-height: 1.25; }
aside p { margin: 0 0 .7mm; }
aside b { font-weight: 700; }
.caution { border: 1pt solid #000; padding: .8mm 1.4mm; }
.caution::before { content: '! '; font-weight: 700; }
footer { margin-top: 2mm; font-size: 8.5pt; }
";

/// The lesson as a sheet of HTML that stands for itself.
pub fn page(lesson: &Lesson) -> String {
    document(lesson.title(), &[STYLE], "", html! {
        header {
            h1 { (lesson.title()) }
            p { (format!("{:.0}", lesson.minutes())) " minutes in " (lesson.steps().len()) " steps" }
            @if !lesson.rules().is_empty() {
                ul { @for rule in lesson.rules() { li { (rule) } } }
            }
        }
        @for (n, step) in (1..).zip(lesson.steps()) {
            section {
                div .n { (n) small { (step.minutes) " min" } }
                div {
                    h2 { (step.title) }
                    @for line in &step.say { p .say { (line) } }
                }
                aside {
                    @if let Some(room) = &step.room { p { b { "Room: " } (room) } }
                    @if let Some(watch) = &step.watch { p { b { "Watch: " } (watch) } }
                    @if let Some(drill) = &step.drill {
                        p { b { "Drill: " } (drill_in_words(drill)) }
                    }
                    @for line in &step.caution { p .caution { (line) } }
                }
            }
        }
        footer { "Thick rules mark what is said; frames with ! are cautions." }
    })
    .into_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dance::lesson::BUNDLED;

    #[test]
    fn every_word_of_the_lesson_is_in_the_script_and_on_the_sheet() {
        let lesson = Lesson::parse(BUNDLED.1, BUNDLED.0).expect("the bundled lesson");
        let (script, page) = (script(&lesson, 76), page(&lesson));
        let plain = script.split_whitespace().collect::<Vec<_>>().join(" ");
        for step in lesson.steps() {
            let lines = step
                .say
                .iter()
                .chain(&step.caution)
                .chain(&step.room)
                .chain(&step.watch);
            for line in lines {
                assert!(plain.contains(line), "{line}");
                let escaped = line.replace('"', "&quot;");
                assert!(page.contains(&escaped), "{line}");
            }
        }
        assert!(script.lines().all(|line| line.chars().count() <= 76));
    }

    #[test]
    fn long_lines_are_broken_behind_their_label() {
        assert_eq!(wrap("one two three", "- ", 9), "- one two\n  three\n");
        assert_eq!(wrap("", "- ", 9), "- \n");
        assert_eq!(wrap("unbreakable", "", 4), "unbreakable\n");
    }

    #[test]
    fn a_drill_says_how_its_clap_goes() {
        let drill = |phrases, full, fade| {
            drill_in_words(&Drill {
                tune: "t".into(),
                steps_per_minute: 104.0,
                phrases,
                full,
                fade,
            })
        };
        assert_eq!(
            drill(16, 4, 5),
            "t, 16 phrases at 104 steps per minute: 4 clapped, 5 fading, 7 for the room"
        );
        assert_eq!(
            drill(2, 4, 5),
            "t, 2 phrases at 104 steps per minute, clapped throughout"
        );
        assert_eq!(
            drill(8, 2, 0),
            "t, 8 phrases at 104 steps per minute: 2 clapped, 6 for the room"
        );
    }
}
