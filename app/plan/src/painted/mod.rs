//! The plan laid on the shape: the region and the blend at any point of the skin.

mod by_height;
mod coverage;
mod prepared_paint;

use std::sync::Arc;

use blend::{Lab, MixModel, Ramp, Shares, Spacing, VisibleArea, Xyz};
use geometry::field::{FieldError, visible_area};
use geometry::mask::MaskError;
use geometry::surface::{Classes, LevelCut, rising};
use geometry::{Cancelled, DVec3, Progress, Surface, SurfacePoint};

use crate::{Paint, Plan};
use by_height::ByHeight;
pub(crate) use coverage::Coverage;
pub(crate) use prepared_paint::PreparedPaint;

/// A plan laid on its shape.
///
/// It answers for points of the skin, from any thread and without changing, so the viewer,
/// the render and the schedule can ask it millions of times. For a point inside the part,
/// ask for the point of the skin nearest to it ([`Surface::nearest`]).
///
/// ```
/// use std::sync::Arc;
/// use blend::LinearLight;
/// use geometry::{DVec3, Progress, Surface, solids};
/// use plan::{FirstPlan, MeshSource, Painted, Plan};
///
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let surface = Surface::new(Arc::new(solids::cylinder(20.0, 100.0, 64)?));
/// let mesh = MeshSource::named("post.stl");
/// let plan = Plan::first(FirstPlan { mesh, title: "Post".into(), height_mm: 100.0 });
/// let model = Arc::new(LinearLight::new(&plan.spools));
/// let painted = Painted::new(plan, surface, model, &Progress::new())?;
///
/// let at_40_mm = painted.surface().nearest(DVec3::new(20.0, 0.0, 40.0));
/// assert_eq!(painted.region_at(at_40_mm), 0);
/// assert_eq!(painted.shares_at(at_40_mm).to_string(), "60 / 40");
/// # Ok(())
/// # }
/// ```
#[derive(Clone)]
pub struct Painted {
    plan: Plan,
    surface: Surface,
    model: Arc<dyn MixModel>,
    coverages: Vec<Arc<Coverage>>,
    paints: Vec<Arc<PreparedPaint>>,
    /// The regions that are not hidden, from the top down to the base.
    order: Vec<usize>,
    /// Of those, which may have a point of a height.
    by_height: ByHeight,
}

