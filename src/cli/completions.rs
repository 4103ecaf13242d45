//! `holdpoint completions` and `holdpoint man`.

use clap::{Args, Command};
use clap_complete::Shell;

use super::{DONE, FAILED, Io};

/// Print a completion script for a shell
///
/// For bash: holdpoint completions bash > ~/.local/share/bash-completion/completions/holdpoint
#[derive(Debug, Args)]
pub(super) struct Completions {
    /// The shell
    #[arg(value_enum, value_name = "SHELL")]
    shell: Shell,
}

impl Completions {
    pub(super) fn run(self, mut command: Command, io: &mut Io) -> u8 {
        let mut script = Vec::new();
        clap_complete::generate(self.shell, &mut command, "holdpoint", &mut script);
        io.print_styled(&String::from_utf8_lossy(&script));
        DONE
    }
}

/// Print the manual page, in roff
///
/// To read it at once: holdpoint man | man -l -
#[derive(Debug, Args)]
pub(super) struct Man {
    /// The page of this verb instead of the program's
    #[arg(value_name = "VERB")]
    verb: Option<String>,
}

impl Man {
    pub(super) fn run(self, mut command: Command, io: &mut Io) -> u8 {
        command.build();
        let command = match &self.verb {
            None => command,
            Some(verb) => match command.find_subcommand(verb) {
                Some(found) => found.clone(),
                None => {
                    let verbs: Vec<&str> =
                        command.get_subcommands().map(Command::get_name).collect();
                    io.error(&format!("there is no verb {verb}; there are: {}", verbs.join(", ")));
                    return super::BAD_INPUT;
                }
            },
        };
        let mut page = Vec::new();
        let title = self.verb.map_or("holdpoint".into(), |verb| format!("holdpoint-{verb}"));
        if let Err(e) = clap_mangen::Man::new(command).title(title).render(&mut page) {
            io.error(&format!("the page cannot be made: {e}"));
            return FAILED;
        }
        io.print_styled(&String::from_utf8_lossy(&page));
        DONE
    }
}
