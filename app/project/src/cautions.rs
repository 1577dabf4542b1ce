//! What to take care of around a hot printer: usual cautions, in few words.
//!
//! They are common practice and no substitute for the printer maker's manual, the filament
//! maker's data sheet, or local rules, which all come first.

/// A caution and what it is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Caution {
    /// In a word or two.
    pub about: &'static str,
    /// What to do.
    pub text: &'static str,
}

/// All cautions, the most serious first.
pub const ALL: &[Caution] = &[
    Caution {
        about: "Fire",
        text: "Do not leave a printer running unattended or while you sleep. Keep paper, cloth and \
               solvents away from it, and have a working smoke alarm in the room.",
    },
    Caution {
        about: "Burns",
        text: "The nozzle, the melt chamber and the bed burn skin, and stay hot long after the \
               print. Let them cool before you reach in; wear heat-proof gloves for hot work.",
    },
    Caution {
        about: "Mains",
        text: "Unplug the printer before you open it. Leave mains wiring to a qualified person.",
    },
    Caution {
        about: "Fumes",
        text: "Melted plastic gives off vapour and fine particles. Air the room, and stay within \
               the temperatures on the filament's data sheet.",
    },
    Caution {
        about: "Moving parts",
        text: "Keep fingers, hair and sleeves away from belts, screws and fans; they start \
               without warning.",
    },
    Caution {
        about: "Mixing",
        text: "Feed only plastics that print at one temperature and stick to each other. An inlet \
               that does not move in a hot chamber can clog: follow the hotend's manual.",
    },
    Caution {
        about: "Use of the part",
        text: "Printed parts soften with heat: use a lamp shade only with a cool LED lamp. Do not \
               use them for food or as toys unless the material and the process allow it.",
    },
    Caution {
        about: "Who is right",
        text: "The printer's manual, the filament's data sheet and local rules come before \
               anything this program says.",
    },
];

/// Those that stand on a sheet and in every folder that is handed over.
pub const SHORT: &[&str] = &[
    "Fire: do not leave a running printer unattended; keep a smoke alarm in the room.",
    "Burns: nozzle, melt chamber and bed stay hot long after the print.",
    "Mains: unplug the printer before you open it; leave wiring to a qualified person.",
    "Fumes: air the room and follow the filament's data sheet.",
    "The printer's manual, data sheets and local rules come before this sheet.",
];
