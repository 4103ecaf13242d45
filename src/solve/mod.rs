//! Equilibrium, Gummel, Newton with damping.

mod border;
mod equilibrium;
mod gummel;
mod plane;
mod scalar;
mod system;
mod weights;

pub use border::{Border, BorderedFactors, BorderedSolution};
pub use equilibrium::{equilibrium, potential};
pub use gummel::Gummel;
pub use plane::{Plane, PlaneScale, Terminals, open_contacts};
pub use scalar::ScalarSystem;
pub use system::*;
