//! Pieces of skin ready to draw: facets cut where regions meet, so that an edge of paint is
//! smooth whatever the facets, and cut where a fade bends.

use geometry::mask::{Outline, PreparedMask, PreparedStroke, Stroke};
use geometry::surface::refine::{Refined, refine_some};
use geometry::{DVec2, DVec3, Field, Mask, Progress, Surface, SurfacePoint};
use plan::{Paint, Painted, Plan};
use rustc_hash::FxHashMap;

use super::skin::{Piece, Skin};
use crate::model::skin::SkinMesh;

/// Edges are followed in lengths of this share of the least radius that makes one,
const EDGE_OF_RADIUS: f64 = 0.22;

/// but at most this share of the part's size,
const COARSEST_SHARE: f64 = 1.0 / 64.0;

/// and at least this.
const FINEST_SHARE: f64 = 1.0 / 4000.0;

/// Regions are asked for this far beneath the skin, mm.
pub(super) const BENEATH_MM: f64 = 1e-3;

/// A fade's place may be off by this much in the middle of a triangle's side, mm.
const OFF_MM: f64 = 0.02;

/// A corner of a triangle.
#[derive(Clone, Copy)]
pub(super) struct Corner {
    pub(super) at: DVec3,
    pub(super) normal: DVec3,
}

/// How finely edges are followed, mm.
fn finest_mm(surface: &Surface, least_radius_mm: f64) -> f64 {
    let (lo, hi) = surface.bounds_mm();
    let size = lo.distance(hi);
    (least_radius_mm * EDGE_OF_RADIUS)
        .min(size * COARSEST_SHARE)
        .max(size * FINEST_SHARE)
}

/// A piece of the skin as the plan colours it. Nothing is drawn of it once the work is cancelled.
pub fn of_piece(painted: &Painted, skin: &Skin, piece: usize, progress: &Progress) -> SkinMesh {
    let Some(piece) = skin.pieces.get(piece) else {
        return SkinMesh::default();
    };
    if let Some(region) = only_region(painted, piece)
        && !painted
            .plan()
            .regions
            .get(region)
            .is_some_and(|r| bends(&r.paint))
    {
        return of_whole_facets(painted, skin, piece, region);
    }
    of_cut_facets(painted, skin, piece, progress)
}

/// A piece cut where regions meet, and where a fade bends. It shares its corners.
fn of_cut_facets(painted: &Painted, skin: &Skin, piece: &Piece, progress: &Progress) -> SkinMesh {
    let mut out = SkinMesh::default();
    if progress.check().is_err() {
        return out;
    }
    let (plan, surface) = (painted.plan(), painted.surface());
    let finest = finest_mm(surface, least_radius_mm(plan, piece.bounds_mm));
    let facets = piece.facets.iter().copied();
    // As everywhere: a face exactly where a band ends belongs to the plastic under it.
    let region = |at: SurfacePoint| {
        let point_mm = at.point_mm - surface.normal(at.facet) * BENEATH_MM;
        painted.region_at(SurfacePoint { point_mm, ..at }) as u32
    };
    // A handle of its own, for stages are not this work's to tell.
    let quiet = Progress::new();
    let Ok(refined) = refine_some(surface, facets, region, finest, &quiet) else {
        return out;
    };
    let bends: Vec<bool> = plan.regions.iter().map(|r| bends(&r.paint)).collect();
    for (corners, facet, region) in triangles(&refined, surface, skin) {
        let place = |point_mm| {
            let at = SurfacePoint { point_mm, facet };
            // One blend is drawn with heights along its ramp, where they do no harm.
            painted.along_mm(region as usize, at).unwrap_or(point_mm.z)
        };
        let bends = bends.get(region as usize).copied().unwrap_or_default();
        let finest = if bends { finest * 0.25 } else { f64::INFINITY };
        put(&mut out, corners, region, &place, finest);
    }
    out.with_shared_corners()
}

/// The region that surely has all of a piece, if that is known without looking at its facets.
fn only_region(painted: &Painted, piece: &Piece) -> Option<usize> {
    let facet = *piece.facets.first()?;
    let (low, high) = piece.bounds_mm;
    let [a, b, c] = painted.surface().mesh().corners(facet as usize);
    let one = SurfacePoint {
        point_mm: (a + b + c) / 3.0,
        facet,
    };
    // Regions are asked for a little beneath the skin.
    let within_mm = 0.5 * low.distance(high) + 2.0 * BENEATH_MM;
    painted.region_throughout(low.midpoint(high), within_mm, one)
}

