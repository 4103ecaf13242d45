use std::process::ExitCode;

use holdpoint::cli::{self, Joined};

fn main() -> ExitCode {
    cli::main(&Joined)
}
