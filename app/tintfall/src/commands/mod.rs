//! The commands, one file each. A new one is a file with `Args` and `Args::run`, and a line
//! in the list below.

use crate::console::Console;
use crate::fault::Fault;

/// Makes the modules, the enum that the arguments are parsed into, and the call of each.
macro_rules! commands {
    ($($module:ident: $Name:ident,)*) => {
        $(mod $module;)*

        /// What to do.
        #[derive(clap::Subcommand)]
        pub enum Command {
            $(
                #[allow(missing_docs, reason = "the arguments' own text is the help")]
                $Name($module::Args),
            )*
        }

        impl Command {
            /// Does it.
            pub fn run(self, console: &Console) -> Result<(), Fault> {
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
    layers: Layers,
    prepare: Prepare,
    weave: Weave,
    verify: Verify,
    sign: Sign,
    diff: Diff,
    key_in: KeyIn,
    handoff: Handoff,
    check_handoff: CheckHandoff,
    swatch: Swatch,
    read_photo: ReadPhoto,
    fit: Fit,
    match_colour: Match,
    lag_test: LagTest,
    lag_fit: LagFit,
    preflight: Preflight,
    watch: Watch,
    trace: Trace,
    view: View,
    cautions: Cautions,
}
