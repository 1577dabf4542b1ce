//! What a file holds that might be understood otherwise by the machine.

use std::fmt;

/// One kind of doubt.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum CautionKind {
    /// A G word of which we don't know whether it moves.
    UnknownMotion,
    /// A move whose words can't all be read (parameters, expressions, stray signs).
    UnreadMove,
    /// A word given twice in one move; the first counts.
    RepeatedWord,
    /// G90 came after M83 and filament is fed without a new M82 or M83: some machines then
    /// count filament absolutely, some don't.
    ExtruderModeUnclear,
    /// An arc that can't be drawn from its words; taken for straight.
    BadArc,
    /// An arc whose ends differ in radius by more than its numbers' rounding.
    UnevenArc,
    /// Another coordinate system was chosen or set; its place is not in the file.
    OtherCoordinates,
    /// Inverse-time feed; speeds are not known.
    InverseTime,
    /// More than one tool is chosen.
    OtherTool,
    /// A flow factor or a volumetric E whose number is not in the file, or is none.
    UnknownFlow,
    /// A checksum that doesn't fit its line.
    WrongChecksum,
    /// A move of more than 10 m or to more than 10 m away; left out.
    OutOfReach,
}

impl CautionKind {
    /// Whether a machine may move, or feed, otherwise than is thought, at lines that were read.
    /// Such a move can't be laid anew.
    pub fn leaves_a_move_in_doubt(self) -> bool {
        matches!(
            self,
            Self::UnreadMove
                | Self::RepeatedWord
                | Self::BadArc
                | Self::WrongChecksum
                | Self::OutOfReach
        )
    }
}

impl fmt::Display for CautionKind {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(match self {
            Self::UnknownMotion => "an unknown G word; if it moves, positions may be off",
            Self::UnreadMove => "a move that can't be read in full (parameters or expressions)",
            Self::RepeatedWord => "a word given twice in one move; the first was taken",
            Self::ExtruderModeUnclear => {
                "G90 after M83 with no M82 or M83 after it: some machines then feed absolutely; \
                 relative was assumed"
            }
            Self::BadArc => "an arc that can't be drawn; a straight line was assumed",
            Self::UnevenArc => "an arc with different radii at its two ends",
            Self::OtherCoordinates => "another coordinate system; positions may be off",
            Self::InverseTime => "inverse-time feed; speeds are unknown",
            Self::OtherTool => "a second tool",
            Self::UnknownFlow => {
                "a flow factor (M221) or a volumetric E (M200) without a number that can be used; \
                 the plastic that is fed is not known"
            }
            Self::WrongChecksum => "a checksum that doesn't match its line",
            Self::OutOfReach => "a move that leads more than 10 m away; left out",
        })
    }
}

/// How often one kind was met.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Caution {
    /// Which.
    pub kind: CautionKind,
    /// Line of the first one, from 1.
    pub first_line: u64,
    /// How many there were.
    pub count: u64,
}

impl fmt::Display for Caution {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "line {}: {}", self.first_line, self.kind)?;
        match self.count {
            0 | 1 => Ok(()),
            n => write!(out, " ({n} times in all)"),
        }
    }
}

/// All doubts about one file: one entry for each kind, in order of first appearance.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Cautions(Vec<Caution>);

impl Cautions {
    /// None so far.
    pub fn new() -> Self {
        Self::default()
    }

    /// Notes one more.
    #[cold]
    pub fn note(&mut self, kind: CautionKind, line: u64) {
        match self.0.iter_mut().find(|c| c.kind == kind) {
            Some(known) => known.count += 1,
            None => self.0.push(Caution {
                kind,
                first_line: line,
                count: 1,
            }),
        }
    }

    /// Them.
    pub fn as_slice(&self) -> &[Caution] {
        &self.0
    }

    /// Whether one kind was met.
    pub fn has(&self, kind: CautionKind) -> bool {
        self.0.iter().any(|c| c.kind == kind)
    }
}
