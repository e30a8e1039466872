use super::*;
use crate::caller::session::{Ending, Header, Heard};
use crate::caller::{Grid, Limits, Prompt};
use crate::dance::LANTERNS_ON_THE_WEIR;

/// Two times through at 120 steps per minute: the star late by 0.6 beats, the circle
/// missed once, one figure name that needs escaping.
pub(super) fn rehearsal() -> Rehearsal {
    let text = LANTERNS_ON_THE_WEIR.replace("star by the right", "star <by> the \\\"right\\\"");
    let card = Card::parse(&text, "card").expect("good");
    let grid = Grid::even(4.0, 120.0, 128).expect("good");
    let mut prompts = Vec::new();
    for time in 0..2u32 {
        for (n, figure) in card.figures().iter().enumerate() {
            if (time, n) == (1, 6) {
                continue;
            }
            let lead = if n == 5 { -0.6 } else { 0.5 };
            let end = grid.time_of(f64::from(64 * time + figure.start_beat) - lead);
            prompts.push(Prompt {
                start: end - 1.0,
                end,
                stress: end - 0.2,
                syllables: 4,
                sure: 0.9,
            });
        }
    }
    let session = Session {
        name: "2026-03-01-19-30-00".into(),
        header: Header {
            began: 1_772_393_400,
            card: text,
            tune: "Kettle & Co".into(),
            grid,
            heard: Heard::Microphone,
            limits: Limits::default(),
        },
        prompts,
        ending: Some(Ending {
            until: 100.0,
            softened: Some(18.0),
            gaps: 2,
        }),
    };
    Rehearsal::of(session).expect("good")
}

#[test]
fn plain_lines_tell_everything() {
    let text = text(&rehearsal());
    for line in [
        "Lanterns on the Weir, to Kettle & Co, 120 steps per minute",
        "2026-03-01 19:30:00 UTC, heard through a microphone, the band softened by 18 dB, 2 gaps in the sound; voice clear",
        "                                    time 1  time 2    mean       ms",
        "A1 neighbours swing                   +0.5    +0.5    +0.5      250",
        "B1 star <by> the \"right\"             L−0.6   L−0.6    −0.6     −300",
        "B2 circle left three places           +0.5      --    +0.5      250",
        "time 1: 8 of 9 good (89 %), 1 late; full, planned: full",
        "in all: 15 of 18 good (83 %), 2 late, 1 missed",
        "* \"star <by> the \"right\"\" came 0.6 beats late on average: start it on 6",
    ] {
        assert!(text.contains(&format!("{line}\n")), "{line}\n{text}");
    }
}

#[test]
fn the_table_for_other_programs_has_a_cell_for_each_head() {
    let text = csv(&rehearsal());
    let rows: Vec<&str> = text.lines().collect();
    assert_eq!(rows.len(), 1 + 18);
    let cells = rows[0].split(',').count();
    for row in &rows {
        assert_eq!(row.split(',').count(), cells, "{row}");
    }
    assert!(
        rows[6].starts_with("1,\"star <by> the \"\"right\"\"\",40,late,"),
        "{}",
        rows[6]
    );
    let value: serde_json::Value = serde_json::from_str(&json(&rehearsal()).unwrap()).unwrap();
    assert_eq!(value["sum"]["late"], 2);
    assert_eq!(value["score"]["figures"].as_array().unwrap().len(), 18);
    assert_eq!(value["score"]["figures"][15]["verdict"], "missed");
    assert_eq!(value["limits"]["good"], 1.0);
}

#[test]
fn the_page_stands_alone_and_escapes_what_it_shows() {
    let (this, before) = (rehearsal(), [rehearsal(), rehearsal()]);
    let page = page(&this, &before);
    assert!(page.contains("star &lt;by&gt; the &quot;right&quot;"));
    assert!(!page.contains("<by>") && !page.contains("& Co"));
    for word in ["http:", "https:", "src=", "href=", "<script"] {
        assert!(!page.contains(word), "{word} in the page");
    }
    // A bar for each prompt, and its letter where it was late.
    assert_eq!(page.matches("height=\"12\"").count(), 17);
    assert_eq!(page.matches("url(#stripes)").count(), 2 + 1);
    assert_eq!(page.matches(">L</text>").count(), 2);
    assert!(page.contains("Over the sessions"));
    assert!(!super::page(&this, &[]).contains("Over the sessions"));
}

#[test]
fn progress_is_a_line_a_session() {
    let text = progress(&[rehearsal(), rehearsal()]);
    assert!(text.starts_with("2026-03-01-19-30-00"), "{text}");
    assert!(text.contains(" 83 % good ▮▮▮▮▮▮▮▮▯▯"), "{text}");
    assert!(
        text.contains("from the first to the last of 2: good 83 → 83 %"),
        "{text}"
    );
    assert_eq!(progress(&[]), "");
}
