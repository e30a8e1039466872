//! A simulated dance: a band that drifts, jumps and stumbles, an engine that foresees
//! its beats a little wrongly and sometimes loses count, and a caller who corrects it.
//!
//! Shared with `tests/cues.rs`.

use std::collections::HashMap;
use std::sync::Arc;

use eightclap::cue::{Fading, Manner, Script};
use eightclap::dance::{Card, LANTERNS_ON_THE_WEIR, THE_TIN_KETTLE_RING};
use eightclap::event::{Beat, Event, LeadIn, Phrase};
use eightclap::sound::band::Dice;

/// One true beat.
#[derive(Debug, Clone, Copy)]
pub struct Step {
    /// When it falls, seconds.
    pub time: f64,
    /// Its number from the tune's first.
    pub number: i64,
    /// Whether what the engine said of this beat was true, and sure.
    pub known: bool,
    /// What the engine took its number for, where it was sure.
    pub believed: Option<i64>,
    /// When that was said; infinite for a beat that was missed.
    pub announced: f64,
}

/// What happens to the program in a dance.
#[derive(Debug, Clone)]
pub enum Happening {
    /// The engine speaks.
    Event(Event),
    /// The caller says how many times through are wanted, at this time.
    Times(Option<u32>, f64),
}

/// One dance.
pub struct World {
    pub card: Arc<Card>,
    pub script: Arc<Script>,
    pub manner: Manner,
    /// Seconds that the words take.
    pub lengths: HashMap<String, f64>,
    pub steps: Vec<Step>,
    pub happenings: Vec<Happening>,
    /// How far beats were foreseen wrongly, seconds.
    pub errors: Vec<f64>,
    /// Corrections of the count, and jumps of the tempo.
    pub corrections: usize,
    pub jumps: usize,
    /// The number of times through that holds at the end.
    pub times: Option<u32>,
}

/// What goes wrong in a dance.
#[derive(Debug, Clone, Copy)]
pub struct Trouble {
    /// Chances a beat.
    pub jump: f64,
    pub miscount: f64,
    pub doubt: f64,
    pub missed: f64,
    /// Spread of the tempo's random walk, a beat.
    pub drift: f64,
    /// Spread of what the engine hears of a beat, seconds.
    pub jitter: f64,
}

impl Trouble {
    /// Several of each a dance.
    pub const USUAL: Trouble = Trouble {
        jump: 0.006,
        miscount: 0.008,
        doubt: 0.004,
        missed: 0.004,
        drift: 0.002,
        jitter: 0.009,
    };

    /// A band like a clock, heard perfectly.
    pub const NONE: Trouble = Trouble {
        jump: 0.0,
        miscount: 0.0,
        doubt: 0.0,
        missed: 0.0,
        drift: 0.0,
        jitter: 0.0,
    };
}

/// One of the numbers below `n`.
fn pick(dice: &mut Dice, n: usize) -> usize {
    ((dice.even() * n as f64) as usize).min(n - 1)
}

/// A dance card with figures of random lengths, and words of its own.
fn random_card(dice: &mut Dice) -> Card {
    let parts: &[&str] = match pick(dice, 4) {
        0 => &["A1", "A2"],
        1 => &["A1", "A2", "B1"],
        _ => &["A1", "A2", "B1", "B2"],
    };
    let form: Vec<String> = parts.iter().map(|part| format!("\"{part}\"")).collect();
    let mut text = format!(
        "title = \"Any\"\nformation = \"duple improper\"\nform = [{}]\n",
        form.join(", ")
    );
    let mut figure = 0;
    for part in parts {
        let mut left = 16;
        while left > 0 {
            let lengths = [2, 4, 4, 6, 8, 8, 8, 12, 16].map(|beats: u32| beats.min(left));
            // A rest of fewer than two beats is no figure.
            let beats = lengths[pick(dice, lengths.len())];
            left -= beats;
            text += &format!("\n[[{part}]]\nfigure = \"f{figure}\"\nbeats = {beats}\n");
            text += &format!("call = \"figure number {figure}\"\n");
            if dice.chance(0.8) {
                text += &format!("short = \"f {figure}\"\n");
            }
            figure += 1;
        }
    }
    Card::parse(&text, "random card").expect("a card that can be danced")
}

