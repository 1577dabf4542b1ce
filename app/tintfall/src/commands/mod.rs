//! The commands, one file each. A new one is a file with `Args` and `Args::run`, its `mod` and a
//! line in the list below.

mod bodies;
mod card;
mod cautions;
mod check_handoff;
mod chosen;
mod compare;
mod demo;
mod dialect;
mod diff;
mod fit;
mod handoff;
mod inspect;
mod key_in;
mod lag_fit;
mod lag_test;
mod lay;
mod layers;
mod match_colour;
mod mend;
mod new;
mod new_colours;
mod place;
mod preflight;
mod prepare;
mod read_photo;
mod seen;
mod shell_files;
mod sign;
mod sliced;
mod swatch;
mod trace;
mod verify;
mod view;
mod watch;
mod weave;

use crate::console::Console;
use crate::fault::Fault;

/// Makes the enum that the arguments are parsed into, and the call of each. The `mod` lines stay
/// outside, for rustfmt follows no module that a macro names.
macro_rules! commands {
    ($($module:ident: $Name:ident,)*) => {
        /// What to do.
        #[derive(clap::Subcommand)]
        pub(crate) enum Command {
            $(
                #[allow(missing_docs, reason = "the arguments' own text is the help")]
                $Name($module::Args),
            )*
        }

        impl Command {
            /// Does it.
            pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
                match self {
                    $(Self::$Name(args) => args.run(console),)*
                }
            }
        }
    };
}

commands! {
    demo: Demo,
    inspect: Inspect,
    new: New,
    lay: Lay,
    layers: Layers,
    mend: Mend,
    prepare: Prepare,
    weave: Weave,
    verify: Verify,
    sign: Sign,
    diff: Diff,
    key_in: KeyIn,
    bodies: Bodies,
    handoff: Handoff,
    check_handoff: CheckHandoff,
    swatch: Swatch,
    card: Card,
    read_photo: ReadPhoto,
    fit: Fit,
    match_colour: Match,
    lag_test: LagTest,
    lag_fit: LagFit,
    preflight: Preflight,
    watch: Watch,
    seen: Seen,
    trace: Trace,
    view: View,
    cautions: Cautions,
    shell_files: ShellFiles,
}
