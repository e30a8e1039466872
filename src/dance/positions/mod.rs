//! Where the dancers of a longways set stand, figure by figure.
//!
//! A line of couples in two columns, seen from above with the band at the top,
//! is cut into groups of four: two rows by two columns. A figure moves the four
//! of every group alike, as its [`Movement`](super::Movement) says; leading on
//! to the next cuts the line anew, one row further. Those without a group wait
//! out at the ends and face back in.
//!
//! Only what the card says is followed. A figure without a movement of its own,
//! words that are not understood, or dancers who do not stand as a movement
//! needs, and the following stops there and says why: nothing is guessed. What
//! each movement does is common practice; that the movements hang together is
//! held to by tests of what they must give (a ring turned by all its places,
//! two halves of a hey, …).

mod follow;
mod four;
mod moves;
mod set;

#[cfg(test)]
mod tests;

pub use follow::{Failure, Followed, Outcome, Stop, follow, times};
pub use set::{Column, Dancer, Face, Place, Set, Shape, Standing};
