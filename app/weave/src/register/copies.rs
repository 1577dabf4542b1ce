//! The copies of a part on the plate, ready for many places.

use geometry::Mesh;
use glam::{DVec2, DVec3};

use super::placement::Placement;

/// Where copies stand, with what each place needs of them worked out once.
pub(crate) struct Copies(Vec<Copy>);

struct Copy {
    shift_mm: DVec2,
    lift_mm: f64,
    /// Turns from the plate to the part.
    back: DVec2,
    /// The middle of the part, on the plate.
    middle_mm: DVec2,
}

impl Copies {
    /// Copies of a mesh; one as the mesh lies if none is given.
    pub(crate) fn new(mesh: &Mesh, stands: &[Placement]) -> Self {
        let (low, high) = mesh.bounds();
        let middle = 0.5 * (low + high);
        let copy = |stand: &Placement| Copy {
            shift_mm: DVec2::from(stand.shift_mm),
            lift_mm: stand.lift_mm,
            back: stand.back(),
            middle_mm: stand.to_plate(middle).truncate(),
        };
        Self(match stands {
            [] => vec![copy(&Placement::default())],
            stands => stands.iter().map(copy).collect(),
        })
    }

    /// A place of the plate as a place of the part, and which copy it belongs to: the one whose
    /// middle is nearest.
    pub(crate) fn to_part(&self, plate_mm: DVec3) -> (usize, DVec3) {
        let index = match self.0.len() {
            1 => 0,
            _ => self.nearest(plate_mm.truncate()),
        };
        let place = self.0.get(index).map_or(plate_mm, |copy| {
            let turned = copy.back.rotate(plate_mm.truncate() - copy.shift_mm);
            turned.extend(plate_mm.z - copy.lift_mm)
        });
        (index, place)
    }

    fn nearest(&self, plate_mm: DVec2) -> usize {
        let far = |copy: &Copy| copy.middle_mm.distance_squared(plate_mm);
        let copies = self.0.iter().enumerate();
        copies
            .min_by(|(_, a), (_, b)| far(a).total_cmp(&far(b)))
            .map_or(0, |(index, _)| index)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_place_belongs_to_the_copy_about_it() {
        let mesh = geometry::solids::cylinder(5.0, 8.0, 24).expect("a cylinder");
        let stand = |turn_deg, x| Placement {
            turn_deg,
            shift_mm: [x, 20.0],
            lift_mm: 0.6,
        };
        let stands = [stand(30.0, 10.0), stand(0.0, 40.0)];
        let copies = Copies::new(&mesh, &stands);
        for (copy, stand) in stands.iter().enumerate() {
            let part = DVec3::new(3.0, -4.0, 2.0);
            let (found, place) = copies.to_part(stand.to_plate(part));
            assert_eq!(found, copy);
            assert!(place.distance(part) < 1e-12);
            assert_eq!(place, stand.to_part(stand.to_plate(part)));
        }
        let plate = DVec3::new(1.0, 2.0, 3.0);
        assert_eq!(Copies::new(&mesh, &[]).to_part(plate), (0, plate));
    }
}
