//! Checks against numbers that do not come from this code: textbook examples, published
//! laws and tables, standards, and invariants of the equations. Every check prints what
//! it reached: `cargo test --release --test outside -- --nocapture`.

mod bar;
mod ionization;
mod ledger;

mod abrupt_junction;
mod bipolar;
mod boundary_value;
mod breakdown;
mod four_layer;
mod ideal_diode;
mod invariants;
mod laws;
mod manufactured;
mod numbers;
mod resistivity;
mod symmetry;
