//! The dialect named on the command line.

use std::path::Path;

use project::text_file::read_text;
use weave::dialect::{BUILT_IN, Dialect};

use crate::fault::Fault;

/// The argument that names a dialect.
#[derive(clap::Args)]
pub(super) struct DialectArgs {
    /// A built-in dialect's name or a dialect file
    #[arg(long, default_value = "slots", value_name = "NAME or FILE")]
    pub dialect: String,
}

impl DialectArgs {
    /// The dialect, built in or from a file.
    pub(super) fn read(&self) -> Result<Dialect, Fault> {
        if let Some(dialect) = Dialect::built_in(&self.dialect) {
            return Ok(dialect);
        }
        let path = Path::new(&self.dialect);
        let named = self.dialect.contains(['.', '/', '\\']) || path.exists();
        if !named {
            let known: Vec<&str> = BUILT_IN.iter().map(|(name, _)| *name).collect();
            let (asked, known) = (&self.dialect, known.join(", "));
            return Err(Fault::input(format!(
                "there is no dialect `{asked}`; choose {known}, or name a dialect file"
            )));
        }
        let text =
            read_text(path).map_err(|why| Fault::input(format!("{}: {why}", self.dialect)))?;
        Dialect::from_ron(&text).map_err(|error| Fault::input(error.in_file(&self.dialect)))
    }
}
