//! Checks against numbers that do not come from this code: textbook examples, published
//! laws and tables, standards, and invariants of the equations. Every check prints what
//! it reached: `cargo test --release --test outside -- --nocapture`.

mod bar;
mod ionization;
mod ledger;

mod abrupt_junction;
mod arora;
mod bipolar;
mod boundary_value;
mod breakdown;
mod dopants;
mod fermi;
mod four_layer;
mod heat;
mod ideal_diode;
mod invariants;
mod ionization_laws;
mod klaassen;
mod law_derivatives;
mod laws;
mod lumped;
mod manufactured;
mod mos;
mod narrowing;
mod numbers;
mod open_data;
mod ranges;
mod resistivity;
mod small_signal;
mod spreading;
mod symmetry;
mod transient;
