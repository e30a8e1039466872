//! Plays the repeats and checks that every bar adds up.

use super::scan::{Bar, Item};
use super::signs::{Meter, WHOLE};
use super::{Fault, Place};
use crate::sound::band::tune::{Chord, Note};

/// The bars in the order in which they are played.
pub(super) fn unroll(bars: &[Bar]) -> Result<Vec<&Bar>, Fault> {
    for (i, bar) in bars.iter().enumerate() {
        let next = bars.get(i + 1).and_then(|b| b.ending);
        let first_is_over = bar.ending == Some(1) && next != Some(1);
        if first_is_over && (next != Some(2) || !bar.repeats) {
            return Err((
                bar.at,
                "a first ending must end with :| and a second ending follow".into(),
            ));
        }
        let before = i.checked_sub(1).and_then(|i| bars[i].ending);
        if bar.ending == Some(2) && before.is_none() {
            return Err((bar.at, "a second ending without a first".into()));
        }
    }
    let (mut played, mut part_start, mut pass, mut i) = (Vec::new(), 0, 1, 0);
    while let Some(bar) = bars.get(i) {
        if bar.opens && pass == 1 {
            part_start = i;
        }
        if bar.ending.is_some_and(|e| e != pass) {
            i += 1;
            continue;
        }
        played.push(bar);
        if bar.repeats && pass == 1 {
            (pass, i) = (2, part_start);
            continue;
        }
        i += 1;
        let second_is_over = bar.ending == Some(2) && bars.get(i).and_then(|b| b.ending) != Some(2);
        if bar.repeats || second_is_over {
            (pass, part_start) = (1, i);
        }
    }
    Ok(played)
}

/// The tune in beats.
pub(super) struct Laid {
    pub beats: u32,
    pub pickup: f64,
    pub notes: Vec<Note>,
    pub chords: Vec<(f64, Chord)>,
}

/// Adds the bars up and puts their notes on the beats.
pub(super) fn lay_out(played: &[&Bar], meter: &Meter) -> Result<Laid, Fault> {
    let (pickup, last) = check(played, meter)?;
    let total: u32 = played.iter().map(|b| b.ticks).sum();
    if !total.is_multiple_of(meter.beat) {
        return Err((last, "the tune does not end on a beat".into()));
    }
    let beat = f64::from(meter.beat);
    let (mut notes, mut chords) = (Vec::<Note>::new(), Vec::<(f64, Chord)>::new());
    let (mut now, mut tie): (u32, Option<(Place, u8)>) = (0, None);
    for (place, item) in played.iter().flat_map(|bar| &bar.items) {
        let at = (f64::from(now) - f64::from(pickup)) / beat;
        match *item {
            Item::Chord(chord) => chords.push((at, chord)),
            Item::Note {
                pitch,
                ticks,
                tied,
                slurred,
            } => {
                let beats = f64::from(ticks) / beat;
                match (tie.take(), pitch) {
                    (Some((_, held)), Some(p)) if held == p => {
                        if let Some(last) = notes.last_mut() {
                            last.beats += beats;
                        }
                    }
                    (Some((from, _)), _) => {
                        return Err((from, "a tie must lead to the same note".into()));
                    }
                    (None, Some(pitch)) => notes.push(Note {
                        beat: at,
                        beats,
                        pitch,
                        slurred,
                    }),
                    (None, None) => {}
                }
                tie = pitch.filter(|_| tied).map(|p| (*place, p));
                now += ticks;
            }
        }
    }
    if let Some((place, _)) = tie {
        return Err((place, "a tie must lead to the same note".into()));
    }
    chords.dedup_by(|next, last| next.1 == last.1);
    Ok(Laid {
        beats: total / meter.beat,
        pickup: f64::from(pickup) / beat,
        notes,
        chords,
    })
}

/// Checks the bars; returns the pickup's ticks and the last bar's place.
///
/// A short bar may stand only where a part ends, and what comes next must fill it up.
fn check(played: &[&Bar], meter: &Meter) -> Result<(u32, Place), Fault> {
    let (mut pickup, mut filled) = (0, 0);
    let mut last = Place { line: 1, column: 1 };
    for (i, bar) in played.iter().enumerate() {
        last = bar.at;
        if i == 0 && bar.ticks < meter.bar {
            pickup = bar.ticks;
            continue;
        }
        filled += bar.ticks;
        let may_be_short = bar.ends_part || i + 1 == played.len();
        if filled > meter.bar || (filled < meter.bar && !may_be_short) {
            return Err((
                bar.at,
                format!(
                    "this bar comes to {} of a whole note, the metre asks for {}",
                    fraction(filled),
                    fraction(meter.bar)
                ),
            ));
        }
        filled %= meter.bar;
    }
    let left = meter.bar - pickup;
    if filled != left % meter.bar {
        return Err((
            last,
            format!(
                "the last bar comes to {} of a whole note; with this pickup it must be {}",
                fraction(filled),
                fraction(left)
            ),
        ));
    }
    Ok((pickup, last))
}

/// Ticks as a fraction of a whole note in lowest terms.
fn fraction(ticks: u32) -> String {
    let (mut a, mut b) = (ticks, WHOLE);
    while b > 0 {
        (a, b) = (b, a % b);
    }
    format!("{}/{}", ticks / a, WHOLE / a)
}
