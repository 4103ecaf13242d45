//! Holdpoint answers one question: can the parasitic p-n-p-n path between two
//! neighbouring CMOS transistors be triggered, and would the supply keep it on?

#![forbid(unsafe_code)]

pub mod case;
pub mod mesh;
