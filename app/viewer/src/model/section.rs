//! The plane that cuts the part open, as it was set: its direction, its place and its side.

use geometry::{DVec3, Plane};

/// What the section plane lies across.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Across {
    /// The height: it is level, at the layer cursor.
    #[default]
    Height,
    /// The x axis.
    X,
    /// The y axis.
    Y,
    /// The line of sight, as it was when this was chosen.
    View,
    /// What a facet of the part faces.
    Facet,
    /// A direction that was typed.
    Typed,
}

impl Across {
    /// All of them, in the order they are listed.
    pub const ALL: [Self; 6] = [
        Self::Height,
        Self::X,
        Self::Y,
        Self::View,
        Self::Facet,
        Self::Typed,
    ];

    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Self::Height => "At a height",
            Self::X => "Across x",
            Self::Y => "Across y",
            Self::View => "Facing the view",
            Self::Facet => "Along a facet",
            Self::Typed => "Typed direction",
        }
    }

    /// The next of those that need nothing more to be said.
    pub fn next(self) -> Self {
        match self {
            Self::Height => Self::X,
            Self::X => Self::Y,
            Self::Y => Self::View,
            Self::View | Self::Facet | Self::Typed => Self::Height,
        }
    }
}

/// The section plane. At a height, its place is the layer cursor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SectionPlane {
    /// What it lies across.
    pub across: Across,
    /// The direction that it lies across, of any length; zero for none.
    pub direction: DVec3,
    /// Its place along that direction, mm from the origin.
    pub at_mm: f64,
    /// How far the part reaches along it, mm from the origin.
    pub range_mm: (f64, f64),
    /// Whether the other side is cut away.
    pub flipped: bool,
    /// Whether the next click names the facet that it lies along.
    pub asks_facet: bool,
}

impl Default for SectionPlane {
    fn default() -> Self {
        Self {
            across: Across::Height,
            direction: DVec3::Z,
            at_mm: 0.0,
            range_mm: (0.0, 0.0),
            flipped: false,
            asks_facet: false,
        }
    }
}

impl SectionPlane {
    /// Puts it across a direction, in the middle of a part that reaches so far along that.
    pub fn turn(&mut self, across: Across, direction: DVec3, range_mm: (f64, f64)) {
        self.across = across;
        self.direction = direction;
        self.range_mm = range_mm;
        self.at_mm = 0.5 * (range_mm.0 + range_mm.1);
        self.asks_facet = false;
    }

    /// Moves it to a place within the part, mm.
    pub fn move_to(&mut self, at_mm: f64) {
        if at_mm.is_finite() {
            self.at_mm = at_mm.clamp(self.range_mm.0, self.range_mm.1);
        }
    }

    /// The plane, with the layer cursor at a height, mm. None while it has no direction.
    pub fn plane(&self, cursor_mm: f64) -> Option<Plane> {
        let plane = match self.across {
            Across::Height => Plane::new(DVec3::Z, cursor_mm),
            _ => Plane::new(self.direction, self.at_mm),
        }?;
        Some(match self.flipped {
            true => plane.flipped(),
            false => plane,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_side_that_is_left_is_flipped_and_the_place_stays() {
        let mut section = SectionPlane::default();
        let low = DVec3::new(0.0, 0.0, 1.0);
        assert!(!section.plane(2.0).is_some_and(|p| p.cuts_away(low)));
        section.flipped = true;
        assert!(section.plane(2.0).is_some_and(|p| p.cuts_away(low)));
        section.turn(Across::Typed, DVec3::new(3.0, 0.0, 4.0), (-10.0, 20.0));
        assert_eq!(section.at_mm, 5.0);
        section.move_to(99.0);
        assert_eq!(section.at_mm, 20.0);
        section.move_to(f64::NAN);
        assert_eq!(section.at_mm, 20.0);
        section.direction = DVec3::ZERO;
        assert_eq!(section.plane(2.0), None);
    }

    #[test]
    fn every_direction_that_needs_no_more_is_reached_by_stepping() {
        let mut seen = vec![Across::default()];
        for _ in 0..3 {
            seen.extend(seen.last().map(|a| a.next()));
        }
        assert_eq!(seen, [Across::Height, Across::X, Across::Y, Across::View]);
        assert_eq!(Across::View.next(), Across::Height);
    }
}