/// A piece that is all of one region, with nothing to cut. It shares its corners.
fn of_whole_facets(painted: &Painted, skin: &Skin, piece: &Piece, region: usize) -> SkinMesh {
    let mesh = painted.surface().mesh();
    let mut out = SkinMesh::default();
    let mut corners = Corners::default();
    for &facet in &piece.facets {
        let names = mesh.triangles()[facet as usize];
        let [a, b, c] = names;
        if a == b || b == c || c == a {
            continue;
        }
        for (vertex, normal) in names.into_iter().zip(skin.normals[facet as usize]) {
            let place = corners.place(vertex, normal, &out.normals);
            if place == out.positions.len() {
                let point_mm = mesh.vertices()[vertex as usize];
                let at = SurfacePoint { point_mm, facet };
                let along_mm = painted.along_mm(region, at).unwrap_or(point_mm.z);
                out.positions.push(point_mm.as_vec3().to_array());
                out.normals.push(normal);
                out.along_mm.push(along_mm as f32);
                out.region.push(region as u32);
            }
            out.indices.push(place as u32);
        }
    }
    out
}

/// The corners of whole facets that are drawn, by their vertex and normal.
#[derive(Default)]
struct Corners {
    /// The first corner at a vertex.
    first: FxHashMap<u32, usize>,
    /// For each corner another at its vertex, which has another normal.
    next: Vec<Option<usize>>,
}

impl Corners {
    /// The place of a corner; the one after the last if it is new.
    fn place(&mut self, vertex: u32, normal: [f32; 3], normals: &[[f32; 3]]) -> usize {
        let fresh = self.next.len();
        let mut at = *self.first.entry(vertex).or_insert(fresh);
        while at != fresh {
            if normals.get(at) == Some(&normal) {
                return at;
            }
            at = match self.next.get_mut(at) {
                Some(Some(next)) => *next,
                Some(end) => {
                    *end = Some(fresh);
                    fresh
                }
                None => fresh,
            };
        }
        self.next.push(None);
        fresh
    }
}

/// What a stroke would paint.
pub fn of_stroke(surface: &Surface, skin: &Skin, stroke: &Stroke, progress: &Progress) -> SkinMesh {
    match PreparedStroke::new(stroke, surface, progress) {
        Ok(prepared) => one_colour(
            surface,
            skin,
            &of_prepared(surface, &prepared, |_| true, progress),
        ),
        Err(_) => SkinMesh::default(),
    }
}

/// What a part of a stroke adds to those before it. Facets that these covered whole are left
/// out; those that it covers whole are noted for the next.
pub fn of_more(
    surface: &Surface,
    skin: &Skin,
    stroke: &Stroke,
    covered: &mut [bool],
    progress: &Progress,
) -> SkinMesh {
    let Ok(prepared) = PreparedStroke::new(stroke, surface, progress) else {
        return SkinMesh::default();
    };
    let open = |facet: u32| !covered.get(facet as usize).copied().unwrap_or(true);
    let refined = of_prepared(surface, &prepared, open, progress);
    let pieces = || refined.source_facet.iter().zip(&refined.class);
    for covers in [true, false] {
        // First what is painted at all, then what is so in part only.
        for (&facet, _) in pieces().filter(|(_, class)| (**class == 1) == covers) {
            if let Some(covered) = covered.get_mut(facet as usize) {
                *covered = covers;
            }
        }
    }
    one_colour(surface, skin, &refined)
}

/// What a mask would cover. One that is made of whole facets is not cut.
pub fn of_mask(surface: &Surface, skin: &Skin, mask: &Mask, progress: &Progress) -> SkinMesh {
    match PreparedMask::new(mask, surface, progress) {
        Ok(prepared) => {
            let facets = 0..surface.mesh().triangles().len() as u32;
            let contains = |at: SurfacePoint| u32::from(prepared.contains(at));
            let mut least = f64::INFINITY;
            mask.each(&mut |mask| least = least.min(radius_mm(mask).unwrap_or(f64::INFINITY)));
            let finest = match least.is_finite() {
                true => finest_mm(surface, least),
                false => f64::INFINITY,
            };
            let refined = refine_some(surface, facets, contains, finest, progress);
            one_colour(surface, skin, &refined.unwrap_or_default())
        }
        Err(_) => SkinMesh::default(),
    }
}

