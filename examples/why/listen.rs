//! Runs a recording through the engine and keeps what it showed on the way.

use std::path::Path;

use anyhow::Context;
use eightclap::engine::{Engine, Settings};
use eightclap::event::{Beat, Event, LeadIn, Phrase};
use eightclap::hear::features::{BANDS, FRAME_RATE, Features, WINDOW};
use eightclap::hear::net::Activation;
use eightclap::sound::file::Recording;

/// One frame of hearing.
pub struct Frame {
    /// Sum over the bands of the rise in log magnitude.
    pub rises: f32,
    /// What the network says of the moment it looks at.
    pub activation: Activation,
}

/// A beat, and the belief when it was announced.
pub struct Counted {
    pub beat: Beat,
    /// Probability of each beat of the tune.
    pub places: Vec<f32>,
    /// Probability of the likeliest count.
    pub sure: f32,
}

/// All that was seen.
pub struct Heard {
    pub frames: Vec<Frame>,
    pub beats: Vec<Counted>,
    pub phrases: Vec<Phrase>,
    pub lead_ins: Vec<LeadIn>,
    /// Seconds by which activations lag behind the sound heard.
    delay: f64,
}

impl Heard {
    /// Length of the recording, seconds.
    pub fn seconds(&self) -> f64 {
        self.frames.len() as f64 / f64::from(FRAME_RATE)
    }

    /// The moment in the middle of frame `n`'s window, seconds.
    pub fn window_centre(&self, n: usize) -> f64 {
        (n + 1) as f64 / f64::from(FRAME_RATE) - 0.5 * WINDOW
    }

    /// The moment that frame `n`'s activation speaks of, seconds.
    pub fn moment(&self, n: usize) -> f64 {
        (n + 1) as f64 / f64::from(FRAME_RATE) - self.delay
    }
}

pub fn listen(tune: &Path, settings: Settings) -> anyhow::Result<Heard> {
    let mut recording = Recording::open(tune)?;
    let rate = recording.sample_rate();
    let name = || tune.display().to_string();
    let mut engine = Engine::new(rate, settings).with_context(name)?;
    let mut features = Features::new(rate).with_context(name)?;
    let mut heard = Heard {
        frames: Vec::new(),
        beats: Vec::new(),
        phrases: Vec::new(),
        lead_ins: Vec::new(),
        delay: engine.activation_delay(),
    };
    let (mut samples, mut events) = (Vec::new(), Vec::new());
    while recording.read_mono(&mut samples)? > 0 {
        // No piece holds more than one frame's end, so that none goes unseen.
        for piece in samples.chunks((rate / FRAME_RATE) as usize) {
            engine.push(piece, &mut events);
            if let Some(frame) = features.next(&mut &*piece) {
                heard.frames.push(Frame {
                    rises: frame.features[BANDS..2 * BANDS].iter().sum(),
                    activation: engine.activation(),
                });
            }
            for event in events.drain(..) {
                match event {
                    Event::LeadIn(lead_in) => heard.lead_ins.push(lead_in),
                    Event::Phrase(phrase) => heard.phrases.push(phrase),
                    Event::Form(_) => {}
                    Event::Beat(beat) => heard.beats.push(Counted {
                        beat,
                        places: engine.belief().places().to_vec(),
                        sure: engine.belief().count().1,
                    }),
                }
            }
        }
    }
    Ok(heard)
}
