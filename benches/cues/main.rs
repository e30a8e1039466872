//! How dances are called: `cargo bench --bench cues [-- --dances N] [--seed N] [--steady]`.
//!
//! A thousand simulated dances, bundled and random ones, with bands that drift and jump
//! in tempo, an engine that foresees beats a little wrongly, loses count, is corrected,
//! doubts and misses beats, and a caller who may press the key for the end. What would
//! be heard is judged against the true beats. `--dances N` takes so many, `--seed N` (0
//! without it) is the first dance's, each later one has the next; `--steady`: a band like a
//! clock, heard perfectly. The same at every run with the same seed.

use anyhow::{Context, bail};
use eightclap::report::measures::quantile;

mod judge;
mod world;

use judge::{BREATH, Count, LATE, Shares, perform};
use world::{Trouble, World};

fn main() -> anyhow::Result<()> {
    let (mut dances, mut first, mut trouble) = (1000, 0, Trouble::USUAL);
    let mut args = std::env::args().skip(1);
    while let Some(arg) = args.next() {
        match arg.as_str() {
            "--bench" => {}
            "--steady" => trouble = Trouble::NONE,
            "--dances" => dances = args.next().context("--dances N")?.parse()?,
            "--seed" => first = args.next().context("--seed N")?.parse()?,
            other => bail!("unknown argument {other}; usage: [--dances N] [--seed N] [--steady]"),
        }
    }
    let mut count = Count::default();
    let mut errors = Vec::new();
    for seed in (first..).take(dances) {
        let world = World::new(seed, trouble);
        let before = count.faults.len();
        count.add(&world, &perform(&world));
        for fault in &mut count.faults[before..] {
            *fault = format!("dance {seed}: {fault}");
        }
        errors.extend(world.errors.iter().map(|error| error.abs()));
    }
    report(&count, &errors);
    if !count.faults.is_empty() {
        for fault in count.faults.iter().take(10) {
            println!("  {fault}");
        }
        bail!("calls were late, early, met, named a wrong figure, or told the band a wrong end");
    }
    Ok(())
}

fn report(count: &Count, errors: &[f64]) {
    let at = |values: &[f64], share: f64| quantile(values, share).unwrap_or(f64::NAN);
    // Of nothing it is 0.
    let ms = |values: &[f64], share| 1e3 * quantile(values, share).unwrap_or(0.0);
    println!(
        "{} dances, {} beats; {} jumps of the tempo by 3 to 10 %, {} corrections of the count",
        count.dances, count.beats, count.jumps, count.corrections
    );
    println!(
        "beats foreseen within {:.0} ms (median), {:.0} ms (95 %), {:.0} ms (all)",
        ms(errors, 0.5),
        ms(errors, 0.95),
        ms(errors, 1.0)
    );
    println!(
        "{} calls: {} late by more than {:.0} ms, {} overlapping, {} for a wrong figure, {} too early",
        count.calls,
        count.late,
        1e3 * LATE,
        count.overlapping,
        count.wrong,
        count.early
    );
    println!(
        "  over {:.0} ms before the figure's first beat (median), 5 % less than {:.0} ms, least {:.0} ms; {:.0} ms planned",
        ms(&count.spare, 0.5),
        ms(&count.spare, 0.05),
        ms(&count.spare, 0.0),
        1e3 * BREATH
    );
    println!(
        "  begun {:.0} beats ahead (median), 95 % within {:.0}; {:.1} % spoken faster",
        at(&count.ahead, 0.5),
        at(&count.ahead, 0.95),
        100.0 * count.hurried as f64 / count.calls as f64
    );
    println!(
        "  cut off at their figure, for it came sooner: {}, by {:.0} ms (median), {:.0} ms (most)",
        count.cut.len(),
        ms(&count.cut, 0.5),
        ms(&count.cut, 1.0)
    );
    println!(
        "  begun while the count was wrong or in doubt: {}, judged from its correction on; for such, {} calls were stopped for another figure, {} cut off at theirs",
        count.misled, count.stopped, count.cut_misled
    );
    println!(
        "signals to the band: {} of {} heard, {} at a wrong time",
        count.signals_heard, count.signals, count.signals_wrong
    );
    println!(
        "{:>10} {:>8} {:>8} {:>8} {:>8} {:>14} {:>18}",
        "wanted", "figures", "full", "short", "silent", "for want of", "count not known"
    );
    println!("{:>52} {:>14}", "", "room");
    for (wanted, shares) in [
        ("full", count.full),
        ("short", count.short),
        ("silence", count.silent),
    ] {
        println!("{}", row(wanted, &shares));
    }
}

fn row(wanted: &str, shares: &Shares) -> String {
    let percent = |n: usize| format!("{:.1} %", 100.0 * n as f64 / shares.figures.max(1) as f64);
    format!(
        "{wanted:>10} {:>8} {:>8} {:>8} {:>8} {:>14} {:>18}",
        shares.figures,
        percent(shares.full),
        percent(shares.short),
        percent(shares.nothing),
        percent(shares.no_room),
        percent(shares.not_known),
    )
}
