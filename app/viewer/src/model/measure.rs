//! A distance that is being measured between two points of the part.

use geometry::DVec3;

/// The points that were clicked: none, one, or both.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Measure {
    /// The first, mm.
    pub from_mm: Option<DVec3>,
    /// The second, mm.
    pub to_mm: Option<DVec3>,
}

impl Measure {
    /// Takes a point: the second after the first, the first again after both.
    pub fn take(&mut self, point_mm: DVec3) {
        match (self.from_mm, self.to_mm) {
            (Some(_), None) => self.to_mm = Some(point_mm),
            _ => {
                *self = Self {
                    from_mm: Some(point_mm),
                    to_mm: None,
                }
            }
        }
    }

    /// What it comes to, in words.
    pub fn words(&self) -> Option<String> {
        let (from, to) = (self.from_mm?, self.to_mm?);
        let by = to - from;
        Some(format!(
            "{:.2} mm; {:.2} mm across, {:.2} mm in height",
            by.length(),
            by.truncate().length(),
            by.z.abs()
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_third_point_begins_again() {
        let mut measure = Measure::default();
        measure.take(DVec3::new(1.0, 2.0, 3.0));
        assert_eq!(measure.words(), None);
        measure.take(DVec3::new(4.0, 6.0, -9.0));
        // 3, 4 and 12 make 13.
        assert_eq!(
            measure.words().as_deref(),
            Some("13.00 mm; 5.00 mm across, 12.00 mm in height")
        );
        measure.take(DVec3::ZERO);
        assert_eq!((measure.from_mm, measure.to_mm), (Some(DVec3::ZERO), None));
    }
}
