//! What listening live costs and how well it keeps time, on a sound card without
//! hardware: `cargo bench --bench live [-- --minutes N]`.
//!
//! A tune of the house band is played into the microphone, the claps go to the same
//! place, and both are looked for in one recording, as in `tests/live.rs`. Without
//! `--minutes` the tune is played twice through. Figures of the program are those of
//! the system (`/proc`), so this is for Linux; without the card's script
//! (`EIGHTCLAP_CARD`, or in ../shared/audio) it says so.

#[cfg(target_os = "linux")]
#[allow(dead_code, reason = "shared with the tests")]
#[path = "../tests/rig/mod.rs"]
mod rig;

#[cfg(not(target_os = "linux"))]
fn main() {
    println!("live: skipped, the virtual card is for Linux");
}

#[cfg(target_os = "linux")]
fn main() -> anyhow::Result<()> {
    linux::main()
}

#[cfg(target_os = "linux")]
mod linux {
    use std::collections::BTreeMap;
    use std::time::Instant;

    use anyhow::{Context, bail};
    use eightclap::report::measures::quantile;

    use super::rig::Card;
    use super::rig::take::{errors, listening, play_and_record, tune};

    const STEPS_PER_MINUTE: f64 = 116.0;
    /// Ticks of processor time a second (`man 5 proc`, sysconf(_SC_CLK_TCK)): 100
    /// on every Linux that Rust runs on (from memory).
    const TICKS: f64 = 100.0;

    pub fn main() -> anyhow::Result<()> {
        let minutes = minutes()?;
        let card = match Card::start() {
            Ok(card) => card,
            Err(why) => {
                println!("live: skipped, {}", why.trim());
                return Ok(());
            }
        };
        let seconds = 60.0 * minutes.unwrap_or(1.1);
        let times = (seconds * STEPS_PER_MINUTE / 60.0 / 64.0).round().max(1.0) as u32;
        let path = card.folder.path().join("tune.wav");
        let (sound, phrases) = tune(&path, STEPS_PER_MINUTE, times);

        let program = listening(&card);
        let pid = program.0.id();
        let (began, before) = (Instant::now(), Usage::of(pid)?);
        let mut first_minute = None;
        let mut load = Vec::new();
        let take = play_and_record(&card, &path, &sound, || {
            if first_minute.is_none() && began.elapsed().as_secs_f64() >= 60.0 {
                first_minute = Memory::of(pid).ok();
            }
            load.extend(load_now());
        });
        let wall = began.elapsed().as_secs_f64();
        let (after, memory) = (Usage::of(pid)?, Memory::of(pid)?);
        let (code, out, err) = program.stop();
        anyhow::ensure!(code == Some(0), "it failed: {err}");

        let errors = errors(&take, &sound, &phrases);
        let sizes: Vec<f64> = errors.iter().flatten().map(|e| 1e3 * e.abs()).collect();
        let at = |share: f64| quantile(&sizes, share).unwrap_or(f64::NAN);
        println!(
            "{wall:.0} s of {} phrases; load of this machine {:.1} (median; {} cores)",
            phrases.len(),
            quantile(&load, 0.5).unwrap_or(f64::NAN),
            std::thread::available_parallelism().map_or(0, usize::from),
        );
        println!(
            "claps: {} of {} that can be judged; off by {:.1} ms (median), 95 % within {:.1} ms",
            sizes.len(),
            errors.len(),
            at(0.5),
            at(0.95)
        );
        // Its own count: overruns, holes, underruns, sound to event, claps too late.
        let summary = out
            .lines()
            .skip_while(|line| !line.starts_with("listened "));
        summary.for_each(|line| println!("{line}"));
        err.lines().for_each(|line| println!("{line}"));
        println!(
            "processor: {:.1} % of a core in all (5 % wanted)",
            100.0 * (after.all - before.all) / wall
        );
        for (thread, spent) in &after.threads {
            let spent = spent - before.threads.get(thread).unwrap_or(&0.0);
            println!("  {thread:16} {:.1} %", 100.0 * spent / wall);
        }
        println!(
            "memory: {:.1} MB at most, {:.1} MB at the end (60 MB wanted)",
            memory.most, memory.now
        );
        if let Some(first) = first_minute {
            println!(
                "  after the first minute {:.1} MB: {:+.2} MB since",
                first.now,
                memory.now - first.now
            );
        }
        Ok(())
    }

    fn minutes() -> anyhow::Result<Option<f64>> {
        let mut minutes = None;
        let mut args = std::env::args().skip(1);
        while let Some(arg) = args.next() {
            match arg.as_str() {
                "--bench" => {}
                "--minutes" => {
                    let value: f64 = args.next().context("--minutes N")?.parse()?;
                    anyhow::ensure!(value > 0.0 && value <= 60.0, "--minutes: up to 60");
                    minutes = Some(value);
                }
                other => bail!("unknown argument {other}; usage: [--minutes N]"),
            }
        }
        Ok(minutes)
    }

    /// Seconds of processor time so far.
    struct Usage {
        all: f64,
        /// By the threads' names; those of the same name together.
        threads: BTreeMap<String, f64>,
    }

    impl Usage {
        fn of(pid: u32) -> anyhow::Result<Self> {
            let mut threads = BTreeMap::new();
            for task in std::fs::read_dir(format!("/proc/{pid}/task"))? {
                let task = task?.path();
                // One that has just ended counts in the whole alone.
                let Ok(name) = std::fs::read_to_string(task.join("comm")) else {
                    continue;
                };
                if let Ok(spent) = spent(&task.join("stat")) {
                    *threads.entry(name.trim().to_owned()).or_default() += spent;
                }
            }
            let all = spent(format!("/proc/{pid}/stat").as_ref())?;
            Ok(Usage { all, threads })
        }
    }

    /// User and system time in a `stat` file of `/proc`.
    fn spent(stat: &std::path::Path) -> anyhow::Result<f64> {
        let text = std::fs::read_to_string(stat)?;
        // After the name, which may hold anything: fields 14 and 15 of the whole.
        let fields: Vec<&str> = text
            .rsplit(')')
            .next()
            .map(|rest| rest.split_whitespace().collect())
            .unwrap_or_default();
        let ticks = |n: usize| -> anyhow::Result<f64> {
            let field = fields.get(n).context("a short stat file")?;
            Ok(field.parse()?)
        };
        Ok((ticks(11)? + ticks(12)?) / TICKS)
    }

    /// Resident memory, megabytes.
    struct Memory {
        now: f64,
        most: f64,
    }

    impl Memory {
        fn of(pid: u32) -> anyhow::Result<Self> {
            let status = std::fs::read_to_string(format!("/proc/{pid}/status"))?;
            let field = |name: &str| -> anyhow::Result<f64> {
                let line = status.lines().find(|line| line.starts_with(name));
                let kib = line.and_then(|line| line.split_whitespace().nth(1));
                Ok(kib.context("a short status file")?.parse::<f64>()? * 1024.0 / 1e6)
            };
            Ok(Memory {
                now: field("VmRSS:")?,
                most: field("VmHWM:")?,
            })
        }
    }

    /// Programs that run or want to, at this moment, this one left out.
    fn load_now() -> Option<f64> {
        let text = std::fs::read_to_string("/proc/loadavg").ok()?;
        let running = text.split_whitespace().nth(3)?.split('/').next()?;
        running.parse::<f64>().ok().map(|n| n - 1.0)
    }
}
