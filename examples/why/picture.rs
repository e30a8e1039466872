//! The picture: one strip a stage, from sound at the top to the count below.

use std::ops::Range;

use eightclap::engine::Settings;
use eightclap::phrase::{PART_BEATS, PHRASE_BEATS};
use eightclap::report::measures::quantile;
use svg::Document;
use svg::node::element::{Group, Path, Rectangle, Text, Title};

use crate::Truth;
use crate::key::{key, patterns, shade};
use crate::listen::{Frame, Heard};
use crate::panel::{GREY, INK, Panel, Time, line, rimmed, words};

/// Pixels left of the time axis, for names and values.
pub const LEFT: f64 = 216.0;
/// Pixels right of it.
const RIGHT: f64 = 24.0;
/// Pixels between panels.
const GAP: f64 = 16.0;
/// Pixels a beat of the tune, in the belief's strip.
const ROW: f64 = 4.0;

pub fn draw(
    name: &str,
    heard: &Heard,
    settings: &Settings,
    truth: &Truth,
    range: Range<f64>,
) -> Document {
    let seconds = range.end - range.start;
    let time = Time {
        left: LEFT,
        scale: (1240.0 / seconds).clamp(24.0, 400.0),
        range,
    };
    let mut top = 62.0;
    let mut panel = |height: f64, values: Range<f64>| {
        let panel = Panel {
            top,
            height,
            values,
        };
        top += height + GAP;
        panel
    };
    let beats = settings.form.beats();
    let shown = |value: fn(&Frame) -> f32| -> Vec<f64> {
        points(heard, &time, |n| heard.moment(n), value)
            .iter()
            .map(|p| p.1)
            .collect()
    };
    // The crack of a recording's first sound would flatten all others: it is cut.
    let most = quantile(&shown(|f| f.rises), 0.998)
        .unwrap_or(0.0)
        .max(10.0);
    let full = |values: &[f64]| {
        let most = values.iter().copied().fold(0.0, f64::max);
        [0.1, 0.2, 0.5]
            .into_iter()
            .find(|top| most <= *top)
            .unwrap_or(1.0)
    };
    let beat_top = full(&shown(|f| f.activation.beat.max(f.activation.half)));
    let one_top = full(&shown(|f| f.activation.one.max(f.activation.part)));
    let onsets = panel(84.0, 0.0..most);
    let beat = panel(84.0, 0.0..beat_top);
    let one = panel(84.0, 0.0..one_top);
    let modes = panel(54.0, 0.0..1.0);
    let said = panel(92.0, 0.0..1.0);
    // Beat 1 is at the top.
    let belief = panel(ROW * f64::from(beats), f64::from(beats)..0.0);
    let sure = panel(64.0, 0.0..1.0);
    let bottom = sure.bottom();

    let width = time.end() + RIGHT;
    let height = bottom + 124.0;
    let mut picture = Document::new()
        .set("viewBox", (0.0, 0.0, width, height))
        .set("width", width)
        .set("height", height)
        .set("font-family", "system-ui, 'DejaVu Sans', Arial, sans-serif")
        .add(Title::new(format!("What was heard in {name}")))
        .add(patterns())
        .add(
            Rectangle::new()
                .set("width", "100%")
                .set("height", "100%")
                .set("fill", "#ffffff"),
        )
        .add(words(14.0, 26.0, name, 18.0, INK).set("font-weight", 600))
        .add(words(
            14.0,
            45.0,
            format!(
                "{:.1} s to {:.1} s of {:.1} s. Top to bottom: the sound, what the network makes of it, \
                 what was announced, and the belief behind it.",
                time.range.start,
                time.range.end,
                heard.seconds()
            ),
            11.5,
            GREY,
        ));
    picture = picture
        .add(draw_onsets(&onsets, &time, heard))
        .add(draw_beat(&beat, &time, heard))
        .add(draw_one(&one, &time, heard))
        .add(draw_modes(&modes, &time, heard))
        .add(draw_belief(&belief, &time, heard, beats))
        .add(draw_sure(&sure, &time, heard, settings));
    // Claps run through everything below and above them.
    for phrase in heard.phrases.iter().filter(|p| time.shows(p.time)) {
        let x = time.x(phrase.time);
        picture = picture.add(
            line(x, onsets.top, x, bottom, INK, 1.0)
                .set("stroke-dasharray", "5 4")
                .set("opacity", 0.7),
        );
    }
    picture = picture.add(draw_said(&said, &time, heard, truth));
    for t in time.labels() {
        let label = format!("{}", (t * 10.0).round() / 10.0);
        picture = picture
            .add(line(time.x(t), bottom, time.x(t), bottom + 5.0, GREY, 1.0))
            .add(words(time.x(t), bottom + 18.0, label, 11.0, INK).set("text-anchor", "middle"));
    }
    picture
        .add(words(
            time.left,
            bottom + 36.0,
            "time since the recording's start, seconds",
            11.5,
            INK,
        ))
        .add(key(bottom + 56.0, !truth.beats.is_empty()))
}

