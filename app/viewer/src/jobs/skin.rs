//! The part's skin made ready to be drawn: smooth normals, and pieces that lie together, so
//! that a change redraws only those it touches.

use geometry::mask::Stroke;
use geometry::mesh::Fans;
use geometry::{Cancelled, DVec3, Mesh, Progress};
use rayon::prelude::*;

/// Facets in a piece, about.
const PIECE: usize = 4096;

/// So many facets are not worth another thread.
const FEW: usize = 4096;

/// Facets that meet at less than this angle are shaded as one smooth face.
const SMOOTH_DEG: f64 = 35.0;

/// A run of facets that lie together.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// Their indices.
    pub facets: Vec<u32>,
    /// The box around them, mm.
    pub bounds_mm: (DVec3, DVec3),
}

/// The skin of a part.
#[derive(Clone, Debug, PartialEq)]
pub struct Skin {
    /// Normals of each facet's corners.
    pub normals: Vec<[[f32; 3]; 3]>,
    /// The pieces.
    pub pieces: Vec<Piece>,
}

impl Skin {
    /// Works them out for a mesh.
    ///
    /// # Errors
    /// [`Cancelled`].
    pub fn of(mesh: &Mesh, progress: &Progress) -> Result<Self, Cancelled> {
        progress.stage("Smoothing the skin");
        let (normals, pieces) = rayon::join(|| normals(mesh, progress), || pieces(mesh));
        Ok(Self {
            normals: normals?,
            pieces,
        })
    }

    /// The pieces that reach into a box.
    pub fn within(&self, box_mm: (DVec3, DVec3)) -> impl Iterator<Item = usize> {
        let numbered = self.pieces.iter().enumerate();
        let meets = move |p: &Piece| meet(p.bounds_mm, box_mm);
        numbered.filter(move |(_, p)| meets(p)).map(|(i, _)| i)
    }

    /// The pieces that a stroke comes near. A stroke round a part is near few of those that lie
    /// in the box around it.
    pub fn near(&self, stroke: &Stroke) -> impl Iterator<Item = usize> {
        let by = DVec3::splat(stroke.radius_mm);
        let around = move |a: DVec3, b: DVec3| (a.min(b) - by, a.max(b) + by);
        let straight: Vec<(DVec3, DVec3)> = match stroke.dabs_mm.as_slice() {
            [dab] => vec![around(*dab, *dab)],
            dabs => dabs.windows(2).map(|w| around(w[0], w[1])).collect(),
        };
        self.within(stroke.bounds_mm()).filter(move |&piece| {
            let bounds_mm = self.pieces[piece].bounds_mm;
            straight.iter().any(|&part| meet(part, bounds_mm))
        })
    }
}

/// Whether two boxes meet.
fn meet(a: (DVec3, DVec3), b: (DVec3, DVec3)) -> bool {
    a.0.cmple(b.1).all() && a.1.cmpge(b.0).all()
}

/// Puts facets in order along a space-filling curve (Morton 1966) and cuts it into runs.
fn pieces(mesh: &Mesh) -> Vec<Piece> {
    let (lo, hi) = mesh.bounds();
    let size = (hi - lo).max(DVec3::splat(1e-9));
    let mut order: Vec<(u32, u32)> = (0..mesh.triangles().len() as u32)
        .into_par_iter()
        .with_min_len(FEW)
        .map(|facet| {
            let [a, b, c] = mesh.corners(facet as usize);
            let at = ((a + b + c) / 3.0 - lo) / size;
            (morton(at), facet)
        })
        .collect();
    // No two are alike, so the order is the same however many cores sort.
    order.par_sort_unstable();
    let piece = |run: &[(u32, u32)]| {
        let facets: Vec<u32> = run.iter().map(|(_, facet)| *facet).collect();
        let none = (DVec3::INFINITY, DVec3::NEG_INFINITY);
        let bounds_mm = facets.iter().fold(none, |(lo, hi), &facet| {
            let [a, b, c] = mesh.corners(facet as usize);
            (lo.min(a).min(b).min(c), hi.max(a).max(b).max(c))
        });
        Piece { facets, bounds_mm }
    };
    order.par_chunks(PIECE).map(piece).collect()
}

/// Ten bits of each coordinate, woven together.
fn morton(at: DVec3) -> u32 {
    let spread = |x: f64| {
        let mut bits = (x.clamp(0.0, 1.0) * 1023.0) as u32;
        bits = (bits | bits << 16) & 0x0300_00ff;
        bits = (bits | bits << 8) & 0x0300_f00f;
        bits = (bits | bits << 4) & 0x030c_30c3;
        (bits | bits << 2) & 0x0924_9249
    };
    spread(at.x) | spread(at.y) << 1 | spread(at.z) << 2
}

