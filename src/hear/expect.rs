//! What the bar pointer expects of the music before it hears any.

/// What the bar pointer expects of the music.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expectations {
    /// Slowest tempo followed, steps per minute.
    pub slowest: f64,
    /// Fastest tempo followed, steps per minute.
    pub fastest: f64,
    /// The tempo dancers like best, steps per minute.
    pub usual: f64,
    /// Spread of the logarithm of the tempo around the usual one.
    pub tempo_spread: f64,
    /// How reluctantly the tempo changes at a beat: the probability falls by
    /// `exp(-steadiness · |ratio − 1|)`.
    pub steadiness: f64,
    /// Weight of the beat activation's log odds.
    pub beat_weight: f32,
    /// Weight of the off-beat activations' log odds.
    pub off_beat_weight: f32,
    /// Weight of the mode activation's log probability, a frame.
    pub mode_weight: f32,
    /// Least probability of a mode that is believed: the network may be wrong
    /// about it for a while.
    pub mode_floor: f32,
    /// Probability a frame that a lead-in begins while nobody plays, on its
    /// first to fourth beat: soft first strokes may not be heard.
    pub lead_in_begins: [f32; 4],
    /// Probability a frame that a tune begins without a lead-in being heard.
    pub tune_begins: f32,
    /// Probability a frame that the tune is joined in the middle.
    pub tune_joined: f32,
    /// Probability a frame that the playing stops.
    pub playing_stops: f32,
    /// Probability a frame that the beat is lost and starts anew anywhere.
    pub beat_lost: f32,
    /// Seconds after the first sound for which no band is taken to have just
    /// begun unheard: whoever is then already playing was joined in mid-tune.
    pub settling: f64,
    /// Seconds of playing that make a tune, which may then pause.
    pub tune_lasts: f64,
    /// Seconds of silence after a tune that may be no more than a pause in it.
    pub longest_pause: f64,
    /// Probability a frame of such a pause that the tune goes on.
    pub tune_resumes: f32,
    /// Share of its usual probability that a beginning has in such a pause.
    pub begins_in_pause: f32,
}

impl Default for Expectations {
    fn default() -> Self {
        Expectations {
            slowest: 86.0,
            fastest: 148.0,
            usual: 116.0,
            tempo_spread: 0.12,
            steadiness: 100.0,
            beat_weight: 0.6,
            off_beat_weight: 0.3,
            mode_weight: 0.02,
            mode_floor: 0.1,
            lead_in_begins: [2e-3, 3e-5, 1e-5, 1e-5],
            tune_begins: 1e-4,
            tune_joined: 5e-5,
            playing_stops: 5e-5,
            beat_lost: 2e-5,
            settling: 1.3,
            tune_lasts: 15.0,
            longest_pause: 7.0,
            tune_resumes: 1e-2,
            begins_in_pause: 0.01,
        }
    }
}
