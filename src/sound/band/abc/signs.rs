//! Keys, metres and chord names: the small words of the notation.

use super::super::tune::Chord;

/// Ticks in a whole note: divides by 128 and by 9, so dots, broken rhythm and
/// triplets of the shortest notes in use come out whole.
pub(super) const WHOLE: u32 = 11_520;

/// Bar and beat of a metre.
#[derive(Debug, Clone, Copy)]
pub(super) struct Meter {
    /// Ticks in a bar.
    pub bar: u32,
    /// Ticks in a dancer's step.
    pub beat: u32,
}

/// The metres of dance music; two steps to a bar in all of them (common practice).
pub(super) fn meter(text: &str) -> Option<Meter> {
    match text {
        "C|" | "C" | "4/4" | "2/2" => Some(Meter {
            bar: WHOLE,
            beat: WHOLE / 2,
        }),
        "2/4" => Some(Meter {
            bar: WHOLE / 2,
            beat: WHOLE / 4,
        }),
        "6/8" => Some(Meter {
            bar: WHOLE * 3 / 4,
            beat: WHOLE * 3 / 8,
        }),
        _ => None,
    }
}

/// Semitones above C of a note letter in upper case.
pub(super) fn natural(letter: char) -> Option<u8> {
    Some(match letter {
        'C' => 0,
        'D' => 2,
        'E' => 4,
        'F' => 5,
        'G' => 7,
        'A' => 9,
        'B' => 11,
        _ => return None,
    })
}

/// A note name such as `F#` at the start of `text`: semitones above C, and what follows it.
fn tonic(text: &str) -> Option<(i32, &str)> {
    let first = text.chars().next()?;
    let pitch = i32::from(natural(first)?);
    let rest = &text[first.len_utf8()..];
    Some(if let Some(rest) = rest.strip_prefix('#') {
        (pitch + 1, rest)
    } else if let Some(rest) = rest.strip_prefix('b') {
        (pitch - 1, rest)
    } else {
        (pitch, rest)
    })
}

/// The key signature: for each letter A to G, sharps (+1) or flats (-1).
///
/// Modes as in the abc standard v2.1, section 3.1.14.
pub(super) fn key(text: &str) -> Option<[i8; 7]> {
    let (pitch, mode) = tonic(text.trim())?;
    // Fifths from the major key on the same tonic.
    let shift = match mode.trim().to_ascii_lowercase().as_str() {
        "" | "maj" | "major" | "ion" => 0,
        "m" | "min" | "minor" | "aeo" => -3,
        "dor" | "dorian" => -2,
        "mix" | "mixolydian" => -1,
        "lyd" | "lydian" => 1,
        "phr" | "phrygian" => -4,
        _ => return None,
    };
    // Seven fifths make a semitone: 7 is its own inverse modulo 12.
    let mut fifths = (pitch * 7).rem_euclid(12);
    if fifths > 6 || (fifths == 6 && text.contains('b')) {
        fifths -= 12;
    }
    fifths += shift;
    if !(-7..=7).contains(&fifths) {
        return None;
    }
    let mut signs = [0; 7];
    for i in 0..fifths.unsigned_abs() as usize {
        let order = if fifths > 0 { "FCGDAEB" } else { "BEADGCF" };
        let letter = order.as_bytes()[i];
        signs[usize::from(letter - b'A')] = if fifths > 0 { 1 } else { -1 };
    }
    Some(signs)
}

/// A chord name: `G`, `Am`, `F#m`, `D7`, `Em7`, `Bb`.
pub(super) fn chord(text: &str) -> Option<Chord> {
    let (root, rest) = tonic(text)?;
    let (minor, seventh) = match rest {
        "" => (false, false),
        "7" => (false, true),
        "m" => (true, false),
        "m7" => (true, true),
        _ => return None,
    };
    Some(Chord {
        root: root.rem_euclid(12) as u8,
        minor,
        seventh,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn signatures_of_common_keys() {
        let sharps = |k: &str| key(k).unwrap().iter().map(|&s| i32::from(s)).sum::<i32>();
        for (k, n) in [
            ("C", 0),
            ("G", 1),
            ("D", 2),
            ("A", 3),
            ("E", 4),
            ("F", -1),
            ("Bb", -2),
            ("Eb", -3),
            ("Am", 0),
            ("Em", 1),
            ("F#m", 3),
            ("Dm", -1),
            ("Ador", 1),
            ("Edor", 2),
            ("Amix", 2),
            ("Gb", -6),
            ("F#", 6),
        ] {
            assert_eq!(sharps(k), n, "{k}");
        }
        assert_eq!(key("D").unwrap(), [0, 0, 1, 0, 0, 1, 0]);
        assert!(key("H").is_none() && key("Gfoo").is_none());
    }

    #[test]
    fn chord_names() {
        let c = chord("F#m").unwrap();
        assert_eq!((c.root, c.minor, c.seventh), (6, true, false));
        assert_eq!(chord("Bb7").unwrap().tones(), &[0, 4, 7, 10]);
        assert!(chord("Gsus").is_none() && chord("").is_none());
        assert!(chord("Am").unwrap().holds(60) && !chord("A").unwrap().holds(60));
    }
}
