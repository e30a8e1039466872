//! Drawings for the page, as SVG: black on white, told apart by pattern and letter.

use maud::{Markup, html};

use super::Rehearsal;
use crate::caller::{Limits, Scored, Verdict};

/// Width of all drawings, in the drawing's own units; on paper they are as wide as the
/// text.
const WIDTH: f64 = 760.0;
/// Beats drawn before a time through, for the prompt of its first figure.
const BEFORE: f64 = 6.0;
/// Height of a time through.
const LANE: f64 = 46.0;
/// Width for names at the left.
const LEFT: f64 = 44.0;

/// The letter of a verdict; none for what needs no word.
pub(super) fn letter(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Good => "",
        Verdict::Ahead => "a",
        Verdict::Early => "E",
        Verdict::Late => "L",
        Verdict::Missed => "?",
        Verdict::Faded => "·",
    }
}

/// The pattern of a verdict's bar.
fn fill(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Good => "#333",
        Verdict::Ahead => "#888",
        Verdict::Early => "url(#dots)",
        Verdict::Late => "url(#stripes)",
        Verdict::Missed | Verdict::Faded => "none",
    }
}

/// Patterns that survive a black and white printer; once a page.
pub(super) fn patterns() -> Markup {
    html! {
        svg width="0" height="0" style="position:absolute" aria-hidden="true" {
            defs {
                pattern id="stripes" width="5" height="5" patternUnits="userSpaceOnUse"
                    patternTransform="rotate(45)" {
                    rect width="5" height="5" fill="#fff" {}
                    rect width="2.6" height="5" fill="#000" {}
                }
                pattern id="dots" width="4" height="4" patternUnits="userSpaceOnUse" {
                    rect width="4" height="4" fill="#fff" {}
                    circle cx="2" cy="2" r="1.1" fill="#000" {}
                }
            }
        }
    }
}

/// The beats of each time through, with each prompt as a bar against its window.
pub(super) fn timeline(rehearsal: &Rehearsal) -> Markup {
    let score = &rehearsal.score;
    let form = f64::from(score.form);
    let times = score.by_time().len();
    let step = (WIDTH - LEFT - 12.0) / (BEFORE + form);
    let x = move |beat: f64| LEFT + (beat + BEFORE) * step;
    let top = 34.0;
    let height = top + LANE * times as f64 + 8.0;
    let limits = rehearsal.limits();
    html! {
        svg.plot viewBox={ "0 0 " (WIDTH) " " (height) } role="img"
            aria-label="Each prompt as a bar along the beats of each time through" {
            @for (n, figure) in rehearsal.card.figures().iter().enumerate() {
                @let at = x(f64::from(figure.start_beat));
                text.number x=(at) y="26" text-anchor="middle" { (n + 1) }
            }
            @for phrase in 0..=(score.form / 8) {
                @let at = x(f64::from(8 * phrase));
                @let strong = phrase % 2 == 0;
                line x1=(at) x2=(at) y1="30" y2=(height - 8.0)
                    stroke=(if strong { "#555" } else { "#bbb" }) stroke-width="1" {}
                @if let (true, Some(part)) = (strong, part(8 * phrase, score.form)) {
                    text.part x=(at) y="12" text-anchor="middle" { (part) }
                }
            }
            @for time in 1..=times as u32 {
                @let y = top + LANE * f64::from(time - 1);
                text x="0" y=(y + 25.0) { "time " (time) }
                line x1=(LEFT) x2=(WIDTH - 12.0) y1=(y + LANE - 6.0) y2=(y + LANE - 6.0)
                    stroke="#bbb" stroke-width="1" {}
                @for scored in score.figures.iter().filter(|f| f.time_through == time) {
                    (prompt(scored, form, &x, y, limits))
                }
            }
        }
    }
}

fn part(beat: u32, form: u32) -> Option<&'static str> {
    (beat < form)
        .then(|| crate::phrase::Part::from_index((beat / 16) as u8))
        .flatten()
        .map(|p| p.name())
}

/// One figure's window, and its prompt's bar.
fn prompt(scored: &Scored, form: f64, x: &impl Fn(f64) -> f64, y: f64, limits: &Limits) -> Markup {
    let begin = form * f64::from(scored.time_through - 1);
    let one = scored.beat as f64 - begin;
    let window = (x(one - limits.good), x(one));
    html! {
        rect x=(window.0) y=(y + 4.0) width=(window.1 - window.0) height="32" fill="#eee"
            stroke="#777" stroke-width="0.8" {}
        line x1=(window.1) x2=(window.1) y1=(y + 1.0) y2=(y + 39.0) stroke="#000"
            stroke-width="1.8" {}
        @match &scored.spoken {
            Some(spoken) => {
                @let from = x((spoken.start_beat - begin).max(-BEFORE));
                @let to = x(spoken.end_beat - begin);
                rect x=(from) y=(y + 13.0) width=((to - from).max(3.0)) height="12"
                    fill=(fill(scored.verdict)) stroke="#000" stroke-width="0.8" {
                    title {
                        (scored.name) ": " (super::line(scored))
                    }
                }
                @if !letter(scored.verdict).is_empty() {
                    text.letter x=(to + 7.0) y=(y + 36.0) text-anchor="middle" {
                        (letter(scored.verdict))
                    }
                }
            }
            None => {
                text.letter x=(window.0 - 2.0) y=(y + 24.0) text-anchor="end" {
                    (letter(scored.verdict))
                }
            }
        }
    }
}

