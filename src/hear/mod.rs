//! From samples to onset features, tempo and beats.
//!
//! This page explains how the program hears a beat, where the ideas come from,
//! what can be set, and what the method cannot do. How beats become phrases is
//! told in [`crate::phrase`].
//!
//! # The task
//!
//! A band plays for dancers; the program must say each beat *before* it falls,
//! and never take it back. General beat trackers hardly ever miss the tempo of
//! such music, but they do miss its phase: a reel is followed half a beat off,
//! a jig by one of its other two eighths. Everything below serves that one
//! question: which of the equally spaced strokes is the step?
//!
//! # The way of a sample
//!
//! ```text
//! samples ─→ features ─────→ net ────────────→ beats ────────────→ tracker ─→ beats
//!            48 bands, every activations:       belief over tempo,  decides once,
//!            10 ms, the last beat? off-beat?    place in the beat,  at least 60 ms
//!            46 ms of sound  one? who plays?    and who plays       ahead
//! ```
//!
//! 1. [`features`] cuts the sound into frames of 10 ms. Each frame looks at the
//!    last 46.4 ms (a Hann window; the nearest even length with no prime factor
//!    above 5, so that every sample rate hears alike), gathers the spectrum
//!    into 48 bands from 50 Hz to 9 kHz (those that a low rate does not carry are
//!    taken to be as the last that it does) and takes logarithms. The network gets
//!    each band's level against its own running mean (3 s), so that neither the
//!    room nor the microphone's gain matters, and each band's *rise* over 20 ms.
//!    A rise is counted from the loudest of the band and its two neighbours, so
//!    that vibrato and slides are no onsets \[1\].
//! 2. [`net`] is two small causal recurrent networks \[2\], trained on rendered
//!    tunes with many instruments, rooms and noises, and asked together \[8\]. For
//!    the moment 40 ms ago (they wait that long to hear an attack whole) they give
//!    the probability of a beat, of the off-beats at the half and at the thirds of a beat, of a
//!    phrase's and a part's first beat, and of who plays: nobody, a lead-in, or
//!    the tune. Learned activations under a probabilistic model of time are the
//!    arrangement of \[3\] and \[4\].
//! 3. [`beats`] holds a belief over all tempi in the dance range, all places
//!    within the beat (in steps of 5 ms), and the *mode*: nobody plays, one of
//!    the four lead-in beats, one of the tune's first four beats, the tune after
//!    them. It is the bar pointer of \[5\] on the
//!    efficient grid of \[6\], followed forward in time only. Each frame, every
//!    state moves on by 10 ms; at a beat's end the tempo may change a little and
//!    the mode moves on, so that four lead-in beats lead to the tune's first. Then
//!    each state is weighed by how well it fits the activations: the beat
//!    activation near its beat, the off-beat ones at its half and thirds.
//! 4. [`tracker`] takes beats out of the belief. The single most probable state
//!    may flip between two readings of the same music; a dancer's foot may not.
//!    So a beat's time is the belief's *mean* around the beat that is due, and
//!    another reading replaces the held one only after it has been clearly
//!    better for several beats (at once while the held one is young).
//!
//! Nothing here knows a clock, a file or a device, and once made nothing
//! allocates. What is said depends only on the samples heard so far, not on how
//! they were cut into blocks.
//!
//! # When a beat is said
//!
//! Sound at time *t* is in the network's answer at *t* + 40 ms, but a beat
//! is said 62 to 72 ms *before* its time: it is a prediction, made from the beats
//! before it. What the band does in the last tenth of a second before a beat is too
//! late for it: a stroke that comes early or late moves the next beat, not its own.
//!
//! # Parameters
//!
//! Of [`beats::Expectations`], which [`crate::engine::Settings`] carries. The
//! weights are exponents on likelihoods: below 1, because neighbouring
//! frames say much the same and must not be counted as so many witnesses.
//!
//! | parameter | usual | unit | meaning |
//! |---|---|---|---|
//! | `slowest`, `fastest` | 86, 148 | steps per minute | tempi followed; dances are mostly at 108 to 124 (common practice) |
//! | `usual` | 116 | steps per minute | the likeliest tempo before anything is heard |
//! | `tempo_spread` | 0.12 | log of a ratio | how far from `usual` a tempo may well be |
//! | `steadiness` | 100 | 1 / ratio | a tempo change by a share *r* at one beat is exp(−`steadiness`·*r*) as likely as none: 1 % costs a factor e |
//! | `beat_weight` | 0.6 | exponent | trust in the beat activation |
//! | `off_beat_weight` | 0.3 | exponent | trust in the off-beat activations |
//! | `mode_weight` | 0.02 | exponent, a frame | trust in who is said to play |
//! | `mode_floor` | 0.1 | probability | a mode is never believed to be less likely than this |
//! | `lead_in_begins` | 2·10⁻³, 3·10⁻⁵, 10⁻⁵, 10⁻⁵ | probability, a frame | a lead-in begins while nobody plays: on its first stroke, or with the first one, two or three unheard |
//! | `tune_begins` | 10⁻⁴ | probability, a frame | a tune begins without a lead-in being heard |
//! | `tune_joined` | 5·10⁻⁵ | probability, a frame | sound begins in the middle of a tune |
//! | `playing_stops` | 5·10⁻⁵ | probability, a frame | the band stops |
//! | `beat_lost` | 2·10⁻⁵ | probability, a frame | the band jumps to any other place in the beat |
//! | `settling` | 1.3 | s | at first no band is taken to have begun unheard: one that plays already was joined in mid-tune |
//! | `tune_lasts` | 15 | s | playing that makes a tune, which may pause |
//! | `longest_pause` | 7 | s | silence after a tune that may be a pause in it |
//! | `tune_resumes` | 10⁻² | probability, a frame | the tune goes on after such a pause |
//! | `begins_in_pause` | 0.01 | share | of their usual probability that beginnings have in such a pause |
//!
//! Fixed in [`tracker`]: a first reading is taken up with 55 % of the belief
//! behind it; below 25 % the held one is in doubt, and gives way to one with
//! 60 % that has won four beats in a row, or one within the first eight beats;
//! above 90 % for "nobody plays" beats end. "Behind it" means within a fifth of a
//! beat. Beats that went by meanwhile are counted by the clock.
//!
//! # Limits
//!
//! - Tempi outside `slowest` to `fastest` are heard at half or double, or not at
//!   all. Waltzes, and music whose beat is felt in threes, are not meant.
//! - Without a lead-in, a melody alone whose accents avoid the beat can be read
//!   half a beat (reels) or a third (jigs) off until the tune makes it plain.
//! - A sudden change of tempo is followed within a few beats, not at once; the
//!   reach is about 8 % a beat. Free time has no beat to hear.
//! - Any sample rate from 4 to 768 kHz is heard, but below about 18 kHz the
//!   highest bands are empty, and strokes of wood and wire with them.
//! - One channel: mix stereo down before.
//!
//! # Looking inside
//!
//! - `cargo run --release --example why -- TUNE OUT.svg` draws all stages over
//!   each other for a stretch of a recording.
//! - `cargo bench --bench accuracy -- --corpus DIR` measures beats and claps on
//!   recordings whose beats are known, by the measures of
//!   [`crate::report::measures`].
//! - `benches/compare.py` sets the beats beside those of general-purpose trackers.
//!
//! ```
//! use eightclap::hear::{beats::Expectations, features::Features, net::Net, tracker::Tracker};
//! use eightclap::sound::band::{self, Performance};
//!
//! let rate = 22_050;
//! let tune = band::tune("boots-on-the-fender").expect("bundled");
//! let settings = band::Settings { times: 1, sample_rate: rate, ..band::Settings::default() };
//! let sound = Performance::new(tune, settings)?.render();
//!
//! let mut features = Features::new(rate)?;
//! let mut net = Net::trained();
//! let mut tracker = Tracker::new(Expectations::default(), net.delay());
//! let mut samples = &sound[..];
//! let mut beats = Vec::new();
//! while let Some(frame) = features.next(&mut samples) {
//!     let heard = (frame.index + 1) as f64 / 100.0;
//!     let activation = net.step(frame.features);
//!     beats.extend(tracker.step(heard, &activation));
//! }
//! assert!(beats.len() > 60);
//! assert!(beats.iter().all(|beat| beat.time - beat.announced >= 0.060));
//! # // The table above tells the truth:
//! # let usual = Expectations {
//! #     slowest: 86.0,
//! #     fastest: 148.0,
//! #     usual: 116.0,
//! #     tempo_spread: 0.12,
//! #     steadiness: 100.0,
//! #     beat_weight: 0.6,
//! #     off_beat_weight: 0.3,
//! #     mode_weight: 0.02,
//! #     mode_floor: 0.1,
//! #     lead_in_begins: [2e-3, 3e-5, 1e-5, 1e-5],
//! #     tune_begins: 1e-4,
//! #     tune_joined: 5e-5,
//! #     playing_stops: 5e-5,
//! #     beat_lost: 2e-5,
//! #     settling: 1.3,
//! #     tune_lasts: 15.0,
//! #     longest_pause: 7.0,
//! #     tune_resumes: 1e-2,
//! #     begins_in_pause: 0.01,
//! # };
//! # assert_eq!(Expectations::default(), usual);
//! # assert_eq!(net.delay(), 0.04);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # Sources
//!
//! 1. S. Böck, G. Widmer: Maximum filter vibrato suppression for onset
//!    detection. DAFx 2013.
//! 2. K. Cho et al.: Learning phrase representations using RNN encoder–decoder
//!    for statistical machine translation. EMNLP 2014.
//! 3. S. Böck, M. Schedl: Enhanced beat tracking with context-aware neural
//!    networks. DAFx 2011.
//! 4. S. Böck, F. Krebs, G. Widmer: Joint beat and downbeat tracking with
//!    recurrent neural networks. ISMIR 2016.
//! 5. N. Whiteley, A. T. Cemgil, S. Godsill: Bayesian modelling of temporal
//!    structure in musical audio. ISMIR 2006.
//! 6. F. Krebs, S. Böck, G. Widmer: An efficient state-space model for joint
//!    tempo and meter tracking. ISMIR 2015.
//! 7. M. E. P. Davies, N. Degara, M. D. Plumbley: Evaluation methods for
//!    musical audio beat tracking algorithms. Technical Report C4DM-TR-09-06,
//!    Queen Mary University of London, 2009 (the measures).
//! 8. C. Genest, J. V. Zidek: Combining probability distributions: a critique and
//!    an annotated bibliography. Statistical Science 1, 1986.

pub mod beats;
pub mod claps;
mod expect;
pub mod features;
pub(crate) mod lanes;
pub(crate) mod layers;
pub mod net;
pub mod pulse;
mod spectrum;
mod states;
pub mod tracker;
mod zones;
