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

/// The sum of a group.
#[inline(always)]
pub(super) fn sum(lanes: [f32; LANES]) -> f32 {
    let [a, b, c, d, e, f, g, h] = lanes;
    ((a + e) + (c + g)) + ((b + f) + (d + h))
}

/// Natural logarithm of a positive normal number, within two units in its last place:
/// several times faster than the library's, as many are taken at once.
///
/// Polynomial of Cephes' `logf` (S. L. Moshier, Cephes Mathematical Library, 1989) on
/// the part between √½ and √2.
#[inline(always)]
pub(super) fn ln(x: f32) -> f32 {
    /// Bits of √½.
    const LOWEST: u32 = 0x3f35_04f3;
    /// The logarithm of 2 as a sum, whose first number has room for an exponent.
    const LN_2: [f32; 2] = [0.693_359_4, -2.121_944_4e-4];
    let exponent = (x.to_bits().wrapping_sub(LOWEST) as i32) >> 23;
    let part = f32::from_bits(x.to_bits().wrapping_sub((exponent as u32) << 23));
    let (y, e) = (part - 1.0, exponent as f32);
    let squared = y * y;
    let mut p = 7.037_683_6e-2;
    for c in [
        -1.151_461e-1,
        1.167_699_9e-1,
        -1.242_014_1e-1,
        1.424_932_3e-1,
        -1.666_805_8e-1,
        2.000_071_5e-1,
        -2.499_999_4e-1,
        0.333_333_3,
    ] {
        p = p * y + c;
    }
    y + (p * y * squared + e * LN_2[1] - 0.5 * squared) + e * LN_2[0]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn logarithms_are_those_of_the_library() {
        let mut x = f32::MIN_POSITIVE;
        while x < 1e30 {
            let (ours, theirs) = (f64::from(ln(x)), f64::from(x).ln());
            assert!(
                (ours - theirs).abs() <= 2.4e-7 * theirs.abs().max(0.5),
                "ln({x}) = {ours}, not {theirs}"
            );
            x *= 1.000_7;
        }
    }

    #[test]
    fn this_processor_is_made_use_of() {
        #[cfg(target_arch = "x86_64")]
        if is_x86_feature_detected!("avx2") && is_x86_feature_detected!("fma") {
            assert!(!matches!(pulp::Arch::new(), pulp::Arch::Scalar));
        }
    }
}
