//! Several numbers at once.
//!
//! What is heard goes through loops over groups of [`LANES`] numbers, which the compiler
//! turns into vector instructions. Sums are kept a part for each place in a group: one
//! running sum would wait for each of its additions.
//!
//! The stages of the engine run inside [`pulp::Arch::dispatch`], which takes the widest
//! vector registers that the processor at hand has; no product is fused with a sum, so
//! that the numbers come out the same whichever they are. Each stage is handed over as a
//! struct of its own: a closure would be compiled once for all processors.

/// Numbers worked on at once.
pub(crate) const LANES: usize = 8;

/// A group of what `number` gives for each of its places.
///
/// Taken whole before it is stored, it cannot be changed by the storing: only then do
/// its numbers go through one instruction together.
#[inline(always)]
pub(super) fn each(mut number: impl FnMut(usize) -> f32) -> [f32; LANES] {
    let mut numbers = [0.0; LANES];
    for (k, slot) in numbers.iter_mut().enumerate() {
        *slot = number(k);
    }
    numbers
}

#[cfg(test)]
mod tests {
    #[test]
    fn this_processor_is_made_use_of() {
        #[cfg(target_arch = "x86_64")]
        if is_x86_feature_detected!("avx2") && is_x86_feature_detected!("fma") {
            assert!(!matches!(pulp::Arch::new(), pulp::Arch::Scalar));
        }
    }
}
