//! Chains of second-order filters: bodies of instruments, walls, crowds.

use biquad::{Biquad, Coefficients, DirectForm2Transposed, Hertz, Type};

/// One filter: its shape, its frequency in Hz and its Q.
pub(in super::super) type Shape = (Type<f32>, f64, f64);

/// Filters one after the other.
#[derive(Debug, Clone, Default)]
pub(in super::super) struct Filters(Vec<DirectForm2Transposed<f32>>);

impl Filters {
    /// Builds the chain; filters too near half the sample rate are left out, as at
    /// that rate there is nothing for them to shape.
    pub fn new(rate: f64, shapes: &[Shape]) -> Self {
        let build = |&(shape, at, q): &Shape| {
            if at > rate * 0.45 {
                return None;
            }
            let rate = Hertz::<f32>::from_hz(rate as f32).ok()?;
            let at = Hertz::<f32>::from_hz(at as f32).ok()?;
            let coefficients = Coefficients::<f32>::from_params(shape, rate, at, q as f32).ok()?;
            Some(DirectForm2Transposed::<f32>::new(coefficients))
        };
        Filters(shapes.iter().filter_map(build).collect())
    }

    /// One sample through all of them.
    pub fn run(&mut self, x: f32) -> f32 {
        self.0.iter_mut().fold(x, |x, filter| filter.run(x))
    }

    /// A block through all of them, in place.
    pub fn run_block(&mut self, block: &mut [f32]) {
        for filter in &mut self.0 {
            for x in block.iter_mut() {
                *x = filter.run(*x);
            }
        }
    }
}