/// How long words take: a random length for random words, else by their letters (some
/// 14 a second; our own choice, about what speech engines do).
fn lengths(card: &Card, dice: &mut Dice) -> HashMap<String, f64> {
    let all = Script::words(card);
    let of = |words: String| {
        let length = match words.split(' ').next() {
            Some("figure") => dice.between(0.5, 3.6),
            Some("f") => dice.between(0.3, 1.2),
            _ => 0.15 + words.len() as f64 / 14.0,
        };
        (words, length)
    };
    all.into_iter().map(of).collect()
}

impl World {
    /// The dance that `seed` gives.
    pub fn new(seed: u64, trouble: Trouble) -> Self {
        let dice = &mut Dice::new(seed, 1);
        let card = match pick(dice, 4) {
            0 => Card::parse(LANTERNS_ON_THE_WEIR, "card").expect("bundled"),
            1 => Card::parse(THE_TIN_KETTLE_RING, "card").expect("bundled"),
            _ => random_card(dice),
        };
        let lengths = lengths(&card, dice);
        let script = Script::new(&card, |words| lengths.get(words).copied());
        let danced = 3 + pick(dice, 6) as u32;
        let told = dice.chance(0.5);
        let manner = Manner {
            fading: Fading {
                full: pick(dice, 4) as u32,
                short: pick(dice, 4) as u32,
                times: told.then_some(danced),
            },
            lead: 1 + pick(dice, 4) as u32,
        };
        let mut world = World {
            card: Arc::new(card),
            script: Arc::new(script),
            manner,
            lengths,
            steps: Vec::new(),
            happenings: Vec::new(),
            errors: Vec::new(),
            corrections: 0,
            jumps: 0,
            times: manner.fading.times,
        };
        world.play(danced, trouble, dice);
        if !told {
            world.press(danced, dice);
        }
        world
    }

    fn play(&mut self, danced: u32, trouble: Trouble, dice: &mut Dice) {
        let form = self.card.form();
        let beats = i64::from(danced * form.beats());
        let mut band = Tempo::new(dice);
        let mut ear = Ear::new(band.period);
        let mut count = Count::default();
        let mut time = 4.0;
        let lead_in = dice.chance(0.8);
        for number in -4..beats {
            self.jumps += usize::from(band.next(trouble, dice));
            ear.beat(time, trouble, dice);
            let step = &mut Step {
                time,
                number,
                known: false,
                believed: None,
                announced: f64::INFINITY,
            };
            if number >= 0 {
                self.errors.push(ear.expected - time);
                self.corrections += usize::from(count.next(number, trouble, dice));
                // Without a lead-in the phrase has to be found first.
                let sure = lead_in || number >= 40;
                self.tell(step, &ear, &mut count, sure, trouble, dice);
                self.steps.push(*step);
            } else if number == -1 && lead_in {
                self.happenings.push(Happening::Event(Event::LeadIn(LeadIn {
                    time: ear.expected - 3.0 * ear.period,
                    announced: ear.announced,
                    one: ear.expected + ear.period,
                })));
            }
            time += band.period;
        }
    }

    /// What the engine says of a beat.
    fn tell(
        &mut self,
        step: &mut Step,
        ear: &Ear,
        count: &mut Count,
        sure: bool,
        trouble: Trouble,
        dice: &mut Dice,
    ) {
        if dice.chance(trouble.missed) {
            return;
        }
        let believed = step.number + count.off;
        let sure = sure && count.doubt == 0 && believed >= 0;
        // Only where it is sure of a "one" it tells the phrase.
        count.hidden &= !(sure && count.off == 0 && step.number % 8 == 0);
        step.announced = ear.announced;
        step.known = sure && count.off == 0 && !count.hidden;
        step.believed = sure.then_some(believed);
        let place = self.card.form().place(believed.max(0) as u64);
        let beat = Event::Beat(Beat {
            time: ear.expected,
            announced: ear.announced,
            count: sure.then(|| place.count()),
            steps_per_minute: 60.0 / ear.period,
            sure: 0.9,
        });
        let phrase = (sure && place.is_one()).then(|| {
            Event::Phrase(Phrase {
                time: ear.expected,
                announced: ear.announced,
                part: place.part(),
                phrase: place.phrase(),
                time_through: place.time_through,
                sure: 0.9,
            })
        });
        let mut events: Vec<Event> = [Some(beat), phrase].into_iter().flatten().collect();
        if dice.chance(0.3) {
            events.reverse();
        }
        self.happenings
            .extend(events.into_iter().map(Happening::Event));
    }

