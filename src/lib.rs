//! Holdpoint answers one question: can the parasitic p-n-p-n path between two
//! neighbouring CMOS transistors be triggered, and would the supply keep it on?
//!
//! Data flows one way, a room uses only the rooms above it.

#![deny(unsafe_code)]

mod bare; // what has no safe form: calls of C, instructions
pub mod case; // TOML text -> Case: µm, cm⁻³, V, K
pub mod cli;
pub mod discretize; // mesh + laws -> residual and Jacobian
pub mod experiment; // snapback, injection, bias, gains, resistances, flow
pub mod extract; // verdict, lumped model
pub mod linear; // block-sparse direct solver
pub mod mesh; // cross-section -> graded lines, nodes, sampled doping
pub mod record; // HDF5 and JSON
pub mod report; // page, figures, cross-section
pub mod rule; // follows folds in parameters, solves design rules, spreads
pub mod silicon; // laws of the material, pure functions with derivatives
pub mod solve; // equilibrium, Gummel, Newton with the terminals bordered
pub mod structure; // Case -> doped cross-section: densities and material at any (x, y)
pub mod sweep; // many cases: plan, run, cluster, gather, compare
pub mod trace; // continuation, exact folds // verbs of the command line
