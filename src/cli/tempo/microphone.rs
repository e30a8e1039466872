//! Beats heard through a microphone.

use super::beats::{Beats, News};
use crate::follow::{Hearing, Told};
use crate::screen::level_words;
use crate::sound::device::Direction;
use crate::steps::Step;

use super::super::listen::Clipping;

/// A microphone, and when its sound was too loud last.
pub(super) struct Microphone {
    hearing: Hearing,
    clipping: Clipping,
}

impl Microphone {
    pub(super) fn new(hearing: Hearing) -> Self {
        Microphone {
            hearing,
            clipping: Clipping::default(),
        }
    }
}

impl Beats for Microphone {
    fn come(&mut self, steps: &mut Vec<Step>) -> anyhow::Result<bool> {
        self.hearing.beats(steps);
        Ok(true)
    }

    fn end(&mut self, steps: &mut Vec<Step>) {
        self.hearing.end(steps);
    }

    fn news(&mut self) -> Vec<News> {
        let news = |told| match told {
            Told::Opened(Direction::In, what) => Some(News::Good(format!("hearing {what}"))),
            Told::Lost(Direction::In, why) => Some(News::Bad(format!("nothing is heard: {why}"))),
            _ => None,
        };
        self.hearing.told().filter_map(news).collect()
    }

    fn level(&mut self) -> Option<String> {
        let now = self.hearing.now()?;
        let level = self.hearing.level();
        Some(level_words(level.peak, self.clipping.shown(&level, now)))
    }

    fn now(&self) -> Option<f64> {
        self.hearing.now()
    }
}
