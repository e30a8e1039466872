//! From tune and settings to what each player does when.

mod backup;

use super::dice::Dice;
use super::grid::{Grid, LEAD_IN_BEATS};
use super::settings::{Lead, LeadIn, Settings};
use super::tune::{Kind, Note, Tune};

/// One sound to be made.
#[derive(Debug, Clone, Copy)]
pub(super) struct Event {
    /// Seconds from the start of the sound.
    pub at: f64,
    pub sound: Sound,
}

/// What sounds. Levels are about 1 for a note on the beat.
#[derive(Debug, Clone, Copy)]
pub(super) enum Sound {
    /// A bow stroke, perhaps with an open string beside it.
    Bow {
        pitch: f64,
        seconds: f64,
        level: f32,
        slurred: bool,
        drone: Option<f64>,
    },
    /// A plucked string.
    Pluck {
        pitch: f64,
        seconds: f64,
        level: f32,
        body: Plucked,
    },
    /// A piano key.
    Key {
        pitch: f64,
        seconds: f64,
        level: f32,
    },
    /// A stick on a stick.
    Click { level: f32 },
    /// A dancer's foot on the floor.
    Foot { level: f32 },
}

/// Which plucked instrument.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Plucked {
    Mandolin,
    Guitar,
    Bass,
}

/// Open strings of the fiddle: G3, D4, A4, E5.
const OPEN: [u8; 4] = [55, 62, 69, 76];

/// Writes the parts of all players, in order of time.
pub(super) fn write(tune: &Tune, settings: &Settings, grid: &Grid) -> Vec<Event> {
    let mut desk = Desk {
        tune,
        settings,
        grid,
        dice: Dice::new(settings.seed, 2),
        events: Vec::new(),
    };
    if settings.start_beat == 0 {
        desk.lead_in();
    }
    for time in 0..settings.times {
        desk.melody(time);
        desk.backup(time);
    }
    if settings.noise > 0.0 {
        desk.feet();
    }
    let mut events = desk.events;
    events.sort_by(|a, b| a.at.total_cmp(&b.at));
    events
}

struct Desk<'a> {
    tune: &'a Tune,
    settings: &'a Settings,
    grid: &'a Grid,
    dice: Dice,
    events: Vec<Event>,
}

