//! How the band is to play.

/// A setting that the band cannot play.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("band setting {name} is {value}: use {low} to {high}")]
pub struct SettingsError {
    /// The field of [`Settings`].
    pub name: &'static str,
    /// What it was set to.
    pub value: f64,
    /// The least it may be.
    pub low: f64,
    /// The most it may be.
    pub high: f64,
}

/// Who plays the melody.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Lead {
    /// A bowed fiddle.
    #[default]
    Fiddle,
    /// A plucked mandolin: sharper onsets, short notes.
    Mandolin,
}

/// Who plays the chords.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Backup {
    /// Nobody.
    None,
    /// Boom-chuck piano: bass on the beat, chord off it.
    #[default]
    Piano,
    /// Plucked bass on the beat, guitar strums off it.
    Guitar,
}

/// The four beats before the tune.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum LeadIn {
    /// Straight into the tune.
    None,
    /// Four shuffle strokes on the fiddle: long, short, short (common practice).
    #[default]
    Fiddle,
    /// Four piano chords.
    Piano,
    /// Four clicks of a stick.
    Clicks,
}

/// The hall.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Room {
    /// Seconds in which the sound dies away by 60 dB, 0.1 to 5.
    pub rt60: f64,
    /// Level of the reverberation against the direct sound; 0 is dry, 1 as loud.
    pub wet: f64,
}

impl Room {
    /// No room at all.
    pub const DRY: Room = Room {
        rt60: 0.5,
        wet: 0.0,
    };
    /// A small hall with people in it.
    pub const SMALL: Room = Room {
        rt60: 0.7,
        wet: 0.3,
    };
    /// A large hard hall.
    pub const HALL: Room = Room {
        rt60: 1.6,
        wet: 0.9,
    };
}

/// Everything about a performance but the tune.
///
/// ```
/// use eightclap::sound::band::{Room, Settings};
/// let quick = Settings { steps_per_minute: 122.0, room: Room::HALL, ..Settings::default() };
/// assert_eq!(quick.times, 3);
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Mean tempo in steps (beats) a minute, 60 to 200.
    pub steps_per_minute: f64,
    /// Times through the tune, 1 to 64.
    pub times: u32,
    /// Every chance decision follows from this number.
    pub seed: u64,
    /// Standard deviation of each note's timing in seconds, 0 to 0.05.
    pub jitter: f64,
    /// How far the tempo wanders from its mean, as a fraction, 0 to 0.1.
    pub drift: f64,
    /// Total change of tempo from first to last beat, as a fraction, -0.3 to 0.3.
    pub speed_up: f64,
    /// How late the second of two even notes is, as a fraction of half a beat: 0 is
    /// even, 0.33 is triplets; 0 to 0.5. Reels and marches only: a hornpipe has its lilt
    /// written in, a jig needs none.
    pub swing: f64,
    /// Who plays the melody.
    pub lead: Lead,
    /// Who plays the chords.
    pub backup: Backup,
    /// The four beats before the tune.
    pub lead_in: LeadIn,
    /// Silence before the first sound, in seconds, 0.1 to 10.
    pub silence: f64,
    /// Begin just before this beat of the performance, as a late recording would;
    /// there is then no lead-in. 0 begins at the beginning.
    pub start_beat: u32,
    /// The hall.
    pub room: Room,
    /// People's talk and feet: RMS as a fraction of the band's usual RMS, 0 to 2.
    pub noise: f64,
    /// Whether the last note and chord are held.
    pub hold_final: bool,
    /// Samples a second, 8000 to 192000.
    pub sample_rate: u32,
}

impl Default for Settings {
    /// A good band in a small hall: 116 steps per minute, three times through.
    fn default() -> Self {
        Settings {
            steps_per_minute: 116.0,
            times: 3,
            seed: 1,
            jitter: 0.010,
            drift: 0.02,
            speed_up: 0.0,
            swing: 0.06,
            lead: Lead::Fiddle,
            backup: Backup::Piano,
            lead_in: LeadIn::Fiddle,
            silence: 0.8,
            start_beat: 0,
            room: Room::SMALL,
            noise: 0.02,
            hold_final: true,
            sample_rate: 44_100,
        }
    }
}

impl Settings {
    /// A metronome of a band: even tempo, no jitter, no room, no people; for tests
    /// that need times exact to the sample.
    pub fn exact() -> Self {
        Settings {
            jitter: 0.0,
            drift: 0.0,
            swing: 0.0,
            room: Room::DRY,
            noise: 0.0,
            ..Settings::default()
        }
    }

    /// Checks every range for a tune of `beats` beats.
    pub(super) fn check(&self, beats: u32) -> Result<(), SettingsError> {
        let last_start = f64::from(self.times) * f64::from(beats) - 1.0;
        for (name, value, low, high) in [
            ("steps_per_minute", self.steps_per_minute, 60.0, 200.0),
            ("times", f64::from(self.times), 1.0, 64.0),
            ("jitter", self.jitter, 0.0, 0.05),
            ("drift", self.drift, 0.0, 0.1),
            ("speed_up", self.speed_up, -0.3, 0.3),
            ("swing", self.swing, 0.0, 0.5),
            ("silence", self.silence, 0.1, 10.0),
            ("start_beat", f64::from(self.start_beat), 0.0, last_start),
            ("room.rt60", self.room.rt60, 0.1, 5.0),
            ("room.wet", self.room.wet, 0.0, 4.0),
            ("noise", self.noise, 0.0, 2.0),
            ("sample_rate", f64::from(self.sample_rate), 8e3, 192e3),
        ] {
            // Written so that NaN is refused.
            if !(value >= low && value <= high) {
                return Err(SettingsError {
                    name,
                    value,
                    low,
                    high,
                });
            }
        }
        Ok(())
    }
}
