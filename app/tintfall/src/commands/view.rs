//! `tintfall view`.

use std::env;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::console::Console;
use crate::fault::Fault;

/// The program that is the window.
const WINDOW: &str = "tintfall-viewer";

/// Open the window, with a plan or mesh if you name one
#[derive(clap::Args)]
#[command(after_help = "\
Example:
  tintfall view tintfall-demo/lighthouse.plan.ron

The window is a separate program, tintfall-viewer. It must be beside this one or on the search path.")]
pub(crate) struct Args {
    /// A plan or a mesh
    file: Option<PathBuf>,
}

impl Args {
    /// Starts the window and waits until it is closed.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        if let Some(file) = &self.file
            && !file.exists()
        {
            let file = file.display();
            return Err(Fault::input(format!("{file}: this file does not exist")));
        }
        let window = find().ok_or_else(|| Fault::system(how_to_build()))?;
        console.note(&format!("Opening {}", window.display()));
        let mut command = Command::new(&window);
        command.args(&self.file);
        let status = command
            .status()
            .map_err(|e| Fault::system(format!("can't start {}: {e}", window.display())))?;
        match status.success() {
            true => Ok(()),
            false => Err(Fault::system(format!("the window ended with {status}"))),
        }
    }
}

/// The window's program beside this one or on the search path.
fn find() -> Option<PathBuf> {
    let name = format!("{WINDOW}{}", env::consts::EXE_SUFFIX);
    let own = env::current_exe().ok();
    let beside = own.as_deref().and_then(Path::parent).map(Path::to_owned);
    let search = env::var_os("PATH").unwrap_or_default();
    beside
        .into_iter()
        .chain(env::split_paths(&search))
        .map(|folder| folder.join(&name))
        .find(|path| path.is_file())
}

fn how_to_build() -> String {
    format!(
        "the window is not built yet. From the source folder, run\n  \
         cargo build --release -p {WINDOW}\n\
         The first build takes a quarter of an hour. After that `tintfall view` finds it."
    )
}
