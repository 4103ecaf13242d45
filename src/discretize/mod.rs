//! Box method on the tensor mesh: Bernoulli function, fluxes, residual, Jacobian,
//! terminals and the external circuit.

mod assemble;
mod avalanche;
mod bernoulli;
mod circuit;
mod contact;
mod device;
mod flow;
mod flux;
mod heat;
mod local;
mod plain;
mod row;
mod state;
mod storage;
mod words;

pub use assemble::{Assembly, EDGES_A_TASK, Ionizing};
pub use avalanche::{Cell, Generation, generation};
pub use bernoulli::{Bernoulli, bernoulli, bernoulli_pair};
pub use circuit::{Circuit, Tying};
pub use contact::{Ionized, Neutral, ionized, neutral};
pub use device::{Contact, DIRECTIONS, Device, Edge, NONE, Quarter, Tie};
pub use flow::{CarrierFlow, EdgeFlow};
pub use flux::{Ends, Flux, flux};
pub use heat::HeatLoss;
pub use local::{Filling, Local};
pub use row::{DENSITY_SCALE, SCALE_T};
pub use state::{HOTTEST, State, StateWords, too_hot};
pub use storage::{Change, Flowing, Stage};
pub use words::{Words, add_words, two_sum};
