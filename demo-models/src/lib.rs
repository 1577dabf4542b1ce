//! The demonstration parts of a small harbour museum that prints things for its shop.
//!
//! Every part is made by code, so the repository carries no large files, and each has a plan
//! in `plans/`. All of it is invented: the museum, its spools and its colours.
//!
//! ```
//! for demo in demo_models::all()? {
//!     println!("{}: {} facets", demo.title, demo.mesh.triangles().len());
//! }
//! # Ok::<(), demo_models::DemoError>(())
//! ```

mod error;
mod key_tag;
mod lamp_shade;
mod lighthouse;
mod nameplate;
mod revolve;
mod sliced;
pub mod slicer;

use geometry::Mesh;

pub use error::DemoError;
pub use sliced::{recipe, toolpath};

/// One part with its plan.
#[derive(Clone, Debug)]
pub struct Demo {
    /// File name stem: the mesh is `NAME.stl`, the plan `NAME.plan.ron`.
    pub name: &'static str,
    /// What it is.
    pub title: &'static str,
    /// What it shows, in a sentence.
    pub about: &'static str,
    /// The part, standing on the bed, mm.
    pub mesh: Mesh,
    /// Walls of its toolpath.
    pub walls: usize,
    /// The plan as a person would have written it.
    pub plan_ron: &'static str,
}

/// Makes all parts; a fraction of a second.
///
/// # Errors
/// [`DemoError`] if a part can't be made.
pub fn all() -> Result<Vec<Demo>, DemoError> {
    Ok(vec![
        Demo {
            name: "lamp-shade",
            title: "Ribbed lamp shade",
            about: "One fade over 120 mm in equal-looking steps, on a shape that widens towards \
                    the bottom.",
            mesh: lamp_shade::mesh()?,
            walls: 1,
            plan_ron: include_str!("../plans/lamp-shade.plan.ron"),
        },
        Demo {
            name: "lighthouse",
            title: "Lighthouse on its rock",
            about: "Bands, a painted door and windows, and a fade in the rock from the waterline up.",
            mesh: lighthouse::mesh()?,
            walls: 2,
            plan_ron: include_str!("../plans/lighthouse.plan.ron"),
        },
        Demo {
            name: "nameplate",
            title: "Nameplate with raised letters",
            about: "Letters that share their layers with a raised rim of another blend.",
            mesh: nameplate::mesh()?,
            walls: 2,
            plan_ron: include_str!("../plans/nameplate.plan.ron"),
        },
        Demo {
            name: "key-tag",
            title: "Key tag with letters",
            about: "Letters laid on a plain top, without a facet of their own.",
            mesh: key_tag::mesh()?,
            walls: 2,
            plan_ron: include_str!("../plans/key-tag.plan.ron"),
        },
    ])
}

#[cfg(test)]
mod tests {
    use std::collections::HashMap;

    use super::*;

    /// Every directed edge must be met once by its opposite: closed, and all facets agree.
    fn open_edges(mesh: &Mesh) -> usize {
        let mut edges: HashMap<(u32, u32), i32> = HashMap::new();
        for &[a, b, c] in mesh.triangles() {
            for edge in [(a, b), (b, c), (c, a)] {
                *edges.entry(edge).or_default() += 1;
            }
        }
        edges
            .iter()
            .filter(|&(&(a, b), &n)| n != 1 || edges.get(&(b, a)) != Some(&1))
            .count()
    }

    #[test]
    fn parts_are_closed_and_stand_on_the_bed() {
        for demo in all().unwrap() {
            let (low, _) = demo.mesh.bounds();
            assert_eq!(open_edges(&demo.mesh), 0, "{}", demo.name);
            assert!(
                low.z.abs() < 1e-12 && demo.mesh.volume_mm3() > 0.0,
                "{}",
                demo.name
            );
        }
    }

    #[test]
    fn parts_have_the_stated_sizes() {
        let size = |i: usize| {
            let (low, high) = all().unwrap()[i].mesh.bounds();
            high - low
        };
        assert!((size(0).z - 120.0).abs() < 1e-9);
        assert!((size(1).z - 112.0).abs() < 1e-9);
        assert!((size(2) - glam::DVec3::new(110.0, 34.0, 4.0)).length() < 1e-9);
        assert!((size(3).x - 42.0).abs() < 1e-9 && (size(3).z - 3.0).abs() < 1e-9);
    }
}
