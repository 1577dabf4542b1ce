//! The skin cut so that each triangle is of one region, and of one step of a fade.

use std::collections::BTreeMap;

use blend::Shares;
use geometry::surface::{Classes, LevelCut, cut_by_planes, rising, stitch};
use geometry::{Cancelled, DVec3, Progress, SurfacePoint};
use plan::schedule::RampSteps;
use plan::{Paint, Painted};

/// Neighbouring colours of what is written are no further apart than this, ΔE00: less than what
/// is seen side by side (common practice, no source).
pub const FINE_DE00: f64 = 1.0;

/// Coordinates are rounded to one part in so many of a mm, so that what is written with six
/// decimals is read back bit for bit.
const PARTS: f64 = 1e6;

/// What becomes of fades that follow height alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fades {
    /// They are cut into steps of [`FINE_DE00`], as all others are.
    InSteps,
    /// They are left whole, for one who knows the height of each point.
    Whole,
}

/// What a triangle is of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Class {
    /// Index of the region in the plan.
    pub region: usize,
    /// The blend asked for; none for a fade that is left whole.
    pub shares: Option<Shares>,
}

/// The region at a point, and the step of its fade, as the point's class.
struct BySteps<'a> {
    painted: &'a Painted,
    ready: &'a [Option<Ready>],
    /// Whether any region has such steps as [`BySteps::steps`] gives.
    any_steps: bool,
}

impl<'a> BySteps<'a> {
    fn of(painted: &'a Painted, ready: &'a [Option<Ready>]) -> Self {
        Self {
            painted,
            ready,
            any_steps: ready.iter().flatten().any(|ready| !ready.level),
        }
    }

    /// The steps of a region's fade that does not follow height alone.
    fn steps(&self, region: usize) -> Option<&RampSteps> {
        let ready = self.ready.get(region)?.as_ref()?;
        (!ready.level).then_some(&ready.steps)
    }
}

impl Classes for BySteps<'_> {
    fn class(&self, at: SurfacePoint) -> u32 {
        let region = self.painted.region_at(at);
        let step = self.steps(region).map_or(0, |steps| {
            let along_mm = self.painted.along_mm(region, at);
            along_mm.map_or(0, |along_mm| steps.at(along_mm))
        });
        key(region, step)
    }

    fn is_even(&self, facet: u32, corners_mm: [DVec3; 3]) -> bool {
        if !self.painted.region_is_even(facet, corners_mm) {
            return false;
        }
        let point_mm = corners_mm.iter().sum::<DVec3>() / 3.0;
        let region = || self.painted.region_at(SurfacePoint { point_mm, facet });
        !self.any_steps || self.steps(region()).is_none()
    }
}

/// The skin in patches.
#[derive(Clone, Debug, PartialEq)]
pub struct Patches {
    /// Vertices, mm.
    pub vertices: Vec<DVec3>,
    /// Triangles, wound as those of the mesh.
    pub triangles: Vec<[u32; 3]>,
    /// For each triangle the index of its class.
    pub class: Vec<u32>,
    /// The classes, in the order of regions and steps.
    pub classes: Vec<Class>,
}

/// A region's fade made ready.
struct Ready {
    steps: RampSteps,
    level: bool,
}

impl Patches {
    /// Cuts the skin of a painted part.
    ///
    /// # Errors
    /// [`Cancelled`] when cancelled.
    pub fn new(painted: &Painted, fades: Fades, progress: &Progress) -> Result<Self, Cancelled> {
        let ready = all_ready(painted);
        let cut = level_cut(painted, &ready, fades, progress)?;
        let classes = BySteps::of(painted, &ready);
        let finest_mm = painted.plan().machine.nozzle_mm;
        let refined = cut.refine(classes, finest_mm, progress)?;
        drop(cut);
        let (mut vertices, corners) = (refined.vertices, refined.triangles);
        let mut triangles: Vec<([u32; 3], u32)> = corners.into_iter().zip(refined.class).collect();
        stitch(&vertices, &mut triangles);
        progress.check()?;
        if fades == Fades::InSteps {
            for (triangle, class) in &mut triangles {
                let region = (*class >> 16) as usize;
                if let Some(Some(Ready { steps, level: true })) = ready.get(region) {
                    let middle = triangle
                        .map(|v| vertices.get(v as usize).map_or(0.0, |p| p.z))
                        .iter()
                        .sum::<f64>()
                        / 3.0;
                    *class = key(region, steps.at(middle));
                }
            }
        }
        for vertex in &mut vertices {
            *vertex = (*vertex * PARTS).round() / PARTS;
        }
        Ok(Self::of(painted, &ready, fades, (vertices, triangles)))
    }

    /// As [`Patches::new`], fades left whole, but to be looked at from afar: in no more than `most`
    /// triangles, for which vertices are drawn together.
    ///
    /// # Errors
    /// [`Cancelled`] when cancelled.
    pub fn to_look_at(
        painted: &Painted,
        most: usize,
        progress: &Progress,
    ) -> Result<Self, Cancelled> {
        let ready = all_ready(painted);
        let cut = level_cut(painted, &ready, Fades::Whole, progress)?;
        let classes = BySteps::of(painted, &ready);
        let finest_mm = painted.plan().machine.nozzle_mm;
        let seen = cut.clustered(classes, finest_mm, most, progress)?;
        let triangles = seen.triangles.into_iter().zip(seen.class).collect();
        let skin = (seen.vertices, triangles);
        Ok(Self::of(painted, &ready, Fades::Whole, skin))
    }

