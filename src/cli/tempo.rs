//! `eightclap tempo`: steps per minute, of a recording or of tapping.

mod beats;

use std::io::{self, BufWriter, IsTerminal, Write};
use std::path::PathBuf;
use std::time::{Duration, Instant};

use anyhow::Context;
use clap::Args;

use crate::report::tempo::{
    Advice, Adviser, CsvLog, Meter, Want, WantError, blocks, json_beat, json_summary, series,
};
use crate::screen::tempo::{Dial, Press, press, view};
use crate::screen::{Screen, Stop, clock, colour_wanted, steady_words};
use crate::sound::file::Recording;
use crate::steps::{Step, Steps};

use super::play::listen;
use super::practise::is_same_file;
use super::tell;
use beats::{Beats, InputLines, Keys};

/// Arguments of `tempo`.
#[derive(Debug, Args)]
pub(super) struct TempoArgs {
    /// The recording, read as fast as possible; without one, tap the beats
    #[arg(value_name = "TUNE")]
    tune: Option<PathBuf>,

    /// Tap the beats: the space bar or Enter; from a pipe, every line is a beat
    #[arg(long, conflicts_with = "tune")]
    tap: bool,

    /// The wanted steps per minute, such as 112..120: says what to tell the band
    #[arg(long, value_name = "LOW..HIGH", value_parser = want)]
    want: Option<Want>,

    /// Log every beat to this file: seconds, and steps per minute now, over 8 and
    /// over 64 beats. Replaces an older file
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,

    /// One JSON object a line: every beat, and a summary at the end
    #[arg(long)]
    json: bool,
}

pub(super) fn want(text: &str) -> Result<Want, WantError> {
    text.parse()
}

/// Tempo preferred where music that is no dance tune leaves several, steps per
/// minute: that of dances.
const USUAL: f64 = 112.0;
/// Columns of the tempo over time in plain lines.
const COLUMNS: usize = 60;
/// Time between two pictures.
const TICK: Duration = Duration::from_millis(15);
/// How long a beat is shown, seconds.
const LIT: f64 = 0.12;
/// Beats between two plain lines.
const LINE_EVERY: usize = 8;

pub(super) fn run(args: &TempoArgs) -> anyhow::Result<()> {
    if let (Some(csv), Some(tune)) = (&args.csv, &args.tune)
        && is_same_file(csv, tune)
    {
        anyhow::bail!(
            "{}: this is the recording itself and would be lost; name another file for the log",
            csv.display()
        );
    }
    match &args.tune {
        Some(tune) => {
            // A recording that cannot be read should not cost an older log.
            let recording = Recording::open(tune)?;
            read(recording, Account::new(args)?, args)
        }
        None => tap(Account::new(args)?, args),
    }
}

/// What becomes of every beat, wherever it comes from.
struct Account {
    meter: Meter,
    adviser: Option<Adviser>,
    log: Option<CsvLog>,
    json: bool,
    /// Beats within the wanted window, and beats at which that was known.
    within: (usize, usize),
}

impl Account {
    fn new(args: &TempoArgs) -> anyhow::Result<Self> {
        Ok(Account {
            meter: Meter::default(),
            adviser: args.want.map(Adviser::new),
            log: args.csv.as_deref().map(CsvLog::create).transpose()?,
            json: args.json,
            within: (0, 0),
        })
    }

