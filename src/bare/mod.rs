//! The one room where `unsafe` is allowed: calls of the HDF5 library that its binding does not
//! offer, advice to the system, instructions that have no safe form in Rust, and pieces of
//! columns that are checked once for all of them. What is called from outside is safe for any
//! arguments: it checks them itself.
#![allow(unsafe_code)]

mod columns;
mod file;
mod memory;
mod places;
mod sums;
#[cfg(target_arch = "x86_64")]
mod vectors;

pub(crate) use columns::{Walk, columns, columns_mut};
pub(crate) use file::{image, text_attribute};
pub(crate) use memory::{copy_past_cache, in_large_pages, prefetch, settle};
pub(crate) use places::Places;
pub(crate) use sums::sums;
#[cfg(target_arch = "x86_64")]
pub(crate) use {memory::prefetch_ahead, vectors::Eight};