/// Why a plan could not be laid on a shape.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PaintError {
    /// There is no base.
    #[error("the plan has no region; the first one must cover everything")]
    NoRegion,
    /// A region's mask or stroke is at fault.
    #[error("region '{region}': {error}")]
    Mask {
        /// The region's name.
        region: String,
        /// What is wrong.
        error: MaskError,
    },
    /// What a region's fade runs along is at fault.
    #[error("region '{region}': {error}")]
    Field {
        /// The region's name.
        region: String,
        /// What is wrong.
        error: FieldError,
    },
    /// Cancelled.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl Painted {
    /// Prepares every mask, stroke and fade.
    ///
    /// # Errors
    /// [`PaintError`] names the region at fault; none but `Cancelled` for a plan that
    /// [`Plan::problems`] finds sound.
    pub fn new(
        plan: Plan,
        surface: Surface,
        model: Arc<dyn MixModel>,
        progress: &Progress,
    ) -> Result<Self, PaintError> {
        Self::prepare(plan, surface, model, None, progress)
    }

    /// The same for a plan that was edited: what the edit did not touch is not prepared
    /// again, and a stroke that was only drawn on is only added to.
    ///
    /// # Errors
    /// As [`Painted::new`].
    pub fn revised(
        &self,
        plan: Plan,
        model: Arc<dyn MixModel>,
        progress: &Progress,
    ) -> Result<Self, PaintError> {
        Self::prepare(plan, self.surface.clone(), model, Some(self), progress)
    }

    fn prepare(
        plan: Plan,
        surface: Surface,
        model: Arc<dyn MixModel>,
        before: Option<&Self>,
        progress: &Progress,
    ) -> Result<Self, PaintError> {
        if plan.regions.is_empty() {
            return Err(PaintError::NoRegion);
        }
        progress.stage("Applying regions to the part");
        let mut painted = Self {
            coverages: Vec::with_capacity(plan.regions.len()),
            paints: Vec::with_capacity(plan.regions.len()),
            order: (0..plan.regions.len())
                .rev()
                .filter(|&i| i == 0 || !plan.regions[i].hidden)
                .collect(),
            by_height: ByHeight::default(),
            plan,
            surface,
            model,
        };
        for i in 0..painted.plan.regions.len() {
            let coverage = painted.coverage(i, before, progress)?;
            painted.coverages.push(coverage);
        }
        let heights = painted.order.iter().map(|&i| match i {
            0 => (f64::NEG_INFINITY, f64::INFINITY),
            _ => painted.coverages[i].heights_mm(),
        });
        painted.by_height = ByHeight::new(&heights.collect::<Vec<_>>());
        for i in 0..painted.plan.regions.len() {
            let paint = painted.paint(i, before, progress)?;
            painted.paints.push(Arc::new(paint));
        }
        Ok(painted)
    }

    fn coverage(
        &self,
        index: usize,
        before: Option<&Self>,
        progress: &Progress,
    ) -> Result<Arc<Coverage>, PaintError> {
        let region = &self.plan.regions[index];
        let old = before.and_then(|b| b.old_coverage(region));
        if let Some((old_region, coverage)) = &old
            && old_region.mask == region.mask
            && old_region.brush == region.brush
        {
            return Ok(Arc::clone(coverage));
        }
        let old = old
            .as_ref()
            .map(|(region, coverage)| (*region, coverage.as_ref()));
        match Coverage::new(region, &self.surface, old, progress) {
            Ok(coverage) => Ok(Arc::new(coverage)),
            Err(MaskError::Cancelled(cancelled)) => Err(cancelled.into()),
            Err(error) => Err(PaintError::Mask {
                region: region.name.clone(),
                error,
            }),
        }
    }

    /// A region of the same mask as this one, to take over what is prepared of it.
    fn old_coverage(&self, region: &crate::Region) -> Option<(&crate::Region, Arc<Coverage>)> {
        let same_mask = |r: &&crate::Region| r.mask == region.mask;
        let mut found = None;
        for (old, coverage) in self.plan.regions.iter().zip(&self.coverages) {
            if !same_mask(&old) {
                continue;
            }
            found = Some((old, Arc::clone(coverage)));
            if old.name == region.name {
                break;
            }
        }
        found
    }

    fn paint(
        &self,
        index: usize,
        before: Option<&Self>,
        progress: &Progress,
    ) -> Result<PreparedPaint, PaintError> {
        progress.check()?;
        let region = &self.plan.regions[index];
        let Paint::Fade { along, fade } = &region.paint else {
            return Ok(PreparedPaint::of(
                &region.paint,
                None,
                None,
                self.model.as_ref(),
            ));
        };
        let fault = |error| match error {
            FieldError::Cancelled(cancelled) => PaintError::Cancelled(cancelled),
            error => PaintError::Field {
                region: region.name.clone(),
                error,
            },
        };
        let field = match before.and_then(|b| b.old_field(along)) {
            Some(field) => field,
            None => geometry::field::PreparedField::new(along, &self.surface, progress)
                .map_err(fault)?,
        };
        let area = (fade.spacing == Spacing::EqualArea).then(|| {
            let unseen = |facet: u32| self.surface.is_unseen(facet);
            let here = |at: SurfacePoint| !unseen(at.facet) && self.region_at(at) == index;
            let ends = (fade.stops.first(), fade.stops.last());
            let span_mm = match ends {
                (Some(first), Some(last)) => (first.at_mm, last.at_mm),
                _ => (f64::NEG_INFINITY, f64::INFINITY),
            };
            let finest_mm = 0.5 * self.plan.machine.nozzle_mm;
            let (at_mm, below) = visible_area(&field, &self.surface, span_mm, finest_mm, here);
            VisibleArea { at_mm, below }
        });
        Ok(PreparedPaint::of(
            &region.paint,
            Some(field),
            area.as_ref(),
            self.model.as_ref(),
        ))
    }

    fn old_field(&self, along: &geometry::Field) -> Option<geometry::field::PreparedField> {
        let regions = self.plan.regions.iter().zip(&self.paints);
        regions
            .filter(|(region, _)| {
                matches!(&region.paint, Paint::Fade { along: old, .. } if old == along)
            })
            .find_map(|(_, paint)| paint.field().cloned())
    }

    /// The plan.
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// The shape.
    pub fn surface(&self) -> &Surface {
        &self.surface
    }

    /// The mixing model.
    pub fn model(&self) -> &dyn MixModel {
        self.model.as_ref()
    }

    /// Index of the region that wins at a point of the skin: the topmost that is not hidden
    /// and has the point.
    pub fn region_at(&self, point: SurfacePoint) -> usize {
        let wins = |i: &usize| *i == 0 || self.coverages[*i].contains(point);
        self.near_height(point.point_mm.z).find(wins).unwrap_or(0)
    }

    /// The region that surely has every point of the skin within a distance of a place; `one` is
    /// any of those points. None where that is not known.
    pub fn region_throughout(
        &self,
        place_mm: DVec3,
        within_mm: f64,
        one: SurfacePoint,
    ) -> Option<usize> {
        let (low, high) = (place_mm.z - within_mm, place_mm.z + within_mm);
        let places = self.by_height.between(low, high);
        for region in places.filter_map(|place| self.order.get(place).copied()) {
            if region == 0 {
                break;
            }
            let coverage = &self.coverages[region];
            if coverage.clearance_mm(place_mm, within_mm) < within_mm {
                return None;
            }
            if coverage.contains(one) {
                return Some(region);
            }
        }
        Some(0)
    }

    /// The regions that may have a point of a height, from the top down.
    fn near_height(&self, height_mm: f64) -> impl Iterator<Item = usize> + '_ {
        let places = self.by_height.at(height_mm);
        places.filter_map(|place| self.order.get(place).copied())
    }

    /// Whether a region has a point, be it hidden or covered by another or not.
    ///
    /// False when there is no such region.
    pub fn covers(&self, region: usize, point: SurfacePoint) -> bool {
        region == 0
            || self
                .coverages
                .get(region)
                .is_some_and(|a| a.contains(point))
    }

    /// The blend asked for at a point of the skin.
    pub fn shares_at(&self, point: SurfacePoint) -> Shares {
        self.paints[self.region_at(point)].shares_at(point)
    }

    /// The colour asked for at a point of the skin, as the mixing model predicts it.
    ///
    /// Fades are looked up in a table of 4096 shades, so this is quick enough to
    /// be asked for every pixel.
    pub fn xyz_at(&self, point: SurfacePoint) -> Xyz {
        self.paints[self.region_at(point)].xyz_at(point)
    }

    /// As [`Painted::xyz_at`], in CIELAB.
    pub fn lab_at(&self, point: SurfacePoint) -> Lab {
        self.xyz_at(point).to_lab()
    }

    /// A region's fade made ready; none if it has one blend or there is no such region.
    pub fn ramp(&self, region: usize) -> Option<&Ramp> {
        self.paints.get(region).and_then(|paint| paint.ramp())
    }

    /// Where a point lies along what a region's fade runs along, mm; none if the region has one
    /// blend or there is no such region.
    pub fn along_mm(&self, region: usize, point: SurfacePoint) -> Option<f64> {
        let field = self.paints.get(region)?.field()?;
        Some(field.at(point))
    }

    /// The visible area of each region, mm²: they add up to the area of the mesh without what is
    /// sealed and without the face on the bed. Edges are followed in pieces no longer than the
    /// nozzle is wide. Level edges are cut exactly; what else is smaller than four nozzles, in the
    /// midst of a large facet, may be missed where a mask can't tell how far off its edges are.
    ///
    /// # Errors
    /// [`Cancelled`] when cancelled.
    pub fn region_areas_mm2(&self, progress: &Progress) -> Result<Vec<f64>, Cancelled> {
        progress.stage("Measuring regions");
        let mut areas = vec![0.0; self.plan.regions.len()];
        let visible = self.plan.regions.iter().filter(|region| !region.hidden);
        let edges = visible.flat_map(|region| region.mask.level_edges_mm());
        let cut = LevelCut::new(&self.surface, &rising(edges.collect()));
        let finest_mm = self.plan.machine.nozzle_mm;
        for found in cut.areas(ByRegion(self), finest_mm, progress)? {
            // What is unseen has a class of its own, which no region has.
            if let Some(area) = areas.get_mut(found.class as usize) {
                *area = found.area_mm2;
            }
        }
        Ok(areas)
    }

    /// Whether a part of a facet is surely all of one region, but for level edges; where it is
    /// not known, no.
    pub fn region_is_even(&self, facet: u32, corners_mm: [DVec3; 3]) -> bool {
        // Regions between whose heights it lies are the same for each of its corners, or have an
        // edge within it.
        let uneven = |i: &usize| *i != 0 && !self.coverages[*i].is_even(facet, corners_mm);
        let z = corners_mm.map(|corner| corner.z);
        let low = z.into_iter().fold(f64::INFINITY, f64::min);
        let high = z.into_iter().fold(f64::NEG_INFINITY, f64::max);
        !self
            .by_height
            .between(low, high)
            .filter_map(|place| self.order.get(place).copied())
            .any(|i| uneven(&i))
    }

    /// Whether a region has the area that the region of its number has on another plan of the
    /// part, known from what was taken over of that; perhaps not where it has.
    pub(crate) fn same_area(&self, other: &Self, region: usize) -> bool {
        let both = self.coverages.get(region).zip(other.coverages.get(region));
        both.is_some_and(|(own, its)| Arc::ptr_eq(own, its))
    }

    /// Whether all regions show the areas, and are measured as finely, as on another plan of the
    /// part; perhaps not where they do.
    pub(crate) fn same_areas(&self, other: &Self) -> bool {
        self.order == other.order
            && self.coverages.len() == other.coverages.len()
            && self.plan.machine.nozzle_mm == other.plan.machine.nozzle_mm
            && self.order.iter().all(|&i| self.same_area(other, i))
    }

    pub(crate) fn coverage_of(&self, region: usize) -> &Coverage {
        &self.coverages[region]
    }

    pub(crate) fn paint_of(&self, region: usize) -> &PreparedPaint {
        &self.paints[region]
    }

    /// The regions that are not hidden, from the top down to the base.
    pub(crate) fn topmost_first(&self) -> &[usize] {
        &self.order
    }
}

/// The region at a point as its class.
struct ByRegion<'a>(&'a Painted);

impl Classes for ByRegion<'_> {
    fn class(&self, at: SurfacePoint) -> u32 {
        match self.0.surface.is_unseen(at.facet) {
            true => u32::MAX,
            false => self.0.region_at(at) as u32,
        }
    }

    fn is_even(&self, facet: u32, corners_mm: [DVec3; 3]) -> bool {
        self.0.surface.is_unseen(facet) || self.0.region_is_even(facet, corners_mm)
    }
}
