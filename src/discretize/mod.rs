//! Box method on the tensor mesh: Bernoulli function, fluxes, residual, Jacobian,
//! terminals and the external circuit.

mod assemble;
mod avalanche;
mod bernoulli;
mod circuit;
mod device;
mod flux;
mod state;
mod words;

pub use assemble::{Assembly, DENSITY_SCALE, EdgeFlow, Ionizing};
pub use avalanche::{Cell, Generation, generation};
pub use bernoulli::{Bernoulli, bernoulli, bernoulli_pair};
pub use circuit::{Circuit, Tying};
pub use device::{Contact, Device, Edge, NONE, Quarter, Tie};
pub use flux::{Ends, Flux, flux};
pub use state::{State, StateWords};
pub use words::{Words, add_words, two_sum};