    /// The caller presses the key for the end, now and then too late or twice.
    fn press(&mut self, danced: u32, dice: &mut Dice) {
        let form = i64::from(self.card.form().beats());
        let left = 1 + pick(dice, 2) as i64;
        let through = i64::from(danced) - left;
        let beat = (through - 1) * form + pick(dice, form as usize) as i64;
        let Some(step) = self.steps.iter().find(|step| step.number >= beat) else {
            return;
        };
        let at = step.time + dice.between(0.0, 0.4);
        let mut presses = vec![(Some(danced - left as u32 + 1), at)];
        if left == 2 {
            presses.push((Some(danced), at + 0.4));
        }
        self.times = presses.last().and_then(|(times, _)| *times);
        for (times, at) in presses {
            let heard = |h: &Happening| match h {
                Happening::Event(event) => event.announced() <= at,
                Happening::Times(_, then) => *then <= at,
            };
            let place = self.happenings.partition_point(heard);
            self.happenings.insert(place, Happening::Times(times, at));
        }
    }
}

/// A band's tempo.
struct Tempo {
    usual: f64,
    period: f64,
}

impl Tempo {
    fn new(dice: &mut Dice) -> Self {
        let usual = 60.0 / dice.between(100.0, 128.0);
        Tempo {
            usual,
            period: usual,
        }
    }

    /// Goes on to the next beat; whether the tempo jumped there.
    fn next(&mut self, trouble: Trouble, dice: &mut Dice) -> bool {
        let jumps = dice.chance(trouble.jump);
        if jumps {
            let by = dice.between(0.03, 0.10);
            self.usual *= if dice.chance(0.5) { 1.0 + by } else { 1.0 - by };
            self.usual = self.usual.clamp(0.44, 0.62);
            self.period = self.usual;
        }
        // It wanders, and is drawn back.
        let wander = dice.bell(trouble.drift);
        self.period *= 1.0 + wander + 0.02 * (self.usual / self.period - 1.0);
        jumps
    }
}

/// What the engine expects: each beat is foreseen from those before, as by a loop that
/// takes in part of each error.
struct Ear {
    period: f64,
    expected: f64,
    announced: f64,
    corrected: Option<f64>,
}

impl Ear {
    fn new(period: f64) -> Self {
        Ear {
            period,
            expected: 0.0,
            announced: 0.0,
            corrected: None,
        }
    }

    fn beat(&mut self, time: f64, trouble: Trouble, dice: &mut Dice) {
        self.expected = match self.corrected {
            Some(corrected) => corrected + self.period,
            None => time,
        };
        let notice = dice.between(0.060, 0.090);
        self.announced = (self.expected - notice).max(self.announced);
        let heard = time + dice.bell(trouble.jitter).clamp(-0.03, 0.03);
        let error = heard - self.expected;
        self.corrected = Some(self.expected + 0.6 * error);
        self.period += 0.3 * error;
    }
}

/// What the engine's count is off by, and for how many beats it doubts it.
#[derive(Debug, Default)]
struct Count {
    off: i64,
    corrected_in: u32,
    doubt: u32,
    /// It was put right, but the counts of beats do not show it: four on and four off
    /// look alike, eight more like none. The next phrase tells.
    hidden: bool,
}

impl Count {
    /// Goes on to the next beat; whether the count is put right there.
    fn next(&mut self, number: i64, trouble: Trouble, dice: &mut Dice) -> bool {
        self.doubt = self.doubt.saturating_sub(1);
        if self.off != 0 {
            self.corrected_in -= 1;
            if self.corrected_in == 0 {
                self.hidden |= self.off % 4 == 0;
                self.off = 0;
                return true;
            }
            return false;
        }
        if number > 16 && dice.chance(trouble.miscount) {
            let by = [1, 1, 2, 2, 3, 4, 8, 16][pick(dice, 8)];
            self.off = if dice.chance(0.5) { by } else { -by };
            self.corrected_in = 1 + pick(dice, 24) as u32;
        } else if dice.chance(trouble.doubt) {
            self.doubt = 1 + pick(dice, 20) as u32;
        }
        false
    }
}
