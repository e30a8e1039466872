//! What is called to, and hearing calls in recordings.

use std::path::{Path, PathBuf};

use anyhow::Context;

use crate::caller::session::Ending;
use crate::caller::{Ear, Grid, Method, Prompt, Removal, align};
use crate::cue::Seat;
use crate::dance::{Card, TuneKind};
use crate::engine::{Engine, Settings};
use crate::event::Event;
use crate::phrase::Form;
use crate::screen::{clock, form_words};
use crate::sound::band;
use crate::sound::file::{Recording, mix_to_mono};
use crate::sound::resample::Resampler;

use super::{RehearseArgs, USUAL};

/// Samples heard at a time.
const BLOCK: usize = 4_096;
/// Seconds of two recordings that are compared to lay them over each other.
const COMPARED: f64 = 42.0;

/// What is called to.
#[derive(Debug, Clone)]
pub(super) enum Tune {
    /// A tune of the house band.
    Band(&'static band::Tune),
    /// A recording.
    File(PathBuf),
}

/// Takes a kind of tune, a bundled tune's name, or a file.
pub(super) fn tune(text: &str) -> Result<Tune, String> {
    let tunes = band::tunes();
    let kind = |t: &&band::Tune| t.kind().to_string().eq_ignore_ascii_case(text);
    if let Some(tune) = tunes.iter().find(kind).or(band::tune(text)) {
        return Ok(Tune::Band(tune));
    }
    let path = PathBuf::from(text);
    if path.exists() {
        return Ok(Tune::File(path));
    }
    let names: Vec<&str> = tunes.iter().map(|t| t.name()).collect();
    Err(format!(
        "there is no such recording; give a file, or reel, jig, march, hornpipe, {}",
        names.join(", ")
    ))
}

/// A bundled tune of the kind that a card wants.
pub(super) fn fitting(card: &Card) -> &'static band::Tune {
    let wanted = match card.tune() {
        TuneKind::Any => TuneKind::Reel,
        kind => kind,
    };
    let tunes = band::tunes();
    let kind = |t: &&band::Tune| {
        t.kind()
            .to_string()
            .eq_ignore_ascii_case(&wanted.to_string())
    };
    tunes.iter().find(kind).unwrap_or(&tunes[0])
}

/// Where the beats of a recording are, as the engine hears them.
pub(super) fn beats(mut recording: Recording, path: &Path, form: Form) -> anyhow::Result<Grid> {
    let settings = Settings {
        form,
        ..Settings::default()
    };
    let mut engine = Engine::new(recording.sample_rate(), settings)
        .with_context(|| path.display().to_string())?;
    let (mut block, mut events) = (Vec::new(), Vec::new());
    while recording.read_mono(&mut block)? > 0 {
        engine.push(&block, &mut events);
        block.clear();
    }
    let mut seat = Seat::new(form);
    let mut numbered = Vec::new();
    for event in &events {
        let (place, time) = match event {
            Event::Beat(beat) => (seat.beat(beat), beat.time),
            Event::Phrase(phrase) => (Some(seat.phrase(phrase)), phrase.time),
            Event::Form(form) => {
                let (when, words) = (clock(form.time), form_words(form.other, true));
                super::super::tell(format_args!("{}: {when} {words}", path.display()));
                continue;
            }
            Event::LeadIn(_) => continue,
        };
        if let Some(place) = place {
            let before = u64::from(place.time_through - 1) * u64::from(form.beats());
            numbered.push(((before + u64::from(place.beat)) as i64, time));
        }
    }
    Grid::numbered(numbered).with_context(|| {
        format!(
            "{}: no dance tune with a clear phrase is heard in it; give --steps and --one",
            path.display()
        )
    })
}

/// A recording as mono samples at a rate, from some moment on, silence beyond its ends.
struct Mono {
    recording: Recording,
    to: Resampler,
    waiting: Vec<f32>,
    scratch: Vec<f32>,
    over: bool,
}

impl Mono {
    /// `later`: seconds of silence before it; its beginning is left out if negative.
    fn open(path: &Path, rate: u32, later: f64) -> anyhow::Result<Self> {
        let recording = Recording::open(path)?;
        let mut mono = Mono {
            to: Resampler::new(recording.sample_rate(), rate, 1)?,
            recording,
            waiting: Vec::new(),
            scratch: Vec::new(),
            over: false,
        };
        let samples = (later.abs() * f64::from(rate)).round() as usize;
        match later < 0.0 {
            true => {
                let mut skipped = 0;
                while skipped < samples {
                    let n = (samples - skipped).min(BLOCK);
                    mono.next(n)?;
                    skipped += n;
                }
            }
            false => mono.waiting.resize(samples, 0.0),
        }
        Ok(mono)
    }

