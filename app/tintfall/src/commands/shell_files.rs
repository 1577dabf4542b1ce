//! `tintfall shell-files`.

use std::io;
use std::path::PathBuf;

use clap::CommandFactory;
use clap_complete::{Shell, generate};
use clap_mangen::Man;
use project::write::Folder;

use crate::Cli;
use crate::console::Console;
use crate::fault::Fault;

/// Write shell completions and man pages, for packages
#[derive(clap::Args)]
#[command(hide = true)]
pub(crate) struct Args {
    /// The folder to write into
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
}

impl Args {
    /// Writes them.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        let mut command = Cli::command();
        command.build();
        let mut folder = Folder::new(&self.out)?;
        for (shell, name) in [
            (Shell::Bash, "tintfall.bash"),
            (Shell::Zsh, "_tintfall"),
            (Shell::Fish, "tintfall.fish"),
        ] {
            let mut text = Vec::new();
            generate(shell, &mut command, "tintfall", &mut text);
            folder.bytes(name, &text)?;
        }
        folder.bytes("tintfall.1", &page(&command).map_err(Fault::system)?)?;
        let shown = |c: &&clap::Command| !c.is_hide_set() && c.get_name() != "help";
        for command in command.get_subcommands().filter(shown) {
            let name = format!("tintfall-{}.1", command.get_name());
            folder.bytes(&name, &page(command).map_err(Fault::system)?)?;
        }
        folder.commit()?;
        console.out(&format!("Wrote into {}\n", self.out.display()))
    }
}

fn page(command: &clap::Command) -> io::Result<Vec<u8>> {
    let mut text = Vec::new();
    Man::new(command.clone()).render(&mut text)?;
    Ok(text)
}
