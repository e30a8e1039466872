//! The phrase network: what a beat says of its place in the tune.
//!
//! Once a beat, a small causal recurrent network takes what [`super::repeat`]
//! noticed and gives, for each of the 64 places of a tune A1 A2 B1 B2, the
//! logarithm of the weight by which the beat speaks for that place. It does not
//! count: [`super::belief`] moves on by a place each beat and multiplies the
//! weights in. It was trained through just that sum, from starts anywhere in a
//! tune and without being told where, so that the *product* of its weights is
//! the probability of a place, and a witness heard twice is not counted twice.
//!
//! Its weights are data, `weights.bin`, listed by `weights.json`; the scripts
//! that made them stand beside them in `training/`.

use serde::Deserialize;

use super::repeat::{REMARKS, Remembered};
use crate::hear::lanes::LANES;
use crate::hear::layers::{Dense, Front, Gru, NetError, Tensor, Weights};

/// Places told apart: the beats of the usual form.
pub const PLACES: usize = 64;

#[derive(Deserialize)]
struct List {
    tensors: Vec<Tensor>,
}

/// The network with its memory.
#[derive(Debug, Clone)]
pub struct PhraseNet {
    arch: pulp::Arch,
    front: Front,
    layer: Gru,
    last: Dense,
}

impl PhraseNet {
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
        let mut weights = Weights::cut(&list.tensors, data)?;
        let front = weights.front(REMARKS)?;
        let layer = weights.gru("gru1", front.outputs())?;
        let last = weights.dense("out.weight", "out.bias", layer.size())?;
        if last.outputs() != PLACES {
            return Err(NetError::Shape(format!("{} places", last.outputs())));
        }
        Ok(PhraseNet {
            arch: pulp::Arch::new(),
            front,
            layer,
            last,
        })
    }

    /// Forgets all beats.
    pub fn forget(&mut self) {
        self.layer.forget();
    }

    /// Hears one whole beat; gives the logarithm of its weight for each place,
    /// of zero mean.
    pub fn step(&mut self, heard: &Remembered) -> [f32; PLACES] {
        self.arch.dispatch(Step(self, heard))
    }

    #[inline(always)]
    fn hear(&mut self, heard: &Remembered) -> [f32; PLACES] {
        self.layer.step(self.front.step(heard));
        let mut out = [[0.0; LANES]; PLACES / LANES];
        self.last.apply(self.layer.state(), &mut out);
        let mut places = [0.0; PLACES];
        places.copy_from_slice(out.as_flattened());
        let mean = places.iter().sum::<f32>() / PLACES as f32;
        places.map(|x| x - mean)
    }
}

/// A step, through whatever registers there are.
struct Step<'a>(&'a mut PhraseNet, &'a Remembered);

impl pulp::WithSimd for Step<'_> {
    type Output = [f32; PLACES];

    #[inline(always)]
    fn with_simd<S: pulp::Simd>(self, _: S) -> [f32; PLACES] {
        self.0.hear(self.1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hear::layers::numbers;
    use crate::phrase::belief::{Belief, COUNTED_BEATS, Trust};
    use crate::phrase::{Form, PHRASE_BEATS};

    /// Remarks on the first 40 beats of a rendered tune, and what PyTorch's GRU
    /// makes of them with the shipped weights: written by `training/export.py`.
    fn tune() -> (Vec<f32>, Vec<f32>) {
        let remarks = include_bytes!("../../fixtures/phrase/remarks.f32");
        let answers = include_bytes!("../../fixtures/phrase/answers.f32");
        (numbers(remarks).collect(), numbers(answers).collect())
    }

    #[test]
    fn inference_agrees_with_the_training_library() {
        let (remarks, answers) = tune();
        let mut net = PhraseNet::trained();
        let mut beats = 0;
        for (x, y) in remarks
            .chunks_exact(REMARKS)
            .zip(answers.chunks_exact(PLACES))
        {
            let ours = net.step(x.try_into().unwrap());
            for (a, b) in ours.iter().zip(y) {
                assert!((a - b).abs() < 5e-3, "beat {beats}: {a} for {b}");
            }
            beats += 1;
        }
        assert_eq!(beats, 40);
    }

    #[test]
    fn a_tune_joined_unheard_is_counted_right_within_forty_beats() {
        let (remarks, _) = tune();
        let mut net = PhraseNet::trained();
        let trust = Trust::default();
        let mut belief = Belief::new(Form::default(), trust);
        let mut other = Belief::new(Form::new(48).unwrap(), trust);
        for x in remarks.chunks_exact(REMARKS) {
            let weights = net.step(x.try_into().unwrap());
            for belief in [&mut belief, &mut other] {
                belief.advance([0.0; COUNTED_BEATS]);
                belief.weigh(&weights);
            }
        }
        // The last beat weighed was number 39, so that the belief stands on 40.
        let (count, sure) = belief.count();
        assert_eq!(u32::from(count), 40 % PHRASE_BEATS + 1);
        assert!(sure > 0.8, "{sure}");
        assert!(other.count().1 < 0.2, "another form is not judged");
    }

    #[test]
    fn what_was_forgotten_changes_nothing() {
        let (remarks, _) = tune();
        let first: &Remembered = remarks[..REMARKS].try_into().unwrap();
        let mut net = PhraseNet::trained();
        let fresh = net.step(first);
        assert_ne!(net.step(first), fresh);
        net.forget();
        assert_eq!(net.step(first), fresh);
    }

    #[test]
    fn weights_for_other_remarks_are_refused_in_words() {
        let list =
            r#"{"tensors":[{"name":"in.bias","shape":[1]},{"name":"in.weight","shape":[1]}]}"#;
        let error = PhraseNet::from_parts(list, &[0; 8])
            .unwrap_err()
            .to_string();
        assert!(error.contains("in.weight has 1 values"), "{error}");
        assert!(PhraseNet::from_parts("{", &[]).is_err());
    }
}
