//! Events as JSON lines, for programs.

use std::io::{self, Write};

use serde::Serialize;

use crate::event::Event;
use crate::phrase::Form;

/// An event as it stands in a line of JSON. Times are seconds from the
/// recording's start.
#[derive(Serialize)]
#[serde(tag = "event", rename_all = "snake_case")]
enum Line {
    Beat {
        time: f64,
        announced: f64,
        count: Option<u8>,
        steps_per_minute: f64,
        sure: f64,
    },
    Phrase {
        time: f64,
        announced: f64,
        part: &'static str,
        time_through: u32,
        sure: f64,
    },
    LeadIn {
        time: f64,
        announced: f64,
        one: f64,
    },
    Form {
        time: f64,
        announced: f64,
        other: Option<u32>,
    },
}

#[derive(Serialize)]
struct Named<'a> {
    #[serde(flatten)]
    line: Line,
    #[serde(skip_serializing_if = "Option::is_none")]
    file: Option<&'a str>,
}

pub(super) fn rounded(value: f64, places: i32) -> f64 {
    let unit = 10f64.powi(places);
    (value * unit).round() / unit
}

/// Writes `event` as one line of JSON; `file` is added where several files
/// share a stream.
pub fn write_json(out: &mut impl Write, event: &Event, file: Option<&str>) -> io::Result<()> {
    let time = rounded(event.time(), 4);
    let announced = rounded(event.announced(), 4);
    let sure = |s: f32| rounded(f64::from(s), 3);
    let line = match event {
        Event::Beat(b) => Line::Beat {
            time,
            announced,
            count: b.count,
            steps_per_minute: rounded(b.steps_per_minute, 2),
            sure: sure(b.sure),
        },
        Event::Phrase(p) => Line::Phrase {
            time,
            announced,
            part: p.part.name(),
            time_through: p.time_through,
            sure: sure(p.sure),
        },
        Event::LeadIn(l) => Line::LeadIn {
            time,
            announced,
            one: rounded(l.one, 4),
        },
        Event::Form(f) => Line::Form {
            time,
            announced,
            other: f.other.map(Form::beats),
        },
    };
    serde_json::to_writer(&mut *out, &Named { line, file })?;
    writeln!(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::event::{Beat, FormHeard, LeadIn, Phrase};

    fn json(event: Event, file: Option<&str>) -> String {
        let mut out = Vec::new();
        write_json(&mut out, &event, file).unwrap();
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn each_event_is_one_line_of_json() {
        let beat = Event::Beat(Beat {
            time: 12.34512,
            announced: 12.27,
            count: Some(3),
            steps_per_minute: 114.2,
            sure: 0.97,
        });
        assert_eq!(
            json(beat, None),
            "{\"event\":\"beat\",\"time\":12.3451,\"announced\":12.27,\"count\":3,\"steps_per_minute\":114.2,\"sure\":0.97}\n"
        );
        let phrase = Event::Phrase(Phrase {
            time: 3.5,
            announced: 3.43,
            part: Form::default().place(32).part(),
            phrase: 4,
            time_through: 2,
            sure: 0.5,
        });
        assert_eq!(
            json(phrase, Some("a.wav")),
            "{\"event\":\"phrase\",\"time\":3.5,\"announced\":3.43,\"part\":\"B1\",\"time_through\":2,\"sure\":0.5,\"file\":\"a.wav\"}\n"
        );
        let lead_in = Event::LeadIn(LeadIn {
            time: 1.0,
            announced: 2.95,
            one: 3.0,
        });
        assert_eq!(
            json(lead_in, None),
            "{\"event\":\"lead_in\",\"time\":1.0,\"announced\":2.95,\"one\":3.0}\n"
        );
        let form = Event::Form(FormHeard {
            time: 50.0,
            announced: 49.9,
            other: Form::new(48).ok(),
        });
        assert_eq!(
            json(form, None),
            "{\"event\":\"form\",\"time\":50.0,\"announced\":49.9,\"other\":48}\n"
        );
    }
}
