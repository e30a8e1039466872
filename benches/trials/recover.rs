//! What happens in the middle of a tune, and how the count comes back.

use anyhow::Context;
use eightclap::engine::Settings;
use eightclap::event::Event;
use eightclap::report::measures::HIT_WINDOW;
use eightclap::sound::band::Dice;

use super::change::Take;
use super::judge::{PATIENCE, Recovery, after_press, recovery};
use super::{Bench, Ears};

/// Seconds for which nobody plays in a breakdown.
const BREAKDOWN: f64 = 4.0;
/// Phrases played before anything happens, so that the count is there.
const FIRST_PHRASE: usize = 4;

/// Key of the row to compare with.
const UNTOUCHED: &str = "";

/// What may happen: at beat `j` of the phrase that begins at beat `one`, a new
/// take and the time of the event.
type Happening = fn(&Take, one: usize, j: usize) -> (Take, f64);

/// The happenings by their key for `--only`, their name in the table, and what
/// they do.
const HAPPENINGS: [(&str, &str, Happening); 6] = [
    (UNTOUCHED, "(nothing happens)", |take, one, j| {
        (take.clone(), take.truth.beats[one + j])
    }),
    ("dropped", "two beats dropped", |take, one, j| {
        (take.without_beats(one + j, 2), take.truth.beats[one + j])
    }),
    ("added", "two beats added", |take, one, j| {
        let again = one + j + 2;
        (take.with_beats_again(one + j, 2), take.truth.beats[again])
    }),
    ("breakdown", "4 s of silence", |take, one, _| {
        // The clap on the one that does not come was promised before the music
        // stopped: it is not held against the engine.
        let at = take.truth.beats[one] + 2.5 * HIT_WINDOW;
        (take.with_hush(one, BREAKDOWN), at)
    }),
    ("faster", "tempo +8 %", |take, one, j| {
        (take.at_tempo(one + j, 1.08), take.truth.beats[one + j])
    }),
    ("slower", "tempo -8 %", |take, one, j| {
        (take.at_tempo(one + j, 0.92), take.truth.beats[one + j])
    }),
];

/// One recording's event, with and without a key press.
struct Borne {
    alone: Recovery,
    /// Right of the next phrases, these phrases, wrong claps after the press.
    pressed: [usize; 3],
}

/// Prints the table of events.
pub fn print(bench: &Bench) -> anyhow::Result<()> {
    if !HAPPENINGS
        .iter()
        .any(|h| h.0 != UNTOUCHED && bench.wants(h.0))
    {
        return Ok(());
    }
    println!(
        "\nsomething happens in mid-tune; right again: from some clap at most {PATIENCE} beats \
         later all are right\n{:24} {:>5} {:>11} {:>6} {:>11} {:>8} | {:>10} {:>11}",
        "", "items", "right again", "beats", "wrong/event", "clapped", "key: next4", "wrong after"
    );
    for (key, name, happens) in HAPPENINGS {
        if key != UNTOUCHED && !bench.wants(key) {
            continue;
        }
        let borne = bench.each(|item, dice| {
            let phrase = phrase_of(&item, dice);
            // A bar's first beat, with two beats before the next phrase.
            let j = 2 + 2 * (3.0 * dice.even()) as usize;
            let one = item.truth.phrases.get(phrase);
            let one = one.and_then(|p| item.truth.beats.iter().position(|b| b == p));
            let one = one.filter(|one| one + 16 < item.truth.beats.len());
            let one = one.context("the tune is too short for something to happen in it")?;
            let (take, event) = happens(&item, one, j);
            borne(bench.ears(), &take, event)
        })?;
        if bench.lines() {
            for (item, Borne { alone, pressed }) in bench.names().zip(&borne) {
                println!(
                    "  {item:34} right again after {:?} beats, wrong {}, clapped {}/{}; key: {}/{}, wrong {}",
                    alone.beats,
                    alone.wrong,
                    alone.clapped,
                    alone.phrases,
                    pressed[0],
                    pressed[1],
                    pressed[2]
                );
            }
        }
        row(name, &borne);
    }
    Ok(())
}

/// Where it happens: after some phrases, with twice through the tune to come if
/// it is long enough.
fn phrase_of(item: &Take, dice: &mut Dice) -> usize {
    let last = item.truth.phrases.len().saturating_sub(1 + PATIENCE / 8);
    FIRST_PHRASE + (dice.even() * (last.max(FIRST_PHRASE) + 1 - FIRST_PHRASE) as f64) as usize
}

fn borne(ears: &Ears, take: &Take, event: f64) -> anyhow::Result<Borne> {
    let truth = &take.truth;
    let alone = claps(&ears.hear(take.rate, &take.samples, Settings::default())?);
    // At the second one after the event: the caller has seen the first go wrong.
    let pressed = truth.phrases.iter().filter(|&&p| p > event).nth(1);
    let pressed = *pressed.context("no phrase is left to press the key at")?;
    let mut engine = ears.engine(take.rate, Settings::default())?;
    let mut events = Vec::new();
    let (before, after) = take
        .samples
        .split_at((pressed * f64::from(take.rate)) as usize);
    engine.push(before, &mut events);
    engine.say_one(pressed);
    engine.push(after, &mut events);
    Ok(Borne {
        alone: recovery(&truth.beats, &truth.phrases, &alone, event),
        pressed: after_press(&truth.beats, &truth.phrases, &claps(&events), pressed),
    })
}

fn claps(events: &[Event]) -> Vec<f64> {
    let phrases = events.iter().filter(|e| matches!(e, Event::Phrase(_)));
    phrases.map(Event::time).collect()
}

fn row(name: &str, borne: &[Borne]) {
    let n = borne.len() as f64;
    let total = |f: fn(&Borne) -> usize| borne.iter().map(f).sum::<usize>() as f64;
    // Those never right again waited longer than any other.
    let mut waits: Vec<Option<usize>> = borne.iter().map(|b| b.alone.beats).collect();
    waits.sort_by_key(|beats| beats.unwrap_or(usize::MAX));
    let median = waits
        .get(waits.len().saturating_sub(1) / 2)
        .copied()
        .flatten();
    println!(
        "{name:24} {:5} {:9.1} % {:>6} {:11.2} {:6.1} % | {:8.1} % {:11.2}",
        borne.len(),
        100.0 * total(|b| usize::from(b.alone.beats.is_some())) / n,
        median.map_or("never".to_owned(), |m| m.to_string()),
        total(|b| b.alone.wrong) / n,
        100.0 * total(|b| b.alone.clapped) / total(|b| b.alone.phrases).max(1.0),
        100.0 * total(|b| b.pressed[0]) / total(|b| b.pressed[1]).max(1.0),
        total(|b| b.pressed[2]) / n,
    );
}
