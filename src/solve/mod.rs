//! Equilibrium, Gummel, Newton with damping.

mod adjoint;
mod chord;
mod closing;
mod equilibrium;
mod gummel;
mod plane;
mod rest;
mod scalar;
mod size;
mod small_signal;
mod system;
mod tangent;
mod transient;
mod weights;
mod work;

pub use adjoint::{Adjoint, Defect, Goal};
pub use equilibrium::{equilibrium, potential};
pub use gummel::Gummel;
pub use plane::{Inside, Plane, PlaneScale, Terminals, open_contacts};
pub use scalar::ScalarSystem;
pub use small_signal::{Admittance, SmallSignal};
pub use system::*;
pub use tangent::Tangent;
pub use transient::{Outside, Staged};
pub use work::Work;
