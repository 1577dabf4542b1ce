//! Strands of laid plastic as the stage draws them: a flat-topped ribbon along each piece, as
//! wide as its plastic makes it. Plain numbers; the scene uploads them.

use std::sync::Arc;

use blend::Srgb;
use glam::{Vec2, Vec3};
use weave::verify::deposition::Piece;
use weave::verify::follow::LayerMoves;

/// Ribbons ready to draw.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StrandMesh {
    /// Corners, mm.
    pub positions: Vec<[f32; 3]>,
    /// Unit normals.
    pub normals: Vec<[f32; 3]>,
    /// sRGB and opacity.
    pub colours: Vec<[u8; 4]>,
    /// The move that a corner belongs to, counted in its layer.
    pub moves: Vec<u32>,
    /// Corners of triangles.
    pub indices: Vec<u32>,
}

/// A change of the strands on the stage.
#[derive(Clone, Debug, PartialEq)]
pub enum StrandUpdate {
    /// The layer that is stepped through; none takes it away.
    Layer(Option<Arc<StrandMesh>>),
    /// The layer beneath it.
    Beneath(Option<Arc<StrandMesh>>),
    /// The purge blocks.
    Blocks(Option<Arc<StrandMesh>>),
}

/// Strands are drawn at most and at least so many nozzle widths wide, whatever their numbers.
const WIDTHS: (f32, f32) = (0.4, 2.5);

/// Share of the width that is flat.
const FLAT: f32 = 0.5;

/// Share of the height at which a strand's sides end: it lies on the strand beneath.
const SIDE: f32 = 0.8;

/// Places nearer than this are one, mm.
const SAME_MM: f32 = 1e-3;

/// What is shown where no blend was chosen yet.
const UNSET: Srgb = Srgb([0x80; 3]);

/// The colour of a piece of strand.
pub fn colour_of(piece: &Piece) -> Srgb {
    piece.colour.unwrap_or(UNSET)
}

/// The strands of a layer of a height, mm.
pub fn strands(layer: &LayerMoves, height_mm: f64, nozzle_mm: f64) -> StrandMesh {
    let mut mesh = StrandMesh::default();
    let count = layer.pieces.len();
    mesh.positions.reserve(count * 8);
    mesh.normals.reserve(count * 8);
    mesh.colours.reserve(count * 8);
    mesh.moves.reserve(count * 8);
    mesh.indices.reserve(count * 18);
    let size = Vec2::new(nozzle_mm as f32, height_mm.max(0.01) as f32);
    for (number, laid) in layer.moves.iter().enumerate() {
        for at in laid.pieces.clone() {
            let Some(piece) = layer.pieces.get(at) else {
                continue;
            };
            let before = at.checked_sub(1).and_then(|i| layer.pieces.get(i));
            let after = layer.pieces.get(at + 1);
            add(&mut mesh, piece, [before, after], size, number as u32);
        }
    }
    mesh
}

fn ends(piece: &Piece) -> (Vec3, Vec3) {
    (Vec3::from(piece.from_mm), Vec3::from(piece.to_mm))
}

fn direction(piece: &Piece) -> Option<Vec3> {
    let (from, to) = ends(piece);
    (to - from).try_normalize()
}

/// How far a strand reaches past its end so that no wedge is left open where the next one goes
/// another way: half its width, times the tangent of half the turn.
fn reach(along: Vec3, other: Option<&Piece>, joined: bool, half_mm: f32) -> f32 {
    let Some(other) = other.filter(|_| joined).and_then(direction) else {
        return 0.5 * half_mm;
    };
    let cosine = along.dot(other).clamp(-1.0, 1.0);
    let tangent = ((1.0 - cosine) / (1.0 + cosine).max(1e-3)).sqrt();
    half_mm * tangent.min(1.0)
}

