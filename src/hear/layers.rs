//! The layers that the networks are built of.
//!
//! Plain single-precision arithmetic; a step allocates nothing.

use std::collections::HashMap;

use serde::Deserialize;

use super::lanes::{LANES, each};

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

/// Groups of so many answers that are worked on together: each has its own sum, so that
/// none waits for its last addition, and all have room in the vector registers.
const TOGETHER: usize = 6;

/// A dense layer, `y = W x + b`.
///
/// Of the weights, those of one input for neighbouring answers stand together: then an
/// input is multiplied into many answers at once, and no sum has to be taken across a
/// register.
#[derive(Debug, Clone)]
pub(crate) struct Dense {
    /// For each [`TOGETHER`] groups of answers (the last may be fewer), for each input,
    /// for each group: one group of weights.
    weights: Vec<[f32; LANES]>,
    /// In whole groups, the last one filled up with zeros.
    bias: Vec<[f32; LANES]>,
    inputs: usize,
    outputs: usize,
}

impl Dense {
    /// Numbers in an answer.
    pub(crate) fn outputs(&self) -> usize {
        self.outputs
    }

    /// `weights` row by row, a row for each answer.
    pub(crate) fn new(weights: &[f32], bias: &[f32], inputs: usize) -> Self {
        let outputs = bias.len();
        let weight = |output: usize, input: usize| match output < outputs {
            true => weights[output * inputs + input],
            false => 0.0,
        };
        let groups: Vec<usize> = (0..outputs.div_ceil(LANES)).collect();
        let mut stood = Vec::with_capacity(groups.len() * inputs);
        for block in groups.chunks(TOGETHER) {
            for input in 0..inputs {
                for group in block {
                    stood.push(std::array::from_fn(|k| weight(group * LANES + k, input)));
                }
            }
        }
        Dense {
            weights: stood,
            bias: room(outputs)
                .iter()
                .zip(bias.chunks(LANES))
                .map(|(zeros, part)| {
                    let mut group = *zeros;
                    group[..part.len()].copy_from_slice(part);
                    group
                })
                .collect(),
            inputs,
            outputs,
        }
    }

    /// Answers `x` in `y`, which has [`room`] for them.
    #[inline(always)]
    pub(crate) fn apply(&self, x: &[f32], y: &mut [[f32; LANES]]) {
        y.copy_from_slice(&self.bias);
        let mut weights = self.weights.as_slice();
        for y in y.chunks_mut(TOGETHER) {
            let (block, rest) = weights.split_at(y.len() * self.inputs);
            weights = rest;
            match y.len() {
                6 => add::<6>(block, x, y),
                5 => add::<5>(block, x, y),
                4 => add::<4>(block, x, y),
                3 => add::<3>(block, x, y),
                2 => add::<2>(block, x, y),
                _ => add::<1>(block, x, y),
            }
        }
    }
}

/// Adds the weighted inputs to `N` groups of answers.
#[inline(always)]
fn add<const N: usize>(weights: &[[f32; LANES]], x: &[f32], y: &mut [[f32; LANES]]) {
    let Some(y) = y.first_chunk_mut::<N>() else {
        return;
    };
    let mut sums = *y;
    for (weights, x) in weights.as_chunks::<N>().0.iter().zip(x) {
        for (sums, weights) in sums.iter_mut().zip(weights) {
            *sums = each(|k| sums[k] + weights[k] * x);
        }
    }
    *y = sums;
}

/// Room for so many numbers, in whole groups.
pub(crate) fn room(numbers: usize) -> Vec<[f32; LANES]> {
    vec![[0.0; LANES]; numbers.div_ceil(LANES)]
}

/// The layer that a network takes its input through: dense, then rectified.
#[derive(Debug, Clone)]
pub(crate) struct Front {
    dense: Dense,
    answers: Vec<[f32; LANES]>,
}

impl Front {
    /// `inputs` numbers into [`Dense::outputs`] ones.
    #[inline(always)]
    pub(crate) fn step(&mut self, inputs: &[f32]) -> &[f32] {
        self.dense.apply(inputs, &mut self.answers);
        let answers = self.answers.as_flattened_mut();
        answers.iter_mut().for_each(|h| *h = h.max(0.0));
        &answers[..self.dense.outputs]
    }

    /// Numbers in an answer.
    pub(crate) fn outputs(&self) -> usize {
        self.dense.outputs
    }
}

/// Gated recurrent unit: gates r, z, n stacked in that order, each in whole groups.
#[derive(Debug, Clone)]
pub(crate) struct Gru {
    input: Dense,
    recurrent: Dense,
    size: usize,
    /// In whole groups; what fills up the last one stays 0.
    state: Vec<[f32; LANES]>,
    from_input: Vec<[f32; LANES]>,
    from_state: Vec<[f32; LANES]>,
}

