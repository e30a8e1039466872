//! The chords: bass on the beat, chord off it.

use super::{Desk, Plucked, Sound};
use crate::sound::band::settings::Backup;
use crate::sound::band::tune::{Chord, Kind};

impl Desk<'_> {
    /// One time through the chords.
    pub(super) fn backup(&mut self, time: u32) {
        if self.settings.backup == Backup::None {
            return;
        }
        let tune = self.tune;
        let start = f64::from(time * tune.beats());
        let last_time = time + 1 == self.settings.times;
        let jig = tune.kind() == Kind::Jig;
        let off = if jig { 2.0 / 3.0 } else { 0.5 };
        for beat in 0..tune.beats() {
            let within = f64::from(beat);
            let Some(chord) = tune.chord_at(within) else {
                return;
            };
            let at = self.at(start + within, 0.6);
            let seconds = self.span(start + within, 0.5);
            let phrase_end = beat % 8 == 7;
            let bass = self.bass(chord, within, phrase_end);
            if last_time && beat + 1 == tune.beats() && self.settings.hold_final {
                self.boom(at, bass, seconds * 6.0, 1.0);
                self.chord(at, chord, seconds * 5.5, false, 0.85);
                continue;
            }
            let accent = if beat % 2 == 0 { 1.0 } else { 0.9 };
            self.boom(at, bass, seconds * 1.05, accent);
            let chuck = self.at(start + within + off, 0.6);
            self.chord(
                chuck,
                chord,
                seconds * if jig { 0.5 } else { 0.62 },
                false,
                0.72,
            );
            if self.settings.backup == Backup::Guitar && !jig && self.dice.chance(0.5) {
                let up = self.at(start + within + 0.75, 0.8);
                self.chord(up, chord, seconds * 0.35, false, 0.42);
            }
        }
    }

    /// The bass note for a beat: root and fifth in turn; at the end of a phrase it
    /// leads by a step into the next root.
    fn bass(&mut self, chord: Chord, beat: f64, phrase_end: bool) -> u8 {
        let low = |class: u8| 34 + (class + 120 - 34 % 12) % 12;
        let root = low(chord.root % 12);
        let next = self.tune.chord_at(beat + 1.0).map(|c| low(c.root % 12));
        let odd = (beat as u32) % 2 == 1;
        match next {
            Some(next) if phrase_end && odd && next != root => {
                if next > root {
                    next - 2
                } else {
                    next + 2
                }
            }
            _ if odd && root > 39 => root - 5,
            _ if odd => root + 7,
            _ => root,
        }
    }

    fn boom(&mut self, at: f64, bass: u8, seconds: f64, accent: f64) {
        let level = self.level(accent);
        let pitch = f64::from(bass);
        if self.settings.backup == Backup::Guitar {
            self.pluck(at, Plucked::Bass, pitch, seconds, level);
        } else {
            self.key(at, pitch, seconds, level);
            let octave = at + self.dice.between(0.0, 0.004);
            self.key(octave, pitch + 12.0, seconds, level * 0.7);
        }
    }

    /// A key of the piano, `pitch` as in MIDI, held for `seconds`.
    fn key(&mut self, at: f64, pitch: f64, seconds: f64, level: f32) {
        self.add(
            at,
            Sound::Key {
                pitch,
                seconds,
                level,
            },
        );
    }

    /// A chord in the middle of the keyboard, or strummed.
    pub(super) fn chord(&mut self, at: f64, chord: Chord, seconds: f64, full: bool, accent: f64) {
        let guitar = self.settings.backup == Backup::Guitar && !full;
        let floor = if guitar { 50 } else { 55 };
        let mut pitches: Vec<u8> = chord
            .tones()
            .iter()
            .map(|tone| floor + (chord.root + tone + 120 - floor % 12) % 12)
            .collect();
        pitches.sort_unstable();
        if guitar {
            pitches.push(pitches[0] + 12);
        }
        if full {
            pitches.insert(0, pitches[0] - 12);
        }
        for (i, pitch) in pitches.into_iter().enumerate() {
            let level = self.level(accent);
            let pitch = f64::from(pitch);
            if guitar {
                self.pluck(
                    at + 0.006 * i as f64,
                    Plucked::Guitar,
                    pitch,
                    seconds,
                    level,
                );
            } else {
                let at = at + self.dice.between(0.0, 0.005);
                self.key(at, pitch, seconds, level);
            }
        }
    }
}
