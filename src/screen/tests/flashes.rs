//! Whatever happens, no screen flashes more than twice in any second.

use super::*;
use crate::cue::Cue;
use crate::dance::THE_TIN_KETTLE_RING;
use crate::dance::lesson::{BUNDLED, Lesson};
use crate::follow::drill::Moment;
use crate::report::tempo::Meter;
use crate::screen::LessonState;
use crate::screen::flash::Gate;
use crate::screen::flash::tests::flashes;
use crate::screen::lesson_view;
use crate::screen::tempo::{self, Dial};
use proptest::collection::vec;
use proptest::prelude::*;

/// Time between two pictures, seconds.
const TICK: f64 = 0.033;

/// What reaches the eye of a screen, and how many pictures were held back.
struct Seen {
    gate: Gate,
    pictures: Vec<(f64, Buffer)>,
    held: usize,
}

impl Seen {
    fn nothing() -> Self {
        Seen {
            gate: Gate::default(),
            pictures: Vec::new(),
            held: 0,
        }
    }

    fn draw(&mut self, now: f64, size: (u16, u16), view: impl FnOnce(&mut ratatui::Frame)) {
        let mut terminal = Terminal::new(TestBackend::new(size.0, size.1)).unwrap();
        terminal.draw(view).unwrap();
        let mut picture = terminal.backend().buffer().clone();
        self.held += usize::from(!self.gate.pass(now, &mut picture));
        self.pictures.push((now, picture));
    }
}

/// Something that happens to the caller's screen.
fn happens(state: &mut State, now: f64, what: u8, number: u8) {
    let number = u32::from(number);
    let count = Some((number % 8 + 1) as u8);
    match what {
        0..=3 => state.update(&Event::Beat(Beat {
            time: now,
            announced: now,
            count: count.filter(|_| what < 3),
            steps_per_minute: 60.0 + f64::from(number),
            sure: 0.9,
        })),
        4 | 5 => {
            let place = Form::default().place(u64::from(8 * number));
            state.update(&Event::Phrase(Phrase {
                time: now,
                announced: now,
                part: place.part(),
                phrase: place.phrase(),
                time_through: place.time_through,
                sure: 0.9,
            }));
        }
        6 | 7 => {
            let figure = state.card().map(|card| card.figures()[0].clone());
            state.cue(Cue {
                flash_at: now,
                for_beat_time: now + f64::from(number) / 50.0,
                call: "balance and swing".into(),
                figure,
                beat_in_dance: 0,
                time_through: 1,
            });
        }
        8 => state.update(&Event::LeadIn(LeadIn {
            time: now - 2.0,
            announced: now,
            one: now + f64::from(number) / 50.0,
        })),
        9 => state.help = !state.help,
        10 => state.flash = !state.flash,
        11 => state.times = [None, Some(1), Some(2), Some(3)][number as usize % 4],
        12 => state.say("the count moved on a beat".into(), 0.1),
        13 => state.hears(number as f32 / 64.0, number % 2 == 0),
        14 => state.held = !state.held,
        _ => {
            let text = [LANTERNS_ON_THE_WEIR, THE_TIN_KETTLE_RING][number as usize % 2];
            let card = Arc::new(Card::parse(text, "card").unwrap());
            state.dance(Some(card).filter(|_| number % 3 > 0), "the band".into());
            state.evening = vec!["item 3 of 9".into(); number as usize % 2];
        }
    }
}

/// Steps: seconds until it happens, what, and a number for it.
fn steps(kinds: u8) -> impl Strategy<Value = Vec<(f64, u8, u8)>> {
    // Keys held down and taps that tumble over one another as well as calm ones.
    let wait = prop_oneof![0.0..0.06_f64, 0.0..0.5_f64];
    vec((wait, 0..kinds, 0..64_u8), 10..60)
}

