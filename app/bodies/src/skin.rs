//! The skin cut along the edges of stored blends.

use std::borrow::Cow;
use std::sync::Arc;

use geometry::bodies::{Core, Skin};
use geometry::surface::{Classes, LevelCut};
use geometry::{Cancelled, DVec3, Progress, Surface, SurfacePoint};

use crate::map::ToolMap;

/// Edges nearer to a corner than this part of a side go through the corner: at the finest
/// length of a usual nozzle 0.03 mm, a tenth of a line's width.
const SNAP: f64 = 0.08;

/// Sides of painted triangles are no longer than this part of the depth, so that the inner side
/// of a rind can follow the skin.
const COARSE: f64 = 0.75;
const COARSEST_MM: f64 = 2.0;

/// The part that is cut: the plan's own, or a mended one.
pub(crate) struct Part<'a> {
    surface: Cow<'a, Surface>,
    /// Whether its facets are those of the plan's part.
    own: bool,
}

impl<'a> Part<'a> {
    /// The plan's own part.
    pub(crate) fn own(surface: &'a Surface) -> Self {
        Self {
            surface: Cow::Borrowed(surface),
            own: true,
        }
    }

    /// One with the same facets in the same order.
    pub(crate) fn alike(mesh: geometry::Mesh) -> Self {
        Self {
            own: true,
            ..Self::mended(mesh)
        }
    }

    /// A mended one.
    pub(crate) fn mended(mesh: geometry::Mesh) -> Self {
        Self {
            surface: Cow::Owned(Surface::new(Arc::new(mesh))),
            own: false,
        }
    }

    pub(crate) fn surface(&self) -> &Surface {
        &self.surface
    }
}

/// The stored blend at a point, and whether it is another one than the core has there.
struct ByTool<'a> {
    map: &'a ToolMap<'a>,
    core: &'a Core,
    own: bool,
    /// All of the pattern is lifted by this, mm.
    lifted_mm: f64,
    coarsest_mm: f64,
}

impl ByTool<'_> {
    /// The point of the plan's part to ask about.
    fn asked(&self, at: SurfacePoint) -> SurfacePoint {
        let facet = match self.own {
            true => at.facet,
            false => self.map.painted().surface().nearest(at.point_mm).facet,
        };
        SurfacePoint {
            point_mm: at.point_mm - DVec3::Z * self.lifted_mm,
            facet,
        }
    }
}

impl Classes for ByTool<'_> {
    fn class(&self, at: SurfacePoint) -> u32 {
        let tool = self.map.at(self.asked(at));
        let slab = self.core.planes_mm.partition_point(|&p| p < at.point_mm.z);
        let beneath = self.core.labels.get(slab).or(self.core.labels.last());
        2 * tool + u32::from(beneath != Some(&tool))
    }

    fn is_even(&self, facet: u32, corners_mm: [DVec3; 3]) -> bool {
        if !self.own {
            return false;
        }
        let painted = self.map.painted();
        let point_mm = corners_mm.iter().sum::<DVec3>() / 3.0;
        let lower = |p: DVec3| p - DVec3::Z * self.lifted_mm;
        let region = painted.region_at(self.asked(SurfacePoint { point_mm, facet }));
        self.map.is_level(region) && painted.region_is_even(facet, corners_mm.map(lower))
    }

    fn coarsest_mm(&self, class: u32) -> f64 {
        match class % 2 {
            0 => f64::INFINITY,
            _ => self.coarsest_mm,
        }
    }

    fn snap(&self) -> f64 {
        SNAP
    }
}

/// Cuts a part's skin. `planes_mm` are the heights of level edges, lifted as the pattern is.
pub(crate) fn skin(
    part: &Part<'_>,
    map: &ToolMap<'_>,
    core: &Core,
    planes_mm: &[f64],
    (lifted_mm, depth_mm): (f64, f64),
    progress: &Progress,
) -> Result<Skin, Cancelled> {
    progress.stage("Cutting the skin along its colours");
    let finest_mm = map.painted().plan().machine.nozzle_mm;
    let classes = ByTool {
        map,
        core,
        own: part.own,
        lifted_mm,
        coarsest_mm: (COARSE * depth_mm).min(COARSEST_MM).max(finest_mm),
    };
    let cut = LevelCut::new(part.surface(), planes_mm);
    let refined = cut.refine(classes, finest_mm, progress)?;
    drop(cut);
    progress.check()?;
    drop(refined.source_facet);
    let label = refined.class.into_iter().map(|class| class / 2).collect();
    Ok(Skin::new(refined.vertices, refined.triangles, label))
}
