//! What becomes of beats: the meter, the advice, the log, and the summary.

use std::io::Write;

use crate::report::tempo::{
    Advice, Adviser, CsvLog, Meter, blocks, json_beat, json_summary, series,
};
use crate::screen::{clock, steady_words};
use crate::steps::Step;

use super::TempoArgs;

/// Columns of the tempo over time in plain lines.
const COLUMNS: usize = 60;

/// What becomes of every beat, wherever it comes from.
pub(super) struct Account {
    pub(super) meter: Meter,
    pub(super) adviser: Option<Adviser>,
    log: Option<CsvLog>,
    pub(super) json: bool,
    /// Beats within the wanted window, and beats at which that was known.
    within: (usize, usize),
}

impl Account {
    pub(super) fn new(args: &TempoArgs) -> anyhow::Result<Self> {
        Ok(Account {
            meter: Meter::default(),
            adviser: args.want.map(Adviser::new),
            log: args.csv.as_deref().map(CsvLog::create).transpose()?,
            json: args.json,
            within: (0, 0),
        })
    }

    /// Forgets all beats; the log keeps them.
    pub(super) fn forget(&mut self) {
        self.meter = Meter::default();
        self.within = (0, 0);
        self.adviser = self.adviser.take().map(|a| Adviser::new(a.want()));
    }

    /// Counts a beat; says whether it was one.
    pub(super) fn take(&mut self, step: Step, out: &mut impl Write) -> anyhow::Result<bool> {
        if step.anew {
            self.meter.restart(step.time);
        }
        if !self.meter.push(step.time) {
            return Ok(false);
        }
        let Some(reading) = self.meter.reading() else {
            return Ok(false);
        };
        let mut advice = None;
        if let (Some(adviser), Some(tempo)) = (&mut self.adviser, reading.over_8) {
            advice = Some(adviser.push(tempo));
            let want = adviser.want();
            self.within.0 += usize::from((want.low()..=want.high()).contains(&tempo));
            self.within.1 += 1;
        }
        if let Some(log) = &mut self.log {
            log.add(&reading)?;
        }
        if self.json {
            json_beat(out, &reading, step.by.name(), advice)?;
            out.flush()?;
        }
        Ok(true)
    }

    /// What to tell the band now.
    pub(super) fn advice(&self) -> Option<String> {
        let (adviser, tempo) = (self.adviser.as_ref()?, self.meter.over(8)?);
        Some(adviser.say(tempo))
    }

    /// The end of the job: tempo over time, and the whole in a few lines. `known`
    /// says how long the music was, if it has a length of its own.
    pub(super) fn close(&self, known: Option<f64>, out: &mut impl Write) -> anyhow::Result<()> {
        if self.json {
            return Ok(json_summary(out, &self.meter)?);
        }
        let (Some(whole), Some((first, last))) = (self.meter.whole(), self.meter.span()) else {
            writeln!(out, "no steady beat was heard, so there is no tempo")?;
            return Ok(());
        };
        let stretches = self.meter.stretches();
        let tempi: Vec<(f64, f64)> = stretches.iter().map(|s| (s.time, s.tempo)).collect();
        let tempi = series(&tempi, COLUMNS);
        if tempi.len() > 1 {
            let (bars, (low, high)) = blocks(&tempi);
            writeln!(
                out,
                "{low:.0} to {high:.0}  {bars}  {} to {}",
                clock(first),
                clock(last)
            )?;
        }
        writeln!(
            out,
            "{}: {} beats, {:.2} ± {:.2} steps per minute",
            clock(known.unwrap_or(last - first)),
            self.meter.beats(),
            whole.value,
            whole.error
        )?;
        if let Some(steady) = self.meter.steadiness() {
            writeln!(out, "{} steps per minute", steady_words(&steady))?;
        }
        if let Some(adviser) = &self.adviser {
            let want = adviser.want();
            let mut overall = Adviser::new(want);
            let advice = match overall.push(whole.value) {
                Advice::Good => "good".to_owned(),
                _ => overall.say(whole.value),
            };
            let share = match self.within {
                (_, 0) => String::new(),
                (within, all) => format!(
                    "; within the window at {:.0} % of the beats",
                    100.0 * within as f64 / all as f64
                ),
            };
            writeln!(out, "wanted {want}: {advice}{share}")?;
        }
        Ok(())
    }
}