/// The facets near a stroke that are asked for, cut along its edge; class 1 is painted.
fn of_prepared(
    surface: &Surface,
    stroke: &PreparedStroke,
    wanted: impl Fn(u32) -> bool,
    progress: &Progress,
) -> Refined {
    let finest_mm = finest_mm(surface, stroke.radius_mm());
    let contains = |at: SurfacePoint| u32::from(stroke.contains(at));
    let facets = stroke.facets().filter(|facet| wanted(*facet));
    refine_some(surface, facets, contains, finest_mm, progress).unwrap_or_default()
}

/// The triangles of class 1, in one colour.
fn one_colour(surface: &Surface, skin: &Skin, refined: &Refined) -> SkinMesh {
    let mut out = SkinMesh::default();
    for (corners, _, class) in triangles(refined, surface, skin) {
        if class == 1 {
            put(&mut out, corners, 0, &|_| 0.0, f64::INFINITY);
        }
    }
    out
}

/// The triangles with smooth normals, the facets they came from and their classes.
fn triangles<'a>(
    refined: &'a Refined,
    surface: &'a Surface,
    skin: &'a Skin,
) -> impl Iterator<Item = ([Corner; 3], u32, u32)> + 'a {
    let sources = refined.source_facet.iter().zip(&refined.class);
    let all = refined.triangles.iter().zip(sources);
    all.map(move |(triangle, (&facet, &class))| {
        let at = triangle.map(|v| refined.vertices[v as usize]);
        (with_normals(surface, skin, facet, at), facet, class)
    })
}

/// Points of a facet with the skin's normals, which change evenly over it.
fn with_normals(surface: &Surface, skin: &Skin, facet: u32, at: [DVec3; 3]) -> [Corner; 3] {
    let corners = surface.mesh().corners(facet as usize);
    let normals = skin.normals[facet as usize].map(|n| DVec3::from_array(n.map(f64::from)));
    let [a, b, c] = corners;
    let whole = (b - a).cross(c - a);
    let double_area = whole.length_squared();
    at.map(|at| {
        // Shares of the corners at a point, by the areas of the triangles across.
        let of_b = whole.dot((at - a).cross(c - a)) / double_area;
        let of_c = whole.dot((b - a).cross(at - a)) / double_area;
        let normal = normals[0] * (1.0 - of_b - of_c) + normals[1] * of_b + normals[2] * of_c;
        Corner {
            at,
            normal: match normal.is_finite() {
                true => normal,
                false => normals[0],
            },
        }
    })
}

/// Puts a triangle, in pieces where the place along the ramp bends over it.
pub(super) fn put(
    out: &mut SkinMesh,
    corners: [Corner; 3],
    region: u32,
    place: &dyn Fn(DVec3) -> f64,
    finest_mm: f64,
) {
    let sides = [0, 1, 2].map(|i| corners[i].at.distance(corners[(i + 1) % 3].at));
    let longest = (0..3).max_by(|&i, &j| sides[i].total_cmp(&sides[j]));
    let side = longest.unwrap_or(0);
    if sides[side] > finest_mm && bent(corners, place) {
        let [a, b, c] = [0, 1, 2].map(|i| corners[(side + i) % 3]);
        let middle = Corner {
            at: a.at.midpoint(b.at),
            normal: a.normal.midpoint(b.normal),
        };
        put(out, [a, middle, c], region, place, finest_mm);
        put(out, [middle, b, c], region, place, finest_mm);
        return;
    }
    out.push(
        corners.map(|c| c.at.as_vec3().to_array()),
        corners.map(|c| c.normal.as_vec3().to_array()),
        corners.map(|c| place(c.at) as f32),
        region,
    );
}

/// Whether the ramp's place in the middle of a side is off the mean of its ends.
fn bent(corners: [Corner; 3], place: &dyn Fn(DVec3) -> f64) -> bool {
    (0..3).any(|i| {
        let (a, b) = (corners[i].at, corners[(i + 1) % 3].at);
        let off = place(a.midpoint(b)) - 0.5 * (place(a) + place(b));
        // Infinite where a stroke does not reach; no cutting helps there.
        off.is_finite() && off.abs() > OFF_MM
    })
}

/// Whether a paint's ramp does not run evenly over a facet.
fn bends(paint: &Paint) -> bool {
    match paint {
        Paint::Fixed(_) | Paint::Blend(_) => false,
        Paint::Fade { along, .. } => match along {
            Field::Height | Field::Direction(_) => false,
            Field::FromPoint(_) | Field::FromStroke(_) | Field::Picture(_) => true,
        },
    }
}