/// At each corner, the mean of the normals of the facets that meet there smoothly, weighted
/// by their angle at it.
fn normals(mesh: &Mesh, progress: &Progress) -> Result<Vec<[[f32; 3]; 3]>, Cancelled> {
    let all = || {
        let facets = 0..mesh.triangles().len();
        facets.into_par_iter().with_min_len(FEW)
    };
    // Who meets at a corner is sorted out in order, and all else beside it.
    let (around, (facet_normals, angles)) = rayon::join(
        || {
            let corners = mesh.triangles().as_flattened().iter();
            Fans::of(mesh.vertices().len(), corners.copied())
        },
        || {
            let normal = |f| mesh.area_vector(f).normalize_or_zero();
            let facet_normals: Vec<DVec3> = all().map(normal).collect();
            let angles: Vec<[f32; 3]> = all().map(|f| angles(mesh.corners(f))).collect();
            (facet_normals, angles)
        },
    );
    progress.set(0.5);
    progress.check()?;
    let smooth = SMOOTH_DEG.to_radians().cos();
    let at_corner = |facet: usize, vertex: u32| {
        let own = facet_normals[facet];
        let mut sum = DVec3::ZERO;
        for &side in around.at(vertex as usize) {
            let (other, corner) = (side as usize / 3, side as usize % 3);
            let normal = facet_normals[other];
            if normal.dot(own) >= smooth {
                sum += normal * f64::from(angles[other][corner]);
            }
        }
        let mean = sum.normalize_or(own);
        [mean.x as f32, mean.y as f32, mean.z as f32]
    };
    let of_facet = |facet: usize| mesh.triangles()[facet].map(|v| at_corner(facet, v));
    Ok(all().map(of_facet).collect())
}

/// A triangle's angles.
fn angles(points: [DVec3; 3]) -> [f32; 3] {
    [0, 1, 2].map(|i| {
        let (p, q, r) = (points[i], points[(i + 1) % 3], points[(i + 2) % 3]);
        (q - p).angle_between(r - p) as f32
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cube() -> Mesh {
        geometry::solids::cuboid(DVec3::splat(10.0)).expect("a cube")
    }

    #[test]
    fn edges_of_a_cube_stay_sharp() {
        let mesh = cube();
        let skin = Skin::of(&mesh, &Progress::new()).expect("not cancelled");
        for (facet, corners) in skin.normals.iter().enumerate() {
            let own = mesh.area_vector(facet).normalize();
            for n in corners {
                let n = DVec3::new(n[0].into(), n[1].into(), n[2].into());
                assert!(n.dot(own) > 0.999);
            }
        }
    }

    #[test]
    fn a_ball_is_shaded_smoothly_and_every_facet_is_in_one_piece() {
        let mesh = geometry::solids::icosphere(10.0, 5).expect("a ball");
        let skin = Skin::of(&mesh, &Progress::new()).expect("not cancelled");
        for (facet, corners) in skin.normals.iter().enumerate() {
            for (n, p) in corners.iter().zip(mesh.corners(facet)) {
                let n = DVec3::new(n[0].into(), n[1].into(), n[2].into());
                assert!(n.dot(p.normalize()) > 0.999);
            }
        }
        let mut seen = vec![0; mesh.triangles().len()];
        for piece in &skin.pieces {
            for &f in &piece.facets {
                seen[f as usize] += 1;
            }
        }
        assert!(seen.iter().all(|&n| n == 1));
        assert!(skin.pieces.len() > 3);
        let near = (DVec3::splat(5.0), DVec3::splat(6.0));
        assert!(skin.within(near).count() < skin.pieces.len());
    }

    #[test]
    fn a_stroke_round_a_ball_is_near_the_pieces_on_its_way_alone() {
        let mesh = geometry::solids::icosphere(10.0, 6).expect("a ball");
        let skin = Skin::of(&mesh, &Progress::new()).expect("not cancelled");
        let dab = |i: usize| {
            let (sin, cos) = (i as f64 / 40.0 * std::f64::consts::TAU).sin_cos();
            DVec3::new(sin, 0.7 * cos, 0.7 * cos) * 10.0
        };
        let stroke = Stroke {
            dabs_mm: (0..40).map(dab).collect(),
            radius_mm: 0.5,
            reach_mm: None,
        };
        let near: Vec<usize> = skin.near(&stroke).collect();
        let boxed = skin.within(stroke.bounds_mm()).count();
        assert!(near.len() < boxed, "{} of {boxed}", near.len());
        for (i, piece) in skin.pieces.iter().enumerate() {
            let painted = piece.facets.iter().any(|&facet| {
                let [a, b, c] = mesh.corners(facet as usize);
                let middle = (a + b + c) / 3.0;
                stroke.dabs_mm.iter().any(|d| d.distance(middle) < 0.5)
            });
            assert!(!painted || near.contains(&i), "{i}");
        }
    }
}
