//! The copies of a part on the plate, ready for many places.

use geometry::Surface;
use glam::{DVec2, DVec3};

use super::placement::Placement;

/// Where copies stand, with what each place needs of them worked out once.
pub(crate) struct Copies {
    copies: Vec<Copy>,
    surface: Surface,
    /// The part's extent, mm.
    low: DVec2,
    high: DVec2,
}

struct Copy {
    shift_mm: DVec2,
    lift_mm: f64,
    /// Turns from the plate to the part.
    back: DVec2,
}

impl Copies {
    /// Copies of a part; one as the mesh lies if none is given.
    pub(crate) fn new(surface: &Surface, stands: &[Placement]) -> Self {
        let (low, high) = surface.mesh().bounds();
        let copy = |stand: &Placement| Copy {
            shift_mm: DVec2::from(stand.shift_mm),
            lift_mm: stand.lift_mm,
            back: stand.back(),
        };
        let copies = match stands {
            [] => vec![copy(&Placement::default())],
            stands => stands.iter().map(copy).collect(),
        };
        Self {
            copies,
            surface: surface.clone(),
            low: low.truncate(),
            high: high.truncate(),
        }
    }

    /// A place of the plate as a place of the part, and which copy it belongs to: the one whose
    /// extent it is in or nearest to; of several, the one whose skin is nearest.
    pub(crate) fn to_part(&self, plate_mm: DVec3) -> (usize, DVec3) {
        let index = match self.copies.len() {
            1 => 0,
            _ => self.nearest(plate_mm),
        };
        let copy = self.copies.get(index);
        let place = copy.map_or(plate_mm, |copy| copy.to_part(plate_mm));
        (index, place)
    }

    fn nearest(&self, plate_mm: DVec3) -> usize {
        let beyond = |copy: &Copy| {
            let place = copy.to_part(plate_mm).truncate();
            place.distance(place.clamp(self.low, self.high))
        };
        let far = self.copies.iter().map(beyond).enumerate();
        let least = far
            .clone()
            .map(|(_, far)| far)
            .fold(f64::INFINITY, f64::min);
        let mut near = far.filter(|(_, far)| *far <= least);
        let first = near.next().map_or(0, |(index, _)| index);
        let mut rest = near.peekable();
        if rest.peek().is_none() {
            return first;
        }
        let skin = |index: usize| {
            let place = self.copies.get(index).map(|copy| copy.to_part(plate_mm));
            place.map_or(f64::INFINITY, |place| {
                self.surface.nearest(place).point_mm.distance(place)
            })
        };
        rest.map(|(index, _)| index)
            .fold((first, skin(first)), |(best, least), index| {
                let far = skin(index);
                if far < least {
                    (index, far)
                } else {
                    (best, least)
                }
            })
            .0
    }
}

impl Copy {
    fn to_part(&self, plate_mm: DVec3) -> DVec3 {
        let turned = self.back.rotate(plate_mm.truncate() - self.shift_mm);
        turned.extend(plate_mm.z - self.lift_mm)
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use geometry::solids;

    fn stand(turn_deg: f64, x: f64, y: f64) -> Placement {
        Placement {
            turn_deg,
            shift_mm: [x, y],
            lift_mm: 0.6,
        }
    }

    #[test]
    fn each_place_belongs_to_the_copy_about_it() {
        let mesh = solids::cylinder(5.0, 8.0, 24).expect("a cylinder");
        let surface = Surface::new(Arc::new(mesh));
        let stands = [stand(30.0, 10.0, 20.0), stand(0.0, 40.0, 20.0)];
        let copies = Copies::new(&surface, &stands);
        for (copy, stand) in stands.iter().enumerate() {
            let part = DVec3::new(3.0, -4.0, 2.0);
            let (found, place) = copies.to_part(stand.to_plate(part));
            assert_eq!(found, copy);
            assert!(place.distance(part) < 1e-12);
            assert_eq!(place, stand.to_part(stand.to_plate(part)));
        }
        let plate = DVec3::new(1.0, 2.0, 3.0);
        assert_eq!(Copies::new(&surface, &[]).to_part(plate), (0, plate));
    }

    /// A slender part beside a turned copy: its ends are nearer to the other copy's middle than
    /// to its own.
    #[test]
    fn the_end_of_a_slender_part_is_not_its_neighbours() {
        let mesh = solids::cuboid(DVec3::new(60.0, 6.0, 4.0)).expect("a bar");
        let surface = Surface::new(Arc::new(mesh));
        let stands = [stand(0.0, 50.0, 50.0), stand(90.0, 85.0, 50.0)];
        let copies = Copies::new(&surface, &stands);
        for (copy, stand) in stands.iter().enumerate() {
            for x in [-29.0, 0.0, 29.0] {
                let part = DVec3::new(x, 2.0, 1.0);
                let (found, place) = copies.to_part(stand.to_plate(part));
                assert_eq!(found, copy, "{x}");
                assert!(place.distance(part) < 1e-12);
            }
        }
    }
}
