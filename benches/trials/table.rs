//! Rows that say by how many points a trial is worse than the plain recordings.

use eightclap::engine::Settings;
use eightclap::event::Event;
use eightclap::report::accuracy::{Figures, Summary};
use eightclap::sound::band::Dice;

use super::Bench;
use super::change::Take;

/// A table whose first row is of the plain recordings.
pub struct Table<'a> {
    bench: &'a Bench,
    plain: Option<Summary>,
}

impl<'a> Table<'a> {
    /// Prints the head and the first row.
    pub fn new(bench: &'a Bench) -> anyhow::Result<Self> {
        println!(
            "each figure, and what it rose or fell against the plain recordings\n\
             {:24} {:>5} {:>12} {:>12} {:>12} {:>12} {:>12} {:>12} {:>12} {:>9}",
            "",
            "items",
            "F",
            "CMLt",
            "1st clap %",
            ">=90% phr",
            "p95 ms",
            "tempo 2 %",
            "phrases %",
            "false/min"
        );
        let mut table = Table { bench, plain: None };
        table.plain = table.heard("plain", |take, _| Ok(take))?;
        Ok(table)
    }

    /// Prints a row: every recording, changed, and heard again.
    pub fn heard(
        &self,
        name: &str,
        change: impl Fn(Take, &mut Dice) -> anyhow::Result<Take> + Sync,
    ) -> anyhow::Result<Option<Summary>> {
        let ears = self.bench.ears();
        self.row(name, |take, dice| {
            let take = change(take, dice)?;
            let events = ears.hear(take.rate, &take.samples, Settings::default())?;
            Ok((take, events))
        })
    }

    /// Prints a row from what was heard of every recording.
    pub fn row(
        &self,
        name: &str,
        hear: impl Fn(Take, &mut Dice) -> anyhow::Result<(Take, Vec<Event>)> + Sync,
    ) -> anyhow::Result<Option<Summary>> {
        let figures = self.bench.each(|take, dice| {
            let (take, events) = hear(take, dice)?;
            Ok(Figures::of(&take.truth, &events, take.seconds()))
        })?;
        if self.bench.lines() {
            for (item, f) in self.bench.names().zip(&figures) {
                println!(
                    "  {item:34} F {:.3} CMLt {:.3} phrases {}/{} false {} first {}",
                    f.f,
                    f.continuity.cml_t,
                    f.phrases_right,
                    f.phrases,
                    f.false_claps,
                    if f.first_clap_right { "right" } else { "WRONG" },
                );
            }
        }
        let all: Vec<&Figures> = figures.iter().collect();
        let Some(now) = Summary::of(&all) else {
            return Ok(None);
        };
        let plain = self.plain.unwrap_or(now);
        let cells = [
            (100.0 * now.f, 100.0 * plain.f),
            (100.0 * now.cml_t, 100.0 * plain.cml_t),
            (100.0 * now.first_clap, 100.0 * plain.first_clap),
            (100.0 * now.most_phrases, 100.0 * plain.most_phrases),
            (1000.0 * now.error_p95, 1000.0 * plain.error_p95),
            (100.0 * now.tempo_2, 100.0 * plain.tempo_2),
            (100.0 * now.phrases, 100.0 * plain.phrases),
        ];
        print!("{name:24} {:5}", now.items);
        for (now, plain) in cells {
            // Adding 0 makes of a rounded -0 what it is.
            let change = (10.0 * (now - plain)).round() / 10.0 + 0.0;
            print!(" {now:6.1} {change:>+5.1}");
        }
        println!(" {:9.2}", now.false_a_minute);
        Ok(Some(now))
    }
}
