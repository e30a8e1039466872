//! Everything but plain WAV, through `symphonia`.

use super::track::{PANIC, PANICKED, decoder_for, refuse};
use super::{FileError, Kind, Layout, Trouble, check_layout, priming, shield};
use std::fs::File;
use std::path::Path;
use symphonia::core::codecs::audio::AudioDecoder;
use symphonia::core::errors::Error;
use symphonia::core::formats::FormatReader;
use symphonia::core::formats::probe::Hint;
use symphonia::core::io::MediaSourceStream;
use symphonia::core::packet::Packet;

/// Pieces at the start that may fail before a file is given up.
const MOST_BAD_AT_START: u64 = 200;

/// How many pieces in a row must decode before a file without a known
/// beginning is taken for sound. Chance alone does not make four.
const PROOF: usize = 4;

/// Silence that stands in for what is damaged is never longer than this.
const LONGEST_GAP_SECONDS: u64 = 600;

/// Failed attempts in a row to get past a damaged place.
const MOST_STUCK: u32 = 64;

/// A step in the stamps of a piece that is longer than this is a hole.
const HOLE_SECONDS: f64 = 0.010;

/// Frames of sound in a frame of MP3 (ISO/IEC 11172-3, 2.4.2.1).
const MP3_FRAME: u64 = 1152;

/// Longest piece that is believed, in samples over all channels: the longest
/// of any codec here is 65,536 frames (FLAC).
const LONGEST_PIECE: usize = 65_536 * super::MAX_CHANNELS;

/// A packed file being read.
pub(super) struct Packed {
    format: Box<dyn FormatReader>,
    decoder: Box<dyn AudioDecoder>,
    track: u32,
    kind: Kind,
    rate: u32,
    channels: usize,
    frames: Option<u64>,
    /// Whether that length was counted by the encoder, not estimated. In an
    /// MP3 only a tag with the encoder's delay has it.
    exact: bool,
    given: u64,
    /// Frames of codec priming still to be dropped.
    skip: u64,
    /// Frames of silence still to be given in place of what is damaged.
    owed: u64,
    /// The stamp that the next piece should have, in the track's time base.
    expected: Option<i64>,
    stuck: u32,
    ready: Vec<f32>,
    piece: Vec<f32>,
    ended: bool,
    trouble: Trouble,
}

enum Step {
    /// `piece` holds sound in this layout.
    Sound {
        rate: u32,
        channels: usize,
    },
    /// A piece of about so many frames could not be decoded.
    Gap(u64),
    End,
}

impl Packed {
    /// Opens a file and decodes up to its first sound.
    pub(super) fn open(
        path: &Path,
        mut file: File,
        kind: Kind,
    ) -> Result<(Packed, Layout), FileError> {
        let skip = match kind {
            Kind::M4a => priming::m4a(&mut file).map_err(|e| FileError::io(path, e))?,
            _ => 0,
        };
        let stream = MediaSourceStream::new(Box::new(file), Default::default());
        let probe = || {
            symphonia::default::get_probe().probe(
                &Hint::new(),
                stream,
                Default::default(),
                Default::default(),
            )
        };
        let format = shield::guard(probe)
            .unwrap_or(Err(PANICKED))
            .map_err(|e| refuse(path, kind, e))?;
        let (track, frames, decoder) = decoder_for(path, kind, &*format)?;
        let tagged = format.tracks().iter().any(|t| t.delay.is_some());
        let mut packed = Packed {
            format,
            decoder,
            track,
            kind,
            rate: 0,
            channels: 0,
            frames,
            exact: match kind {
                Kind::Mp3 => tagged,
                Kind::Aac | Kind::Unknown => false,
                _ => true,
            },
            given: 0,
            skip,
            owed: 0,
            expected: None,
            stuck: 0,
            ready: Vec::new(),
            piece: Vec::new(),
            ended: false,
            trouble: Trouble::default(),
        };
        packed.start(path)?;
        // A length in samples counts the priming in; the listener does not.
        packed.frames = frames.map(|n| n.saturating_sub(skip)).filter(|n| *n > 0);
        let layout = Layout {
            rate: packed.rate,
            channels: packed.channels,
            frames: packed.frames,
        };
        Ok((packed, layout))
    }

