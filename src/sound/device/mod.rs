//! Sound devices: what there is, playing, hearing, clapping, measuring.
//!
//! All of the program's audio threads live here. They are started by the
//! system's sound library (through `cpal`) and do nothing but move samples:
//! they never wait, lock, allocate or print.

mod choose;
mod clapper;
mod error;
mod feed;
mod input;
mod list;
mod measure;
mod meter;
mod output;
mod pace;
mod stream;
mod watch;

pub use choose::{Choice, Direction};
pub use clapper::{Clapper, LONGEST, Order, Outlet, Report, SHORTEST};
pub use error::DeviceError;
pub use input::{Input, Intake};
pub use list::{Device, Devices, Range, list};
pub use measure::{MeasureError, Pair, Step, measure};
pub use meter::{Level, Meter};
pub use output::Output;
