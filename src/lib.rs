//! Holdpoint answers one question: can the parasitic p-n-p-n path between two
//! neighbouring CMOS transistors be triggered, and would the supply keep it on?
//!
//! Data flows one way, a room uses only the rooms above it.

#![deny(unsafe_code)]

pub mod case; // TOML text -> Case: µm, cm⁻³, V, K
pub mod structure; // Case -> doped cross-section: densities and material at any (x, y)
pub mod mesh; // cross-section -> graded lines, nodes, sampled doping
pub mod silicon; // laws of the material, pure functions with derivatives
pub mod discretize; // mesh + laws -> residual and Jacobian
pub mod linear; // block-sparse direct solver
pub mod solve; // equilibrium, Gummel, Newton with the terminals bordered
pub mod trace; // continuation, exact folds
pub mod experiment; // snapback, injection, bias
pub mod extract; // verdict
pub mod record; // HDF5 and JSON
pub mod cli; // verbs of the command line