    /// Decodes until there is sound, and learns rate and channels from it.
    fn start(&mut self, path: &Path) -> Result<(), FileError> {
        let proof = if self.kind == Kind::Unknown { PROOF } else { 1 };
        let mut good = 0;
        let mut bad = 0;
        while good < proof || self.ready.is_empty() {
            self.owed = 0;
            match self.step(path)? {
                Step::Sound { rate, channels } => {
                    good += 1;
                    if self.piece.is_empty() {
                        continue;
                    }
                    if self.channels == 0 {
                        check_layout(path, rate, channels)?;
                        (self.rate, self.channels) = (rate, channels);
                    }
                    self.accept(rate, channels);
                }
                Step::Gap(_) => {
                    bad += 1;
                    if bad > MOST_BAD_AT_START || self.kind == Kind::Unknown {
                        return Err(self.nothing(path, bad));
                    }
                }
                Step::End => {
                    self.ended = true;
                    if self.ready.is_empty() || self.kind == Kind::Unknown {
                        return Err(self.nothing(path, bad));
                    }
                    break;
                }
            }
        }
        self.trouble.damaged = bad;
        Ok(())
    }

    /// Why there is no sound in it.
    fn nothing(&self, path: &Path, bad: u64) -> FileError {
        let (path, kind) = (path.to_path_buf(), self.kind.to_string());
        if self.kind == Kind::Unknown {
            FileError::NotSound { path }
        } else if bad > 0 || self.trouble.cut.is_some() {
            let why = "no sound in it can be decoded".to_string();
            FileError::Damaged { path, kind, why }
        } else {
            FileError::NoSamples { path, kind }
        }
    }

    /// Replaces `out`, which must be empty, with the next sound.
    pub(super) fn read(&mut self, path: &Path, out: &mut Vec<f32>) -> Result<(), FileError> {
        while self.ready.is_empty() && self.owed == 0 && !self.ended {
            match self.step(path)? {
                Step::Sound { rate, channels } => self.accept(rate, channels),
                Step::Gap(frames) => self.owe(frames),
                Step::End => self.end(),
            }
        }
        if self.owed > 0 {
            // The silence comes before the piece that showed the hole.
            let frames = self.owed.min(super::BLOCK as u64);
            self.owed -= frames;
            self.given += frames;
            out.resize(frames as usize * self.channels, 0.0);
            return Ok(());
        }
        self.given += (self.ready.len() / self.channels) as u64;
        out.append(&mut self.ready);
        Ok(())
    }

    /// Notes a damaged place that is `frames` long.
    fn owe(&mut self, frames: u64) {
        self.trouble.damaged += 1;
        let longest = u64::from(self.rate) * LONGEST_GAP_SECONDS;
        self.owed = (self.owed + frames).min(longest);
    }

    pub(super) fn trouble(&self) -> &Trouble {
        &self.trouble
    }

    /// Takes `piece` over into `ready`, in the layout the file began with.
    fn accept(&mut self, rate: u32, channels: usize) {
        if rate != self.rate || channels == 0 {
            let why =
                format!("the sample rate changes to {rate} Hz on the way; the rest is left out");
            self.trouble.cut = Some(why);
            self.ended = true;
            return;
        }
        let dropped = self.skip.min((self.piece.len() / channels) as u64);
        self.skip -= dropped;
        let piece = &self.piece[dropped as usize * channels..];
        if channels == self.channels {
            self.ready.extend_from_slice(piece);
            return;
        }
        // A joined-up file may go from stereo to mono: keep the frame's shape.
        let share = 1.0 / channels as f32;
        for frame in piece.chunks_exact(channels) {
            let mono = frame.iter().sum::<f32>() * share;
            self.ready.extend(std::iter::repeat_n(mono, self.channels));
        }
    }

    /// Notes what is missing at the end, as far as the stated length can tell.
    /// A codec may round by a piece or two.
    fn end(&mut self) {
        self.ended = true;
        // An MP3 says no other way that frames of it were passed over.
        let margin = match self.kind {
            Kind::Mp3 => MP3_FRAME,
            _ => u64::from(self.rate) / 5,
        };
        if let (Some(frames), true, None) = (self.frames, self.exact, &self.trouble.cut) {
            let missing = frames.saturating_sub(self.given);
            if missing > margin {
                let share = self.given as f64 / frames as f64 * 100.0;
                let why = format!(
                    "the file is damaged or cut short; the {share:.1} % of it that can be read are played"
                );
                self.trouble.cut = Some(why);
            }
        }
    }