fn add(
    mesh: &mut StrandMesh,
    piece: &Piece,
    [before, after]: [Option<&Piece>; 2],
    size: Vec2,
    number: u32,
) {
    let (from, to) = ends(piece);
    let length = from.distance(to);
    let Some(along) = direction(piece) else {
        return;
    };
    let Some(across) = Vec3::new(-along.y, along.x, 0.0).try_normalize() else {
        return;
    };
    let (nozzle, height) = (size.x, size.y);
    let width = piece.volume_mm3 / (length * height).max(1e-6);
    let half = 0.5 * width.clamp(WIDTHS.0 * nozzle, WIDTHS.1 * nozzle);
    let meets = |a: Vec3, b: Vec3| a.distance(b) < SAME_MM;
    let joins_before = before.is_some_and(|b| meets(ends(b).1, from));
    let joins_after = after.is_some_and(|a| meets(ends(a).0, to));
    let start = from - along * reach(along, before, joins_before, half);
    let end = to + along * reach(along, after, joins_after, half);
    let up = across.cross(along).normalize_or(Vec3::Z) * -1.0;
    let up = if up.z < 0.0 { -up } else { up };
    let low = -SIDE * height;
    // Across the strand: down its left side, over its flat top, down its right side.
    let profile = [
        (-half, low, -0.85, 0.53),
        (-half * FLAT, 0.0, -0.3, 0.95),
        (half * FLAT, 0.0, 0.3, 0.95),
        (half, low, 0.85, 0.53),
    ];
    let first = mesh.positions.len() as u32;
    let Srgb([r, g, b]) = colour_of(piece);
    for at in [start, end] {
        for (aside, above, lean, rise) in profile {
            let corner = at + across * aside + Vec3::Z * above;
            mesh.positions.push(corner.to_array());
            let normal = (across * lean + up * rise).normalize_or(Vec3::Z);
            mesh.normals.push(normal.to_array());
            mesh.colours.push([r, g, b, u8::MAX]);
            mesh.moves.push(number);
        }
    }
    for side in 0..3 {
        let near = first + side;
        let far = near + 4;
        mesh.indices
            .extend([near, far, near + 1, near + 1, far, far + 1]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn piece(from_mm: [f32; 3], to_mm: [f32; 3], volume_mm3: f32) -> Piece {
        Piece {
            from_mm,
            to_mm,
            volume_mm3,
            line: 1,
            colour: None,
        }
    }

    fn alone(piece: &Piece) -> StrandMesh {
        let mut mesh = StrandMesh::default();
        add(&mut mesh, piece, [None, None], Vec2::new(0.4, 0.2), 7);
        mesh
    }

    #[test]
    fn a_strand_is_as_wide_as_its_plastic_makes_it() {
        // 10 mm long, 0.2 mm high, 1 mm³: 0.5 mm wide.
        let mesh = alone(&piece([0.0, 0.0, 1.0], [10.0, 0.0, 1.0], 1.0));
        assert_eq!((mesh.positions.len(), mesh.indices.len()), (8, 18));
        let y = mesh.positions.iter().map(|p| p[1]);
        let width = y.clone().fold(f32::MIN, f32::max) - y.fold(f32::MAX, f32::min);
        assert!((width - 0.5).abs() < 1e-5, "{width}");
        let z = mesh.positions.iter().map(|p| p[2]);
        assert_eq!(z.fold(f32::MIN, f32::max), 1.0);
        assert!(mesh.moves.iter().all(|m| *m == 7));
        assert!(mesh.normals.iter().all(|n| n[2] > 0.0));
    }

    #[test]
    fn numbers_past_all_bounds_make_no_strand_past_all_bounds() {
        assert!(alone(&piece([0.0; 3], [0.0; 3], 1.0)).positions.is_empty());
        assert!(
            alone(&piece([0.0; 3], [0.0, 0.0, 5.0], 1.0))
                .positions
                .is_empty()
        );
        for volume in [0.0, 1e9, f32::NAN] {
            let mesh = alone(&piece([0.0; 3], [1.0, 0.0, 0.0], volume));
            let far = mesh.positions.iter().flatten();
            assert!(
                far.clone().all(|v| !v.is_finite() || v.abs() < 3.0),
                "{volume}"
            );
        }
    }

    #[test]
    fn a_corner_is_filled_and_a_straight_joint_is_not_doubled() {
        let along = Vec3::X;
        let on = piece([1.0, 0.0, 0.0], [2.0, 0.0, 0.0], 1.0);
        let square = piece([1.0, 0.0, 0.0], [1.0, 1.0, 0.0], 1.0);
        assert!(reach(along, Some(&on), true, 0.2) < 1e-4);
        assert!((reach(along, Some(&square), true, 0.2) - 0.2).abs() < 1e-4);
    }
}
