//! The beat network: onset features in, what a trained ear makes of them out.
//!
//! Small causal recurrent networks (one dense layer, gated recurrent units as
//! in Cho et al., "Learning Phrase Representations using RNN Encoder–Decoder",
//! EMNLP 2014, in the arrangement PyTorch's `GRU` uses, and one dense layer of
//! heads), trained apart and asked together: what they say is pooled by the mean of
//! their log odds, the logarithmic opinion pool (Genest & Zidek, "Combining Probability
//! Distributions: A Critique and an Annotated Bibliography", Statistical Science 1,
//! 1986). One that hears a beat where there is none is outvoted, and where both are in
//! doubt the pool is.
//!
//! Their weights are data, `weights/*/weights.bin`, listed by `weights.json`; the
//! scripts that made them are in `training/`. Inference is plain single-precision
//! arithmetic and allocates nothing.

use serde::Deserialize;

use super::features::FEATURES;
pub use super::layers::NetError;
use super::layers::{Dense, Front, Gru, Tensor, Weights, sigmoid};

/// What the network says about one moment, each 0 to 1.
///
/// The moment is [`Net::delay`] before the end of the sound heard: the network
/// waits that long to hear a note's attack whole.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Activation {
    /// A beat falls here, in the lead-in or the tune.
    pub beat: f32,
    /// A phrase's first beat falls here.
    pub one: f32,
    /// A part's first beat falls here.
    pub part: f32,
    /// The off-beat half way between two beats (reels, hornpipes, marches).
    pub half: f32,
    /// One of the two off-beats a third of the way between beats (jigs).
    pub third: f32,
    /// Nobody is playing for dancing.
    pub none: f32,
    /// The band is playing its lead-in.
    pub lead_in: f32,
    /// The band is playing the tune.
    pub tune: f32,
}

/// Outputs of the last layer, in the order of [`Activation`]'s fields.
const HEADS: usize = 8;
const HEAD_NAMES: [&str; HEADS] = [
    "beat", "one", "part", "half", "third", "none", "lead_in", "tune",
];

#[derive(Deserialize)]
struct List {
    delay_frames: u32,
    activation: String,
    heads: Vec<String>,
    tensors: Vec<Tensor>,
}

/// The networks with their memory, asked as one.
#[derive(Debug, Clone)]
pub struct Net {
    arch: pulp::Arch,
    delay: f64,
    members: Vec<Member>,
}

/// One network with its memory.
#[derive(Debug, Clone)]
struct Member {
    front: Front,
    layers: Vec<Gru>,
    heads: Dense,
}

impl Net {
    /// The networks that ship with the program.
    pub fn trained() -> Self {
        let first = Self::from_parts(
            include_str!("weights/first/weights.json"),
            include_bytes!("weights/first/weights.bin"),
        );
        let second = Self::from_parts(
            include_str!("weights/second/weights.json"),
            include_bytes!("weights/second/weights.bin"),
        );
        match first.and_then(|first| first.with(second?)) {
            Ok(net) => net,
            // The files are compiled in and loaded by a test.
            Err(error) => unreachable!("{error}"),
        }
    }

    /// These networks and `others`, asked together.
    ///
    /// # Errors
    ///
    /// If the others speak of another moment than these.
    pub fn with(mut self, others: Net) -> Result<Self, NetError> {
        if self.delay != others.delay {
            let delays = format!("delays of {} s and {} s", self.delay, others.delay);
            return Err(NetError::Shape(delays));
        }
        self.members.extend(others.members);
        Ok(self)
    }

    /// A network from its list of tensors (JSON) and their values (32-bit
    /// little-endian floats, row by row, in the list's order).
    pub fn from_parts(list: &str, data: &[u8]) -> Result<Self, NetError> {
        let list: List = serde_json::from_str(list)?;
        let misfit = |what: String| NetError::Shape(what);
        if list.heads != HEAD_NAMES {
            return Err(misfit(format!("heads {:?}", list.heads)));
        }
        if list.activation != "relu" {
            return Err(misfit(format!("activation \"{}\"", list.activation)));
        }
        let mut weights = Weights::cut(&list.tensors, data)?;
        let front = weights.front(FEATURES)?;
        let mut width = front.outputs();
        let mut layers = Vec::new();
        for i in 1.. {
            if !weights.has(&format!("gru{i}.weight_ih")) {
                break;
            }
            let layer = weights.gru(&format!("gru{i}"), width)?;
            width = layer.size();
            layers.push(layer);
        }
        let heads = weights.dense("out.weight", "out.bias", width)?;
        if heads.outputs() != HEADS {
            return Err(misfit(format!("{} heads", heads.outputs())));
        }
        Ok(Net {
            arch: pulp::Arch::new(),
            delay: f64::from(list.delay_frames) / f64::from(super::features::FRAME_RATE),
            members: vec![Member {
                front,
                layers,
                heads,
            }],
        })
    }

    /// Seconds between the moment an [`Activation`] speaks of and the end of the
    /// sound heard for it.
    pub fn delay(&self) -> f64 {
        self.delay
    }

