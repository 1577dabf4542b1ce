//! The purge blocks as bodies on the stage beside the part. Plain numbers; the scene uploads them.

use geometry::DVec3;
use weave::register::Placement;
use weave::standing_blocks::{BlockStep, StandingBlock, StandingBlocks};

use super::strands::StrandMesh;

/// Their two tones, in stripes: no part has such, so that they are not taken for one. Greys without
/// a hue, and apart from the ground in light and in dark.
const TONES: [u8; 2] = [0x84, 0x6c];

/// Height of a stripe, mm.
const STRIPE_MM: f64 = 2.0;

/// Thinner rests of a step are left out, mm.
const LEAST_MM: f64 = 1e-6;

/// The bodies, cut off at a height of the part, mm.
pub fn bodies(standing: &StandingBlocks, up_to_mm: f64) -> StrandMesh {
    let mut body = Body {
        mesh: StrandMesh::default(),
        part: standing.part,
    };
    for block in &standing.blocks {
        body.block(block, up_to_mm + standing.part.lift_mm);
    }
    body.mesh
}

/// The box about all of them on the stage, mm.
pub fn bounds_mm(standing: &StandingBlocks) -> (DVec3, DVec3) {
    let start = (DVec3::INFINITY, DVec3::NEG_INFINITY);
    let corners = standing.blocks.iter().flat_map(|block| {
        let (low, high) = block.bounds_mm();
        [low, high]
            .into_iter()
            .flat_map(move |[x, _, z]| [low[1], high[1]].map(|y| [x, y, z]))
            .flat_map(move |[x, y, _]| [low[2], high[2]].map(|z| [x, y, z]))
    });
    corners.fold(start, |(lo, hi), corner| {
        let at = standing.part.to_part(DVec3::from(corner));
        (lo.min(at), hi.max(at))
    })
}

/// The middle of a block's top on the stage, or of where it is cut off, mm.
pub fn top_mm(standing: &StandingBlocks, block: &StandingBlock, up_to_mm: f64) -> DVec3 {
    let (low, high) = block.bounds_mm();
    let top = high[2].min(up_to_mm + standing.part.lift_mm);
    let [x, y] = [0.5 * (low[0] + high[0]), 0.5 * (low[1] + high[1])];
    standing.part.to_part(DVec3::new(x, y, top))
}

/// A body that is being made.
struct Body {
    mesh: StrandMesh,
    part: Placement,
}

impl Body {
    /// A block, cut off at a height of the plate.
    fn block(&mut self, block: &StandingBlock, up_to_mm: f64) {
        let mut bottom_mm = 0.0;
        for step in &block.steps {
            let top_mm = step.top_mm.min(up_to_mm);
            while top_mm - bottom_mm > LEAST_MM {
                let stripe = (bottom_mm / STRIPE_MM + LEAST_MM).floor();
                let to_mm = top_mm.min((stripe + 1.0) * STRIPE_MM);
                let [even, odd] = TONES;
                let tone = if stripe % 2.0 == 0.0 { even } else { odd };
                self.piece(step, (bottom_mm, to_mm), tone);
                bottom_mm = to_mm;
            }
        }
    }

    /// The four sides, the top and the underside of a piece of a step.
    fn piece(&mut self, step: &BlockStep, (from_mm, to_mm): (f64, f64), tone: u8) {
        let ([x0, y0], [x1, y1]) = (step.low_mm, step.high_mm);
        let round = [[x0, y0], [x1, y0], [x1, y1], [x0, y1]];
        let outward = [[0.0, -1.0], [1.0, 0.0], [0.0, 1.0], [-1.0, 0.0]];
        let next = round.iter().cycle().skip(1);
        for (([ax, ay], [bx, by]), [nx, ny]) in round.iter().zip(next).zip(outward) {
            let corners = [
                [*ax, *ay, from_mm],
                [*bx, *by, from_mm],
                [*bx, *by, to_mm],
                [*ax, *ay, to_mm],
            ];
            self.face(corners, [nx, ny, 0.0], tone);
        }
        let level = |z: f64| round.map(|[x, y]| [x, y, z]);
        self.face(level(to_mm), [0.0, 0.0, 1.0], tone);
        self.face(level(from_mm), [0.0, 0.0, -1.0], tone);
    }

    fn face(&mut self, corners: [[f64; 3]; 4], normal: [f64; 3], tone: u8) {
        let on_stage = |at: [f64; 3]| self.part.to_part(DVec3::from(at));
        let first = self.mesh.positions.len() as u32;
        let normal = (on_stage(normal) - on_stage([0.0; 3])).as_vec3().to_array();
        for corner in corners {
            let at = on_stage(corner).as_vec3().to_array();
            self.mesh.positions.push(at);
            self.mesh.normals.push(normal);
            self.mesh.colours.push([tone, tone, tone, u8::MAX]);
            self.mesh.moves.push(0);
        }
        let two = [0, 1, 2, 0, 2, 3].map(|corner| first + corner);
        self.mesh.indices.extend(two);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn standing() -> StandingBlocks {
        let step = |top_mm: f64, half: f64| BlockStep {
            top_mm,
            low_mm: [50.0 - half, 20.0 - half],
            high_mm: [50.0 + half, 20.0 + half],
        };
        let block = StandingBlock {
            steps: vec![step(0.2, 8.0), step(3.0, 5.0), step(3.2, 6.0)],
            mass_g: Some(1.5),
        };
        StandingBlocks {
            blocks: vec![block],
            part: Placement {
                turn_deg: 90.0,
                shift_mm: [10.0, 20.0],
                lift_mm: 0.5,
            },
        }
    }

    #[test]
    fn the_body_stands_where_the_block_stands_beside_the_part() {
        let standing = standing();
        let mesh = bodies(&standing, f64::INFINITY);
        let (lo, hi) = bounds_mm(&standing);
        let inside = |p: &[f32; 3]| {
            let at = DVec3::from(p.map(f64::from));
            at.cmpge(lo - 1e-4).all() && at.cmple(hi + 1e-4).all()
        };
        assert!(!mesh.positions.is_empty() && mesh.positions.iter().all(inside));
        // The part is turned by 90°, so 40 mm along x of the plate are along −y of the part.
        assert!((lo - DVec3::new(-8.0, -48.0, -0.5)).length() < 1e-9, "{lo}");
        assert!((hi - DVec3::new(8.0, -32.0, 2.7)).length() < 1e-9, "{hi}");
        let top = top_mm(&standing, &standing.blocks[0], f64::INFINITY);
        assert!((top - DVec3::new(0.0, -40.0, 2.7)).length() < 1e-9, "{top}");
        let corners = mesh.positions.len() as u32;
        assert!(mesh.indices.iter().all(|i| *i < corners));
        for normal in &mesh.normals {
            let length: f32 = normal.iter().map(|v| v * v).sum();
            assert!((length - 1.0).abs() < 1e-5, "{normal:?}");
        }
    }

    #[test]
    fn it_is_cut_off_with_the_part() {
        let standing = standing();
        let high = |up_to_mm: f64| {
            let mesh = bodies(&standing, up_to_mm);
            let z = mesh.positions.iter().map(|p| p[2]);
            z.fold(f32::NEG_INFINITY, f32::max)
        };
        assert!((high(1.1) - 1.1).abs() < 1e-6);
        assert!((high(100.0) - 2.7).abs() < 1e-6);
        assert!(bodies(&standing, -1.0).positions.is_empty());
    }
}
