//! `eightclap programme run`: the evening live, dance by dance.

use std::sync::Arc;
use std::time::Instant;

use clap::Args;
use crossbeam_channel::Receiver;

use crate::dance::Card;
use crate::dance::programme::{Clock, Evening, Item, What as Kind};
use crate::follow::Caller;
use crate::screen::{Action, evening_words};

use super::super::TuneArgs;
use super::super::calling::Coming;
use super::super::config::Defaults;
use super::super::face::Face;
use super::super::gear::{DeviceArgs, keys};
use super::super::listen::{Lead, RATE, follow, seconds, start};
use super::super::practise::PlayArgs;
use super::Which;

/// Arguments of `programme run`.
#[derive(Debug, Args)]
#[command(after_help = "\
n goes on to the next item, b back; all other keys are those of `listen`.

Examples:
  eightclap programme run evening.toml            the whole evening
  eightclap programme run evening.toml --from 5   after the break
  eightclap programme run evening.toml --voice    with the calls aloud")]
pub(super) struct RunArgs {
    #[command(flatten)]
    which: Which,

    /// Begin with this item, from 1: after a break, or another start
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..))]
    from: u16,

    /// Stop after so many seconds
    #[arg(long, value_name = "N", value_parser = seconds)]
    seconds: Option<f64>,

    #[command(flatten)]
    devices: DeviceArgs,

    #[command(flatten)]
    play: PlayArgs,
}

pub(super) fn run(mut args: RunArgs) -> anyhow::Result<()> {
    let defaults = Defaults::load()?;
    args.which.words.fill(&defaults);
    args.devices.fill(&defaults);
    args.play.fill(&defaults);
    let programme = args.which.load()?;
    let items = programme.items().len();
    let from = usize::from(args.from);
    if from > items {
        anyhow::bail!(
            "\"{}\" has {items} items: --from cannot be {from}",
            programme.title()
        );
    }
    let begun = Instant::now();
    let evening = Evening::new(programme, from - 1, 0.0, time_of_day());
    let (_, item) = evening.item();
    let tune = TuneArgs { form: None };
    // Its first dance is taken up below, as the others are.
    let mut job = args
        .play
        .without_dance()
        .job(None, &tune, RATE, false, None)?;
    let session = start(&args.devices, &job)?;
    let opening = format!("\"{}\"", evening.programme().title());
    let mut setup = job.setup(sounding(item), None);
    setup.length = args.seconds;
    let mut face = Face::new(setup, job.line, opening, job.ticks)?;
    let mut leader = Leader {
        play: args.play.clone(),
        voice: args.play.wants_voice(),
        asked: (!face.on_screen()).then(|| keys("n goes on, b back, q quits", key)),
        evening,
        begun,
        held_for_item: false,
        coming: None,
    };
    leader.take_up(&mut face, &session.caller())?;
    follow(session, face, &mut job, args.seconds, &mut leader)
}

/// The time of day here.
fn time_of_day() -> Option<Clock> {
    let time = jiff::ZonedDateTime::now().time();
    Clock::parse(&format!("{}:{:02}", time.hour(), time.minute()))
        .map(|clock| clock.after(f64::from(time.second()) / 60.0))
}

/// The card of an item that has one.
fn card(item: &Item) -> Option<Arc<Card>> {
    item.dance().map(|dance| dance.card.clone())
}

/// What the screen says is played.
fn sounding(item: &Item) -> String {
    match &item.what {
        Kind::Dance(_) => "the band".to_owned(),
        Kind::Break(title, _) => format!("{title} (break)"),
        Kind::Other(title, _) => title.clone(),
    }
}

/// Leads through the evening.
struct Leader {
    play: PlayArgs,
    /// Whether calls are to be heard.
    voice: bool,
    evening: Evening,
    begun: Instant,
    /// Claps are held back for an item without a card, not by the caller.
    held_for_item: bool,
    /// The voice for the dance that is on, while it is made ready.
    coming: Option<Coming>,
    /// Without a screen keys come as lines.
    asked: Option<Receiver<Action>>,
}

impl Lead for Leader {
    fn look(&mut self, face: &mut Face, caller: &Caller) -> anyhow::Result<bool> {
        let asked: Vec<Action> = self.asked.iter().flat_map(Receiver::try_iter).collect();
        for action in asked {
            if action == Action::Quit {
                return Ok(false);
            }
            self.act(action, face, caller)?;
        }
        if let Some(coming) = &self.coming
            && let Some(mut calling) = coming.take()?
        {
            self.coming = None;
            face.put_right(&mut calling);
            caller.call(calling);
        }
        let now = self.begun.elapsed().as_secs_f64();
        let time = face.state().place().map(|place| place.time_through);
        face.state().evening = evening_words(&self.evening, now, time);
        Ok(true)
    }

    fn act(&mut self, action: Action, face: &mut Face, caller: &Caller) -> anyhow::Result<()> {
        let now = self.begun.elapsed().as_secs_f64();
        let moved = match action {
            Action::Next => self.evening.go_on(now),
            Action::Back => self.evening.go_back(now),
            // The caller's own word goes before that of an item.
            Action::Hold => {
                self.held_for_item = false;
                return Ok(());
            }
            _ => return Ok(()),
        };
        match (moved, action) {
            (true, _) => self.take_up(face, caller)?,
            (false, Action::Next) => face.note("this was the last item: good night".to_owned())?,
            (false, _) => face.note("this is the first item".to_owned())?,
        }
        Ok(())
    }
}

impl Leader {
    /// Shows the item that is on.
    fn take_up(&mut self, face: &mut Face, caller: &Caller) -> anyhow::Result<()> {
        let (n, item) = self.evening.item();
        let card = card(item);
        let times = item.dance().map(|dance| dance.times);
        let of = self.evening.items();
        let mut said = format!("{n} of {of}: {}", item.title());
        for note in &item.notes {
            said = format!("{said} – {note}");
        }
        // A waltz has no phrases of eight: nothing is to be clapped.
        let hold = card.is_none();
        let state = face.state();
        self.voice = state.voice.unwrap_or(self.voice);
        if hold && !state.held {
            (state.held, self.held_for_item) = (true, true);
        } else if !hold && self.held_for_item {
            (state.held, self.held_for_item) = (false, false);
        }
        caller.set_claps(state.claps && !state.held);
        self.coming = self.play.calling(card.as_ref(), RATE, self.voice, times)?;
        state.voice = self.coming.is_some().then_some(self.voice);
        caller.dance(card.clone());
        caller.set_times(times);
        let want = self.play.usual_want(card.as_deref());
        face.dance(card, sounding(item), times);
        if let Some(want) = want.filter(|_| !hold) {
            face.state().wants(want);
        }
        face.note(said)?;
        Ok(())
    }
}

/// A line of standard input as a key: `n` or an empty one goes on, `b` back, `q` ends
/// it.
fn key(line: &str) -> Option<Action> {
    match line {
        "" | "n" | "N" => Some(Action::Next),
        "b" | "B" => Some(Action::Back),
        "q" | "Q" => Some(Action::Quit),
        _ => None,
    }
}
