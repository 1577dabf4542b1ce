//! What holding two files against the laws brings.

/// What was found.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Laws {
    /// Moves of the toolpath from before that lay plastic.
    pub moves: u64,
    /// Moves that are in pieces now.
    pub cut: u64,
    /// Filament that went into the purge block, mm.
    pub purged_mm: f64,
    /// The shortest time that a layer takes at the speeds asked for, s: before, and now.
    pub least_time_s: [f64; 2],
    /// The longest way between two places of plastic that is gone without drawing the strand
    /// back, mm: before, and now.
    pub dry_mm: [f64; 2],
    /// The first law that is broken.
    pub fault: Option<String>,
}
