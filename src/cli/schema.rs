//! `holdpoint schema`.

use clap::Args;

use super::{DONE, Io, Rooms};

/// Print the JSON Schema of a case file
///
/// Editors use it to complete keys and to mark wrong units: save it as
/// `case.schema.json` and put `#:schema ./case.schema.json` in the first line of a case.
#[derive(Debug, Args)]
pub(super) struct Schema {
    /// Print the schema of a sweep file instead
    #[arg(long)]
    sweep: bool,
}

impl Schema {
    pub(super) fn run(self, rooms: &dyn Rooms, io: &mut Io) -> u8 {
        match self.sweep {
            true => io.print_json(&crate::sweep::schema()),
            false => io.print_json(&rooms.schema()),
        }
        DONE
    }
}
