//! Small wordings that the screen and the plain lines share.

use crate::phrase::Form;
use crate::report::signed;
use crate::report::tempo::Steadiness;
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// From here on a beat or phrase is called sure.
const SURE: f32 = 0.9;
/// From here on it is called fairly sure.
const FAIRLY_SURE: f32 = 0.7;

/// `seconds` as minutes and seconds, `m:ss`; `-` if that is no time.
pub fn clock(seconds: f64) -> String {
    if !(seconds.is_finite() && seconds >= 0.0) {
        return "-".to_owned();
    }
    let whole = seconds as u64;
    format!("{}:{:02}", whole / 60, whole % 60)
}

/// How sure the program is, in words; `None` is no phrase at all.
pub fn sure_words(sure: Option<f32>) -> &'static str {
    match sure {
        None => "listening…",
        Some(sure) if sure >= SURE => "sure",
        Some(sure) if sure >= FAIRLY_SURE => "fairly sure",
        Some(_) => "not sure yet",
    }
}

/// What to say when the tune has another form than was told: with a dance, that goes
/// on; without one, parts have no name that is sure.
pub fn form_words(other: Option<Form>, dance: bool) -> String {
    let Some(beats) = other.map(Form::beats) else {
        return "the tune comes round as told again".to_owned();
    };
    match dance {
        true => format!(
            "the tune seems to come round every {beats} beats: the dance goes on in its own form"
        ),
        false => format!(
            "the tune seems to come round every {beats} beats: its parts are not sure (--form {beats}?)"
        ),
    }
}

/// A share, 0 to 1, as a row of `marks` marks. Anything above nothing has a mark, and
/// only the whole has them all.
pub(super) fn bar(share: f32, marks: usize) -> String {
    let share = if share.is_finite() {
        share.clamp(0.0, 1.0)
    } else {
        0.0
    };
    // A sure phrase is hardly ever given more than 0.98.
    let full = (share * marks as f32 + 0.02 * marks as f32).floor() as usize;
    let full = full.max(usize::from(share > 0.0)).min(marks);
    format!("{}{}", "▮".repeat(full), "▯".repeat(marks - full))
}

/// Drift and spread in words.
pub fn steady_words(steady: &Steadiness) -> String {
    let drift = steady.drift;
    // Less than twice its own standard error is no finding.
    let way = match drift.value {
        d if d.abs() < (2.0 * drift.error).max(0.05) => "steady",
        d if d > 0.0 => "getting faster",
        _ => "getting slower",
    };
    format!(
        "{way}: drift {} ± {:.1} a minute, spread {:.1}",
        signed(drift.value),
        drift.error,
        steady.spread
    )
}

/// `text` cut to `width` columns, with `…` where something is left out, and
/// without characters that could steer a terminal.
pub(super) fn fit(text: &str, width: usize) -> String {
    let clean: String = text.chars().filter(|c| !c.is_control()).collect();
    if clean.width() <= width {
        return clean;
    }
    let mut kept = String::new();
    let mut used = 1;
    for c in clean.chars() {
        used += c.width().unwrap_or(0);
        if used > width {
            break;
        }
        kept.push(c);
    }
    if width > 0 {
        kept.push('…');
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_for_times_tempi_and_doubt() {
        assert_eq!(clock(0.0), "0:00");
        assert_eq!(clock(59.99), "0:59");
        assert_eq!(clock(3725.0), "62:05");
        assert_eq!(clock(f64::NAN), "-");
        assert_eq!(clock(-0.5), "-");
        let words: Vec<_> = [None, Some(0.2), Some(0.7), Some(0.95)]
            .map(sure_words)
            .into();
        assert_eq!(words, ["listening…", "not sure yet", "fairly sure", "sure"]);
    }

    #[test]
    fn a_bar_is_as_full_as_its_share() {
        let bars = [f32::NAN, 0.0, 0.01, 0.5, 0.9, 0.99, 2.0].map(|share| bar(share, 4));
        let full = bars.map(|bar| bar.chars().filter(|c| *c == '▮').count());
        assert_eq!(full, [0, 0, 1, 2, 3, 4, 4]);
        assert_eq!(bar(0.95, 10), "▮▮▮▮▮▮▮▮▮▯");
    }

    #[test]
    fn drift_is_told_only_where_there_is_one() {
        use crate::report::tempo::Estimate;
        let say = |value, error| {
            steady_words(&Steadiness {
                drift: Estimate { value, error },
                spread: 0.6,
            })
        };
        assert_eq!(
            say(2.04, 0.5),
            "getting faster: drift +2.0 ± 0.5 a minute, spread 0.6"
        );
        assert!(say(-2.0, 0.5).starts_with("getting slower"));
        assert!(say(-2.0, 1.5).starts_with("steady"));
        assert!(say(0.04, 0.0).starts_with("steady"));
    }

    #[test]
    fn long_words_are_cut_by_columns() {
        assert_eq!(fit("circle left", 11), "circle left");
        assert_eq!(fit("circle left", 7), "circle…");
        assert_eq!(fit("日本語", 5), "日本…");
        assert_eq!(fit("日本語", 4), "日…");
        assert_eq!(fit("abc", 0), "");
        assert_eq!(fit("a\u{1b}[2Jb", 9), "a[2Jb");
    }
}
