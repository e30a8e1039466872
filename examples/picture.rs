//! Draws the picture of the screen that the README shows: the demo in its second
//! time through, just after the next figure has lit up one beat ahead.
//!
//! `cargo run --release --example picture` writes fixtures/screen.svg. Nothing in it is
//! made up: the bundled tune is played, heard and counted by the engine as in the demo.
//! `… --example picture CAPTURE OUT.svg` draws what `tmux capture-pane -e -p` saw of the
//! running program instead: `.ci/pictures` makes the README's other pictures so.

use std::error::Error;
use std::path::PathBuf;
use std::sync::Arc;

use ansi_to_tui::IntoText;
use eightclap::cue::Cue;
use eightclap::dance::{Card, LANTERNS_ON_THE_WEIR};
use eightclap::engine::Settings;
use eightclap::follow::Follow;
use eightclap::screen::picture::{svg, svg_of};
use eightclap::screen::{Setup, State};
use eightclap::sound::band::{self, Performance, Room};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::widgets::Widget;

/// Columns and rows of the screen.
const SIZE: (u16, u16) = (112, 32);

/// The figure shown lit up: its first beat in the dance, and the time through.
const FIGURE: (u32, u32) = (32, 2);

/// Seconds after the flash at which the picture is taken.
const AFTER: f64 = 0.2;

fn main() -> Result<(), Box<dyn Error>> {
    let mut args = std::env::args_os().skip(1).map(PathBuf::from);
    let (path, svg) = match (args.next(), args.next()) {
        (Some(capture), Some(path)) => (path, captured(&std::fs::read(capture)?)?),
        (None, _) => {
            let kept = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("fixtures/screen.svg");
            (kept, picture()?)
        }
        (Some(_), None) => return Err("say where to: picture CAPTURE OUT.svg".into()),
    };
    std::fs::write(&path, svg)?;
    println!("written: {}", path.display());
    Ok(())
}

/// The picture of a screen that `tmux` captured with its colours.
///
/// # Errors
/// If that is no text.
pub fn captured(capture: &[u8]) -> Result<String, Box<dyn Error>> {
    let text = capture.into_text()?;
    let width = text.lines.iter().map(|line| line.width()).max();
    let area = Rect::new(0, 0, width.unwrap_or(0) as u16, text.lines.len() as u16);
    let mut buffer = Buffer::empty(area);
    text.render(area, &mut buffer);
    Ok(svg_of(&buffer))
}

/// The picture, as an SVG document.
///
/// # Errors
/// If the engine never came to cue that figure.
pub fn picture() -> Result<String, Box<dyn Error>> {
    let tune = band::tune("kettle-on-the-landing").ok_or("the tune is not bundled")?;
    let settings = band::Settings {
        steps_per_minute: 114.0,
        room: Room::SMALL,
        ..band::Settings::default()
    };
    let performance = Performance::new(tune, settings)?;
    let rate = performance.settings().sample_rate;
    let card = Arc::new(Card::parse(LANTERNS_ON_THE_WEIR, "bundled card")?);
    let mut state = State::new(Setup {
        tune: format!("{} ({})", tune.title(), tune.kind()),
        length: Some(performance.seconds()),
        card: Some(card.clone()),
        form: card.form(),
        want: None,
        claps: true,
        flash: true,
        colour: true,
        ..Setup::default()
    });
    let mut follow = Follow::new(rate, 1, Settings::default(), Some(card))?;
    let mut player = performance.player();
    let mut block = [0.0; 512];
    let mut heard = 0u64;
    let mut moment = None;
    loop {
        let frames = player.next_block(&mut block);
        let known = follow.push(&mut block[..frames]);
        for event in known.events {
            state.update(event);
        }
        for cue in known.cues {
            state.cue(cue.clone());
            let wanted = |cue: &Cue| (cue.beat_in_dance, cue.time_through) == FIGURE;
            if wanted(cue) {
                moment = Some(cue.flash_at + AFTER);
            }
        }
        heard += frames as u64;
        let now = heard as f64 / f64::from(rate);
        match moment {
            Some(at) if at <= now => {
                state.at(at);
                return Ok(svg(&state, SIZE.0, SIZE.1));
            }
            _ if frames == 0 => return Err("the figure was never cued".into()),
            _ => state.at(now),
        }
    }
}
