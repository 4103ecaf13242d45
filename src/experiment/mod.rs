//! What an engineer measures: snapback, injection, bias.

mod outcome;

pub use outcome::*;