impl Desk<'_> {
    /// Seconds at `beat`, swung, without jitter.
    fn swung(&self, beat: f64) -> f64 {
        // Pairs of running notes fill half a beat; the second of a pair is late.
        let pair = (beat * 2.0 + 1e-9).floor();
        let within = beat * 2.0 - pair;
        let swing = self.settings.swing;
        let moved = match self.tune.kind() {
            Kind::Jig => within,
            // Written dotted, played as two parts to one (common practice).
            Kind::Hornpipe if (within - 0.75).abs() < 1e-6 => 2.0 / 3.0,
            Kind::Hornpipe => within,
            Kind::Reel | Kind::March => {
                let middle = 0.5 + swing / 2.0;
                if within < 0.5 {
                    within / 0.5 * middle
                } else {
                    1.0 - (1.0 - within) / 0.5 * (1.0 - middle)
                }
            }
        };
        self.grid.at((pair + moved) / 2.0)
    }

    /// Seconds at `beat` as a player hits it; `tightness` scales the jitter.
    fn at(&mut self, beat: f64, tightness: f64) -> f64 {
        self.swung(beat) + self.dice.bell(self.settings.jitter * tightness)
    }

    /// Seconds from `beat` for `beats`.
    fn span(&self, beat: f64, beats: f64) -> f64 {
        self.swung(beat + beats) - self.swung(beat)
    }

    fn add(&mut self, at: f64, sound: Sound) {
        self.events.push(Event { at, sound });
    }

    /// A plucked string of `body`, `pitch` as in MIDI, held for `seconds`.
    fn pluck(&mut self, at: f64, body: Plucked, pitch: f64, seconds: f64, level: f32) {
        self.add(
            at,
            Sound::Pluck {
                pitch,
                seconds,
                level,
                body,
            },
        );
    }

    fn level(&mut self, level: f64) -> f32 {
        (level * (1.0 + self.dice.bell(0.07))).clamp(0.1, 1.4) as f32
    }

    fn lead_in(&mut self) {
        let Some(home) = self.tune.chord_at(0.0) else {
            return;
        };
        let jig = self.tune.kind() == Kind::Jig;
        // Long, short, short; a jig's stroke is long, short.
        let strokes: &[(f64, f64, f64)] = if jig {
            &[(0.0, 0.56, 1.0), (2.0 / 3.0, 0.25, 0.7)]
        } else {
            &[(0.0, 0.41, 1.0), (0.5, 0.18, 0.72), (0.75, 0.18, 0.66)]
        };
        let room_for = -self.tune.pickup() - 0.01;
        for beat in 0..LEAD_IN_BEATS {
            let beat = f64::from(beat) - f64::from(LEAD_IN_BEATS);
            match self.settings.lead_in {
                LeadIn::None => return,
                LeadIn::Clicks => {
                    let at = self.at(beat, 0.6);
                    let level = self.level(1.0);
                    self.add(at, Sound::Click { level });
                }
                LeadIn::Piano => {
                    let at = self.at(beat, 0.6);
                    self.chord(at, home, 0.75, true, 0.95);
                }
                LeadIn::Fiddle => {
                    for &(offset, length, level) in strokes {
                        if offset > 0.0 && beat + offset + length > room_for {
                            continue;
                        }
                        let at = self.at(beat + offset, 0.6);
                        let low = 55 + (home.root + 120 - 55 % 12) % 12;
                        let seconds = self.span(beat + offset, length);
                        let pitch = f64::from(low + 7) + self.dice.bell(0.03);
                        let level = self.level(level);
                        self.add(
                            at,
                            Sound::Bow {
                                pitch,
                                seconds,
                                level,
                                slurred: false,
                                drone: Some(f64::from(low)),
                            },
                        );
                    }
                }
            }
        }
    }

    fn melody(&mut self, time: u32) {
        let start = f64::from(time * self.tune.beats());
        let tune = self.tune;
        let last_time = time + 1 == self.settings.times;
        let mut slurred_run = 0;
        for (i, note) in tune.notes().iter().enumerate() {
            let last = i + 1 == tune.notes().len();
            let held = last && last_time && self.settings.hold_final;
            let beats = if held {
                note.beats.max(0.5) + 2.2
            } else {
                note.beats
            };
            let beat = start + note.beat;
            let mut at = self.at(beat, 1.0);
            if beat < 0.0 && self.settings.lead_in == LeadIn::None {
                at = at.max(0.02);
            }
            let seconds = self.span(beat, beats);
            let half = ((note.beat * 2.0) - (note.beat * 2.0).round()).abs() < 1e-6;
            let weight = match (note.on_beat(), half) {
                (true, _) => 1.0,
                (_, true) => 0.8,
                _ => 0.7,
            };
            let level = self.level(weight);
            let pitch = f64::from(note.pitch) + self.dice.bell(0.035);
            if self.settings.lead == Lead::Mandolin {
                self.pluck(at, Plucked::Mandolin, pitch, seconds.max(0.16), level);
                continue;
            }
            // The bow changes on every beat, so that each is heard; between beats some
            // notes are slurred on.
            let may_slur = !note.on_beat() && note.beats <= 0.3 && slurred_run < 2;
            let slurred = note.slurred || (may_slur && self.dice.chance(0.3));
            if slurred {
                self.join(at);
            }
            slurred_run = if slurred { slurred_run + 1 } else { 0 };
            let drone = self.drone(note, held);
            let even = self.tune.kind() == Kind::Reel && note.on_beat();
            if even && (0.45..0.55).contains(&note.beats) && self.dice.chance(0.15) {
                self.bowed_triplet(beat, at, pitch, level);
                continue;
            }
            self.add(
                at,
                Sound::Bow {
                    pitch,
                    seconds: seconds * if held { 1.0 } else { 0.88 },
                    level,
                    slurred,
                    drone,
                },
            );
        }
    }

    /// Lets the stroke before go on until the slurred note at `at`.
    fn join(&mut self, at: f64) {
        if let Some(last) = self.events.last_mut()
            && let Sound::Bow { seconds, .. } = &mut last.sound
        {
            *seconds = at - last.at + 0.02;
        }
    }

    /// A quarter note played as two quick notes and one twice as long.
    fn bowed_triplet(&mut self, beat: f64, at: f64, pitch: f64, level: f32) {
        let whole = self.span(beat, 0.5);
        for (from, length, weight) in [(0.0, 0.22, 1.0), (0.25, 0.22, 0.7), (0.5, 0.46, 0.85)] {
            self.add(
                at + whole * from,
                Sound::Bow {
                    pitch,
                    seconds: whole * length,
                    level: level * weight,
                    slurred: false,
                    drone: None,
                },
            );
        }
    }

    /// An open string to sound along, where it fits the chord.
    fn drone(&mut self, note: &Note, held: bool) -> Option<f64> {
        if !held && (!note.on_beat() || !self.dice.chance(0.3)) {
            return None;
        }
        let chord = self.tune.chord_at(note.beat.max(0.0))?;
        OPEN.iter()
            .filter(|open| chord.holds(**open))
            .find(|open| (3..=12).contains(&(i16::from(note.pitch) - i16::from(**open)).abs()))
            .map(|open| f64::from(*open))
    }

    /// Dancers' feet: a few near every beat, 35 ms about it.
    fn feet(&mut self) {
        let mut dice = Dice::new(self.settings.seed, 3);
        for beat in 0..self.tune.beats() * self.settings.times {
            for _ in 0..3 {
                let at = self.grid.at(f64::from(beat)) + dice.bell(0.035);
                let level = (self.settings.noise * dice.between(0.3, 1.0)) as f32;
                self.add(at, Sound::Foot { level });
            }
        }
    }
}
