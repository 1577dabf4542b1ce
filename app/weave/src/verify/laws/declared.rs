//! Where a woven file's head says that its purge block stands.

/// The purge block as the woven file's head declares it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Declared {
    /// Low corner, mm.
    pub low_mm: [f64; 2],
    /// High corner, mm.
    pub high_mm: [f64; 2],
    /// It ends at this height, mm.
    pub top_mm: f64,
}

impl Declared {
    /// Reads a comment's text; `None` if it is another.
    pub fn of(comment: &[u8]) -> Option<Self> {
        let text = std::str::from_utf8(comment).ok()?.trim();
        let rest = text.strip_prefix("Purge block: x ")?;
        let numbers: Vec<f64> = rest
            .split_whitespace()
            .filter_map(|word| word.parse().ok())
            .collect();
        match numbers.as_slice() {
            [x0, x1, y0, y1, top_mm] => Some(Self {
                low_mm: [*x0, *y0],
                high_mm: [*x1, *y1],
                top_mm: *top_mm,
            }),
            _ => None,
        }
    }

    /// The room about the nozzle that a comment declares, mm: what is higher stands farther away.
    pub(super) fn around_mm(comment: &[u8]) -> Option<f64> {
        let text = std::str::from_utf8(comment).ok()?.trim();
        let rest = text.strip_prefix("Room about the nozzle: ")?;
        let around_mm: f64 = rest.strip_suffix(" mm")?.parse().ok()?;
        // No more than can be looked at.
        Some(around_mm.clamp(0.0, 1000.0))
    }

    pub(super) fn holds(&self, place: [f64; 3]) -> bool {
        const HAIR_MM: f64 = 2e-3;
        let within = |axis: usize| {
            let of = |corner: [f64; 2]| corner.get(axis).copied().unwrap_or(f64::NAN);
            let at = place.get(axis).copied().unwrap_or(f64::NAN);
            at >= of(self.low_mm) - HAIR_MM && at <= of(self.high_mm) + HAIR_MM
        };
        within(0) && within(1) && place[2] <= self.top_mm + HAIR_MM
    }
}
