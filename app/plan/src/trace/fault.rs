//! What can be wrong with a print.

use serde::{Deserialize, Serialize};

/// What is wrong with a print: nothing, one fault, or two at once.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Cause {
    /// The faults; none where the print is as planned.
    pub faults: Vec<Fault>,
}

/// One thing that is wrong.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum Fault {
    /// A drive feeds less, or more, than it is told.
    Feed {
        /// Which, from 0.
        drive: usize,
        /// What it feeds of what it is told: below 1 too little, above 1 too much.
        ratio: f64,
        /// Whether it comes to that evenly from where it begins to where it ends, as of a spool
        /// that tangles more and more.
        growing: bool,
        /// The height from which on, mm.
        from_mm: f64,
        /// The height until which, mm: the part's height where it does not recover.
        until_mm: f64,
        /// What does not agree with what is told.
        shows: Shows,
    },
    /// A drive slips now and then.
    Slipping {
        /// Which, from 0.
        drive: usize,
        /// What it feeds of what it is told while it slips.
        ratio: f64,
        /// From and until which heights it slipped, mm.
        spells_mm: Vec<[f64; 2]>,
    },
    /// All drives feed too little, all by the same part.
    AllShort {
        /// What they feed of what they are told.
        ratio: f64,
        /// Whether they come to that evenly, as in a hotend that cools down.
        growing: bool,
        /// The height from which on, mm.
        from_mm: f64,
        /// The height until which, mm.
        until_mm: f64,
    },
    /// Two spools stand at each other's drives.
    Swapped {
        /// The one drive, from 0.
        drive: usize,
        /// The other one.
        with: usize,
    },
    /// The chamber's lag is not what the machine file says.
    Lag {
        /// What it seems to be, mm³.
        lag_mm3: f64,
    },
    /// The changes of blend begin or end at other heights than planned.
    Heights {
        /// Where the first change seems to be, mm.
        start_mm: f64,
        /// Where the last change seems to be, mm.
        end_mm: f64,
    },
    /// No drive gets more than a part of the flow melted.
    FlowLimit {
        /// The greatest share that is fed.
        most_share: f64,
    },
}

/// What of a drive does not agree with what it is told, where its feed is wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Shows {
    /// The filament, while the gear turns as it should: it slips, or its steps for each mm are
    /// set wrong.
    Filament,
    /// The gear and the filament: the motor turns too little or too much.
    Gear,
    /// Neither: as much filament goes in as should, but it is thinner or thicker than told.
    Nothing,
}

/// What is usual among bad prints, before anything was seen of this one (common practice, no
/// source). Two faults at once are as usual as both together, and a seventh of that.
const USUAL: [(&str, f64); 9] = [
    ("nothing is wrong", 0.06),
    ("a drive feeds too little", 0.32),
    ("a drive feeds too much", 0.09),
    ("a drive slips now and then", 0.10),
    ("all drives feed too little", 0.08),
    ("two spools are swapped", 0.08),
    ("the lag is set wrong", 0.09),
    ("changes begin or end at wrong heights", 0.07),
    ("the hotend can't melt fast enough", 0.05),
];
const TWO_AT_ONCE: f64 = 0.15;

impl Fault {
    fn kind(&self) -> usize {
        match self {
            Self::Feed { ratio, .. } if *ratio > 1.0 => 2,
            Self::Feed { .. } => 1,
            Self::Slipping { .. } => 3,
            Self::AllShort { .. } => 4,
            Self::Swapped { .. } => 5,
            Self::Lag { .. } => 6,
            Self::Heights { .. } => 7,
            Self::FlowLimit { .. } => 8,
        }
    }

    /// Its kind in a few words.
    pub fn name(&self) -> &'static str {
        USUAL.get(self.kind()).map_or("", |(name, _)| name)
    }

    /// Which drive it is of, if it is of one.
    pub(super) fn drive(&self) -> Option<usize> {
        match self {
            Self::Feed { drive, .. } | Self::Slipping { drive, .. } => Some(*drive),
            _ => None,
        }
    }

    fn usual(&self) -> f64 {
        USUAL.get(self.kind()).map_or(0.05, |(_, usual)| *usual)
    }
}

impl Cause {
    /// Nothing is wrong.
    pub fn as_planned() -> Self {
        Self::default()
    }

    /// One fault.
    pub fn of(fault: Fault) -> Self {
        Self {
            faults: vec![fault],
        }
    }

    /// Its kind in a few words.
    pub fn name(&self) -> String {
        let names: Vec<&str> = self.faults.iter().map(Fault::name).collect();
        match names.is_empty() {
            true => USUAL[0].0.to_owned(),
            false => names.join(", and "),
        }
    }

    /// How usual it is (common practice, no source).
    pub(super) fn usual(&self) -> f64 {
        let (first, rest) = match self.faults.split_first() {
            Some((first, rest)) => (first.usual(), rest),
            None => (USUAL[0].1, &[] as &[Fault]),
        };
        rest.iter().fold(first, |p, f| p * TWO_AT_ONCE * f.usual())
    }
}
