//! Sound in and out: recordings, written files, rates, mixing, devices, clocks.
//!
//! Everything here speaks `f32` samples, nominally -1 to 1, interleaved frame
//! by frame. Threads and device callbacks live in [`device`] and nowhere else;
//! [`mix`], [`peak`], [`clap`] and [`resample`] are plain arithmetic.

pub mod band;
pub mod clap;
pub mod clock;
pub mod device;
pub mod file;
pub mod mix;
pub mod peak;
pub mod quiet;
pub mod resample;
pub mod roundtrip;
pub mod timeline;
pub mod write;
