//! The beat network: onset features in, what a trained ear makes of them out.
//!
//! A small causal recurrent network (one dense layer, gated recurrent units as
//! in Cho et al., "Learning Phrase Representations using RNN Encoder–Decoder",
//! EMNLP 2014, in the arrangement PyTorch's `GRU` uses, and one dense layer of
//! heads). Its weights are data, `weights.bin`, listed by `weights.json`; the
//! scripts that made them stand beside them in `training/`. Inference is plain
//! single-precision arithmetic and allocates nothing.

use serde::Deserialize;

use super::features::FEATURES;

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

/// Why a set of weights cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum NetError {
    /// The list of tensors is not readable.
    #[error("the weights' list is not readable: {0}")]
    List(#[from] serde_json::Error),
    /// List and data do not fit each other or this program.
    #[error("the weights do not fit: {0}")]
    Shape(String),
}

#[derive(Deserialize)]
struct List {
    delay_frames: u32,
    activation: String,
    heads: Vec<String>,
    tensors: Vec<Tensor>,
}

#[derive(Deserialize)]
struct Tensor {
    name: String,
    shape: Vec<usize>,
}

/// Numbers worked on at once; rows and inputs are padded to whole groups with
/// zeros, so that no remainder has to be looked after.
const LANES: usize = 8;

/// A dense layer, `y = W x + b`, `W` row by row, rows padded.
#[derive(Debug, Clone)]
struct Dense {
    weights: Vec<[f32; LANES]>,
    bias: Vec<f32>,
}

impl Dense {
    fn new(weights: &[f32], bias: Vec<f32>, inputs: usize) -> Self {
        Dense {
            weights: weights.chunks(inputs).flat_map(padded).collect(),
            bias,
        }
    }

    /// `x` is padded as rows are.
    #[inline(always)]
    fn apply(&self, x: &[[f32; LANES]], y: &mut [f32]) {
        for ((y, row), bias) in y
            .iter_mut()
            .zip(self.weights.chunks_exact(x.len()))
            .zip(&self.bias)
        {
            let mut lanes = [0.0f32; LANES];
            for (a, b) in row.iter().zip(x) {
                for k in 0..LANES {
                    lanes[k] += a[k] * b[k];
                }
            }
            *y = bias + lanes.iter().sum::<f32>();
        }
    }
}

/// `values` in whole groups, the last one filled up with zeros.
fn padded(values: &[f32]) -> Vec<[f32; LANES]> {
    let mut groups = vec![[0.0; LANES]; values.len().div_ceil(LANES)];
    fill(&mut groups, values);
    groups
}

/// Copies `values` into `groups`; what is left of the last group stays.
#[inline(always)]
fn fill(groups: &mut [[f32; LANES]], values: &[f32]) {
    for (slot, value) in groups.as_flattened_mut().iter_mut().zip(values) {
        *slot = *value;
    }
}

/// Gated recurrent unit: gates r, z, n stacked in that order.
#[derive(Debug, Clone)]
struct Gru {
    input: Dense,
    recurrent: Dense,
    state: Vec<[f32; LANES]>,
    size: usize,
    from_input: Vec<f32>,
    from_state: Vec<f32>,
}

impl Gru {
    #[inline(always)]
    fn step(&mut self, x: &[[f32; LANES]]) {
        let size = self.size;
        self.input.apply(x, &mut self.from_input);
        self.recurrent.apply(&self.state, &mut self.from_state);
        let (ir, rest) = self.from_input.split_at(size);
        let (iz, inn) = rest.split_at(size);
        let (hr, rest) = self.from_state.split_at(size);
        let (hz, hn) = rest.split_at(size);
        let state = self.state.as_flattened_mut();
        for (k, h) in state[..size].iter_mut().enumerate() {
            let r = sigmoid(ir[k] + hr[k]);
            let z = sigmoid(iz[k] + hz[k]);
            let n = tanh(inn[k] + r * hn[k]);
            *h = n + z * (*h - n);
        }
    }
}

/// The network with its memory.
#[derive(Debug, Clone)]
pub struct Net {
    delay: f64,
    rectify: bool,
    input: Vec<[f32; LANES]>,
    first: Dense,
    hidden: Vec<[f32; LANES]>,
    from_input: Vec<f32>,
    layers: Vec<Gru>,
    heads: Dense,
}

impl Net {
    /// The network that ships with the program.
    pub fn trained() -> Self {
        match Self::from_parts(include_str!("weights.json"), include_bytes!("weights.bin")) {
            Ok(net) => net,
            // Both files are compiled in and loaded by a test.
            Err(error) => unreachable!("{error}"),
        }
    }

