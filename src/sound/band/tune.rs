//! A tune as the band reads it: melody and chords, laid out in beats.

use std::fmt;

/// What is danced to the tune, which sets its beat and its lilt.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// Even running notes, four to a beat.
    Reel,
    /// Three notes to a beat.
    Jig,
    /// Dotted pairs, four notes to a beat.
    Hornpipe,
    /// Squarer than a reel, written in 2/4 or cut time.
    March,
}

impl Kind {
    /// The word dancers use, in lower case.
    pub fn name(self) -> &'static str {
        match self {
            Kind::Reel => "reel",
            Kind::Jig => "jig",
            Kind::Hornpipe => "hornpipe",
            Kind::March => "march",
        }
    }

    /// The kind called `name`, in any case.
    pub fn from_name(name: &str) -> Option<Self> {
        [Kind::Reel, Kind::Jig, Kind::Hornpipe, Kind::March]
            .into_iter()
            .find(|k| k.name().eq_ignore_ascii_case(name.trim()))
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// A backup chord.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Chord {
    /// Root as a pitch class, 0 for C to 11 for B.
    pub root: u8,
    /// Whether the third is minor.
    pub minor: bool,
    /// Whether a minor seventh is added.
    pub seventh: bool,
}

impl Chord {
    /// Semitones above the root, from the root up.
    pub fn tones(self) -> &'static [u8] {
        match (self.minor, self.seventh) {
            (false, false) => &[0, 4, 7],
            (false, true) => &[0, 4, 7, 10],
            (true, false) => &[0, 3, 7],
            (true, true) => &[0, 3, 7, 10],
        }
    }

    /// Whether `pitch` (MIDI number) is a tone of this chord, in any octave.
    pub fn holds(self, pitch: u8) -> bool {
        let above = (pitch + 120 - self.root) % 12;
        self.tones().contains(&above)
    }
}

/// A melody note.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Note {
    /// Onset in beats from the tune's first "one"; pickup notes are negative.
    pub beat: f64,
    /// Length in beats.
    pub beats: f64,
    /// MIDI note number (60 is middle C).
    pub pitch: u8,
    /// Whether the note is slurred on from the one before.
    pub slurred: bool,
}

impl Note {
    /// Whether the note starts on a beat.
    pub fn on_beat(&self) -> bool {
        (self.beat - self.beat.round()).abs() < 1e-6
    }
}

/// A tune, repeats written out: one time through.
#[derive(Debug, Clone, PartialEq)]
pub struct Tune {
    pub(super) name: String,
    pub(super) title: String,
    pub(super) kind: Kind,
    pub(super) key: String,
    pub(super) meter: String,
    pub(super) beats: u32,
    pub(super) pickup: f64,
    pub(super) notes: Vec<Note>,
    pub(super) chords: Vec<(f64, Chord)>,
}

impl Tune {
    /// The file name without its ending, e.g. `boots-on-the-fender`.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The title as written in the file.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// Reel, jig, hornpipe or march.
    pub fn kind(&self) -> Kind {
        self.kind
    }

    /// The key as written, e.g. `Ador`.
    pub fn key(&self) -> &str {
        &self.key
    }

    /// The metre as written, e.g. `6/8`.
    pub fn meter(&self) -> &str {
        &self.meter
    }

    /// Beats in one time through, repeats included.
    pub fn beats(&self) -> u32 {
        self.beats
    }

    /// Length of the pickup before the first "one", in beats.
    pub fn pickup(&self) -> f64 {
        self.pickup
    }

    /// The melody in order of onset, from the pickup on.
    pub fn notes(&self) -> &[Note] {
        &self.notes
    }

    /// Chord changes as (beat, chord), in order.
    pub fn chords(&self) -> &[(f64, Chord)] {
        &self.chords
    }

    /// The chord sounding at `beat`; before the first change, the first chord.
    pub fn chord_at(&self, beat: f64) -> Option<Chord> {
        let after = self.chords.partition_point(|(b, _)| *b <= beat + 1e-6);
        self.chords.get(after.saturating_sub(1)).map(|(_, c)| *c)
    }
}