impl Gru {
    /// Numbers in its state.
    pub(crate) fn size(&self) -> usize {
        self.size
    }

    /// What it makes of all that it heard.
    #[inline(always)]
    pub(crate) fn state(&self) -> &[f32] {
        &self.state.as_flattened()[..self.size]
    }

    /// Forgets everything heard.
    pub(crate) fn forget(&mut self) {
        self.state.as_flattened_mut().fill(0.0);
    }

    #[inline(always)]
    pub(crate) fn step(&mut self, x: &[f32]) {
        self.input.apply(x, &mut self.from_input);
        let state = &self.state.as_flattened()[..self.size];
        self.recurrent.apply(state, &mut self.from_state);
        let groups = self.state.len();
        let (ir, rest) = self.from_input.split_at(groups);
        let (iz, inn) = rest.split_at(groups);
        let (hr, rest) = self.from_state.split_at(groups);
        let (hz, hn) = rest.split_at(groups);
        let input = ir.iter().zip(iz).zip(inn);
        let recurrent = hr.iter().zip(hz).zip(hn);
        let state = self.state.iter_mut();
        for ((h, ((ir, iz), inn)), ((hr, hz), hn)) in state.zip(input).zip(recurrent) {
            let r = each(|k| sigmoid(ir[k] + hr[k]));
            let z = each(|k| sigmoid(iz[k] + hz[k]));
            let n = each(|k| tanh(inn[k] + r[k] * hn[k]));
            *h = each(|k| n[k] + z[k] * (h[k] - n[k]));
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
        let (weights, bias) = self.dense_parts(weight, bias, inputs)?;
        Ok(Dense::new(&weights, &bias, inputs))
    }

    /// The numbers of such a layer.
    fn dense_parts(
        &mut self,
        weight: &str,
        bias: &str,
        inputs: usize,
    ) -> Result<(Vec<f32>, Vec<f32>), NetError> {
        let bias = self.get(bias)?;
        let weights = self.get(weight)?;
        if weights.len() != bias.len() * inputs || inputs == 0 {
            return Err(NetError::Shape(format!(
                "{weight} has {} values",
                weights.len()
            )));
        }
        Ok((weights, bias))
    }

    /// The layer `in`, for `inputs` numbers.
    pub(crate) fn front(&mut self, inputs: usize) -> Result<Front, NetError> {
        let dense = self.dense("in.weight", "in.bias", inputs)?;
        Ok(Front {
            answers: room(dense.outputs),
            dense,
        })
    }

    /// The recurrent layer `name`, for `inputs` numbers.
    pub(crate) fn gru(&mut self, name: &str, inputs: usize) -> Result<Gru, NetError> {
        let part = |part: &str| format!("{name}.{part}");
        let of_input = self.dense_parts(&part("weight_ih"), &part("bias_ih"), inputs)?;
        let gates = of_input.1.len();
        let size = gates / 3;
        let of_state = self.dense_parts(&part("weight_hh"), &part("bias_hh"), size)?;
        if of_state.1.len() != gates || gates != 3 * size {
            return Err(NetError::Shape(format!("{name} has {gates} gates")));
        }
        let state = room(size);
        let whole = |(weights, bias): (Vec<f32>, Vec<f32>), inputs: usize| {
            let filled = |gates: Vec<f32>, width: usize| -> Vec<f32> {
                let zeros = (state.len() * LANES - size) * width;
                gates
                    .chunks(size * width)
                    .flat_map(|gate| gate.iter().copied().chain(std::iter::repeat_n(0.0, zeros)))
                    .collect()
            };
            Dense::new(&filled(weights, inputs), &filled(bias, 1), inputs)
        };
        Ok(Gru {
            input: whole(of_input, inputs),
            recurrent: whole(of_state, size),
            size,
            from_input: room(3 * state.len() * LANES),
            from_state: room(3 * state.len() * LANES),
            state,
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
    fn answers_of_any_number_are_products_with_their_rows() {
        for (inputs, outputs) in [(19, 2), (3, 8), (5, 21), (7, 40), (4, 48), (2, 83)] {
            let weights: Vec<f32> = (0..inputs * outputs).map(|n| (n % 23) as f32).collect();
            let bias: Vec<f32> = (0..outputs).map(|n| n as f32).collect();
            let x: Vec<f32> = (0..inputs).map(|n| 1.0 - n as f32).collect();
            let layer = Dense::new(&weights, &bias, inputs);
            let mut y = room(outputs);
            layer.apply(&x, &mut y);
            for (output, row) in weights.chunks(inputs).enumerate() {
                let product: f32 = row.iter().zip(&x).map(|(w, x)| w * x).sum();
                let answer = y.as_flattened()[output];
                assert_eq!(answer, bias[output] + product, "{output} of {outputs}");
            }
        }
    }
}