/// The ends and the middle of a panel's axis, which starts at 0.
fn axis(panel: &Panel) -> [(f64, String); 3] {
    [0.0, 0.5, 1.0].map(|share| {
        let value = share * panel.values.end;
        (value, value.to_string())
    })
}

/// One value a frame, as points within the picture's range.
fn points(
    heard: &Heard,
    time: &Time,
    when: impl Fn(usize) -> f64,
    value: impl Fn(&Frame) -> f32,
) -> Vec<(f64, f64)> {
    heard
        .frames
        .iter()
        .enumerate()
        .map(|(n, frame)| (when(n), f64::from(value(frame))))
        .filter(|(t, _)| time.shows(*t))
        .collect()
}

fn draw_onsets(panel: &Panel, time: &Time, heard: &Heard) -> Group {
    let rises = points(heard, time, |n| heard.window_centre(n), |f| f.rises);
    let top = (panel.values.end / 10.0).floor() * 10.0;
    let marks = [(0.0, "0".into()), (top, top.to_string())];
    let notes = [
        "sum of the bands' rises in 20 ms,",
        "natural log units; peaks cut",
    ];
    panel
        .frame(time, "Onset strength", &notes, &marks)
        .add(panel.area(time, &rises, "#6f7f8f"))
}

fn draw_beat(panel: &Panel, time: &Time, heard: &Heard) -> Group {
    let of = |value: fn(&Frame) -> f32| points(heard, time, |n| heard.moment(n), value);
    let notes = [
        "network, 0 to 1",
        "filled: a beat",
        "line: half-way off-beat",
        "dots: third off-beat",
    ];
    let third = panel
        .curve(time, &of(|f| f.activation.third), "#a03c00", 1.6)
        .set("stroke-dasharray", "1.5 2.5");
    panel
        .frame(time, "Beat", &notes, &axis(panel))
        .add(panel.area(time, &of(|f| f.activation.beat), "#6f7f8f"))
        .add(panel.curve(time, &of(|f| f.activation.half), INK, 1.0))
        .add(third)
}

fn draw_one(panel: &Panel, time: &Time, heard: &Heard) -> Group {
    let of = |value: fn(&Frame) -> f32| points(heard, time, |n| heard.moment(n), value);
    let notes = [
        "network, 0 to 1",
        "filled: a phrase begins",
        "line: a part begins",
    ];
    panel
        .frame(time, "One", &notes, &axis(panel))
        .add(panel.area(time, &of(|f| f.activation.one), "#6f7f8f"))
        .add(panel.curve(time, &of(|f| f.activation.part), INK, 1.2))
}

fn draw_modes(panel: &Panel, time: &Time, heard: &Heard) -> Group {
    let of = |value: fn(&Frame) -> f32| points(heard, time, |n| heard.moment(n), value);
    let notes = ["network, shares of 1"];
    // Stacked from the top: the uppermost is drawn first and overpainted.
    panel
        .frame(
            time,
            "Who plays",
            &notes,
            &[(0.0, "0".into()), (1.0, "1".into())],
        )
        .add(panel.area(time, &of(|_| 1.0), "url(#nobody)"))
        .add(panel.area(
            time,
            &of(|f| f.activation.tune + f.activation.lead_in),
            "url(#leading)",
        ))
        .add(panel.area(time, &of(|f| f.activation.tune), "#9fb0c0"))
        .add(panel.curve(
            time,
            &of(|f| f.activation.tune + f.activation.lead_in),
            INK,
            0.8,
        ))
        .add(panel.curve(time, &of(|f| f.activation.tune), INK, 0.8))
}