/// Width of a histogram's bar, beats, and its range.
const BIN: f64 = 0.25;
const LOWEST: f64 = -2.0;
const HIGHEST: f64 = 4.0;

/// How many prompts had which lead.
pub(super) fn histogram(rehearsal: &Rehearsal) -> Markup {
    let limits = rehearsal.limits();
    let bins = ((HIGHEST - LOWEST) / BIN) as usize;
    let mut counts = vec![0u32; bins];
    for spoken in rehearsal.score.figures.iter().filter_map(|f| f.spoken) {
        let at = ((spoken.lead - LOWEST) / BIN).floor();
        counts[(at.max(0.0) as usize).min(bins - 1)] += 1;
    }
    let most = counts.iter().copied().max().unwrap_or(0).max(1);
    let (width, height, bottom) = (370.0, 190.0, 150.0);
    // Late is at the right, as time goes.
    let x = |lead: f64| 20.0 + (HIGHEST - lead) / (HIGHEST - LOWEST) * (width - 40.0);
    let wide = (width - 40.0) / bins as f64;
    let verdict = |lead: f64| match lead {
        l if l < -limits.late => Verdict::Late,
        l if l < limits.good => Verdict::Good,
        l if l < limits.early => Verdict::Ahead,
        _ => Verdict::Early,
    };
    html! {
        svg.plot.half viewBox={ "0 0 " (width) " " (height) } role="img"
            aria-label="How many prompts ended how many beats ahead" {
            rect x=(x(limits.good)) y="14" width=(x(0.0) - x(limits.good))
                height=(bottom - 14.0) fill="#eee" {}
            @for (n, count) in counts.iter().enumerate().filter(|(_, c)| **c > 0) {
                @let lead = LOWEST + BIN * n as f64;
                @let tall = (bottom - 34.0) * f64::from(*count) / f64::from(most);
                rect x=(x(lead + BIN)) y=(bottom - tall) width=(wide - 1.0) height=(tall)
                    fill=(fill(verdict(lead + BIN / 2.0))) stroke="#000" stroke-width="0.8" {}
                text x=(x(lead + BIN / 2.0)) y=(bottom - tall - 3.0) text-anchor="middle" {
                    (count)
                }
            }
            line x1="14" x2=(width - 14.0) y1=(bottom) y2=(bottom) stroke="#000" {}
            line x1=(x(0.0)) x2=(x(0.0)) y1="10" y2=(bottom + 4.0) stroke="#000"
                stroke-width="1.8" {}
            @for beat in LOWEST as i32..=HIGHEST as i32 {
                text x=(x(f64::from(beat))) y=(bottom + 15.0) text-anchor="middle" {
                    (if beat < 0 { format!("−{}", -beat) } else { beat.to_string() })
                }
            }
            text x=(x(HIGHEST)) y=(bottom + 32.0) { "← earlier" }
            text x=(width / 2.0) y=(bottom + 32.0) text-anchor="middle" {
                "beats ahead of the figure"
            }
            text x=(x(LOWEST)) y=(bottom + 32.0) text-anchor="end" { "late →" }
        }
    }
}

/// Share of good prompts, and lead with its spread, from session to session.
pub(super) fn trend(all: &[Rehearsal]) -> Markup {
    let (width, height) = (370.0, 190.0);
    let (top, bottom) = (14.0, 150.0);
    let last = all.len().saturating_sub(1).max(1) as f64;
    let x = |n: usize| 56.0 + n as f64 / last * (width - 84.0);
    let y = |share: f64| bottom - share * (bottom - top);
    let line: Vec<String> = all
        .iter()
        .enumerate()
        .map(|(n, r)| format!("{:.1},{:.1}", x(n), y(r.sum().share())))
        .collect();
    html! {
        svg.plot.half viewBox={ "0 0 " (width) " " (height) } role="img"
            aria-label="Share of good prompts from session to session" {
            @for percent in [0, 25, 50, 75, 100] {
                @let at = y(f64::from(percent) / 100.0);
                line x1="34" x2=(width - 10.0) y1=(at) y2=(at) stroke="#ccc" {}
                text x="30" y=(at + 4.0) text-anchor="end" { (percent) }
            }
            polyline points=(line.join(" ")) fill="none" stroke="#000" stroke-width="1.5" {}
            @for (n, rehearsal) in all.iter().enumerate() {
                @let sum = rehearsal.sum();
                circle cx=(x(n)) cy=(y(sum.share())) r="3.5" fill="#000" {
                    title {
                        (rehearsal.session.name) ": " (rehearsal.card.title())
                    }
                }
                @if all.len() <= 12 {
                    text x=(x(n)) y=(bottom + 15.0) text-anchor="middle" {
                        (crate::report::signed(sum.lead))
                    }
                }
            }
            text x="30" y=(bottom + 15.0) text-anchor="end" { "lead" }
            text x=(width / 2.0) y=(bottom + 32.0) text-anchor="middle" {
                "% good, session by session; below, the mean lead in beats"
            }
        }
    }
}
