//! The dialect named on the command line.

use std::path::Path;

use project::text_file::read_text;
use weave::dialect::{BUILT_IN, Dialect, TO_FILL_IN, WHERE_TO_LOOK};

use crate::fault::Fault;

/// The argument that names a dialect.
#[derive(clap::Args)]
pub(super) struct DialectArgs {
    /// A built-in dialect's name or a dialect file
    #[arg(long, default_value = "slots", value_name = "NAME or FILE")]
    pub dialect: String,
    /// The firmware's own command for `--dialect ratio-word`, with {shares} where the shares go
    #[arg(long, value_name = "LINE")]
    pub line: Option<String>,
}

impl DialectArgs {
    /// The dialect, built in or from a file.
    pub(super) fn read(&self) -> Result<Dialect, Fault> {
        if self.dialect == TO_FILL_IN.0 {
            return self.filled_in();
        }
        if self.line.is_some() {
            return Err(Fault::input(
                "--line is for `--dialect ratio-word`; the others have their lines already",
            ));
        }
        if let Some(dialect) = Dialect::built_in(&self.dialect) {
            return Ok(dialect);
        }
        let path = Path::new(&self.dialect);
        let named = self.dialect.contains(['.', '/', '\\']) || path.exists();
        if !named {
            let all = BUILT_IN.iter().chain([&TO_FILL_IN]);
            let known: Vec<&str> = all.map(|(name, _)| *name).collect();
            let (asked, known) = (&self.dialect, known.join(", "));
            return Err(Fault::input(format!(
                "there is no dialect `{asked}`; choose {known}, or name a dialect file"
            )));
        }
        let text =
            read_text(path).map_err(|why| Fault::input(format!("{}: {why}", self.dialect)))?;
        Dialect::from_ron(&text).map_err(|error| Fault::input(error.in_file(&self.dialect)))
    }

    /// The form whose line must be given.
    fn filled_in(&self) -> Result<Dialect, Fault> {
        match &self.line {
            Some(line) => Dialect::ratio_word(line)
                .map_err(|what| Fault::input(format!("--line {line:?}: {what}"))),
            None => Err(Fault::input(format!(
                "{WHERE_TO_LOOK}, and give it with --line, such as `--line 'CODE {{shares}}'`. \
                 It is not guessed: a wrong command may be ignored, and then the whole part has one \
                 colour"
            ))),
        }
    }
}
