//! Holdpoint answers one question: can the parasitic p-n-p-n path between two
//! neighbouring CMOS transistors be triggered, and would the supply keep it on?

#![deny(unsafe_code)]

pub mod case;
pub mod cli;
pub mod experiment;
pub mod extract;
pub mod linear;
pub mod mesh;
pub mod record;
pub mod trace;
