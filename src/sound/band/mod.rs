//! The house band: plays the bundled tunes, and knows when each beat was.
//!
//! The demo, the tests and the benches need dance music whose beats are known
//! exactly. A [`Tune`] is read from a small text file, a [`Performance`] decides
//! who plays what when (with the small errors of people), and a [`Player`] turns
//! that into sound while it is listened to, much faster than real time.
//! Everything follows from the seed.
//!
//! ```
//! use eightclap::sound::band::{self, Performance, Settings};
//! let tune = band::tune("boots-on-the-fender").expect("bundled");
//! let settings = Settings { times: 1, sample_rate: 8000, ..Settings::default() };
//! let performance = Performance::new(tune, settings)?;
//! let truth = performance.truth();
//! assert_eq!((truth.beats.len(), truth.lead_in.len()), (64, 4));
//! let mut block = [0.0; 256];
//! assert_eq!(performance.player().next_block(&mut block), 256);
//! # Ok::<(), band::SettingsError>(())
//! ```

use std::sync::LazyLock;

mod abc;
mod crowd;
mod dice;
mod grid;
mod player;
mod room;
mod score;
mod settings;
pub mod signals;
mod tune;
mod voice;

pub use abc::{AbcError, parse};
pub use dice::Dice;
pub use grid::{PartStart, Truth};
pub use player::Player;
pub use settings::{Backup, Lead, LeadIn, Room, Settings, SettingsError};
pub use tune::{Chord, Kind, Note, Tune};

use grid::Grid;
use score::{Event, Sound};

/// Names and texts of the bundled tunes, all written for this project.
const BUNDLED: [(&str, &str); 5] = [
    (
        "kettle-on-the-landing",
        include_str!("../../../fixtures/tunes/kettle-on-the-landing.abc"),
    ),
    (
        "boots-on-the-fender",
        include_str!("../../../fixtures/tunes/boots-on-the-fender.abc"),
    ),
    (
        "lamplighters-ladder",
        include_str!("../../../fixtures/tunes/lamplighters-ladder.abc"),
    ),
    (
        "ferry-committee",
        include_str!("../../../fixtures/tunes/ferry-committee.abc"),
    ),
    (
        "three-geese-late",
        include_str!("../../../fixtures/tunes/three-geese-late.abc"),
    ),
];

/// The bundled tunes: two reels, a jig, a hornpipe and a march, each 64 beats, AABB.
pub fn tunes() -> &'static [Tune] {
    static TUNES: LazyLock<Vec<Tune>> = LazyLock::new(|| {
        let read = |(name, text)| match parse(name, text) {
            Ok(tune) => tune,
            // Part of the program, and read by its tests: not a user's input.
            Err(error) => panic!("bundled tune: {error}"),
        };
        BUNDLED.into_iter().map(read).collect()
    });
    &TUNES
}

/// The bundled tune called `name`: its file name or its title, in any case.
pub fn tune(name: &str) -> Option<&'static Tune> {
    tunes()
        .iter()
        .find(|t| t.name.eq_ignore_ascii_case(name) || t.title.eq_ignore_ascii_case(name))
}

/// A tune as it will be played: every note of every player, and the beats.
#[derive(Debug, Clone)]
pub struct Performance {
    settings: Settings,
    events: Vec<Event>,
    truth: Truth,
    seconds: f64,
}

impl Performance {
    /// Rehearses `tune` under `settings`.
    ///
    /// # Errors
    /// If a setting is out of its range.
    pub fn new(tune: &Tune, settings: Settings) -> Result<Self, SettingsError> {
        settings.check(tune.beats())?;
        let mut grid = Grid::new(&settings, tune.beats());
        if settings.start_beat == 0 {
            let first = match settings.lead_in {
                LeadIn::None => -tune.pickup(),
                _ => -f64::from(grid::LEAD_IN_BEATS),
            };
            grid.shift(settings.silence - grid.at(first));
        } else {
            // Begin somewhere in the beat before, as a hand on a button would.
            let ahead = Dice::new(settings.seed, 4).between(0.05, 0.45);
            grid.shift(ahead - grid.at(f64::from(settings.start_beat)));
        }
        let events = score::write(tune, &settings, &grid);
        let over = events
            .iter()
            .map(|e| e.at + seconds_of(&e.sound))
            .fold(0.0, f64::max);
        let tail = if settings.room.wet > 0.0 {
            settings.room.rt60
        } else {
            0.0
        };
        Ok(Performance {
            truth: Truth::new(tune, &settings, &grid),
            seconds: over + tail + 0.5,
            settings,
            events,
        })
    }

    /// When the beats, phrases and parts are.
    pub fn truth(&self) -> &Truth {
        &self.truth
    }

    /// What was asked for.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Length of the sound in seconds.
    pub fn seconds(&self) -> f64 {
        self.seconds
    }

    /// Starts to play: mono samples at the settings' rate, as they are asked for.
    pub fn player(&self) -> Player {
        Player::new(&self.events, &self.settings, self.seconds)
    }

    /// The whole sound: mono samples at the settings' rate, none beyond ±0.5.
    pub fn render(&self) -> Vec<f32> {
        let mut player = self.player();
        let mut out = vec![0.0; player.remaining() as usize];
        player.next_block(&mut out);
        out
    }
}

/// How long a sound is held, without its dying away.
fn seconds_of(sound: &Sound) -> f64 {
    match *sound {
        Sound::Bow { seconds, .. } | Sound::Pluck { seconds, .. } | Sound::Key { seconds, .. } => {
            seconds
        }
        Sound::Click { .. } | Sound::Foot { .. } => 0.1,
    }
}

#[cfg(test)]
mod tests;
