//! TOML to a validated [`Case`]: units, spans, diagnostics that point into the file,
//! the JSON Schema.

mod build;
pub mod constants;
mod constants_read;
mod constants_table;
mod experiment_kinds;
mod experiment_read;
mod experiments;
mod geometry_checks;
mod grid_checks;
mod key_tables;
mod key_tables_laws;
mod key_tables_rules;
mod key_tables_run;
pub mod keys;
mod messages;
mod model;
mod path;
mod path_resolve;
mod problem;
mod profile_csv;
mod read;
mod render;
mod requirement;
mod rules;
mod schema;
mod slide;
mod unit_table;
pub mod units;
mod values;
mod walk;
mod words;

pub use constants::{CONSTANTS, ConstantSpec, Constants, Dim, ElectronRow, InForce, ROWS};
pub use experiments::*;
pub use key_tables::CASE as CASE_KEYS;
pub use model::*;
pub use path::{PathError, Quantity, get_path, quantity_at, set_path};
pub use problem::{Problem, Severity};
pub use profile_csv::{ProfileProblem, ProfileTable, parse as parse_profile};
pub use read::{Reading, load, load_beside, read_beside, read_file, read_str};
pub use render::{problem_json, render};
pub use requirement::{Known, Relation, Requirement};
pub use rules::*;
pub use schema::schema;