fn size() -> impl Strategy<Value = (u16, u16)> {
    prop_oneof![Just((80, 24)), Just((160, 48)), (10..120_u16, 3..40_u16)]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))]

    #[test]
    fn of_the_callers_screen(steps in steps(16), size in size(), one in any::<bool>()) {
        let (mut state, mut seen, mut now) = (state(0.0, true), Seen::nothing(), 0.0);
        for (wait, what, number) in steps {
            // A key held down: the same again and again.
            for _ in 0..if one { 1 } else { 4 } {
                happens(&mut state, now, what, number);
                let until = now + wait;
                while now < until {
                    state.at_moment(now, now);
                    seen.draw(now, size, |frame| view(frame, &state));
                    now += TICK;
                }
            }
        }
        let most = flashes(&seen.pictures);
        prop_assert!(most <= 2, "{most} flashes in a second");
    }

    #[test]
    fn of_the_lesson(steps in steps(8), size in size()) {
        let lesson = Lesson::parse(BUNDLED.1, BUNDLED.0).expect("the bundled lesson");
        let mut state = LessonState::new(lesson, true, true);
        let (mut seen, mut now) = (Seen::nothing(), 0.0);
        for (wait, what, number) in steps {
            match what {
                0..=2 => state.drilled(Moment {
                    lead_in: Some(number % 4 + 1).filter(|_| what == 0),
                    count: Some(number % 8 + 1).filter(|_| what > 0),
                    phrase: Some(0),
                }, 1.0),
                3 => state.drill(8),
                4 => { state.go(number % 2 == 0); }
                5 => state.flash = !state.flash,
                6 => state.drill_over(),
                _ => state.begin_again(),
            }
            let until = now + wait;
            while now < until {
                state.tick(now);
                seen.draw(now, size, |frame| lesson_view(frame, &state));
                now += TICK;
            }
        }
        let most = flashes(&seen.pictures);
        prop_assert!(most <= 2, "{most} flashes in a second");
    }

    #[test]
    fn of_the_tempo_meter(steps in steps(8), size in size(), want in any::<bool>()) {
        let want = want.then(|| "112..120".parse().unwrap());
        let mut dial = Dial { source: "tapping".into(), want, colour: true, ..Dial::default() };
        let (mut meter, mut seen, mut now) = (Meter::default(), Seen::nothing(), 0.0);
        for (wait, what, _) in steps {
            match what {
                0 => { dial.forget(); meter = Meter::default(); }
                _ => { meter.push(now); dial.update(&meter); dial.lit = true; }
            }
            let until = now + wait;
            while now < until {
                seen.draw(now, size, |frame| tempo::view(frame, &dial));
                dial.lit = false;
                now += TICK;
            }
        }
        let most = flashes(&seen.pictures);
        prop_assert!(most <= 2, "{most} flashes in a second");
    }
}

#[test]
fn a_help_key_held_down_is_what_the_gate_is_for() {
    let (mut state, mut seen) = (state(FIRST + 1.0, true), Seen::nothing());
    let mut bare = Vec::new();
    for n in 0..80 {
        state.help = !state.help;
        let now = f64::from(n) * 0.033;
        bare.push((now, buffer(&state, 80, 24)));
        seen.draw(now, (80, 24), |frame| view(frame, &state));
    }
    assert!(flashes(&bare) > 3, "without it: {}", flashes(&bare));
    assert!(flashes(&seen.pictures) <= 2);
}

#[test]
fn at_dance_tempi_no_picture_is_held_back() {
    for tempo in [86.0, 116.0, 148.0] {
        for size in [(80, 24), (160, 48), (220, 70)] {
            let pace = tempo * PERIOD / 60.0;
            let (mut state, mut seen) = (state(0.0, true), Seen::nothing());
            let card = Card::parse(LANTERNS_ON_THE_WEIR, "card").unwrap();
            let mut scheduler = Scheduler::with_card(Arc::new(card));
            let mut events = events().into_iter().peekable();
            let mut now = 0.0;
            while now < 36.0 {
                while let Some(event) = events.next_if(|e| e.announced() <= now) {
                    state.update(&event);
                    scheduler
                        .push(&event)
                        .into_iter()
                        .for_each(|cue| state.cue(cue));
                }
                state.at_moment(now, now / pace);
                seen.draw(now / pace, size, |frame| view(frame, &state));
                now += 0.04;
            }
            assert_eq!(seen.held, 0, "at {tempo} a minute on {size:?}");
            assert!(flashes(&seen.pictures) <= 2);
        }
    }
}