    /// Decodes one packet of the track into `piece`.
    fn step(&mut self, path: &Path) -> Result<Step, FileError> {
        let format = &mut self.format;
        let packet = match shield::guard(|| format.next_packet()).unwrap_or(Err(PANICKED)) {
            Ok(Some(packet)) => packet,
            Ok(None) => return Ok(Step::End),
            Err(Error::ResetRequired) => return Ok(self.restart(path)),
            Err(Error::IoError(e)) if e.kind() == std::io::ErrorKind::UnexpectedEof => {
                let why = "the file is cut short; what is there is played";
                self.trouble.cut.get_or_insert_with(|| why.to_string());
                return Ok(Step::End);
            }
            Err(Error::IoError(e)) => return Err(FileError::io(path, e)),
            Err(Error::DecodeError(why)) if self.stuck < MOST_STUCK && why != PANIC => {
                // Some containers find their way back by themselves.
                self.stuck += 1;
                return Ok(Step::Gap(0));
            }
            Err(e) => {
                let why = format!("damaged past reading on ({e}); the rest is left out");
                self.trouble.cut.get_or_insert(why);
                return Ok(Step::End);
            }
        };
        self.stuck = 0;
        self.piece.clear();
        let nothing = Step::Sound {
            rate: self.rate,
            channels: self.channels.max(1),
        };
        if packet.track_id != self.track {
            return Ok(nothing);
        }
        self.find_hole(&packet);
        let gap = self.frames_in(packet.dur.get());
        let (decoder, piece) = (&mut self.decoder, &mut self.piece);
        let decoded = shield::guard(|| match decoder.decode(&packet) {
            Ok(sound) if sound.samples_interleaved() <= LONGEST_PIECE => {
                sound.copy_to_vec_interleaved(piece);
                Some((sound.spec().rate(), sound.spec().channels().count()))
            }
            _ => None,
        });
        Ok(match decoded.flatten() {
            Some((rate, channels)) => Step::Sound { rate, channels },
            None => {
                self.piece.clear();
                Step::Gap(gap)
            }
        })
    }

    /// Some containers pass over damage without a word, and only the stamp of
    /// the next piece tells how much is missing (in OGG, of the next page but
    /// one). In an MP3 or AAC stream nothing does.
    fn find_hole(&mut self, packet: &Packet) {
        let at = packet.pts.get();
        let next = at.saturating_add_unsigned(packet.dur.get());
        let expected = self.expected.replace(next);
        if !matches!(self.kind, Kind::Flac | Kind::Ogg) || self.rate == 0 {
            return;
        }
        let Some(expected) = expected else {
            return;
        };
        let missing = self.frames_in(u64::try_from(at.saturating_sub(expected)).unwrap_or(0));
        if missing as f64 > HOLE_SECONDS * f64::from(self.rate) {
            self.owe(missing);
        }
    }

    /// A chained stream begins a new track: carry on with that one.
    fn restart(&mut self, path: &Path) -> Step {
        match decoder_for(path, self.kind, &*self.format) {
            Ok((track, _, decoder)) => {
                self.track = track;
                self.decoder = decoder;
                self.expected = None;
                self.piece.clear();
                Step::Sound {
                    rate: self.rate,
                    channels: self.channels.max(1),
                }
            }
            Err(_) => {
                let why = "a part of another kind follows; it is left out";
                self.trouble.cut = Some(why.to_string());
                Step::End
            }
        }
    }

    /// So many units of the track's time base, in frames.
    fn frames_in(&self, units: u64) -> u64 {
        let base = self
            .format
            .tracks()
            .iter()
            .find(|t| t.id == self.track)
            .and_then(|t| t.time_base);
        match base {
            Some(base) => {
                let seconds =
                    units as f64 * f64::from(base.numer.get()) / f64::from(base.denom.get());
                (seconds * f64::from(self.rate)).round() as u64
            }
            None => units,
        }
    }
}
