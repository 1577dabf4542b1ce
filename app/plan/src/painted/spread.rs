//! How the skin is shared out among classes of its points.

use geometry::{Cancelled, DVec3, Mesh, Progress, SurfacePoint};
use rayon::prelude::*;

/// A facet is cut to pieces no longer than this part of the mesh's size before it is asked
/// about, …
const COARSE: f64 = 1.0 / 150.0;
/// … and where a piece's corners disagree, to pieces no longer than this.
const FINE: f64 = 1.0 / 1000.0;
/// Facets in one piece of work. It is fixed, so that sums come out the same on any machine.
const AT_A_TIME: usize = 4096;

/// The area of each class, mm². The areas add up to the mesh's area whatever the classes;
/// where an edge between classes runs, pieces of a 1000th of the mesh's size decide.
pub(super) fn areas_mm2(
    mesh: &Mesh,
    classes: usize,
    progress: &Progress,
    class_at: impl Fn(SurfacePoint) -> usize + Sync,
) -> Result<Vec<f64>, Cancelled> {
    let (low, high) = mesh.bounds();
    let size = high.distance(low);
    let facets = mesh.triangles().len();
    let runs: Result<Vec<Vec<f64>>, Cancelled> = (0..facets.div_ceil(AT_A_TIME))
        .into_par_iter()
        .map(|run| {
            progress.check()?;
            let mut sums = vec![0.0; classes];
            for facet in run * AT_A_TIME..facets.min((run + 1) * AT_A_TIME) {
                let mut cutter = Cutter {
                    facet: facet as u32,
                    coarse_mm: size * COARSE,
                    fine_mm: size * FINE,
                    class_at: &class_at,
                    sums: &mut sums,
                };
                cutter.add(mesh.corners(facet));
            }
            Ok(sums)
        })
        .collect();
    let mut areas = vec![0.0; classes];
    for sums in runs? {
        for (area, sum) in areas.iter_mut().zip(sums) {
            *area += sum;
        }
    }
    Ok(areas)
}

struct Cutter<'a, F> {
    facet: u32,
    coarse_mm: f64,
    fine_mm: f64,
    class_at: &'a F,
    sums: &'a mut [f64],
}

impl<F: Fn(SurfacePoint) -> usize> Cutter<'_, F> {
    fn class(&self, point_mm: DVec3) -> usize {
        (self.class_at)(SurfacePoint {
            point_mm,
            facet: self.facet,
        })
    }

    fn add(&mut self, corners: [DVec3; 3]) {
        let [a, b, c] = corners;
        let sides = [a.distance(b), b.distance(c), c.distance(a)];
        let longest = sides.iter().copied().fold(0.0, f64::max);
        if longest > self.coarse_mm {
            return self.halve(corners, sides);
        }
        let middle = (a + b + c) / 3.0;
        let class = self.class(middle);
        // Corners drawn in a little, for the facet beyond an edge may be of another class.
        let alike = |corner: DVec3| self.class(corner.lerp(middle, 1e-3)) == class;
        if longest > self.fine_mm && !corners.into_iter().all(alike) {
            return self.halve(corners, sides);
        }
        if let Some(sum) = self.sums.get_mut(class) {
            *sum += 0.5 * (b - a).cross(c - a).length();
        }
    }

    /// Cuts at the longest side.
    fn halve(&mut self, [a, b, c]: [DVec3; 3], [ab, bc, ca]: [f64; 3]) {
        let [a, b, c] = if ab >= bc && ab >= ca {
            [a, b, c]
        } else if bc >= ca {
            [b, c, a]
        } else {
            [c, a, b]
        };
        let middle = a.midpoint(b);
        self.add([a, middle, c]);
        self.add([middle, b, c]);
    }
}