    /// Forgets what it heard.
    pub fn forget(&mut self) {
        let layers = self.members.iter_mut().flat_map(|m| &mut m.layers);
        layers.for_each(Gru::forget);
    }

    /// Hears one frame of features.
    pub fn step(&mut self, features: &[f32; FEATURES]) -> Activation {
        self.arch.dispatch(Step(self, features))
    }

    #[inline(always)]
    fn hear(&mut self, features: &[f32; FEATURES]) -> Activation {
        let mut pooled = [0.0; HEADS];
        let share = 1.0 / self.members.len() as f32;
        for member in &mut self.members {
            let said = member.hear(features);
            pooled = std::array::from_fn(|k| pooled[k] + share * said[k]);
        }
        let [beat, one, part, half, third, modes @ ..] = pooled;
        let top = modes.iter().copied().fold(f32::MIN, f32::max);
        let modes = modes.map(|m| (m - top).exp());
        let sum: f32 = modes.iter().sum();
        Activation {
            beat: sigmoid(beat),
            one: sigmoid(one),
            part: sigmoid(part),
            half: sigmoid(half),
            third: sigmoid(third),
            none: modes[0] / sum,
            lead_in: modes[1] / sum,
            tune: modes[2] / sum,
        }
    }
}

impl Member {
    /// What it makes of a frame: log odds of the events, and logarithms of the modes'
    /// weights.
    #[inline(always)]
    fn hear(&mut self, features: &[f32; FEATURES]) -> [f32; HEADS] {
        let mut x = self.front.step(features);
        for layer in &mut self.layers {
            layer.step(x);
            x = layer.state();
        }
        let mut out = [[0.0; HEADS]];
        self.heads.apply(x, &mut out);
        let [out] = out;
        out
    }
}

/// A step, through whatever registers there are.
struct Step<'a>(&'a mut Net, &'a [f32; FEATURES]);

impl pulp::WithSimd for Step<'_> {
    type Output = Activation;

    #[inline(always)]
    fn with_simd<S: pulp::Simd>(self, _: S) -> Activation {
        self.0.hear(self.1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hear::layers::numbers;

    /// 200 frames of features, and the mean of what PyTorch makes of them with each of
    /// the shipped weights (before sigmoid and softmax): written by
    /// `training/answers.py`.
    #[test]
    fn inference_agrees_with_the_training_library() {
        let read = |bytes: &[u8]| numbers(bytes).collect::<Vec<f32>>();
        let input = read(include_bytes!("../../fixtures/net/input.f32"));
        let output = read(include_bytes!("../../fixtures/net/output.f32"));
        let exact = |x: f32| 1.0 / (1.0 + (-x).exp());
        let mut net = Net::trained();
        let mut frames = 0;
        for (x, y) in input.chunks_exact(FEATURES).zip(output.chunks_exact(HEADS)) {
            let features = x.try_into().unwrap();
            let heard = net.step(features);
            let modes = [y[5].exp(), y[6].exp(), y[7].exp()];
            let sum: f32 = modes.iter().sum();
            for (ours, theirs) in [
                (heard.beat, exact(y[0])),
                (heard.one, exact(y[1])),
                (heard.part, exact(y[2])),
                (heard.half, exact(y[3])),
                (heard.third, exact(y[4])),
                (heard.none, modes[0] / sum),
                (heard.lead_in, modes[1] / sum),
                (heard.tune, modes[2] / sum),
            ] {
                assert!(
                    (ours - theirs).abs() < 2e-3,
                    "frame {frames}: {ours} for {theirs}"
                );
            }
            frames += 1;
        }
        assert_eq!(frames, 200);
    }

    #[test]
    fn networks_that_speak_of_other_moments_are_not_pooled() {
        let list = include_str!("weights/first/weights.json");
        let data = include_bytes!("weights/first/weights.bin");
        let later = list.replace("\"delay_frames\": 4", "\"delay_frames\": 6");
        let [net, later] = [list, &later].map(|list| Net::from_parts(list, data).unwrap());
        let error = net.with(later).unwrap_err().to_string();
        assert!(error.contains("delays of 0.04 s and 0.06 s"), "{error}");
    }

    #[test]
    fn bad_weights_are_refused_in_words() {
        let bad = |list: &str, data: &[u8]| Net::from_parts(list, data).unwrap_err().to_string();
        assert!(bad("{", &[]).contains("not readable"));
        let heads = r#"["beat","one","part","half","third","none","lead_in","tune"]"#;
        let list = |tensors: &str| {
            format!(
                r#"{{"delay_frames":4,"activation":"relu","heads":{heads},"tensors":{tensors}}}"#
            )
        };
        assert!(bad(&list("[]"), &[]).contains("missing"));
        let one = list(r#"[{"name":"in.bias","shape":[2]}]"#);
        assert!(bad(&one, &[0; 4]).contains("cut short"));
        assert!(bad(&one, &[0; 12]).contains("more values"));
    }
}
