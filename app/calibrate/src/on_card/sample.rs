//! Which test print a plan is of, and its shape.

use geometry::{Mask, Mesh};
use photograph::laid::{Face, Shape};
use plan::{Paint, Plan};

use crate::lag_test::{FOOT_OUT_MM as TOWER_FOOT_MM, SIDE_MM};
use crate::test_part::{DEPTH_MM, FACE_MM, FOOT_OUT_MM as BAR_FOOT_MM, Step};

/// A test print, by its plan.
#[derive(Clone, Debug, PartialEq)]
pub enum Sample {
    /// A swatch bar and its steps, counted from 1 on this bar.
    Bar(Vec<Step>),
    /// A lag tower and its height, mm.
    Tower(f64),
}

impl Sample {
    /// What a plan's part is.
    ///
    /// # Errors
    /// It is neither a swatch bar nor a lag tower.
    pub fn of(plan: &Plan, mesh: &Mesh) -> Result<Self, String> {
        let (low, high) = mesh.bounds();
        let is = |width: f64, depth: f64| {
            (high.x - low.x - width).abs() < 0.1 && (high.y - low.y - depth).abs() < 0.1
        };
        if is(FACE_MM + 2.0 * BAR_FOOT_MM, DEPTH_MM + BAR_FOOT_MM) {
            return Ok(Self::Bar(steps(plan, high.z)));
        }
        if is(SIDE_MM + 2.0 * TOWER_FOOT_MM, SIDE_MM + 2.0 * TOWER_FOOT_MM) {
            return Ok(Self::Tower(high.z));
        }
        Err(
            "this is neither the plan of a swatch bar nor of a lag test, as swatch and lag-test \
             write them"
                .to_owned(),
        )
    }

    /// The face that is photographed.
    pub(super) fn face(&self, mesh: &Mesh) -> Face {
        let (low, high) = mesh.bounds();
        let (half_mm, depth_mm) = match self {
            Self::Bar(_) => (FACE_MM / 2.0, low.y),
            Self::Tower(_) => (SIDE_MM / 2.0, -SIDE_MM / 2.0),
        };
        Face {
            half_mm,
            depth_mm,
            length_mm: high.z,
        }
    }

    /// The shape of its mesh.
    pub(super) fn shape(&self, mesh: &Mesh) -> Shape {
        Shape {
            points: mesh.vertices().iter().map(|p| [p.x, p.y, p.z]).collect(),
            edges: edges(mesh),
            face: self.face(mesh),
        }
    }
}

/// The bands of a bar's plan from the foot up.
fn steps(plan: &Plan, top_mm: f64) -> Vec<Step> {
    let mut steps: Vec<Step> = Vec::new();
    for region in &plan.regions {
        let Paint::Fixed(shares) = &region.paint else {
            continue;
        };
        let (from_mm, to_mm) = match region.mask {
            Mask::Whole => (0.0, top_mm),
            Mask::Band { from_mm, to_mm } => (from_mm, to_mm),
            _ => continue,
        };
        if let Some(before) = steps.last_mut() {
            before.to_mm = from_mm;
        }
        steps.push(Step {
            number: steps.len() + 1,
            shares: *shares,
            from_mm,
            to_mm,
        });
    }
    steps
}

/// A mesh's edges.
fn edges(mesh: &Mesh) -> Vec<[usize; 2]> {
    let mut edges: Vec<[usize; 2]> = Vec::new();
    for [a, b, c] in mesh.triangles() {
        for [from, to] in [[a, b], [b, c], [c, a]] {
            // Each edge once: its other side runs the other way.
            if from < to {
                edges.push([*from as usize, *to as usize]);
            }
        }
    }
    edges
}
