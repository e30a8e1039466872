//! The scheduler against whole dances, as an engine would announce them.

use std::sync::Arc;

use proptest::prelude::*;

use super::{Cue, Scheduler};
use crate::dance::{Card, LANTERNS_ON_THE_WEIR, THE_TIN_KETTLE_RING};
use crate::event::{Beat, Event, LeadIn, Phrase};
use crate::phrase::Form;

/// A tune as the engine tells it.
struct Tune {
    /// Steps per minute before and from beat `change` on.
    tempo: (f64, f64),
    change: usize,
    /// From beat `moved.0` on, counts are off by `moved.1`.
    moved: (usize, i64),
    /// Whether each phrase comes ahead of its beat, or after it.
    phrase_first: bool,
    lead_in: bool,
    /// Beats before the engine is sure of the phrase.
    unsure: usize,
    beats: usize,
}

impl Default for Tune {
    fn default() -> Self {
        Tune {
            tempo: (116.0, 116.0),
            change: usize::MAX,
            moved: (usize::MAX, 0),
            phrase_first: true,
            lead_in: true,
            unsure: 0,
            beats: 192,
        }
    }
}

/// First beat, seconds.
const FIRST: f64 = 3.0;

impl Tune {
    fn tempo_at(&self, beat: usize) -> f64 {
        if beat < self.change {
            self.tempo.0
        } else {
            self.tempo.1
        }
    }

    /// Time of each beat, and its true number from the tune's first.
    fn grid(&self) -> Vec<(f64, i64)> {
        let mut time = FIRST;
        (0..self.beats)
            .map(|i| {
                let at = time;
                time += 60.0 / self.tempo_at(i);
                let moved = if i >= self.moved.0 { self.moved.1 } else { 0 };
                (at, i as i64 + moved)
            })
            .collect()
    }

    fn events(&self) -> Vec<Event> {
        let mut events = Vec::new();
        if self.lead_in {
            let period = 60.0 / self.tempo.0;
            events.push(Event::LeadIn(LeadIn {
                time: FIRST - 4.0 * period,
                announced: FIRST - 1.05 * period,
                one: FIRST,
            }));
        }
        for (i, (time, number)) in self.grid().into_iter().enumerate() {
            let known = i >= self.unsure && number >= 0;
            let place = Form::default().place(number.max(0) as u64);
            let beat = Event::Beat(Beat {
                time,
                announced: time - 0.07,
                count: known.then(|| place.count()),
                steps_per_minute: self.tempo_at(i),
                sure: 0.9,
            });
            let phrase = (known && place.is_one()).then(|| {
                Event::Phrase(Phrase {
                    time,
                    announced: time - 0.07,
                    part: place.part(),
                    phrase: place.phrase(),
                    time_through: place.time_through,
                    sure: 0.9,
                })
            });
            if self.phrase_first {
                events.extend(phrase);
                events.push(beat);
            } else {
                events.push(beat);
                events.extend(phrase);
            }
        }
        events
    }
}

fn cues(mut scheduler: Scheduler, events: &[Event]) -> Vec<Cue> {
    events
        .iter()
        .filter_map(|event| {
            let cue = scheduler.push(event)?;
            assert!(cue.flash_at >= event.announced(), "known too late: {cue:?}");
            assert!(cue.flash_at < cue.for_beat_time, "late: {cue:?}");
            Some(cue)
        })
        .collect()
}

fn card(text: &str) -> Arc<Card> {
    Arc::new(Card::parse(text, "card").unwrap())
}

/// What should have been flashed: (beat from the tune's first, flash, start).
fn expected(card: &Card, grid: &[(f64, i64)], from: usize) -> Vec<(i64, f64, f64)> {
    (from..grid.len().saturating_sub(1))
        .filter_map(|i| {
            let ((flash, _), (start, number)) = (grid[i], grid[i + 1]);
            let starts = card.starting_at(u32::try_from(number).ok()?).is_some();
            starts.then_some((number, flash, start))
        })
        .collect()
}

fn number(cue: &Cue) -> i64 {
    i64::from(cue.time_through - 1) * 64 + i64::from(cue.beat_in_dance)
}

#[test]
fn every_figure_is_flashed_one_beat_ahead() {
    for text in [LANTERNS_ON_THE_WEIR, THE_TIN_KETTLE_RING] {
        for phrase_first in [true, false] {
            let card = card(text);
            let tune = Tune {
                phrase_first,
                ..Tune::default()
            };
            let cues = cues(Scheduler::with_card(card.clone()), &tune.events());
            let period = 60.0 / 116.0;
            // The lead-in gives the very first; the beats give the rest, and
            // one more that starts after the tune has ended.
            assert!((cues[0].flash_at - (FIRST - period)).abs() < 1e-9);
            assert_eq!(cues[0].for_beat_time, FIRST);
            assert_eq!(cues[0].figure.as_ref(), card.starting_at(0));
            let wanted = expected(&card, &tune.grid(), 0);
            assert_eq!(cues.len(), 1 + wanted.len() + 1);
            assert_eq!(wanted.len(), card.figures().len() * 3 - 1);
            for (cue, (n, flash, start)) in cues[1..].iter().zip(wanted) {
                assert_eq!(number(cue), n);
                assert_eq!(cue.figure.as_ref(), card.starting_at(n as u32));
                assert_eq!(cue.call, card.figure_at(n as u32).call);
                assert_eq!(cue.flash_at, flash);
                assert!((cue.for_beat_time - start).abs() < 1e-9);
            }
        }
    }
}

