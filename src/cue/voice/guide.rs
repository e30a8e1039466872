//! Through recording a list of calls, one after the other: what is asked, and
//! what happens on each answer. It knows no device, no file and no clock.

use super::take::{Take, Verdict};

/// What the caller wants.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wish {
    /// Whatever comes next: begin, end the recording, keep what is good.
    Go,
    /// Hear what was recorded.
    Hear,
    /// Record it again.
    Again,
    /// Keep what was recorded, good or not.
    Keep,
    /// Leave these words out.
    Skip,
    /// Stop here.
    Quit,
}

/// What is to be done now.
#[derive(Debug, Clone, PartialEq)]
pub enum Next {
    /// Ask for the words: which, the how manyth from 1, of how many.
    Ask(String, usize, usize),
    /// It records: say so.
    Record,
    /// Tell how the recording is, and ask whether to keep it.
    Judge(Verdict),
    /// Play this, and ask again.
    Play(Vec<f32>),
    /// Keep this as the recording of these words.
    Save(String, Vec<f32>),
    /// There is nothing recorded to hear or keep: say so.
    Nothing,
    /// All is done.
    End,
}

/// Where it is.
#[derive(Debug)]
enum Stage {
    Asked,
    Recording(Take),
    Judged(Verdict, Vec<f32>),
    Ended,
}

/// Guides through a list of words.
#[derive(Debug)]
pub struct Guide {
    words: Vec<String>,
    at: usize,
    rate: u32,
    stage: Stage,
    kept: usize,
}

impl Guide {
    /// Through `words`, recorded at `rate` samples a second; and what is to be
    /// done first.
    pub fn new(words: Vec<String>, rate: u32) -> (Self, Next) {
        let mut guide = Guide {
            words,
            at: 0,
            rate,
            stage: Stage::Asked,
            kept: 0,
        };
        let first = guide.ask();
        (guide, first)
    }

    /// How many were kept.
    pub fn kept(&self) -> usize {
        self.kept
    }

    /// How many are still to be recorded.
    pub fn left(&self) -> usize {
        self.words.len() - self.at
    }

    /// Whether what comes from the microphone is wanted now.
    pub fn records(&self) -> bool {
        matches!(self.stage, Stage::Recording(_))
    }

    /// Takes sound from the microphone; says so when the words are over.
    pub fn hear(&mut self, samples: &[f32]) -> Option<Next> {
        match &mut self.stage {
            Stage::Recording(take) => take.push(samples).then(|| self.judge()),
            _ => None,
        }
    }

    /// Does what the caller wants; hands back what is to be done, in order.
    pub fn wish(&mut self, wish: Wish) -> Vec<Next> {
        let stage = std::mem::replace(&mut self.stage, Stage::Ended);
        match (stage, wish) {
            (Stage::Ended, _) => vec![Next::End],
            (_, Wish::Quit) => vec![Next::End],
            (_, Wish::Skip) => {
                self.at += 1;
                vec![self.ask()]
            }
            (Stage::Asked, Wish::Go | Wish::Again) | (Stage::Judged(..), Wish::Again) => {
                vec![self.record()]
            }
            (Stage::Recording(_), Wish::Again) => vec![self.record()],
            (Stage::Recording(take), Wish::Go | Wish::Keep | Wish::Hear) => {
                self.stage = Stage::Recording(take);
                vec![self.judge()]
            }
            // What is no good is not kept by a mere Enter.
            (Stage::Judged(Verdict::Silent | Verdict::Clipped(_), _), Wish::Go) => {
                vec![self.record()]
            }
            (Stage::Judged(verdict, sound), Wish::Go | Wish::Keep)
                if verdict != Verdict::Silent =>
            {
                let words = self.words[self.at].clone();
                self.kept += 1;
                self.at += 1;
                vec![Next::Save(words, sound), self.ask()]
            }
            (Stage::Judged(verdict, sound), Wish::Hear) if verdict != Verdict::Silent => {
                self.stage = Stage::Judged(verdict, sound.clone());
                vec![Next::Play(sound)]
            }
            (stage, Wish::Go | Wish::Hear | Wish::Keep) => {
                self.stage = stage;
                vec![Next::Nothing]
            }
        }
    }

    fn ask(&mut self) -> Next {
        match self.words.get(self.at) {
            Some(words) => {
                self.stage = Stage::Asked;
                Next::Ask(words.clone(), self.at + 1, self.words.len())
            }
            None => {
                self.stage = Stage::Ended;
                Next::End
            }
        }
    }

    fn record(&mut self) -> Next {
        self.stage = Stage::Recording(Take::new(self.rate));
        Next::Record
    }

