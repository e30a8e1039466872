//! The layers that the networks are built of.
//!
//! Plain single-precision arithmetic; a step allocates nothing.

use std::collections::HashMap;

use serde::Deserialize;

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
pub(crate) struct Tensor {
    name: String,
    shape: Vec<usize>,
}

/// Numbers worked on at once; rows and inputs are padded to whole groups with
/// zeros, so that no remainder has to be looked after.
const LANES: usize = 8;

/// A dense layer, `y = W x + b`, `W` row by row, rows padded.
#[derive(Debug, Clone)]
pub(crate) struct Dense {
    weights: Vec<[f32; LANES]>,
    bias: Vec<f32>,
}

impl Dense {
    /// Numbers in an answer.
    pub(crate) fn outputs(&self) -> usize {
        self.bias.len()
    }

    pub(crate) fn new(weights: &[f32], bias: Vec<f32>, inputs: usize) -> Self {
        Dense {
            weights: weights.chunks(inputs).flat_map(padded).collect(),
            bias,
        }
    }

    /// `x` is padded as rows are.
    #[inline(always)]
    pub(crate) fn apply(&self, x: &[[f32; LANES]], y: &mut [f32]) {
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

/// The layer that a network takes its input through: dense, then rectified.
#[derive(Debug, Clone)]
pub(crate) struct Front {
    dense: Dense,
    input: Vec<[f32; LANES]>,
    answers: Vec<f32>,
    output: Vec<[f32; LANES]>,
}

impl Front {
    /// `inputs` numbers into [`Dense::outputs`] padded ones.
    #[inline(always)]
    pub(crate) fn step(&mut self, inputs: &[f32]) -> &[[f32; LANES]] {
        fill(&mut self.input, inputs);
        self.dense.apply(&self.input, &mut self.answers);
        self.answers.iter_mut().for_each(|h| *h = h.max(0.0));
        fill(&mut self.output, &self.answers);
        &self.output
    }

    /// Numbers in an answer.
    pub(crate) fn outputs(&self) -> usize {
        self.dense.outputs()
    }
}

/// Gated recurrent unit: gates r, z, n stacked in that order.
#[derive(Debug, Clone)]
pub(crate) struct Gru {
    input: Dense,
    recurrent: Dense,
    pub(crate) state: Vec<[f32; LANES]>,
    pub(crate) size: usize,
    from_input: Vec<f32>,
    from_state: Vec<f32>,
}

impl Gru {
    /// Forgets everything heard.
    pub(crate) fn forget(&mut self) {
        self.state.as_flattened_mut().fill(0.0);
    }

    #[inline(always)]
    pub(crate) fn step(&mut self, x: &[[f32; LANES]]) {
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

/// 32-bit little-endian floats.
pub(crate) fn numbers(data: &[u8]) -> impl Iterator<Item = f32> {
    data.chunks_exact(4)
        .map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]))
}

/// The numbers of a set of weights, by name, handed out layer by layer.
pub(crate) struct Weights(HashMap<String, Vec<f32>>);

impl Weights {
    /// Cuts `data` (32-bit little-endian floats, row by row) into the `tensors`
    /// that its list names, in the list's order.
    pub(crate) fn cut(tensors: &[Tensor], data: &[u8]) -> Result<Self, NetError> {
        let mut values = numbers(data);
        let mut named = HashMap::new();
        for tensor in tensors {
            let size = tensor.shape.iter().product();
            let part: Vec<f32> = values.by_ref().take(size).collect();
            if part.len() != size || part.iter().any(|x| !x.is_finite()) {
                return Err(NetError::Shape(format!(
                    "{} is cut short or not finite",
                    tensor.name
                )));
            }
            named.insert(tensor.name.clone(), part);
        }
        if values.next().is_some() {
            return Err(NetError::Shape("more values than the list names".into()));
        }
        Ok(Weights(named))
    }

    fn get(&mut self, name: &str) -> Result<Vec<f32>, NetError> {
        self.0
            .remove(name)
            .ok_or_else(|| NetError::Shape(format!("{name} is missing")))
    }

    /// Whether there is a tensor of this name.
    pub(crate) fn has(&self, name: &str) -> bool {
        self.0.contains_key(name)
    }

    /// The layer of a weight and a bias, for `inputs` numbers.
    pub(crate) fn dense(
        &mut self,
        weight: &str,
        bias: &str,
        inputs: usize,
    ) -> Result<Dense, NetError> {
        let bias = self.get(bias)?;
        let weights = self.get(weight)?;
        if weights.len() != bias.len() * inputs || inputs == 0 {
            return Err(NetError::Shape(format!(
                "{weight} has {} values",
                weights.len()
            )));
        }
        Ok(Dense::new(&weights, bias, inputs))
    }

    /// The layer `in`, for `inputs` numbers.
    pub(crate) fn front(&mut self, inputs: usize) -> Result<Front, NetError> {
        let dense = self.dense("in.weight", "in.bias", inputs)?;
        let outputs = dense.outputs();
        Ok(Front {
            dense,
            input: padded(&vec![0.0; inputs]),
            answers: vec![0.0; outputs],
            output: padded(&vec![0.0; outputs]),
        })
    }

    /// The recurrent layer `name`, for `inputs` numbers.
    pub(crate) fn gru(&mut self, name: &str, inputs: usize) -> Result<Gru, NetError> {
        let part = |part: &str| format!("{name}.{part}");
        let input = self.dense(&part("weight_ih"), &part("bias_ih"), inputs)?;
        let gates = input.outputs();
        let size = gates / 3;
        let recurrent = self.dense(&part("weight_hh"), &part("bias_hh"), size)?;
        if recurrent.outputs() != gates || gates != 3 * size {
            return Err(NetError::Shape(format!("{name} has {gates} gates")));
        }
        Ok(Gru {
            input,
            recurrent,
            state: padded(&vec![0.0; size]),
            size,
            from_input: vec![0.0; gates],
            from_state: vec![0.0; gates],
        })
    }
}

#[inline(always)]
pub(crate) fn sigmoid(x: f32) -> f32 {
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

    #[test]
    fn padding_changes_no_product() {
        let weights: Vec<f32> = (0..38).map(|x| x as f32).collect();
        let layer = Dense::new(&weights, vec![1.0, 2.0], 19);
        let mut y = [0.0; 2];
        layer.apply(&padded(&weights[..19]), &mut y);
        let product = |row: usize| (0..19).map(|k| (k * (row * 19 + k)) as f32).sum::<f32>();
        assert_eq!(y, [1.0 + product(0), 2.0 + product(1)]);
    }
}
