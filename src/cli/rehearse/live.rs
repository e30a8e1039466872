//! Rehearsing with a band from the loudspeaker.

use std::sync::Arc;

use crate::caller::session::{Ending, Heard, Session, Store};
use crate::caller::studio::{Playback, Studio, Told, Wanted};
use crate::caller::{Grid, Limits, Prompt, Removal, Scored, score};
use crate::cue::Scheduler;
use crate::dance::Card;
use crate::event::{Beat, Event, LeadIn, Phrase};
use crate::phrase::Form;
use crate::report::rehearsal::line;
use crate::report::tempo::Want;
use crate::screen::{Action, Hand, Setup, colour_wanted};
use crate::sound::band::{Performance, Room, Settings};
use crate::sound::device::Direction;
use crate::sound::file::Recording;

use super::super::face::{Counter, Face};
use super::super::listen::round_trips;
use super::sound::{Tune, beats, fitting};
use super::{Kept, Plan, RehearseArgs, USUAL};

/// Seconds ahead of its time at which a beat is told to the screen.
const AHEAD: f64 = 0.5;
/// Samples made at a time.
const BLOCK: usize = 1_024;
/// Seconds in which the ear learns to know the room, and tells no prompt.
const LESSON: f64 = 10.0;
/// Beats after a figure's first until which its prompt may still be heard, and told: a
/// prompt is told some two seconds after its end.
const SETTLED: f64 = 7.0;

/// What is played, what it is called, how long it is, and its beats.
struct Music {
    name: String,
    rate: u32,
    playback: Playback,
    seconds: f64,
    grid: Grid,
}

fn music(args: &RehearseArgs, card: &Card) -> anyhow::Result<Music> {
    let tune = match &args.tune {
        Some(Tune::File(path)) => {
            let mut recording = Recording::open(path)?;
            let grid = beats(Recording::open(path)?, path, card.form())?;
            return Ok(Music {
                name: path
                    .file_name()
                    .unwrap_or_default()
                    .to_string_lossy()
                    .into_owned(),
                rate: recording.sample_rate(),
                seconds: recording.seconds().unwrap_or(0.0),
                playback: Box::new(move |out| {
                    let mut block = Vec::new();
                    let taken = recording.read_mono(&mut block)?;
                    out.append(&mut block);
                    Ok(taken)
                }),
                grid,
            });
        }
        Some(Tune::Band(tune)) => tune,
        None => fitting(card),
    };
    let settings = Settings {
        steps_per_minute: args.steps.or(card.steps_per_minute()).unwrap_or(USUAL),
        times: args.times,
        room: Room::SMALL,
        sample_rate: 48_000,
        ..Settings::default()
    };
    let performance = Performance::new(tune, settings)?;
    let truth = performance.truth();
    let led = (-(truth.lead_in.len() as i64)..).zip(truth.lead_in.iter().copied());
    let grid = Grid::numbered(led.chain((0..).zip(truth.beats.iter().copied())))
        .ok_or_else(|| anyhow::anyhow!("the house band has no beats: a fault in the program"))?;
    let mut player = performance.player();
    Ok(Music {
        name: tune.title().to_owned(),
        rate: performance.settings().sample_rate,
        seconds: performance.seconds(),
        playback: Box::new(move |out| {
            let from = out.len();
            out.resize(from + BLOCK, 0.0);
            let made = player.next_block(&mut out[from..]);
            out.truncate(from + made);
            Ok(made)
        }),
        grid,
    })
}

/// What the screen is told of beats that are known beforehand, in order.
fn events(grid: &Grid, form: Form) -> Vec<Event> {
    let mut all = Vec::new();
    let one = grid.time_of(0.0);
    all.push(Event::LeadIn(LeadIn {
        time: grid.time_of(-4.0),
        announced: grid.time_of(-1.0),
        one,
    }));
    for number in 0..=grid.last() {
        let time = grid.time_of(number as f64);
        let place = form.place(number.unsigned_abs());
        let period = grid.time_of(number as f64 + 1.0) - time;
        if place.is_one() {
            all.push(Event::Phrase(Phrase {
                time,
                announced: time - AHEAD,
                part: place.part(),
                phrase: place.phrase(),
                time_through: place.time_through,
                sure: 1.0,
            }));
        }
        all.push(Event::Beat(Beat {
            time,
            announced: time - AHEAD,
            count: Some(place.count()),
            steps_per_minute: 60.0 / period,
            sure: 1.0,
        }));
    }
    all
}

/// Keys that move a count, or call, have nothing to do here: the beats are known, and
/// the caller calls.
struct Known;

impl Counter for Known {
    fn say_one(&mut self, _time: f64) {}
    fn move_count(&mut self, _beats: i32) {}
    fn set_claps(&mut self, _on: bool) {}
    fn set_ticks(&mut self, _on: bool) {}
    fn set_voice(&mut self, _on: bool) {}
    fn set_times(&mut self, _times: Option<u32>) {}
    fn introduce(&mut self) {}
}