    fn judge(&mut self) -> Next {
        let stage = std::mem::replace(&mut self.stage, Stage::Ended);
        let Stage::Recording(take) = stage else {
            return Next::End;
        };
        let (verdict, sound) = take.finish();
        self.stage = Stage::Judged(verdict.clone(), sound);
        Next::Judge(verdict)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const RATE: u32 = 8_000;

    fn guide(words: &[&str]) -> (Guide, Next) {
        Guide::new(words.iter().map(|w| (*w).to_owned()).collect(), RATE)
    }

    fn said() -> Vec<f32> {
        let silence = vec![0.0; RATE as usize];
        let words: Vec<f32> = (0..RATE as usize / 2)
            .map(|n| 0.2 * ((n % 60) as f32 / 30.0 - 1.0))
            .collect();
        [silence.clone(), words, silence.clone(), silence].concat()
    }

    fn ask(words: &str, n: usize, of: usize) -> Next {
        Next::Ask(words.into(), n, of)
    }

    #[test]
    fn from_the_first_words_to_the_last() {
        let (mut guide, first) = guide(&["swing", "star"]);
        assert_eq!(first, ask("swing", 1, 2));
        assert_eq!(guide.hear(&said()), None, "nobody has asked for it yet");
        assert_eq!(guide.wish(Wish::Go), [Next::Record]);
        assert!(guide.records());
        let judged = guide.hear(&said()).unwrap();
        assert!(matches!(judged, Next::Judge(Verdict::Good(s)) if (s - 0.5).abs() < 0.05));
        assert!(!guide.records());
        let played = guide.wish(Wish::Hear);
        let [Next::Play(sound)] = &played[..] else {
            panic!("{played:?}");
        };
        let kept = guide.wish(Wish::Go);
        assert_eq!(
            kept,
            [Next::Save("swing".into(), sound.clone()), ask("star", 2, 2)]
        );
        assert_eq!((guide.kept(), guide.left()), (1, 1));
        assert_eq!(guide.wish(Wish::Skip), [Next::End]);
        assert_eq!((guide.kept(), guide.left()), (1, 0));
        assert_eq!(guide.wish(Wish::Go), [Next::End]);
    }

    #[test]
    fn a_recording_can_be_ended_by_hand_and_made_again() {
        let (mut guide, _) = guide(&["swing"]);
        guide.wish(Wish::Go);
        assert_eq!(guide.hear(&said()[..RATE as usize * 3 / 2]), None);
        let judged = guide.wish(Wish::Go);
        assert!(
            matches!(judged[..], [Next::Judge(Verdict::Good(_))]),
            "{judged:?}"
        );
        assert_eq!(guide.wish(Wish::Again), [Next::Record]);
        assert_eq!(
            guide.wish(Wish::Again),
            [Next::Record],
            "a slip of the tongue"
        );
        let judged = guide.hear(&said());
        assert!(matches!(judged, Some(Next::Judge(Verdict::Good(_)))));
        assert_eq!(guide.wish(Wish::Quit), [Next::End]);
        assert_eq!((guide.kept(), guide.left()), (0, 1));
    }

    #[test]
    fn silence_is_never_kept() {
        let (mut guide, _) = guide(&["swing"]);
        assert_eq!(guide.wish(Wish::Hear), [Next::Nothing]);
        assert_eq!(guide.wish(Wish::Keep), [Next::Nothing]);
        guide.wish(Wish::Go);
        assert_eq!(guide.wish(Wish::Go), [Next::Judge(Verdict::Silent)]);
        assert_eq!(guide.wish(Wish::Keep), [Next::Nothing]);
        assert_eq!(guide.wish(Wish::Hear), [Next::Nothing]);
        assert_eq!(guide.wish(Wish::Go), [Next::Record], "it is tried again");
    }

    #[test]
    fn what_is_distorted_is_kept_only_by_name() {
        let (mut guide, _) = guide(&["swing"]);
        let loud: Vec<f32> = said().iter().map(|s| (20.0 * s).clamp(-1.0, 1.0)).collect();
        guide.wish(Wish::Go);
        let judged = guide.hear(&loud);
        assert!(matches!(judged, Some(Next::Judge(Verdict::Clipped(_)))));
        assert_eq!(guide.wish(Wish::Go), [Next::Record]);
        guide.hear(&loud);
        let kept = guide.wish(Wish::Keep);
        assert!(matches!(kept[..], [Next::Save(..), Next::End]), "{kept:?}");
    }

    #[test]
    fn an_empty_list_is_done_at_once() {
        assert_eq!(guide(&[]).1, Next::End);
    }

    proptest! {
        #[test]
        fn whatever_is_wished_no_words_are_asked_twice_or_saved_unasked(
            wishes in prop::collection::vec(0u8..7, 0..40)
        ) {
            let (mut guide, first) = guide(&["a", "b", "c"]);
            let mut asked = vec![first];
            let mut saved = 0;
            for wish in wishes {
                let wish = match wish {
                    0 => Wish::Go,
                    1 => Wish::Hear,
                    2 => Wish::Again,
                    3 => Wish::Keep,
                    4 => Wish::Skip,
                    5 => Wish::Quit,
                    _ => {
                        guide.hear(&said());
                        continue;
                    }
                };
                for next in guide.wish(wish) {
                    match next {
                        Next::Ask(..) => asked.push(next),
                        Next::Save(words, _) => {
                            saved += 1;
                            let is_last = matches!(asked.last(), Some(Next::Ask(w, ..)) if *w == words);
                            prop_assert!(is_last);
                        }
                        _ => {}
                    }
                }
            }
            prop_assert_eq!(guide.kept(), saved);
            let mut once = asked.clone();
            once.dedup();
            prop_assert_eq!(once, asked);
        }
    }
}
