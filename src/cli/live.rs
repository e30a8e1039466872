//! Playing something and showing what is heard, as it is heard.

use std::io::{self, Write};

use crate::follow::Follow;
use crate::screen::Action;
use crate::sound::device::Choice;

use super::face::{Counter, Face};
use super::play::{Job, Source, warn};
use super::speaker::Speaker;

/// Plays the source through `output`, or in silence where it cannot be used, and shows
/// what is heard as it is heard.
pub(super) fn perform(
    source: &mut dyn Source,
    job: &mut Job,
    output: &Choice,
) -> anyhow::Result<()> {
    let mut follow = job.follow(source)?;
    let setup = job.setup(source.name(), source.seconds());
    let mut face = Face::new(setup, job.line, job.opening(source), job.ticks)?;
    let done = begin(source, job, output, (&mut follow, &mut face));
    let seconds = face.now();
    let lines = face.leave();
    done?;
    writeln!(io::stdout().lock(), "{}", job.closing(&lines, seconds))?;
    warn(source);
    Ok(())
}

/// Waits for the voice, with the screen up, and then plays.
fn begin(
    source: &mut dyn Source,
    job: &mut Job,
    output: &Choice,
    (follow, face): (&mut Follow, &mut Face),
) -> anyhow::Result<()> {
    while !job.is_ready()? {
        face.making_ready();
        match face.show(0.0)? {
            Some(Action::Quit) => return Ok(()),
            Some(action) => face.act(action, follow),
            None => {}
        }
    }
    if let Some(calling) = &mut job.calling {
        face.put_right(calling);
        follow.call(calling);
    }
    let source = &mut job.introduce(source, follow);
    face.state().length = source.seconds();
    let (speaker, silent_because) = Speaker::open(output, source.rate(), source.channels())?;
    if let Some(why) = silent_because {
        face.no_sound(why);
    }
    play(source, follow, speaker, face)
}

fn play(
    source: &mut dyn Source,
    follow: &mut Follow,
    mut speaker: Speaker,
    face: &mut Face,
) -> anyhow::Result<()> {
    let mut block = Vec::new();
    let mut over = false;
    loop {
        while !over && speaker.has_room() {
            block.clear();
            if source.read(&mut block)? == 0 {
                speaker.end()?;
                over = true;
                break;
            }
            let known = follow.push(&mut block);
            for event in known.events {
                face.event(event);
            }
            for cue in known.cues {
                face.cue(cue.clone());
            }
            speaker.play(&block)?;
        }
        if let Some(reason) = speaker.replace_if_lost() {
            face.no_sound(reason);
        }
        if over && speaker.drained() {
            return Ok(());
        }
        match face.show(speaker.position())? {
            Some(Action::Quit) => return Ok(()),
            Some(action) => face.act(action, follow),
            None => {}
        }
    }
}

impl Counter for Follow {
    fn say_one(&mut self, time: f64) {
        Follow::say_one(self, time);
    }

    fn move_count(&mut self, beats: i32) {
        Follow::move_count(self, beats);
    }

    fn set_claps(&mut self, on: bool) {
        Follow::set_claps(self, on);
    }

    fn set_ticks(&mut self, on: bool) {
        Follow::set_ticks(self, on);
    }

    fn set_voice(&mut self, on: bool) {
        Follow::set_voice(self, on);
    }

    fn set_times(&mut self, times: Option<u32>) {
        Follow::set_times(self, times);
    }

    fn introduce(&mut self) {
        Follow::introduce(self, 0.0);
    }
}
