//! The program as a whole: how soon its first screen stands, and what more cores do for
//! a folder of recordings: `cargo bench --bench program [-- --corpus DIR]`.
//!
//! Each command is started in a terminal of its own (a pseudo-terminal of 100 columns
//! and 30 rows); its first screen stands when all of it has been written. `listen` needs
//! the virtual sound card (`EIGHTCLAP_CARD`, or in ../shared/audio) and is left out
//! without it. For Linux, as the card is.
//!
//! `track` goes through a folder (eight tunes of the house band, a minute each, or that
//! of `--corpus`) with one core and more, in turn, so that whatever else the machine does
//! falls on all alike.

#[cfg(target_os = "linux")]
#[allow(dead_code, reason = "shared with the tests")]
#[path = "../tests/rig/mod.rs"]
mod rig;

#[cfg(not(target_os = "linux"))]
fn main() {
    println!("program: skipped, its terminals are Linux'");
}

#[cfg(target_os = "linux")]
fn main() -> anyhow::Result<()> {
    linux::main()
}

#[cfg(target_os = "linux")]
mod linux {
    use std::fs::File;
    use std::io::Read;
    use std::path::{Path, PathBuf};
    use std::process::{Child, Command, Stdio};
    use std::time::{Duration, Instant};

    use anyhow::{Context, bail, ensure};
    use eightclap::report::measures::quantile;
    use eightclap::sound::band::{self, Performance};
    use eightclap::sound::write::{Depth, WavOut};
    use rayon::prelude::*;
    use rustix::pty;
    use rustix::termios::{Winsize, tcsetwinsize};

    use super::rig::Card;

    const PROGRAM: &str = env!("CARGO_BIN_EXE_eightclap");
    /// Starts of each command.
    const STARTS: usize = 15;
    /// Rounds of `track` with each number of cores.
    const ROUNDS: usize = 7;
    /// What the first screen is to take at most, milliseconds.
    const WANTED: f64 = 100.0;
    /// The screen takes the whole terminal, and hides the cursor after each picture.
    const ENTERED: &[u8] = b"\x1b[?1049h";
    const DRAWN: &[u8] = b"\x1b[?25l";

    pub fn main() -> anyhow::Result<()> {
        let corpus = corpus()?;
        let folder = tempfile::tempdir()?;
        let folder = match &corpus {
            Some(folder) => folder,
            None => {
                render(folder.path())?;
                folder.path()
            }
        };
        first_screens(folder)?;
        cores(folder)
    }

    fn corpus() -> anyhow::Result<Option<PathBuf>> {
        let mut args = std::env::args().skip(1).filter(|arg| arg != "--bench");
        match (args.next().as_deref(), args.next(), args.next()) {
            (None, ..) => Ok(None),
            (Some("--corpus"), Some(folder), None) => Ok(Some(folder.into())),
            _ => bail!("usage: [--corpus DIR]"),
        }
    }

    /// Writes eight recordings of a minute.
    fn render(folder: &Path) -> anyhow::Result<()> {
        let tunes = band::tunes();
        (0..8usize).into_par_iter().try_for_each(|n| {
            let settings = band::Settings {
                seed: n as u64,
                times: 2,
                ..band::Settings::default()
            };
            let rate = settings.sample_rate;
            let mut sound = Performance::new(&tunes[n % tunes.len()], settings)?.render();
            sound.truncate(60 * rate as usize);
            let path = folder.join(format!("{n}.wav"));
            let mut file = WavOut::create(&path, rate, 1, Depth::Int16)?;
            file.write(&sound)?;
            Ok(file.finish()?)
        })
    }