    /// Counts a beat; says whether it was one.
    fn take(&mut self, step: Step, out: &mut impl Write) -> anyhow::Result<bool> {
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
    fn advice(&self) -> Option<String> {
        let (adviser, tempo) = (self.adviser.as_ref()?, self.meter.over(8)?);
        Some(adviser.say(tempo))
    }

    /// The end of the job: tempo over time, and the whole in a few lines. `known`
    /// says how long the music was, if it has a length of its own.
    fn close(&self, known: Option<f64>, out: &mut impl Write) -> anyhow::Result<()> {
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

/// Reads a recording to its end and prints its tempo by time through.
fn read(mut recording: Recording, mut account: Account, args: &TempoArgs) -> anyhow::Result<()> {
    let name = recording.path().display().to_string();
    let rate = recording.sample_rate();
    let usual = args.want.map_or(USUAL, Want::middle);
    let mut listener = Steps::new(rate, usual).with_context(|| name.clone())?;
    let mut out = BufWriter::new(io::stdout().lock());
    let (mut samples, mut steps) = (Vec::new(), Vec::new());
    loop {
        let over = recording.read_mono(&mut samples)? == 0;
        match over {
            true => listener.end(&mut steps),
            false => listener.push(&samples, &mut steps),
        }
        for step in steps.drain(..) {
            account.take(step, &mut out)?;
        }
        if over {
            break;
        }
    }
    if !args.json {
        writeln!(out, "{name}")?;
        let rows = account.meter.table(listener.starts());
        if !rows.is_empty() {
            writeln!(
                out,
                "{:18}{:>8}{:>8}{:>20}   slowest and fastest 8 beats",
                "", "from", "beats", "steps per minute"
            )?;
        }
        for row in rows {
            let range = row.range.map_or(String::new(), |(low, high)| {
                format!("{low:.1} to {high:.1}")
            });
            let line = format!(
                "{:18}{:>8}{:>8}{:>20.1}   {range}",
                row.name,
                clock(row.from),
                row.beats,
                row.tempo
            );
            writeln!(out, "{}", line.trim_end())?;
        }
    }
    let seconds = recording.position() as f64 / f64::from(rate);
    account.close(Some(seconds), &mut out)?;
    out.flush()?;
    if let Some(warning) = recording.warning() {
        tell(warning);
    }
    Ok(())
}

/// Follows taps: on the screen, or as lines where there is none.
fn tap(account: Account, args: &TempoArgs) -> anyhow::Result<()> {
    let on_screen = !args.json && io::stdout().is_terminal() && io::stdin().is_terminal();
    if on_screen {
        let dial = Dial {
            source: "tapping".to_owned(),
            invitation: "press the space bar on every beat",
            keys: "space or Enter: a beat   r: begin anew   q: quit",
            want: args.want,
            colour: colour_wanted(),
            ..Dial::default()
        };
        return follow_on_screen(&mut Keys::default(), account, dial);
    }
    if io::stdin().is_terminal() {
        tell("press Enter on every beat, Ctrl-C at the end");
    }
    follow_in_lines(&mut InputLines::open(), account, &listen())
}

/// Shows the beats of `source` on the screen until the caller quits.
fn follow_on_screen(
    source: &mut dyn Beats,
    mut account: Account,
    mut dial: Dial,
) -> anyhow::Result<()> {
    let mut screen = Screen::enter()?;
    let begun = Instant::now();
    let (mut first, mut last) = (None, None::<Instant>);
    let mut steps = Vec::new();
    loop {
        let more = source.come(&mut steps)?;
        let mut changed = false;
        for step in steps.drain(..) {
            // On the screen nothing else may be printed: JSON has no screen.
            changed |= account.take(step, &mut io::sink())?;
            last = Some(Instant::now());
            first.get_or_insert(begun.elapsed());
        }
        if changed {
            dial.update(&account.meter);
            let advice = account.adviser.as_ref().and_then(Adviser::advice);
            dial.advice = advice.zip(account.advice());
        }
        dial.lit = last.is_some_and(|at| at.elapsed().as_secs_f64() < LIT);
        dial.seconds = first.map_or(0.0, |at| (begun.elapsed() - at).as_secs_f64());
        screen.draw_with(|frame| view(frame, &dial))?;
        match screen.wait_for(TICK, press, Press::Quit)? {
            Some(Press::Beat) => source.press(),
            Some(Press::Anew) => {
                account.meter = Meter::default();
                account.within = (0, 0);
                account.adviser = account.adviser.map(|a| Adviser::new(a.want()));
                dial.forget();
                first = None;
            }
            Some(Press::Quit) => break,
            None if !more => break,
            None => {}
        }
    }
    drop(screen);
    account.close(None, &mut io::stdout().lock())
}

/// Prints a line every 8 beats of `source` until it ends or is stopped.
fn follow_in_lines(
    source: &mut dyn Beats,
    mut account: Account,
    stop: &Stop,
) -> anyhow::Result<()> {
    let mut steps = Vec::new();
    loop {
        let more = source.come(&mut steps)?;
        let mut out = io::stdout().lock();
        for step in steps.drain(..) {
            if account.take(step, &mut out)?
                && !account.json
                && account.meter.beats().is_multiple_of(LINE_EVERY)
                && let Some(tempo) = account.meter.over(8)
            {
                let advice = account.advice().unwrap_or_default();
                let line = format!(
                    "{:>5}  {tempo:.1} steps per minute  {advice}",
                    clock(step.time)
                );
                writeln!(out, "{}", line.trim_end())?;
                out.flush()?;
            }
        }
        if !more || stop.asked() {
            return account.close(None, &mut out);
        }
        drop(out);
        std::thread::sleep(TICK);
    }
}
