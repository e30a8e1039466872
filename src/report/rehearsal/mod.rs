//! What a rehearsal says: in the terminal, as a page, and for other programs.

mod export;
mod page;
mod plots;
mod text;

use crate::caller::session::{Session, SessionError};
use crate::caller::{Score, Sum};
use crate::dance::Card;

pub use export::{csv, json};
pub use page::page;
pub use text::{line, progress, text};

/// A session, its dance and its score.
pub struct Rehearsal {
    /// What was rehearsed and heard.
    pub session: Session,
    /// The dance.
    pub card: Card,
    /// How it went.
    pub score: Score,
}

impl Rehearsal {
    /// Scores a session.
    ///
    /// # Errors
    /// If its card cannot be read.
    pub fn of(session: Session) -> Result<Self, SessionError> {
        let (card, score) = (session.card()?, session.score()?);
        Ok(Rehearsal {
            session,
            card,
            score,
        })
    }

    fn limits(&self) -> &crate::caller::Limits {
        &self.session.header.limits
    }

    /// What to do next time.
    pub fn advice(&self) -> Vec<String> {
        crate::caller::advice(&self.card, &self.score, self.limits())
    }

    /// The dance, the tune and its tempo: one line.
    pub fn title(&self) -> String {
        let header = &self.session.header;
        format!(
            "{}, to {}, {:.0} steps per minute",
            self.card.title(),
            header.tune,
            header.grid.steps_per_minute()
        )
    }

    /// When it was and how prompts were heard, and how far that is to be trusted.
    pub fn circumstances(&self) -> String {
        use crate::caller::session::{Heard, moment};
        let header = &self.session.header;
        let heard = match header.heard {
            Heard::Microphone => "heard through a microphone",
            Heard::Recording => "heard in a recording",
            Heard::Taps => "ends tapped by hand: each is late or early by your own reaction",
        };
        let mut told = format!("{} UTC, {heard}", moment(header.began));
        if let Some(softened) = self.session.ending.and_then(|e| e.softened) {
            told += &format!(", {}", softened_words(softened));
        }
        match self.session.ending.map_or(0, |e| e.gaps) {
            0 => {}
            1 => told += ", a gap in the sound",
            n @ 2..=5 => told += &format!(", {n} gaps in the sound"),
            n => told += &format!(", {n} gaps in the sound: unsure, close other programs"),
        }
        let voices: Vec<f64> = self
            .session
            .prompts
            .iter()
            .map(|p| f64::from(p.sure))
            .collect();
        if header.heard != Heard::Taps && !voices.is_empty() {
            let sure = voices.iter().sum::<f64>() / voices.len() as f64;
            told += match sure {
                s if s >= 0.8 => "; voice clear",
                s if s >= 0.65 => "; voice fairly clear",
                _ => "; voice unclear: trust single figures little",
            };
        }
        if self.session.ending.is_none() {
            told += "; broke off before its end";
        }
        told
    }

    /// The whole in sum.
    pub fn sum(&self) -> Sum {
        self.score.whole()
    }
}

/// How well the playback could be taken out of what the microphone heard. (From 10 dB on
/// ends were right within 10 ms on the median where the band was as loud as the voice:
/// `cargo bench --bench prompts`.)
fn softened_words(decibels: f32) -> String {
    match decibels {
        d if d >= 10.0 => format!("the band softened by {d:.0} dB"),
        d if d >= 3.0 => {
            format!("the band softened by only {d:.0} dB: unsure if it was loud, use headphones")
        }
        _ => "the band hardly heard".to_owned(),
    }
}

/// `183` or `−342` milliseconds.
fn ms(milliseconds: f64) -> String {
    format!("{milliseconds:.0}").replace('-', "−")
}

#[cfg(test)]
mod tests;
