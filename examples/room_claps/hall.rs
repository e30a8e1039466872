//! A hall in which the house band is played and people clap on one: what the
//! microphone hears, and the truth.

use eightclap::hear::claps::{RoomClaps, Stretch, room_claps};
use eightclap::sound::band::{self, Backup, Performance, Room, Settings, signals};
use eightclap::sound::clap;

/// Who claps how, and where.
#[derive(Debug, Clone)]
pub struct Hall {
    pub tune: &'static str,
    pub backup: Backup,
    pub room: Room,
    /// People's talk: RMS as a share of the band's usual one.
    pub crowd: f64,
    /// How many clap; nobody if 0.
    pub people: usize,
    /// Seconds: how late they clap as a group, and how far they are apart.
    pub offset: f64,
    pub spread: f64,
    /// Energy of their claps in a tenth of a second against the music's, decibels.
    pub level: f64,
    /// Gain of the program's own clap; 0 is none.
    pub own: f32,
    pub rate: u32,
    pub seed: u64,
}

impl Default for Hall {
    fn default() -> Self {
        Hall {
            tune: "boots-on-the-fender",
            backup: Backup::Piano,
            room: Room::HALL,
            crowd: 0.3,
            people: 12,
            offset: 0.0,
            spread: 0.03,
            level: 6.0,
            own: 0.0,
            rate: 44_100,
            seed: 1,
        }
    }
}

impl Hall {
    /// What is heard of the room at each one, once through the tune.
    pub fn judge(&self) -> Vec<Option<RoomClaps>> {
        let tune = band::tune(self.tune).expect("a bundled tune");
        let settings = Settings {
            steps_per_minute: 104.0,
            times: 1,
            seed: self.seed,
            backup: self.backup,
            sample_rate: self.rate,
            ..Settings::default()
        };
        let performance = Performance::new(tune, settings).expect("good settings");
        let truth = performance.truth();
        let mut played = performance.render();
        let rate = f64::from(self.rate);
        let energy = |sound: &[f32]| sound.iter().map(|x| f64::from(x * x)).sum::<f64>();
        let music = energy(&played) / played.len() as f64;
        let own = clap::group(self.rate);
        for one in truth.phrases.iter().filter(|_| self.own > 0.0) {
            let at = (one * rate).round() as usize;
            for (y, x) in played[at..].iter_mut().zip(own.iter()) {
                *y += 0.5 * self.own * x;
            }
        }
        let mut heard = played.clone();
        let ones = truth.phrases.iter().map(|one| one + self.offset);
        let ones: Vec<f64> = ones.collect();
        let seconds = played.len() as f64 / rate;
        let mut claps = signals::clapping(
            &ones,
            seconds,
            self.rate,
            self.people,
            self.spread,
            self.seed,
        );
        if self.people > 0 {
            let each = energy(&claps) / ones.len() as f64 / (0.1 * rate);
            let gain = (music * 10f64.powf(self.level / 10.0) / each).sqrt() as f32;
            claps.iter_mut().for_each(|x| *x *= gain);
        }
        heard.iter_mut().zip(&claps).for_each(|(y, x)| *y += x);
        signals::in_room(&mut heard, &self.room, self.rate);
        let talk = signals::babble(seconds, self.rate, 0.1 * self.crowd as f32, self.seed);
        heard.iter_mut().zip(&talk).for_each(|(y, x)| *y += x);
        // A microphone has a gain of its own.
        heard.iter_mut().for_each(|y| *y *= 0.3);

        let beat = (truth.beats[63] - truth.beats[0]) / 63.0;
        let judge = |one: &f64| {
            // As live: what came before, and half a beat more.
            let from = ((one - 7.6 * beat).max(0.0) * rate) as usize;
            let to = ((one + 0.55 * beat) * rate) as usize;
            room_claps(&Stretch {
                heard: &heard[from..to],
                played: &played[from..to],
                rate: self.rate,
                one: one - from as f64 / rate,
                beat,
            })
        };
        truth.phrases.iter().map(judge).collect()
    }
}