#[test]
fn after_the_last_time_nothing_is_flashed() {
    for card in [None, Some(card(LANTERNS_ON_THE_WEIR))] {
        let mut scheduler = match card {
            Some(card) => Scheduler::with_card(card),
            None => Scheduler::without_card(Form::default()),
        };
        scheduler.set_times(Some(2));
        let cues = cues(scheduler, &Tune::default().events());
        assert!(cues.len() > 10 && cues.iter().all(|cue| cue.time_through <= 2));
    }
}

#[test]
fn nothing_is_flashed_while_the_phrase_is_unknown() {
    let tune = Tune {
        unsure: 37,
        lead_in: false,
        ..Tune::default()
    };
    let card = card(LANTERNS_ON_THE_WEIR);
    let cues = cues(Scheduler::with_card(card.clone()), &tune.events());
    // Beat 40 is the first "one" that is known, so 48 is the first to be told.
    assert_eq!(number(&cues[0]), 48);
    let silent = Tune {
        unsure: usize::MAX,
        lead_in: false,
        ..Tune::default()
    };
    assert_eq!(self::cues(Scheduler::with_card(card), &silent.events()), []);
}

#[test]
fn doubt_in_the_middle_stops_the_cues() {
    let card = card(THE_TIN_KETTLE_RING);
    let events: Vec<Event> = Tune::default()
        .events()
        .into_iter()
        .filter(|e| !matches!(e, Event::Phrase(p) if p.phrase == 3 && p.time_through == 1))
        .collect();
    let numbers: Vec<i64> = cues(Scheduler::with_card(card), &events)
        .iter()
        .map(number)
        .collect();
    assert_eq!(numbers[..6], [0, 8, 16, 24, 40, 48]);
}

#[test]
fn without_a_card_every_one_is_cued() {
    let tune = Tune::default();
    let cues = cues(Scheduler::without_card(Form::default()), &tune.events());
    assert_eq!(cues.len(), 192 / 8 + 1);
    for (i, cue) in cues.iter().enumerate() {
        assert_eq!((number(cue), cue.call.as_str()), (8 * i as i64, "one"));
        assert!(cue.figure.is_none());
    }
}

#[test]
fn a_lead_in_told_too_late_is_left_out() {
    let mut scheduler = Scheduler::without_card(Form::default());
    let lead_in = |announced| {
        Event::LeadIn(LeadIn {
            time: 1.0,
            announced,
            one: 3.0,
        })
    };
    assert_eq!(scheduler.push(&lead_in(2.96)), None);
    let cue = scheduler.push(&lead_in(2.8)).unwrap();
    assert_eq!((cue.flash_at, cue.for_beat_time), (2.8, 3.0));
    // A new tune may begin with the same figure.
    assert!(scheduler.push(&lead_in(2.2)).is_some());
}

#[test]
fn tempi_that_are_no_numbers_are_passed_over() {
    let mut scheduler = Scheduler::without_card(Form::default());
    for steps_per_minute in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        let beat = Beat {
            time: 1.0,
            announced: 0.9,
            count: Some(8),
            steps_per_minute,
            sure: 1.0,
        };
        assert_eq!(scheduler.push(&Event::Beat(beat)), None);
    }
}

proptest! {
    #[test]
    fn right_from_the_next_figure_after_a_move_or_a_new_tempo(
        mixer in any::<bool>(),
        phrase_first in any::<bool>(),
        moved_at in 8usize..120,
        by in -4i64..=4,
        tempo in (95.0..140.0, 95.0..140.0),
        change in 8usize..120,
    ) {
        let card = card(if mixer { THE_TIN_KETTLE_RING } else { LANTERNS_ON_THE_WEIR });
        let tune = Tune { moved: (moved_at, by), phrase_first, tempo, change, ..Tune::default() };
        let grid = tune.grid();
        let cues = cues(Scheduler::with_card(card.clone()), &tune.events());
        let times_told = |n: i64| cues.iter().filter(|c| number(c) == n).count();
        for cue in &cues {
            prop_assert_eq!(times_told(number(cue)), 1, "twice: {:?}", cue);
            prop_assert_eq!(cue.figure.as_ref(), card.starting_at(cue.beat_in_dance));
        }
        // The flash ahead of the moved beat itself was right when it was given.
        let told_before: Vec<i64> = cues.iter()
            .filter(|c| c.flash_at < grid[moved_at].0 - 1e-9).map(number).collect();
        // Four on and four off look alike until the next phrase tells.
        let told_from = grid[moved_at..].iter().find(|g| g.1 >= 0 && g.1 % 8 == 0).unwrap().1;
        for (n, flash, start) in expected(&card, &grid, moved_at) {
            if told_before.contains(&n) || (by.abs() == 4 && n <= told_from) {
                continue;
            }
            let cue = cues.iter().find(|c| number(c) == n);
            prop_assert!(cue.is_some(), "beat {} was never told", n);
            let cue = cue.unwrap();
            prop_assert_eq!(cue.flash_at, flash);
            // Only the first beat of another tempo cannot be foreseen.
            prop_assert!((cue.for_beat_time - start).abs() < 1e-6);
        }
    }
}
