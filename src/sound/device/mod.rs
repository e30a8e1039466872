//! Sound devices: what there is, and playing through the default one.
//!
//! All of the program's audio threads live here. They are started by the
//! system's sound library (through `cpal`) and do nothing but move samples:
//! they never wait, lock, allocate or print.

mod error;
mod feed;
mod list;
mod output;
mod pace;

pub use error::DeviceError;
pub use list::{Device, Devices, Range, list};
pub use output::Output;