    fn first_screens(folder: &Path) -> anyhow::Result<()> {
        let card = concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/fixtures/cards/gravel-and-clover.toml"
        );
        let tune = std::fs::read_dir(folder)?
            .filter_map(|entry| Some(entry.ok()?.path()))
            .filter(|path| path.extension().is_some_and(|e| e == "wav"))
            .min()
            .context("no recording in that folder")?;
        let tune = tune.to_string_lossy().into_owned();
        println!("first screen, {STARTS} starts each ({WANTED:.0} ms wanted)");
        let say = |args: &[&str], env: &[(String, String)]| -> anyhow::Result<()> {
            let times = (0..STARTS)
                .map(|_| first_screen(args, env))
                .collect::<anyhow::Result<Vec<f64>>>()?;
            let at = |share| 1e3 * quantile(&times, share).unwrap_or(f64::NAN);
            println!(
                "  {:32} {:4.0} ms (median), {:4.0} ms at most",
                args[0],
                at(0.5),
                at(1.0)
            );
            Ok(())
        };
        say(&["demo"], &[])?;
        say(&["practise", &tune, "--card", card], &[])?;
        match Card::start() {
            Ok(sound) => say(&["listen", "--card", card], &environment(&sound)?)?,
            Err(why) => println!("  {:32} skipped, {}", "listen", why.trim()),
        }
        Ok(())
    }

    /// What a program needs to find the card.
    fn environment(card: &Card) -> anyhow::Result<Vec<(String, String)>> {
        let told = card.call(&["env"]).output()?;
        let told = String::from_utf8(told.stdout)?;
        let words = told.split(['\n', ';', ' ']).map(|word| word.trim());
        let found: Vec<(String, String)> = words
            .filter_map(|word| word.split_once('='))
            .map(|(name, value)| (name.to_owned(), value.trim_matches(['"', '\'']).to_owned()))
            .collect();
        ensure!(!found.is_empty(), "the card tells no environment: {told}");
        Ok(found)
    }

    /// A program that is ended when it is dropped.
    struct Running(Child);

    impl Drop for Running {
        fn drop(&mut self) {
            let _ = self.0.kill();
            let _ = self.0.wait();
        }
    }

    /// Seconds from the start of a command to its first screen.
    fn first_screen(args: &[&str], env: &[(String, String)]) -> anyhow::Result<f64> {
        let ours = pty::openpt(pty::OpenptFlags::RDWR | pty::OpenptFlags::NOCTTY)?;
        pty::grantpt(&ours)?;
        pty::unlockpt(&ours)?;
        let name = pty::ptsname(&ours, Vec::new())?;
        let theirs = File::options()
            .read(true)
            .write(true)
            .open(name.to_str()?)?;
        tcsetwinsize(
            &theirs,
            Winsize {
                ws_row: 30,
                ws_col: 100,
                ws_xpixel: 0,
                ws_ypixel: 0,
            },
        )?;
        let begun = Instant::now();
        let mut command = Command::new(PROGRAM);
        command.args(args).envs(env.iter().cloned());
        command.env("TERM", "xterm-256color");
        command
            .stdin(theirs.try_clone()?)
            .stdout(theirs.try_clone()?);
        let _running = Running(command.stderr(theirs).spawn()?);
        let mut screen = File::from(ours);
        let mut seen = Vec::new();
        let mut piece = [0; 65_536];
        while begun.elapsed() < Duration::from_secs(20) {
            let read = screen.read(&mut piece).unwrap_or(0);
            ensure!(read > 0, "it ended: {}", String::from_utf8_lossy(&seen));
            seen.extend(&piece[..read]);
            let find = |what: &[u8], from: usize| {
                let mut places = seen[from..].windows(what.len());
                Some(from + places.position(|place| place == what)?)
            };
            if find(ENTERED, 0)
                .and_then(|entered| find(DRAWN, entered))
                .is_some()
            {
                return Ok(begun.elapsed().as_secs_f64());
            }
        }
        bail!("no screen: {}", String::from_utf8_lossy(&seen))
    }

    fn cores(folder: &Path) -> anyhow::Result<()> {
        let all = std::thread::available_parallelism().map_or(1, usize::from);
        let mut counts = vec![1];
        while counts[counts.len() - 1] < all {
            counts.push((2 * counts[counts.len() - 1]).min(all));
        }
        let mut times = vec![Vec::new(); counts.len()];
        for _ in 0..ROUNDS {
            for (count, times) in counts.iter().zip(&mut times) {
                let begun = Instant::now();
                let done = Command::new(PROGRAM)
                    .args(["track", "--json"])
                    .arg(folder)
                    .env("RAYON_NUM_THREADS", count.to_string())
                    .stdout(Stdio::null())
                    .status()?;
                times.push(begun.elapsed().as_secs_f64());
                ensure!(done.success(), "track failed on {}", folder.display());
            }
        }
        println!("track over a folder, {ROUNDS} rounds");
        for (count, mine) in counts.iter().zip(&times) {
            let ratios: Vec<f64> = times[0].iter().zip(mine).map(|(one, n)| one / n).collect();
            let at = |of: &[f64]| quantile(of, 0.5).unwrap_or(f64::NAN);
            println!(
                "  {count:2} of {all} cores: {:7.1} ms (median), {:.2} times as fast as with one",
                1e3 * at(mine),
                at(&ratios)
            );
        }
        Ok(())
    }
}
