//! The part's skin made ready to be drawn: smooth normals, and pieces that lie together, so
//! that a change redraws only those it touches.

use geometry::{Cancelled, DVec3, Mesh, Progress};

/// Facets in a piece, about.
const PIECE: usize = 4096;

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
        let normals = normals(mesh, progress)?;
        Ok(Self {
            normals,
            pieces: pieces(mesh),
        })
    }

    /// The pieces that reach into a box.
    pub fn within(&self, (lo, hi): (DVec3, DVec3)) -> impl Iterator<Item = usize> {
        let meets = move |p: &Piece| p.bounds_mm.0.cmple(hi).all() && p.bounds_mm.1.cmpge(lo).all();
        let numbered = self.pieces.iter().enumerate();
        numbered.filter(move |(_, p)| meets(p)).map(|(i, _)| i)
    }
}

/// Puts facets in order along a space-filling curve (Morton 1966) and cuts it into runs.
fn pieces(mesh: &Mesh) -> Vec<Piece> {
    let (lo, hi) = mesh.bounds();
    let size = (hi - lo).max(DVec3::splat(1e-9));
    let mut order: Vec<(u32, u32)> = (0..mesh.triangles().len())
        .map(|facet| {
            let [a, b, c] = mesh.corners(facet);
            let at = ((a + b + c) / 3.0 - lo) / size;
            (morton(at), facet as u32)
        })
        .collect();
    order.sort_unstable();
    let piece = |run: &[(u32, u32)]| {
        let facets: Vec<u32> = run.iter().map(|(_, facet)| *facet).collect();
        let none = (DVec3::INFINITY, DVec3::NEG_INFINITY);
        let bounds_mm = facets.iter().fold(none, |(lo, hi), &facet| {
            let [a, b, c] = mesh.corners(facet as usize);
            (lo.min(a).min(b).min(c), hi.max(a).max(b).max(c))
        });
        Piece { facets, bounds_mm }
    };
    order.chunks(PIECE).map(piece).collect()
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
    let facet_normals: Vec<DVec3> = (0..mesh.triangles().len())
        .map(|f| mesh.area_vector(f).normalize_or_zero())
        .collect();
    progress.set(0.2);
    progress.check()?;
    let around = Around::of(mesh);
    progress.set(0.5);
    progress.check()?;
    let smooth = SMOOTH_DEG.to_radians().cos();
    let at_corner = |facet: usize, vertex: u32| {
        let own = facet_normals[facet];
        let mut sum = DVec3::ZERO;
        for &(other, angle) in around.at(vertex) {
            let normal = facet_normals[other as usize];
            if normal.dot(own) >= smooth {
                sum += normal * f64::from(angle);
            }
        }
        let mean = sum.normalize_or(own);
        [mean.x as f32, mean.y as f32, mean.z as f32]
    };
    let numbered = mesh.triangles().iter().enumerate();
    let normals = numbered.map(|(facet, corners)| corners.map(|v| at_corner(facet, v)));
    Ok(normals.collect())
}

/// The facets around each vertex, and their angle there.
struct Around {
    start: Vec<u32>,
    facets: Vec<(u32, f32)>,
}

impl Around {
    fn of(mesh: &Mesh) -> Self {
        let mut start = vec![0_u32; mesh.vertices().len() + 1];
        for corners in mesh.triangles() {
            for &v in corners {
                start[v as usize + 1] += 1;
            }
        }
        for i in 1..start.len() {
            start[i] += start[i - 1];
        }
        let mut next = start.clone();
        let mut facets = vec![(0, 0.0); mesh.triangles().len() * 3];
        for (facet, corners) in mesh.triangles().iter().enumerate() {
            let points = mesh.corners(facet);
            for (i, &v) in corners.iter().enumerate() {
                let (p, q, r) = (points[i], points[(i + 1) % 3], points[(i + 2) % 3]);
                let angle = (q - p).angle_between(r - p);
                let slot = &mut next[v as usize];
                facets[*slot as usize] = (facet as u32, angle as f32);
                *slot += 1;
            }
        }
        Self { start, facets }
    }

    fn at(&self, vertex: u32) -> &[(u32, f32)] {
        let (from, to) = (self.start[vertex as usize], self.start[vertex as usize + 1]);
        &self.facets[from as usize..to as usize]
    }
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
}
