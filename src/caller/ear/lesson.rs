//! What the filter hears of the playback before anything is heard through it: its
//! beginning, to know the room, and what comes after a shift, to know by how much.

use super::super::echo::{BLOCK, Removal};
use super::super::pace::PAST;
use super::{Ear, PLAYS, power};

/// Blocks of playback that are enough to know the room: 6 s; and after the playback has
/// shifted beside what is heard: 2 s.
const ROOM: usize = 375;
const AGAIN: usize = 125;
/// Blocks after such a shift in which the filter still remembers what was before it: 0.35 s.
const DEAF: usize = 22;

/// Blocks of playback that are heard beforehand.
#[derive(Debug)]
pub(super) struct Lesson {
    /// How many are enough.
    enough: usize,
    /// Blocks that wait to be learned from, those among them that are playback, whether
    /// they are enough, how many were learned from, and whether that is done.
    counted: usize,
    playing: usize,
    whole: bool,
    learned: usize,
    over: bool,
}

impl Default for Lesson {
    fn default() -> Self {
        Lesson::of(ROOM)
    }
}

impl Lesson {
    fn of(enough: usize) -> Self {
        Lesson {
            enough,
            counted: 0,
            playing: 0,
            whole: false,
            learned: 0,
            over: false,
        }
    }

    /// Counts the first `all` blocks of what is `played`, until they are enough, or the
    /// `last` that there will be.
    fn count(&mut self, played: &[f32], all: usize, last: bool) {
        while self.counted < all {
            let block = &played[self.counted * BLOCK..(self.counted + 1) * BLOCK];
            self.playing += usize::from(power(block) > PLAYS);
            self.counted += 1;
            // Where nothing is played for long there is nothing to learn.
            let silent = self.counted - self.playing;
            if self.playing >= self.enough || silent > self.enough {
                self.whole = true;
                break;
            }
        }
        self.whole |= last;
    }
}

impl Ear {
    /// Whether nothing can be heard yet, since the filter has not heard enough beforehand;
    /// `most` blocks are heard in a call.
    pub(super) fn learns(&mut self, over: bool, most: usize) -> bool {
        self.removal == Removal::Adaptive && !self.lesson.over && !self.teach(over, most)
    }

    /// The playback has shifted: it has to be heard beforehand anew.
    pub(super) fn begin_lesson(&mut self) {
        self.lesson = Lesson::of(if self.taught { AGAIN } else { ROOM });
        self.deaf = DEAF;
    }

    /// The room is known, but what is played has shifted: puts that right if it is clear by
    /// how much. Else the room has to be learned anew.
    fn move_playback(&mut self, blocks: usize) -> bool {
        let (heard, played) = (&self.waiting.0, &mut self.waiting.1);
        let mut beside = vec![0.0; blocks * BLOCK];
        for (block, out) in beside.as_chunks_mut().0.iter_mut().enumerate() {
            self.pace.read(played, block, out);
        }
        match self.canceller.shifted(&heard[..beside.len()], &beside) {
            None => {
                self.canceller.doubt();
                false
            }
            Some(later) if later < 0 => {
                let sooner = (later.unsigned_abs() as usize).min(played.len() - PAST);
                played.drain(..sooner);
                true
            }
            Some(later) => {
                played.splice(..0, std::iter::repeat_n(0.0, later as usize));
                true
            }
        }
    }

    /// Lets the filter hear the beginning of the playback beforehand, once enough of it
    /// waits: with the room known from the start, the first prompts are as good as the
    /// others. Tells whether that is done; `most` blocks are heard in a call.
    fn teach(&mut self, over: bool, most: usize) -> bool {
        // Beyond the next shift another room is heard.
        let next = self.shifts.front().copied().unwrap_or(usize::MAX);
        let all = self.blocks().min(next);
        let lesson = &mut self.lesson;
        if !lesson.whole {
            lesson.count(&self.waiting.1[PAST..], all, over || all == next);
            if !lesson.whole {
                return false;
            }
            let counted = lesson.counted;
            if self.taught && self.move_playback(counted) {
                self.lesson.over = true;
                return true;
            }
        }
        let (heard, beside) = (&self.waiting.0, &self.waiting.1);
        let lesson = &mut self.lesson;
        let end = (lesson.learned + most.min(lesson.counted)).min(lesson.counted);
        let (mut left, mut played) = ([0.0; BLOCK], [0.0; BLOCK]);
        for block in lesson.learned..end {
            let heard = &heard[block * BLOCK..(block + 1) * BLOCK];
            self.pace.read(beside, block, &mut played);
            let played = &played;
            self.canceller.block(heard, played, &mut left);
            if !self.taught {
                // How much of the band is left is known beforehand, too.
                self.framer.push(&left, played, 0.0, &mut self.fresh);
                self.fresh.clear();
            }
            lesson.learned += 1;
        }
        lesson.over = lesson.learned == lesson.counted;
        if lesson.over && !self.taught {
            self.framer.rewind();
            // The filter knows where the echo is at the lesson's end.
            let learned = lesson.learned * BLOCK;
            let (heard, played) = (&heard[..learned], &beside[PAST..PAST + learned]);
            if let Some((later, drift)) = self.canceller.later(heard, played) {
                self.pace.begin(later, drift);
            }
            self.taught = lesson.playing >= AGAIN;
        }
        lesson.over
    }
}
