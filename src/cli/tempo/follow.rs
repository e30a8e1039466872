//! Following beats as they come: on the screen, or in plain lines.

use std::io::{self, Write};
use std::time::{Duration, Instant};

use crate::report::tempo::Adviser;
use crate::screen::tempo::{Dial, Press, press, view};
use crate::screen::{Screen, Stop, clock};
use crate::sound::quiet::Quiet;

use super::super::tell;
use super::TempoArgs;
use super::account::Account;
use super::beats::{Beats, News};

/// Time between two pictures.
const TICK: Duration = Duration::from_millis(15);
/// How long a beat is shown, seconds.
const LIT: f64 = 0.12;
/// Beats after the last one known that are still shown.
const FLASHES: f64 = 4.0;
/// Beats between two plain lines.
const LINE_EVERY: usize = 8;

/// Shows the beats of `source` on the screen until the caller quits.
pub(super) fn follow_on_screen(
    source: &mut dyn Beats,
    mut account: Account,
    mut dial: Dial,
    args: &TempoArgs,
) -> anyhow::Result<()> {
    let mut screen = Screen::enter()?;
    let quiet = Quiet::display();
    let begun = Instant::now();
    let (mut first, mut last) = (None, None::<Instant>);
    let mut flash = Flash::default();
    let mut steps = Vec::new();
    let mut title = dial.source.clone();
    loop {
        let more = source.come(&mut steps)?;
        let mut changed = false;
        for step in steps.drain(..) {
            // On the screen nothing else may be printed: JSON has no screen.
            changed |= account.take(step, &mut io::sink())?;
            last = Some(Instant::now());
            first.get_or_insert(begun.elapsed());
            flash.beat = step.time;
        }
        if changed {
            dial.update(&account.meter);
            let advice = account.adviser.as_ref().and_then(Adviser::advice);
            dial.advice = advice.zip(account.advice());
            flash.tempo = account.meter.over(8);
        }
        for news in source.news() {
            title = match news {
                News::Good(text) => text,
                News::Bad(text) => {
                    tell(&text);
                    text
                }
            };
        }
        dial.source = match source.level() {
            Some(level) => format!("{level}   {title}"),
            None => title.clone(),
        };
        dial.lit = match source.now() {
            Some(now) => flash.lit(now),
            None => last.is_some_and(|at| at.elapsed().as_secs_f64() < LIT),
        };
        dial.seconds = first.map_or(0.0, |at| (begun.elapsed() - at).as_secs_f64());
        screen.draw_with(|frame| view(frame, &dial))?;
        match screen.wait_for(TICK, press, Press::Quit)? {
            Some(Press::Beat) => source.press(),
            Some(Press::Anew) => {
                account.forget();
                dial.forget();
                (first, flash) = (None, Flash::default());
            }
            Some(Press::Quit) => break,
            None if !more || args.over(begun) => break,
            None => {}
        }
    }
    source.end(&mut steps);
    for step in steps.drain(..) {
        account.take(step, &mut io::sink())?;
    }
    drop((screen, quiet));
    account.close(None, &mut io::stdout().lock())
}

/// Where the beat is between beats that are known too early or too late to be
/// shown as they come.
#[derive(Debug, Default)]
struct Flash {
    /// The last beat known, seconds.
    beat: f64,
    /// Steps per minute over the last beats.
    tempo: Option<f64>,
}

impl Flash {
    /// Whether a beat fell a moment before `now`, seconds; for a few beats after
    /// the last one known.
    fn lit(&self, now: f64) -> bool {
        let Some(tempo) = self.tempo else {
            return false;
        };
        let since = now - self.beat;
        since < FLASHES * 60.0 / tempo && since.rem_euclid(60.0 / tempo) < LIT
    }
}

/// Prints a line every 8 beats of `source` until it ends or is stopped.
pub(super) fn follow_in_lines(
    source: &mut dyn Beats,
    mut account: Account,
    stop: &Stop,
    args: &TempoArgs,
) -> anyhow::Result<()> {
    let begun = Instant::now();
    let mut steps = Vec::new();
    loop {
        let mut more = source.come(&mut steps)?;
        if stop.asked() || args.over(begun) {
            source.end(&mut steps);
            more = false;
        }
        let mut out = io::stdout().lock();
        for news in source.news() {
            match news {
                News::Good(text) if !account.json => {
                    writeln!(out, "{text}")?;
                    out.flush()?;
                }
                News::Good(text) | News::Bad(text) => tell(text),
            }
        }
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
        if !more {
            return account.close(None, &mut out);
        }
        drop(out);
        std::thread::sleep(TICK);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn beats_known_late_or_early_flash_when_they_fall() {
        let mut flash = Flash::default();
        assert!(!flash.lit(0.01), "no tempo yet");
        // 120 a minute; the last beat known was at 10 s.
        (flash.beat, flash.tempo) = (10.0, Some(120.0));
        for (now, lit) in [
            (9.95, false),
            (10.0, true),
            (10.2, false),
            // Known a second late.
            (11.05, true),
            (11.4, false),
            // The music is over.
            (13.01, false),
        ] {
            assert_eq!(flash.lit(now), lit, "at {now}");
        }
    }
}