    fn next(&mut self, count: usize) -> anyhow::Result<Vec<f32>> {
        while self.waiting.len() < count && !self.over {
            self.scratch.clear();
            if self.recording.read_mono(&mut self.scratch)? == 0 {
                self.to.finish(&mut self.waiting)?;
                self.over = true;
            } else {
                self.to.push(&self.scratch, &mut self.waiting)?;
            }
        }
        let taken = count.min(self.waiting.len());
        let mut out: Vec<f32> = self.waiting.drain(..taken).collect();
        out.resize(count, 0.0);
        Ok(out)
    }
}

/// What was heard in a recording of calls.
pub(super) struct HeardFile {
    pub(super) tune: String,
    pub(super) grid: Grid,
    pub(super) prompts: Vec<Prompt>,
    pub(super) ending: Ending,
}

/// Seconds by which a band is given to the ear sooner than it was found: that is not exact,
/// and a filter cannot hear what is still to come.
const SOONER: f64 = 0.010;

/// Hears the calls in `voice`, and where the beats of `band` lie beside them.
pub(super) fn hear_file(
    mut voice: Recording,
    path: &Path,
    band: Option<&Path>,
    args: &RehearseArgs,
    card: &Card,
) -> anyhow::Result<HeardFile> {
    let rate = voice.sample_rate();
    let same = |band: &&Path| same_file(band, path);
    let other = band.filter(|band| !same(band));
    let (grid, removal, later, tune) = match (other, args.one) {
        (Some(band), _) => {
            let found = align(
                (rate, &beginning(path)?),
                (Recording::open(band)?.sample_rate(), &beginning(band)?),
            )?;
            let later = found.unwrap_or(0.0);
            let grid = beats(Recording::open(band)?, band, card.form())?.later(later);
            let removal = match found {
                Some(_) if !args.headphones => Removal::Adaptive,
                _ => Removal::None,
            };
            (grid, removal, later, name(band))
        }
        (None, Some(one)) if band.is_none() => {
            let steps = args.steps.or(card.steps_per_minute()).unwrap_or(USUAL);
            let beats = args.times * card.form().beats();
            let grid = Grid::even(one, steps, beats).context("give --steps")?;
            (grid, Removal::None, 0.0, "a steady beat".to_owned())
        }
        _ => {
            let grid = beats(Recording::open(path)?, path, card.form())?;
            (grid, Removal::Mixed, 0.0, name(path))
        }
    };
    let mut played = match (removal, other) {
        (Removal::Adaptive, Some(band)) => Some(Mono::open(band, rate, later - SOONER)?),
        _ => None,
    };
    let mut ear = Ear::new(rate, Method::default(), removal)?;
    let (mut prompts, mut frames, mut mono) = (Vec::new(), Vec::new(), Vec::new());
    let mut samples = 0u64;
    let channels = voice.channels();
    while voice.read(&mut frames)? > 0 {
        mix_to_mono(&frames, channels, &mut mono);
        frames.clear();
        samples += mono.len() as u64;
        for block in mono.chunks(BLOCK) {
            let beside = match &mut played {
                Some(played) => played.next(block.len())?,
                None => vec![0.0; block.len()],
            };
            ear.push(block, &beside, &mut prompts)?;
        }
        mono.clear();
    }
    ear.end(&mut prompts)?;
    if let Some(warning) = voice.warning() {
        super::super::tell(warning);
    }
    Ok(HeardFile {
        tune,
        grid,
        prompts,
        ending: Ending {
            until: samples as f64 / f64::from(rate),
            softened: ear.softened(),
            gaps: 0,
        },
    })
}

/// The first seconds of a recording, mono.
fn beginning(path: &Path) -> anyhow::Result<Vec<f32>> {
    let mut recording = Recording::open(path)?;
    let most = (COMPARED * f64::from(recording.sample_rate())) as usize;
    let (mut all, mut block) = (Vec::new(), Vec::new());
    while all.len() < most && recording.read_mono(&mut block)? > 0 {
        all.append(&mut block);
    }
    Ok(all)
}

fn name(path: &Path) -> String {
    path.file_name()
        .unwrap_or(path.as_os_str())
        .to_string_lossy()
        .into_owned()
}

fn same_file(a: &Path, b: &Path) -> bool {
    match (a.canonicalize(), b.canonicalize()) {
        (Ok(a), Ok(b)) => a == b,
        _ => a == b,
    }
}