/// The least radius of anything round that may lie in a box; infinite if nothing does.
pub(super) fn least_radius_mm(plan: &Plan, (lo, hi): (DVec3, DVec3)) -> f64 {
    let meets = |(l, h): (DVec3, DVec3)| l.cmple(hi).all() && h.cmpge(lo).all();
    let mut least = f64::INFINITY;
    for region in plan.regions.iter().filter(|r| !r.hidden) {
        for touch in &region.brush {
            let stroke = touch.stroke();
            if meets(stroke.bounds_mm()) {
                least = least.min(stroke.radius_mm);
            }
        }
        region.mask.each(&mut |mask| {
            let Some(radius) = radius_mm(mask) else {
                return;
            };
            if meets(mask.bounds_mm()) {
                least = least.min(radius);
            }
        });
    }
    least
}

/// The radius of what a mask by itself makes round or narrow, mm; none if its edge is that of
/// facets, or of other masks.
fn radius_mm(mask: &Mask) -> Option<f64> {
    Some(match mask {
        Mask::Sphere { radius_mm, .. } | Mask::Cylinder { radius_mm, .. } => *radius_mm,
        Mask::Stroke(stroke) => stroke.radius_mm,
        Mask::Box { min_mm, max_mm } => 0.5 * (*max_mm - *min_mm).min_element(),
        Mask::Band { from_mm, to_mm } | Mask::Slab { from_mm, to_mm, .. } => {
            0.5 * (to_mm - from_mm)
        }
        // About the size of what is seen in it.
        Mask::Picture(picture) => picture.width_mm / 64.0,
        Mask::Text(letters) => letters.height_mm / 16.0,
        Mask::Outline(outline) => size_mm(outline) / 16.0,
        Mask::Smoothed { by_mm, .. } => *by_mm,
        _ => return None,
    })
}

/// The lesser of an outline's width and height, mm.
fn size_mm(outline: &Outline) -> f64 {
    let none = (DVec2::INFINITY, DVec2::NEG_INFINITY);
    let corners = outline.corners_mm.iter();
    let (low, high) = corners.fold(none, |(lo, hi), &at| (lo.min(at), hi.max(at)));
    (high - low).min_element().max(0.0)
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use plan::{FirstPlan, MeshSource, Region};

    use super::*;

    /// A corner's place and normal, in small steps, and its region.
    type Told = ([i64; 3], [i64; 3], u32);

    /// Each triangle as its corners say it, from the least corner on.
    fn told(mesh: &SkinMesh) -> Vec<Vec<Told>> {
        let round = |of: [f32; 3]| of.map(|x| (f64::from(x) * 1e4).round() as i64);
        let corner = |&i: &u32| {
            let i = i as usize;
            let normal = round(mesh.normals[i]).map(|x| x / 10);
            (round(mesh.positions[i]), normal, mesh.region[i])
        };
        let mut all: Vec<Vec<_>> = mesh
            .indices
            .chunks(3)
            .map(|triangle| {
                let mut corners: Vec<_> = triangle.iter().map(corner).collect();
                let least = (0..3).min_by_key(|&i| corners[i].0).unwrap_or(0);
                corners.rotate_left(least);
                corners
            })
            .collect();
        all.sort();
        all
    }

    /// A block keeps its sharp edges, a ball its smooth ones, and bands are found.
    #[test]
    fn a_piece_without_an_edge_is_its_facets() {
        let block = geometry::solids::cuboid(DVec3::splat(10.0)).expect("a block");
        let ball = geometry::solids::icosphere(10.0, 6).expect("a ball");
        for mesh in [block, ball] {
            let surface = Surface::new(Arc::new(mesh));
            let skin = Skin::of(surface.mesh(), &Progress::new()).expect("not cancelled");
            let mut plan = Plan::first(FirstPlan {
                mesh: MeshSource::named("part.stl"),
                title: "Part".into(),
                height_mm: 20.0,
            });
            let band = Mask::Band {
                from_mm: -20.0,
                to_mm: 0.3,
            };
            let paint = plan.regions[0].paint.clone();
            plan.regions.push(Region::new("Band", band, paint));
            let model = plan.model();
            let painted = Painted::new(plan, surface, model, &Progress::new()).expect("lays");
            let mut seen = 0;
            for piece in 0..skin.pieces.len() {
                let facets = &skin.pieces[piece];
                let Some(region) = only_region(&painted, facets) else {
                    continue;
                };
                seen += 1;
                let whole = of_whole_facets(&painted, &skin, facets, region);
                let cut = of_cut_facets(&painted, &skin, facets, &Progress::new());
                assert_eq!(told(&whole), told(&cut));
                assert!(whole.positions.len() <= cut.positions.len());
            }
            assert!(seen > 0 || skin.pieces.len() == 1, "{seen}");
        }
    }
}