    fn of(
        painted: &Painted,
        ready: &[Option<Ready>],
        fades: Fades,
        (vertices, triangles): (Vec<DVec3>, Vec<([u32; 3], u32)>),
    ) -> Self {
        let mut found: BTreeMap<u32, u32> = triangles.iter().map(|t| (t.1, 0)).collect();
        let mut classes = Vec::with_capacity(found.len());
        for (key, index) in &mut found {
            *index = classes.len() as u32;
            let (region, step) = ((key >> 16) as usize, (key & 0xffff) as usize);
            let paint = painted.plan().regions.get(region).map(|r| &r.paint);
            let shares = match (paint, ready.get(region)) {
                (Some(Paint::Fixed(shares) | Paint::Blend(plan::NamedBlend { shares, .. })), _) => {
                    Some(*shares)
                }
                (_, Some(Some(ready))) if !(ready.level && fades == Fades::Whole) => {
                    ready.steps.shares(step)
                }
                _ => None,
            };
            classes.push(Class { region, shares });
        }
        let mut patches = Self {
            vertices,
            class: Vec::with_capacity(triangles.len()),
            triangles: Vec::with_capacity(triangles.len()),
            classes,
        };
        for (triangle, key) in triangles {
            patches.triangles.push(triangle);
            patches.class.push(found.get(&key).copied().unwrap_or(0));
        }
        patches.compact();
        patches
    }

    /// Cuts the triangles of each class by level planes as well: `planes_mm` gives their rising
    /// heights. Neighbours of different classes then need not share their vertices any more.
    pub fn cut_each(&mut self, planes_mm: impl Fn(usize) -> Vec<f64>) {
        let mut of_class: Vec<Vec<([u32; 3], u32)>> = vec![Vec::new(); self.classes.len()];
        for (triangle, class) in self.triangles.drain(..).zip(self.class.drain(..)) {
            if let Some(all) = of_class.get_mut(class as usize) {
                all.push((triangle, class));
            }
        }
        for (class, triangles) in of_class.into_iter().enumerate() {
            let planes = planes_mm(class);
            let cut = cut_by_planes(&mut self.vertices, triangles.into_iter(), &planes);
            self.triangles.extend(cut.iter().map(|c| c.0));
            self.class.extend(cut.iter().map(|c| c.1));
        }
    }

    /// The mean height of a triangle, mm.
    pub fn middle_mm(&self, triangle: usize) -> f64 {
        let corners = self.triangles.get(triangle).copied().unwrap_or_default();
        let z = corners.map(|v| self.vertices.get(v as usize).map_or(0.0, |p| p.z));
        z.iter().sum::<f64>() / 3.0
    }

    /// Drops vertices that no triangle has, and triangles that have lost their area.
    fn compact(&mut self) {
        let mut place = vec![u32::MAX; self.vertices.len()];
        let mut vertices = Vec::new();
        for vertex in self.triangles.iter_mut().flatten() {
            let Some(new) = place.get_mut(*vertex as usize) else {
                continue;
            };
            if *new == u32::MAX {
                *new = vertices.len() as u32;
                vertices.push(
                    self.vertices
                        .get(*vertex as usize)
                        .copied()
                        .unwrap_or_default(),
                );
            }
            *vertex = *new;
        }
        self.vertices = vertices;
    }
}

fn key(region: usize, step: usize) -> u32 {
    ((region as u32) << 16) | (step as u32).min(0xffff)
}

/// The skin cut where colours change on level lines.
fn level_cut(
    painted: &Painted,
    ready: &[Option<Ready>],
    fades: Fades,
    progress: &Progress,
) -> Result<LevelCut, Cancelled> {
    progress.stage("Cutting the skin along its colours");
    let cut = LevelCut::new(painted.surface(), &planes_mm(painted, ready, fades));
    progress.check()?;
    Ok(cut)
}

fn all_ready(painted: &Painted) -> Vec<Option<Ready>> {
    let regions = 0..painted.plan().regions.len();
    regions.map(|region| ready(painted, region)).collect()
}

fn ready(painted: &Painted, region: usize) -> Option<Ready> {
    let paint = &painted.plan().regions.get(region)?.paint;
    let Paint::Fade { along, .. } = paint else {
        return None;
    };
    Some(Ready {
        steps: RampSteps::new(painted.ramp(region)?, painted.model(), FINE_DE00),
        level: along.depends_on_height_only(),
    })
}

/// Heights at which colours change on level lines: ends of bands and boxes, and steps of fades.
fn planes_mm(painted: &Painted, ready: &[Option<Ready>], fades: Fades) -> Vec<f64> {
    let mut planes = Vec::new();
    for region in &painted.plan().regions {
        planes.extend(region.mask.level_edges_mm());
    }
    if fades == Fades::InSteps {
        let level = ready.iter().flatten().filter(|r| r.level);
        planes.extend(level.flat_map(|r| r.steps.edges_mm().iter().copied()));
    }
    rising(planes)
}
