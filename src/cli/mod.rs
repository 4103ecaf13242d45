//! The command line: one file per verb; parses, calls, prints; no computation.

mod braille;
mod check;
mod compare;
mod completions;
mod csv;
mod graded;
mod io;
mod joined;
mod memory;
mod mesh;
mod plot;
mod progress;
mod report;
mod reruns;
mod rooms;
mod ruled;
mod run;
mod run_plan;
mod schema;
mod sensitivity_table;
mod show;
mod summary;
mod sweep;
mod sweep_gather;
mod sweep_run;
mod sweep_slurm;
mod sweep_task;
mod table;
mod units;
mod visible;
mod watch;
mod wrap;

use std::ffi::OsString;
use std::process::ExitCode;

use clap::{CommandFactory, Parser, Subcommand};

pub use io::Io;
pub use joined::Joined;
pub use rooms::{Job, Meshed, Rooms, RunError};
pub use watch::{Interrupt, Watch};

/// Exit codes (DESIGN section 4).
pub(crate) const DONE: u8 = 0;
pub(crate) const FAILED: u8 = 1;
pub(crate) const BAD_INPUT: u8 = 2;
pub(crate) const FAIL_ON: u8 = 3;
pub(crate) const INTERRUPTED: u8 = 130;

const CODES: &str = "\
Exit codes: 0 done; 1 the run failed, what was traced is saved; 2 the input is wrong;
3 a verdict named with --fail-on came true; 130 interrupted, saved and resumable.
Results go to stdout, everything else to stderr. NO_COLOR is respected.";

/// Can the parasitic p-n-p-n path between two neighbouring CMOS transistors be
/// triggered, and would the supply keep it on?
///
/// A case file (TOML) describes a doped cross-section, its terminals and what to
/// measure. `check` says what is wrong with it, `mesh` how it is meshed, `run` solves
/// drift-diffusion on it, traces the S-shaped current-voltage curve and gives a verdict,
/// `show` prints a result again, `report` writes it as a page, `compare` says how results
/// differ, `sweep` runs many cases made from one.
#[derive(Debug, Parser)]
#[command(name = "holdpoint", version = crate::record::version(), after_help = CODES)]
#[command(propagate_version = true)]
struct Cli {
    #[command(subcommand)]
    verb: Verb,
}

#[derive(Debug, Subcommand)]
enum Verb {
    Check(check::Check),
    Mesh(mesh::Mesh),
    Run(run::Run),
    Show(show::Show),
    Compare(compare::Compare),
    Sweep(sweep::Sweep),
    Report(report::Report),
    Schema(schema::Schema),
    Completions(completions::Completions),
    Man(completions::Man),
}

/// The program: parses the command line, does what it says, gives the exit code.
pub fn main(rooms: &dyn Rooms) -> ExitCode {
    ExitCode::from(run_with(rooms, std::env::args_os(), &mut Io::real()))
}

/// The same with arguments and streams of the caller's; gives the exit code.
pub fn run_with(
    rooms: &dyn Rooms,
    args: impl IntoIterator<Item = impl Into<OsString> + Clone>,
    io: &mut Io,
) -> u8 {
    let cli = match Cli::try_parse_from(args) {
        Ok(cli) => cli,
        Err(e) => {
            let text = e.render().ansi().to_string();
            if e.use_stderr() {
                io.say(&text)
            } else {
                io.print_styled(&text)
            }
            return if e.exit_code() == 0 { DONE } else { BAD_INPUT };
        }
    };
    let code = match cli.verb {
        Verb::Check(verb) => verb.run(rooms, io),
        Verb::Mesh(verb) => verb.run(rooms, io),
        Verb::Run(verb) => verb.run(rooms, io),
        Verb::Show(verb) => verb.run(io),
        Verb::Compare(verb) => verb.run(io),
        Verb::Sweep(verb) => verb.run(rooms, io),
        Verb::Report(verb) => verb.run(io),
        Verb::Schema(verb) => verb.run(rooms, io),
        Verb::Completions(verb) => verb.run(Cli::command(), io),
        Verb::Man(verb) => verb.run(Cli::command(), io),
    };
    match io.lost() {
        Some(e) => {
            io.error(&format!("the result could not be printed: {e}"));
            if code == DONE { FAILED } else { code }
        }
        None => code,
    }
}

/// Makes the pool that all parallel work runs in, of `threads` threads with the caller's one
/// among them: a pool of others would be woken for every parallel loop. If a pool is there
/// already (tests), that one is used.
fn make_pool(threads: usize) {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).use_current_thread();
    let _ = pool.build_global();
}

#[cfg(test)]
mod tests {
    use super::Cli;
    use clap::CommandFactory;

    #[test]
    fn the_command_line_is_consistent() {
        Cli::command().debug_assert();
    }

    #[test]
    fn every_verb_and_option_has_help() {
        for verb in Cli::command().get_subcommands() {
            let name = verb.get_name();
            assert!(verb.get_about().is_some(), "{name} has no help");
            for arg in verb.get_arguments() {
                assert!(arg.get_help().is_some(), "{name}: {} has no help", arg.get_id());
            }
        }
    }
}
