//! Small wordings that the screen and the plain lines share.

use crate::report::tempo::Steadiness;
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// From here on a beat or phrase is called sure.
const SURE: f32 = 0.9;
/// From here on it is called fairly sure.
const FAIRLY_SURE: f32 = 0.7;
/// A tempo this near to the wanted one is as wanted, steps per minute.
const NEAR: f64 = 1.5;

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

/// The same as a row of three marks, so that it can be told at a glance.
pub(super) fn sure_marks(sure: Option<f32>) -> &'static str {
    match sure {
        None => "○○○",
        Some(sure) if sure >= SURE => "●●●",
        Some(sure) if sure >= FAIRLY_SURE => "●●○",
        Some(_) => "●○○",
    }
}

/// A tempo against the one that the dance wants, both in steps per minute.
pub fn tempo_words(now: f64, wanted: Option<f64>) -> String {
    let Some(wanted) = wanted else {
        return String::new();
    };
    let off = now - wanted;
    if off.abs() < NEAR {
        format!("= as wanted, {wanted:.0}")
    } else if off > 0.0 {
        format!("▲ {off:.0} above {wanted:.0}")
    } else {
        format!("▼ {:.0} below {wanted:.0}", -off)
    }
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
        "{way}: drift {:+.1} ± {:.1} a minute, spread {:.1}",
        drift.value, drift.error, steady.spread
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
        assert_eq!(tempo_words(114.0, None), "");
        assert_eq!(tempo_words(115.0, Some(116.0)), "= as wanted, 116");
        assert_eq!(tempo_words(113.8, Some(116.0)), "▼ 2 below 116");
        assert_eq!(tempo_words(121.0, Some(116.0)), "▲ 5 above 116");
        let words: Vec<_> = [None, Some(0.2), Some(0.7), Some(0.95)]
            .map(sure_words)
            .into();
        assert_eq!(words, ["listening…", "not sure yet", "fairly sure", "sure"]);
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