/// Beats with their counts, claps with their parts, lead-ins, and the truth.
fn draw_said(panel: &Panel, time: &Time, heard: &Heard, truth: &Truth) -> Group {
    let (top, base) = (panel.top, panel.top + 62.0);
    let notes = ["each from the moment it", "was said to its own time"];
    let mut group = panel.frame(time, "Announced", &notes, &[]);
    let small = |x: f64, y: f64, text: &str| -> Text {
        rimmed(words(x, y, text, 10.0, INK)).set("text-anchor", "middle")
    };
    for counted in heard.beats.iter().filter(|c| time.shows(c.beat.time)) {
        let beat = counted.beat;
        let (x, said) = (time.x(beat.time), time.x(beat.announced).max(time.left));
        let count = beat.count.map_or("\u{b7}".to_owned(), |c| c.to_string());
        group = group.add(line(said, base, x, base, GREY, 2.5)).add(line(
            x,
            base - 18.0,
            x,
            base,
            INK,
            1.4,
        ));
        if time.scale * 60.0 / beat.steps_per_minute >= 9.0 {
            group = group.add(small(x, base + 12.0, &count));
        }
    }
    for phrase in heard.phrases.iter().filter(|p| time.shows(p.time)) {
        let x = time.x(phrase.time);
        let name = format!("{} \u{b7} {}", phrase.part.name(), phrase.phrase % 2 + 1);
        let flag = format!("M{x:.1} {}l-6 -11h12z", base - 18.0);
        group = group
            .add(Path::new().set("d", flag).set("fill", INK))
            .add(small(x, base - 34.0, &name).set("font-weight", 600));
    }
    for lead_in in &heard.lead_ins {
        let (from, to) = (time.x(lead_in.time), time.x(lead_in.one));
        if to < time.left || from > time.end() {
            continue;
        }
        let (from, to) = (from.max(time.left), to.min(time.end()));
        let y = top + 12.0;
        group = group
            .add(line(from, y, to, y, INK, 1.2).set("stroke-dasharray", "2 2"))
            .add(small(0.5 * (from + to), y - 2.0, "lead-in"));
    }
    for &t in truth.beats.iter().filter(|t| time.shows(**t)) {
        let x = time.x(t);
        let one = truth.phrases.iter().any(|p| (p - t).abs() < 0.01);
        let height = if one { 11.0 } else { 5.0 };
        group = group.add(line(
            x,
            panel.bottom(),
            x,
            panel.bottom() - height,
            "#a03c00",
            2.0,
        ));
    }
    group
}

/// A column a beat, shaded by the probability of each place in the tune.
fn draw_belief(panel: &Panel, time: &Time, heard: &Heard, beats: u32) -> Group {
    let names = ["A1", "A2", "B1", "B2", "C1", "C2", "D1", "D2"];
    let marks: Vec<(f64, String)> = (0..beats.div_ceil(PART_BEATS))
        .map(|part| {
            (
                f64::from(part * PART_BEATS) + 0.5,
                names[part as usize % 8].into(),
            )
        })
        .collect();
    let rows = format!("{beats} rows: beats of the tune;");
    let notes = [
        rows.as_str(),
        "a column a beat, as believed",
        "when it was announced;",
        "black: certain (see below)",
    ];
    let mut group = panel.frame(time, "Belief", &notes, &marks);
    for (k, counted) in heard.beats.iter().enumerate() {
        let half = 30.0 / counted.beat.steps_per_minute;
        let from = counted.beat.time - half;
        // Up to the next beat's column, so that no seam is left between them.
        let to = match heard.beats.get(k + 1) {
            Some(next) if next.beat.time - counted.beat.time < 3.0 * half => {
                next.beat.time - 30.0 / next.beat.steps_per_minute
            }
            _ => counted.beat.time + half,
        };
        let (left, right) = (
            time.x(from).clamp(time.left, time.end()),
            time.x(to).clamp(time.left, time.end()),
        );
        if right - left < 0.5 {
            continue;
        }
        for (row, &p) in (0u32..).zip(&counted.places) {
            let Some(fill) = shade(p) else { continue };
            group = group.add(
                Rectangle::new()
                    .set("x", (left * 10.0).round() / 10.0)
                    .set("y", panel.y(f64::from(row)))
                    .set("width", ((right - left) * 10.0).round() / 10.0)
                    .set("height", ROW)
                    .set("fill", fill),
            );
        }
    }
    for row in (PHRASE_BEATS..beats).step_by(PHRASE_BEATS as usize) {
        let y = panel.y(f64::from(row));
        let part = row.is_multiple_of(PART_BEATS);
        let width = if part { 1.4 } else { 0.6 };
        group = group.add(line(time.left, y, time.end(), y, "#c05000", width).set("opacity", 0.55));
    }
    group
}

fn draw_sure(panel: &Panel, time: &Time, heard: &Heard, settings: &Settings) -> Group {
    let mut group = panel.frame(
        time,
        "Sure of the count",
        &[
            "probability of the likeliest",
            "count, 1 to 8, at each beat",
        ],
        &axis(panel),
    );
    let shown = heard.beats.iter().filter(|c| time.shows(c.beat.time));
    for counted in shown {
        let (x, y) = (time.x(counted.beat.time), panel.y(f64::from(counted.sure)));
        group = group
            .add(line(x, panel.bottom(), x, y, "#6f7f8f", 2.0))
            .add(line(x - 3.0, y, x + 3.0, y, INK, 2.0));
    }
    let least = panel.y(f64::from(settings.clap_above));
    group
        .add(line(time.left, least, time.end(), least, INK, 1.2).set("stroke-dasharray", "6 3"))
        .add(
            rimmed(words(0.0, 0.0, "claps above this line", 10.0, INK))
                .set("x", time.end() - 4.0)
                .set("y", least + 12.0)
                .set("text-anchor", "end"),
        )
}
