//! A rehearsal in plain lines.

use std::fmt::Write;

use unicode_width::UnicodeWidthStr;

use super::{Rehearsal, ms};
use crate::caller::{Scored, Sum, Verdict, fading, planned};
use crate::report::signed;

/// Columns of a figure's name.
const NAME: usize = 34;
/// Columns of one time through.
const CELL: usize = 8;
/// Times through that are shown one by one.
const MOST: usize = 6;

/// One prompt as it is scored: a line while the rehearsal goes on.
pub fn line(scored: &Scored) -> String {
    match &scored.spoken {
        None => format!("{}: {}", scored.name, scored.verdict.name()),
        Some(spoken) => {
            let when = match spoken.lead < 0.0 {
                true => format!(
                    "{:.1} beats ({:.0} ms) after its first beat",
                    -spoken.lead, -spoken.lead_ms
                ),
                false => format!("{:.1} beats ({:.0} ms) ahead", spoken.lead, spoken.lead_ms),
            };
            format!("{}: {}, over {when}", scored.name, scored.verdict.name())
        }
    }
}

/// The whole report in plain lines.
pub fn text(rehearsal: &Rehearsal) -> String {
    let mut out = String::new();
    let score = &rehearsal.score;
    let whole = rehearsal.sum();
    let times = score.by_time();
    let shown = times.len().min(MOST);
    // Writing to a string does not fail.
    let _ = writeln!(out, "{}", rehearsal.title());
    let _ = writeln!(out, "{}", rehearsal.circumstances());
    let _ = writeln!(out);
    let _ = writeln!(
        out,
        "Beats from the end of each prompt to its figure; L late, E early, -- missed, . faded"
    );
    let _ = write!(out, "{:NAME$}", "");
    for (time, _) in &times[..shown] {
        let _ = write!(out, "{:>CELL$}", format!("time {time}"));
    }
    let _ = writeln!(out, "{:>CELL$}{:>9}", "mean", "ms");
    for (n, sum) in score.by_figure() {
        let Some(figure) = rehearsal.card.figures().get(n) else {
            continue;
        };
        let name = format!("{} {}", figure.part.name(), figure.name);
        let _ = write!(out, "{}", padded(&name));
        for (time, _) in &times[..shown] {
            let of = score
                .figures
                .iter()
                .find(|f| f.figure == n && f.time_through == *time);
            let _ = write!(out, "{:>CELL$}", of.map_or(String::new(), cell));
        }
        match sum.given {
            0 => {
                let _ = writeln!(out);
            }
            _ => {
                let _ = writeln!(out, "{:>CELL$}{:>9}", signed(sum.lead), ms(sum.lead_ms));
            }
        }
    }
    let _ = writeln!(out);
    let plan = rehearsal.limits().plan();
    for (time, sum) in &times {
        let _ = writeln!(
            out,
            "time {time}: {}; {}, planned: {}",
            sums(sum),
            fading(&times[0].1, sum).name(),
            planned(plan.wording(*time))
        );
    }
    let _ = writeln!(out, "in all: {}", sums(&whole));
    if whole.given > 0 {
        let _ = writeln!(
            out,
            "lead {} ± {:.1} beats{}",
            signed(whole.lead),
            whole.spread,
            // Taps have neither.
            match whole.pace > 0.0 {
                true => format!(
                    ", prompts {:.1} s long, {:.1} syllables a second",
                    whole.seconds, whole.pace
                ),
                false => String::new(),
            }
        );
    }
    if !score.strays.is_empty() {
        let _ = writeln!(out, "said beside the figures: {}", score.strays.len());
    }
    let _ = writeln!(out);
    for advice in rehearsal.advice() {
        let _ = writeln!(out, "* {advice}");
    }
    out
}

/// `8 of 9 good (89 %), 1 late`.
fn sums(sum: &Sum) -> String {
    if sum.wanted == 0 {
        return "no prompts wanted".to_owned();
    }
    let mut told = format!(
        "{} of {} good ({:.0} %)",
        sum.good,
        sum.wanted,
        100.0 * sum.share()
    );
    for (n, word) in [
        (sum.late, "late"),
        (sum.early, "early"),
        (sum.missed, "missed"),
        (sum.faded, "faded"),
    ] {
        if n > 0 {
            let _ = write!(told, ", {n} {word}");
        }
    }
    told
}

fn cell(scored: &Scored) -> String {
    let lead = scored
        .spoken
        .as_ref()
        .map_or(String::new(), |s| signed(s.lead));
    match scored.verdict {
        Verdict::Good | Verdict::Ahead => lead,
        Verdict::Late => format!("L{lead}"),
        Verdict::Early => format!("E{lead}"),
        Verdict::Missed => "--".to_owned(),
        Verdict::Faded => ".".to_owned(),
    }
}

/// Exactly [`NAME`] columns.
fn padded(name: &str) -> String {
    let mut cut = name.to_owned();
    while cut.width() >= NAME {
        cut = cut
            .chars()
            .take(cut.chars().count().saturating_sub(2))
            .collect();
        cut.push('…');
    }
    let spaces = NAME - cut.width();
    cut + &" ".repeat(spaces)
}

/// All sessions, the oldest first, a line each.
pub fn progress(all: &[Rehearsal]) -> String {
    let mut out = String::new();
    for rehearsal in all {
        let sum = rehearsal.sum();
        let full = (10.0 * sum.share()).round() as usize;
        let bar = "▮".repeat(full) + &"▯".repeat(10_usize.saturating_sub(full));
        let lead = match sum.given {
            0 => "no prompts".to_owned(),
            _ => format!("lead {} ± {:.1} beats", signed(sum.lead), sum.spread),
        };
        let _ = writeln!(
            out,
            "{:22} {:28} {:>3.0} % good {bar} {lead}",
            rehearsal.session.name,
            rehearsal.card.title().chars().take(28).collect::<String>(),
            100.0 * sum.share(),
        );
    }
    if let [first, .., last] = all {
        let (before, now) = (first.sum(), last.sum());
        let _ = writeln!(
            out,
            "from the first to the last of {}: good {:.0} → {:.0} %, spread {:.1} → {:.1} beats",
            all.len(),
            100.0 * before.share(),
            100.0 * now.share(),
            before.spread,
            now.spread
        );
    }
    out
}
