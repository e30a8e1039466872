//! A rehearsal as a page that holds all it needs: for the screen and for paper.

use maud::{Markup, html};

use super::super::page::document;
use super::plots::{histogram, letter, patterns, timeline, trend};
use super::{Rehearsal, ms};
use crate::caller::{Sum, fading, planned};
use crate::report::signed;

const STYLE: &str = "
@page { size: A4; margin: 14mm }
* { box-sizing: border-box }
body { font-size: 10pt; line-height: 1.4; color: #000; background: #fff;
  max-width: 190mm; margin: 8mm auto; padding: 0 4mm }
h1 { font-size: 20pt; margin: 0 } h2 { font-size: 13pt; margin: 6mm 0 1mm; break-after: avoid }
p { margin: 1mm 0 } .small { font-size: 9pt; color: #333 }
.sum { display: flex; gap: 9mm; margin: 4mm 0; padding: 2.5mm 0; border-top: 2px solid #000;
  border-bottom: 1px solid #000 }
.sum div { line-height: 1.15 } .sum b { display: block; font-size: 17pt }
ul { margin: 1mm 0; padding-left: 5mm } li { margin: .6mm 0 }
table { border-collapse: collapse; width: 100%; font-size: 9.5pt; break-inside: avoid }
th, td { padding: .7mm 2mm; border-bottom: 1px solid #bbb; text-align: right;
  font-variant-numeric: tabular-nums; white-space: nowrap }
th { border-bottom: 1.5px solid #000; font-weight: normal }
th.l, td.l { text-align: left; white-space: normal }
td.bad { font-weight: bold }
.plot { width: 100%; height: auto; display: block; break-inside: avoid }
.plot text { font-size: 11px } .plot .number { font-weight: bold }
.plot .part { font-size: 10px } .plot .letter { font-size: 12px; font-weight: bold }
.pair { display: flex; gap: 4mm; break-inside: avoid } .pair > div { flex: 1; max-width: 50% }
@media print { body { margin: 0; padding: 0; max-width: none } }
";

/// The page of a rehearsal; `before` are the sessions up to and with it, for the trend.
pub fn page(rehearsal: &Rehearsal, before: &[Rehearsal]) -> String {
    let sum = rehearsal.sum();
    let limits = rehearsal.limits();
    document(
        &format!("Rehearsal: {}", rehearsal.card.title()),
        &[STYLE],
        "",
        html! {
            (patterns())
            h1 { (rehearsal.card.title()) }
            p { "To " (rehearsal.session.header.tune) ", "
                (format!("{:.0}", rehearsal.session.header.grid.steps_per_minute()))
                " steps per minute" }
            p.small { (rehearsal.circumstances()) }
            (headline(&sum))
            h2 { "Next time" }
            ul { @for advice in rehearsal.advice() { li { (advice) } } }
            h2 { "Where each prompt lay" }
            (timeline(rehearsal))
            p.small {
                "A dark bar is a prompt. It should end in the grey window before the thick "
                "line, the figure's first beat. Numbers are those of the table. "
                b { "L" } " striped: late. " b { "E" } " dotted: early, more than "
                (limits.early) " beats ahead. " b { "a" } " grey: a little ahead. "
                b { "?" } " missed. " b { "·" } " left out on purpose."
            }
            div.pair {
                div { h2 { "How far ahead" } (histogram(rehearsal)) }
                @if before.len() > 1 {
                    div { h2 { "Over the sessions" } (trend(before)) }
                }
            }
            (figures(rehearsal))
            (times(rehearsal))
            p.small {
                "A prompt is good if it is over at most " (limits.good) " beat ahead of its "
                "figure and no later than "
                @if limits.late > 0.0 { (limits.late) " beats after " } @else { "on " }
                "its first beat; one a little ahead counts as good too. Silence after time " (limits.full) " counts as fading."
            }
        },
    )
    .into_string()
}

fn headline(sum: &Sum) -> Markup {
    html! {
        div.sum {
            div { b { (format!("{:.0} %", 100.0 * sum.share())) }
                (sum.good) " of " (sum.wanted) " good" }
            div { b { (sum.late) } "late" }
            div { b { (sum.early) } "early" }
            div { b { (sum.missed) } "missed" }
            @if sum.given > 0 {
                div { b { (signed(sum.lead)) } "beats ahead, ± " (format!("{:.1}", sum.spread)) }
            }
            @if sum.pace > 0.0 {
                div { b { (format!("{:.1}", sum.pace)) } "syllables a second" }
            }
        }
    }
}

fn figures(rehearsal: &Rehearsal) -> Markup {
    let score = &rehearsal.score;
    let times: Vec<u32> = score
        .by_time()
        .iter()
        .map(|(time, _)| *time)
        .take(6)
        .collect();
    html! {
        h2 { "Figure by figure" }
        table {
            tr {
                th.l { "" } th.l { "part" } th.l { "figure" }
                @for time in &times { th { "time " (time) } }
                th { "mean" } th { "ms" } th { "length" } th { "pace" }
            }
            @for (n, sum) in score.by_figure() {
                @if let Some(figure) = rehearsal.card.figures().get(n) {
                    tr {
                        td.l { b { (n + 1) } } td.l { (figure.part.name()) }
                        td.l { (figure.name) }
                        @for time in &times {
                            @let of = score.figures.iter()
                                .find(|f| f.figure == n && f.time_through == *time);
                            @if let Some(of) = of {
                                td.bad[!matches!(letter(of.verdict), "" | "a" | "·")] {
                                    (letter(of.verdict)) " "
                                    @if let Some(s) = of.spoken { (signed(s.lead)) }
                                    @if of.spoke_over { " o" }
                                    @if of.again > 0 { " ×" (of.again + 1) }
                                }
                            } @else { td {} }
                        }
                        @if sum.given > 0 {
                            td { (signed(sum.lead)) } td { (ms(sum.lead_ms)) }
                            td { (format!("{:.1} s", sum.seconds)) }
                            td { @if sum.pace > 0.0 { (format!("{:.1}", sum.pace)) } }
                        } @else { td {} td {} td {} td {} }
                    }
                }
            }
        }
        p.small {
            "Beats ahead of the figure (− after its first beat). o: spoke over the figure "
            "before. ×2: said twice. Pace in syllables a second."
        }
    }
}

fn times(rehearsal: &Rehearsal) -> Markup {
    let times = rehearsal.score.by_time();
    let plan = rehearsal.limits().plan();
    html! {
        h2 { "Time by time" }
        table {
            tr {
                th.l { "" } th { "good" } th { "late" } th { "early" } th { "missed" }
                th { "faded" } th { "lead" } th { "length" } th { "pace" } th.l { "words" }
                th.l { "planned" }
            }
            @for (time, sum) in &times {
                tr {
                    td.l { "time " (time) }
                    td { (sum.good) " of " (sum.wanted) } td { (sum.late) } td { (sum.early) }
                    td { (sum.missed) } td { (sum.faded) }
                    @if sum.given > 0 {
                        td { (signed(sum.lead)) } td { (format!("{:.1} s", sum.seconds)) }
                        td { @if sum.pace > 0.0 { (format!("{:.1}", sum.pace)) } }
                    } @else { td {} td {} td {} }
                    td.l { (fading(&times[0].1, sum).name()) }
                    td.l { (planned(plan.wording(*time))) }
                }
            }
        }
    }
}