    /// A network from its list of tensors (JSON) and their values (32-bit
    /// little-endian floats, row by row, in the list's order).
    pub fn from_parts(list: &str, data: &[u8]) -> Result<Self, NetError> {
        let list: List = serde_json::from_str(list)?;
        let misfit = |what: String| NetError::Shape(what);
        if list.heads != HEAD_NAMES {
            return Err(misfit(format!("heads {:?}", list.heads)));
        }
        let rectify = match list.activation.as_str() {
            "relu" => true,
            "tanh" => false,
            other => return Err(misfit(format!("activation \"{other}\""))),
        };
        let mut values = data
            .chunks_exact(4)
            .map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]));
        let mut tensors = std::collections::HashMap::new();
        for tensor in &list.tensors {
            let size = tensor.shape.iter().product();
            let part: Vec<f32> = values.by_ref().take(size).collect();
            if part.len() != size || part.iter().any(|x| !x.is_finite()) {
                return Err(misfit(format!(
                    "{} is cut short or not finite",
                    tensor.name
                )));
            }
            tensors.insert(tensor.name.as_str(), part);
        }
        if values.next().is_some() {
            return Err(misfit("more values than the list names".into()));
        }
        let mut dense = |weight: &str, bias: &str, inputs: usize| {
            let get = |m: &mut std::collections::HashMap<&str, Vec<f32>>, name: &str| {
                m.remove(name)
                    .ok_or_else(|| NetError::Shape(format!("{name} is missing")))
            };
            let bias_values = get(&mut tensors, bias)?;
            let weights = get(&mut tensors, weight)?;
            if weights.len() != bias_values.len() * inputs || inputs == 0 {
                return Err(NetError::Shape(format!(
                    "{weight} has {} values",
                    weights.len()
                )));
            }
            Ok(Dense::new(&weights, bias_values, inputs))
        };
        let first = dense("in.weight", "in.bias", FEATURES)?;
        let mut width = first.bias.len();
        let mut layers = Vec::new();
        for i in 1.. {
            let name = |part: &str| format!("gru{i}.{part}");
            if !list.tensors.iter().any(|t| t.name == name("weight_ih")) {
                break;
            }
            let input = dense(&name("weight_ih"), &name("bias_ih"), width)?;
            let gates = input.bias.len();
            let size = gates / 3;
            let recurrent = dense(&name("weight_hh"), &name("bias_hh"), size)?;
            if recurrent.bias.len() != gates || gates != 3 * size {
                return Err(misfit(format!("gru{i} has {gates} gates")));
            }
            layers.push(Gru {
                input,
                recurrent,
                state: padded(&vec![0.0; size]),
                size,
                from_input: vec![0.0; gates],
                from_state: vec![0.0; gates],
            });
            width = size;
        }
        let heads = dense("out.weight", "out.bias", width)?;
        if heads.bias.len() != HEADS {
            return Err(misfit(format!("{} heads", heads.bias.len())));
        }
        Ok(Net {
            delay: f64::from(list.delay_frames) / f64::from(super::features::FRAME_RATE),
            rectify,
            input: padded(&[0.0; FEATURES]),
            hidden: padded(&vec![0.0; first.bias.len()]),
            from_input: vec![0.0; first.bias.len()],
            first,
            layers,
            heads,
        })
    }

    /// Seconds between the moment an [`Activation`] speaks of and the end of the
    /// sound heard for it.
    pub fn delay(&self) -> f64 {
        self.delay
    }

    /// Hears one frame of features.
    #[inline(always)]
    pub fn step(&mut self, features: &[f32; FEATURES]) -> Activation {
        fill(&mut self.input, features);
        self.first.apply(&self.input, &mut self.from_input);
        for h in &mut self.from_input {
            *h = if self.rectify { h.max(0.0) } else { tanh(*h) };
        }
        fill(&mut self.hidden, &self.from_input);
        let mut x: &[[f32; LANES]] = &self.hidden;
        for layer in &mut self.layers {
            layer.step(x);
            x = &layer.state;
        }
        let mut out = [0.0; HEADS];
        self.heads.apply(x, &mut out);
        let [beat, one, part, half, third, modes @ ..] = out;
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

#[inline(always)]
fn sigmoid(x: f32) -> f32 {
    0.5 + 0.5 * tanh(0.5 * x)
}

/// Hyperbolic tangent as a ratio of polynomials (Lambert's continued fraction,
/// seven levels) between -4.97 and 4.97 and ±1 beyond, within 1e-4 of the true
/// one: several times faster than the library's, and it vectorises.
#[inline(always)]
fn tanh(x: f32) -> f32 {
    let x = x.clamp(-4.97, 4.97);
    let s = x * x;
    let over = x * (135_135.0 + s * (17_325.0 + s * (378.0 + s)));
    let under = 135_135.0 + s * (62_370.0 + s * (3_150.0 + s * 28.0));
    (over / under).clamp(-1.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tanh_is_close_and_monotonic() {
        let mut last = -1.0;
        for k in -1000..=1000 {
            let x = k as f32 * 0.01;
            let y = tanh(x);
            assert!((y - x.tanh()).abs() < 1.1e-4, "tanh({x}) = {y}");
            assert!(y >= last);
            last = y;
        }
    }

    /// 200 frames of features, and what PyTorch's GRU makes of them with the
    /// shipped weights (before sigmoid and softmax): written by
    /// `training/export.py`.
    #[test]
    fn inference_agrees_with_the_training_library() {
        let read = |bytes: &[u8]| -> Vec<f32> {
            let number = |b: &[u8]| f32::from_le_bytes([b[0], b[1], b[2], b[3]]);
            bytes.chunks_exact(4).map(number).collect()
        };
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
    fn padding_changes_no_product() {
        let weights: Vec<f32> = (0..38).map(|x| x as f32).collect();
        let layer = Dense::new(&weights, vec![1.0, 2.0], 19);
        let mut y = [0.0; 2];
        layer.apply(&padded(&weights[..19]), &mut y);
        let product = |row: usize| (0..19).map(|k| (k * (row * 19 + k)) as f32).sum::<f32>();
        assert_eq!(y, [1.0 + product(0), 2.0 + product(1)]);
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