/// Plays, listens and scores until the music is over or the caller stops.
pub(super) fn rehearse(
    args: &RehearseArgs,
    card: &Arc<Card>,
    text: String,
    limits: Limits,
    store: &Store,
) -> anyhow::Result<Session> {
    let music = music(args, card)?;
    let plan = Plan {
        text,
        tune: music.name.clone(),
        grid: music.grid.clone(),
    };
    let heard = if args.taps {
        Heard::Taps
    } else {
        Heard::Microphone
    };
    let mut kept = Kept::begin(plan, heard, limits, store)?;
    let recording = args.keep.then(|| kept.keeper.path().with_extension("wav"));
    let studio = Studio::start(Wanted {
        input: args.devices.ear.device(),
        channel: args.devices.ear.channel(),
        output: args.devices.out.device(),
        microphone: !args.taps,
        removal: if args.headphones {
            Removal::None
        } else {
            Removal::Adaptive
        },
        round_trips: round_trips(),
        playback: (music.rate, music.playback),
        keep: recording,
    });
    let studio = match studio {
        Ok(studio) => studio,
        Err(error) => {
            // A rehearsal that never began is not kept.
            let name = kept.session.name.clone();
            drop(kept);
            store.delete(Some(&name))?;
            return Err(error.into());
        }
    };
    let tempo = kept.session.header.grid.steps_per_minute().round();
    let setup = Setup {
        tune: music.name.clone(),
        length: Some(music.seconds),
        card: Some(card.clone()),
        form: card.form(),
        // The band plays what it was told to: nothing is to be said to it.
        want: Want::new(tempo - 3.0, tempo + 3.0).ok(),
        times: Some(args.times),
        claps: false,
        voice: None,
        flash: args.flash.wanted(),
        hand: Hand::Calls,
        colour: colour_wanted(),
    };
    let opening = match args.taps {
        true => format!(
            "\"{}\", to {}: tap space where each call ends",
            card.title(),
            music.name
        ),
        false => format!("\"{}\", to {}: call along", card.title(), music.name),
    };
    let mut face = Face::new(setup, args.line, opening, false)?;
    let mut ending = Ending {
        until: 0.0,
        softened: None,
        gaps: 0,
    };
    let done = follow(&studio, &mut face, (&mut kept, &mut ending), card, args);
    ending.until = studio.now().max(0.0);
    face.leave();
    for told in studio.end() {
        match told {
            Told::Prompt(prompt) => kept.prompt(prompt)?,
            Told::Over(softened, gaps) => (ending.softened, ending.gaps) = (softened, gaps),
            _ => {}
        }
    }
    done?;
    kept.end(ending)
}

fn follow(
    studio: &Studio,
    face: &mut Face,
    (kept, ending): (&mut Kept, &mut Ending),
    card: &Arc<Card>,
    args: &RehearseArgs,
) -> anyhow::Result<()> {
    let grid = kept.session.header.grid.clone();
    let all = events(&grid, card.form());
    let mut all = all.iter().peekable();
    let mut scheduler = Scheduler::with_card(card.clone());
    let mut told = 0;
    while !studio.over() {
        for news in studio.told() {
            match news {
                Told::Opened(Direction::In, what) => face.note(format!("hearing {what}"))?,
                Told::Opened(Direction::Out, what) => {
                    face.note(format!("playing through {what}"))?
                }
                Told::Lost(Direction::In, why) => {
                    face.trouble("not heard: tap the space bar where each call ends", &why);
                }
                Told::Unkept(why) => face.trouble("not recorded", &why),
                // What was called until then is scored.
                Told::Lost(Direction::Out, why) => face.trouble("the band has stopped", &why),
                Told::Prompt(prompt) => kept.prompt(prompt)?,
                Told::Over(by, gaps) => (ending.softened, ending.gaps) = (by, gaps),
            }
        }
        let now = studio.now();
        while let Some(event) = all.next_if(|e| e.announced() <= now) {
            if args.flash.wanted() {
                scheduler
                    .push(event)
                    .into_iter()
                    .for_each(|cue| face.cue(cue));
            }
            face.event(event);
        }
        let scored = so_far(card, kept, now);
        let due = match now < LESSON {
            true => f64::NEG_INFINITY,
            false => grid.beat_at(now) - SETTLED,
        };
        while let Some(next) = scored
            .get(told)
            .filter(|s| (s.beat as f64) < due || s.spoken.is_some())
        {
            face.note(line(next))?;
            told += 1;
        }
        match face.show(now.max(0.0))? {
            Some(Action::Quit) => break,
            Some(Action::One) => kept.prompt(Prompt::tapped(now))?,
            Some(action) if Hand::Calls.does(action) => face.act(action, &mut Known),
            Some(_) => {}
            None => {}
        }
    }
    Ok(())
}

fn so_far(card: &Card, kept: &Kept, now: f64) -> Vec<Scored> {
    let Session {
        header, prompts, ..
    } = &kept.session;
    score(card, &header.grid, prompts, now, &header.limits).figures
}
