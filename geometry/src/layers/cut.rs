//! All layers of a part in one sweep.

use glam::DVec2;
use rayon::prelude::*;
use serde::Serialize;

use super::facet::FacetClip;
use super::outlines::Outlines;
use super::slice::{Chainer, Segment};
use super::{Between, Contour, LayerPlan, LayerPlanError, LayerSpan};
use crate::mesh::{Edges, orient};
use crate::{Cancelled, Mesh, Progress};

/// Facets handed out at a time when they are sorted by height.
const FACETS_AT_A_TIME: usize = 1 << 15;
/// Into how many runs of layers the work is split: fixed, so that sums are added in the
/// same order, and give the same bits, on any number of cores.
const RUNS: usize = 64;
/// Where facets alone tell a wrong volume, outlines are taken in at least so many stretches of a
/// part's height: a tall layer has several.
const STRETCHES: usize = 256;
/// How far a part may reach below the plate, mm, and still be taken as standing on it.
const PLATE_MM: f64 = 1e-6;

/// What the part is within one layer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Layer {
    /// Where the layer begins and ends.
    pub span: LayerSpan,
    /// The outline at the layer's middle height.
    pub contours: Vec<Contour>,
    /// Area within the outline, mm²: outer contours less holes.
    pub area_mm2: f64,
    /// Length of the outline, mm.
    pub perimeter_mm: f64,
    /// Volume between the layer's bottom and top, mm³: exact for a sound mesh; where shells
    /// overlap or face inwards, or the surface is open, summed from outlines at a few heights.
    pub volume_mm3: f64,
    /// Exact area of the part's skin between bottom and top, mm², sealed cavities and the
    /// face on the bed left out where they are told ([`cut_seen`]). A flat facet exactly
    /// between two layers belongs to the one its plastic is in.
    pub skin_mm2: f64,
    /// Ends of the outline that met no neighbour: 0 unless the mesh is open there.
    pub open_ends: u32,
    /// Whether shells overlap or face inwards here, so that the outline follows the non-zero
    /// winding rule and the facets alone would tell another area.
    pub overlaps: bool,
}

impl Layer {
    /// Whether the facets alone tell the wrong area here.
    fn is_unsound(&self) -> bool {
        self.overlaps || self.open_ends > 0
    }
}

/// Why a part could not be cut into layers.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CutError {
    /// The layer plan does not fit.
    #[error(transparent)]
    Plan(#[from] LayerPlanError),
    /// The part reaches below the plate.
    #[error("the part reaches {0} mm below the build plate; place it on the bed first")]
    BelowPlate(f64),
    /// Cancelled.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

/// Cuts a part that stands on the plate into the layers of a plan, all at once.
///
/// Each facet is looked at only in the layers it reaches, so the time grows with the
/// facets plus what comes out. The contours follow the rule of [`super::slice`], the
/// volumes and areas that of [`super::between`]; both are the same, bit for bit, however
/// many cores share the work.
///
/// ```
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// use geometry::{DVec3, LayerPlan, Progress, layers, solids};
/// let block = solids::cuboid(DVec3::new(20.0, 10.0, 5.0))?;
/// let layers = layers::cut(&block, &LayerPlan::plain(0.2, 0.2), &Progress::new())?;
/// assert_eq!(layers.len(), 25);
/// assert!((layers[7].volume_mm3 - 40.0).abs() < 1e-9);
/// # Ok(())
/// # }
/// ```
///
/// # Errors
/// [`CutError`] when the plan makes no sense for this part, the part reaches below the
/// plate, or the work was cancelled.
pub fn cut(mesh: &Mesh, plan: &LayerPlan, progress: &Progress) -> Result<Vec<Layer>, CutError> {
    cut_seen(mesh, &[], plan, progress)
}

/// As [`cut`], but the skin of facets that are not seen is left out, as
/// [`crate::Surface::unseen`] tells them; those beyond the list are seen.
///
/// # Errors
/// As [`cut`].
pub fn cut_seen(
    mesh: &Mesh,
    sealed: &[bool],
    plan: &LayerPlan,
    progress: &Progress,
) -> Result<Vec<Layer>, CutError> {
    let layers = cut_as_it_is(mesh, sealed, plan, progress)?;
    if layers.iter().all(|layer| layer.open_ends == 0) {
        return Ok(layers);
    }
    // Perhaps it is not open, but has facets that face both ways.
    match orient::alike(mesh, &Edges::of(mesh)) {
        Some((turned, _)) => cut_as_it_is(&turned, sealed, plan, progress),
        None => Ok(layers),
    }
}

fn cut_as_it_is(
    mesh: &Mesh,
    sealed: &[bool],
    plan: &LayerPlan,
    progress: &Progress,
) -> Result<Vec<Layer>, CutError> {
    let (lo, hi) = mesh.bounds();
    if lo.z < -PLATE_MM {
        return Err(CutError::BelowPlate(-lo.z));
    }
    let spans = plan.spans(hi.z)?;
    progress.stage("Cutting into layers");
    let sweep = Sweep::new(mesh, sealed, &spans, ((lo + hi) * 0.5).truncate());
    progress.check()?;
    let by_run = sweep.sort_facets();
    let runs = sweep.run_count();
    let done = std::sync::atomic::AtomicUsize::new(0);
    let layers: Vec<Vec<Layer>> = (0..runs)
        .into_par_iter()
        .map(|run| {
            progress.check()?;
            let layers = sweep.cut_run(run, by_run.iter().map(|part| part[run].as_slice()));
            let done = 1 + done.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
            progress.set(done as f32 / runs as f32);
            Ok(layers)
        })
        .collect::<Result<_, Cancelled>>()?;
    let mut layers: Vec<Layer> = layers.into_iter().flatten().collect();
    sweep.sum_unsound(&mut layers, &by_run, progress)?;
    Ok(layers)
}

/// Where a vertex is among the layers: twice its layer's index, plus one when it is not
/// below that layer's middle.
type HalfLayer = u32;

struct Sweep<'a> {
    mesh: &'a Mesh,
    /// Facets whose skin does not count.
    sealed: &'a [bool],
    spans: &'a [LayerSpan],
    axis: DVec2,
    /// Of every vertex.
    halves: Vec<HalfLayer>,
    /// Layers in a run.
    run_length: usize,
}

impl<'a> Sweep<'a> {
    fn new(mesh: &'a Mesh, sealed: &'a [bool], spans: &'a [LayerSpan], axis: DVec2) -> Self {
        let finder = LayerFinder::new(spans);
        let halves = mesh
            .vertices()
            .par_iter()
            .with_min_len(FACETS_AT_A_TIME)
            .map(|v| finder.half_layer(v.z))
            .collect();
        Self {
            mesh,
            sealed,
            spans,
            axis,
            halves,
            run_length: spans.len().div_ceil(RUNS),
        }
    }

    fn run_count(&self) -> usize {
        self.spans.len().div_ceil(self.run_length)
    }

    /// Least and greatest half layer of a facet.
    #[inline]
    fn reach(&self, facet: usize) -> (HalfLayer, HalfLayer) {
        let [a, b, c] = self.mesh.triangles()[facet].map(|v| self.halves[v as usize]);
        (a.min(b).min(c), a.max(b).max(c))
    }

    /// For each piece of the mesh, the facets that reach into each run of layers.
    fn sort_facets(&self) -> Vec<Vec<Vec<u32>>> {
        let count = self.mesh.triangles().len();
        let runs = self.run_count();
        (0..count.div_ceil(FACETS_AT_A_TIME))
            .into_par_iter()
            .map(|piece| {
                let mut by_run = vec![Vec::new(); runs];
                let begin = piece * FACETS_AT_A_TIME;
                for facet in begin..count.min(begin + FACETS_AT_A_TIME) {
                    let (low, high) = self.reach(facet);
                    // A flat facet on a boundary may belong to the layer beneath.
                    let first = (low as usize / 2).saturating_sub(1) / self.run_length;
                    for run in &mut by_run[first..=high as usize / 2 / self.run_length] {
                        run.push(facet as u32);
                    }
                }
                by_run
            })
            .collect()
    }

    /// Cuts one run of layers.
    fn cut_run<'f>(
        &self,
        run: usize,
        facets: impl Iterator<Item = &'f [u32]> + Clone,
    ) -> Vec<Layer> {
        let begin = run * self.run_length;
        let end = self.spans.len().min(begin + self.run_length);
        let mut sums = vec![Between::default(); end - begin];
        let mut segments = vec![Vec::new(); end - begin];
        for &facet in facets.clone().flatten() {
            let facet = facet as usize;
            let (low, high) = self.reach(facet);
            let clip = FacetClip::new(self.mesh.corners(facet), self.axis);
            let seen = !self.sealed.get(facet).is_some_and(|sealed| *sealed);
            if clip.is_flat() {
                let layer = self.layer_of_flat(facet, low as usize / 2, clip.faces_up());
                if seen && (begin..end).contains(&layer) {
                    sums[layer - begin] += clip.flat_skin();
                }
                continue;
            }
            let first = begin.max(low as usize / 2);
            for layer in first..end.min(high as usize / 2 + 1) {
                let span = self.spans[layer];
                let mut between = clip.between(span.bottom_mm, span.top_mm);
                if !seen {
                    between.skin_mm2 = 0.0;
                }
                sums[layer - begin] += between;
                // The middle is crossed when it is above the lowest vertex only.
                let middle = 2 * layer as u32 + 1;
                if low < middle && middle <= high {
                    segments[layer - begin].extend(Segment::of(self.mesh, facet, span.middle_mm()));
                }
            }
        }
        self.finish(begin, &sums, &segments)
    }

    /// Volumes of the layers in which the facets alone tell the wrong one: those that are unsound
    /// in their middle, and those beside them. Where layers are few and tall, any may be.
    fn sum_unsound(
        &self,
        layers: &mut [Layer],
        by_run: &[Vec<Vec<u32>>],
        progress: &Progress,
    ) -> Result<(), Cancelled> {
        let unsound: Vec<bool> = layers.iter().map(Layer::is_unsound).collect();
        if !unsound.contains(&true) {
            return Ok(());
        }
        let beside = |layer: usize| {
            let few = unsound.len() < STRETCHES;
            few || unsound[layer.saturating_sub(1)..unsound.len().min(layer + 2)].contains(&true)
        };
        let runs = layers.par_chunks_mut(self.run_length).enumerate();
        runs.try_for_each(|(run, layers)| {
            progress.check()?;
            let begin = run * self.run_length;
            let wanted: Vec<bool> = (begin..begin + layers.len()).map(beside).collect();
            if wanted.contains(&true) {
                let facets = by_run.iter().map(|part| part[run].as_slice());
                self.sum_outlines(layers, begin, &wanted, facets);
            }
            Ok(())
        })
    }

    fn sum_outlines<'f>(
        &self,
        layers: &mut [Layer],
        begin: usize,
        wanted: &[bool],
        facets: impl Iterator<Item = &'f [u32]> + Clone,
    ) {
        let stretches = STRETCHES.div_ceil(self.spans.len());
        let outlines = layers.iter().zip(wanted);
        let mut all: Vec<Option<Outlines>> = outlines
            .map(|(layer, wanted)| wanted.then(|| Outlines::new(layer.span)))
            .collect();
        let reached = |facet: usize| {
            let (low, high) = self.reach(facet);
            let first = begin.max(low as usize / 2) - begin;
            let end = (high as usize / 2 + 1).saturating_sub(begin);
            first..end.min(layers.len()).max(first)
        };
        for &facet in facets.clone().flatten() {
            let [a, b, c] = self.mesh.corners(facet as usize);
            if a.z == b.z && b.z == c.z {
                for outlines in all[reached(facet as usize)].iter_mut().flatten() {
                    outlines.flat_at(a.z);
                }
            }
        }
        for outlines in all.iter_mut().flatten() {
            outlines.set_levels(stretches);
        }
        for &facet in facets.flatten() {
            for outlines in all[reached(facet as usize)].iter_mut().flatten() {
                outlines.add(self.mesh, facet as usize);
            }
        }
        let mut chainer = Chainer::default();
        for (layer, outlines) in layers.iter_mut().zip(&all) {
            if let Some(outlines) = outlines {
                let summed = outlines.summed(self.mesh, &mut chainer);
                // What closed facets draw is known exactly; only what overlaps is summed.
                layer.volume_mm3 = match summed.open || layer.open_ends > 0 {
                    false => layer.volume_mm3 + summed.more_mm3,
                    true => summed.solid_mm3,
                };
            }
        }
    }

    /// The layer that a flat facet belongs to, given the one that begins at or below it.
    fn layer_of_flat(&self, facet: usize, layer: usize, faces_up: bool) -> usize {
        let [vertex, ..] = self.mesh.triangles()[facet];
        let z = self.mesh.vertices()[vertex as usize].z;
        let at_bottom = z <= self.spans[layer].bottom_mm;
        layer.saturating_sub(usize::from(faces_up && at_bottom))
    }

    fn finish(&self, begin: usize, sums: &[Between], segments: &[Vec<Segment>]) -> Vec<Layer> {
        let mut chainer = Chainer::default();
        let layers = self.spans[begin..].iter().zip(sums).zip(segments);
        layers
            .map(|((&span, sum), segments)| {
                let section = chainer.chain(self.mesh, span.middle_mm(), segments);
                Layer {
                    span,
                    area_mm2: section.area_mm2(),
                    perimeter_mm: section.perimeter_mm(),
                    volume_mm3: sum.volume_mm3,
                    skin_mm2: sum.skin_mm2,
                    open_ends: section.open_ends,
                    overlaps: section.open_ends == 0 && section.is_unsound(),
                    contours: section.contours,
                }
            })
            .collect()
    }
}

/// Finds the layer at a height: a guess from a table of even steps, then a short walk.
struct LayerFinder<'a> {
    spans: &'a [LayerSpan],
    /// The layer at the beginning of each step.
    steps: Vec<u32>,
    steps_per_mm: f64,
}

impl<'a> LayerFinder<'a> {
    fn new(spans: &'a [LayerSpan]) -> Self {
        let height = spans.last().map_or(0.0, |s| s.top_mm);
        let count = 4 * spans.len();
        let steps_per_mm = count as f64 / height;
        let layer_at = |step: usize| {
            let z = step as f64 / steps_per_mm;
            // One step back, so that rounding can never make the guess too high.
            spans.partition_point(|s| s.top_mm <= z).saturating_sub(1) as u32
        };
        Self {
            spans,
            steps: (0..count).map(layer_at).collect(),
            steps_per_mm,
        }
    }

    /// A height at or above the top counts as the last layer's.
    #[inline]
    fn half_layer(&self, z: f64) -> HalfLayer {
        let step = ((z * self.steps_per_mm) as usize).min(self.steps.len() - 1);
        let last = self.spans.len() - 1;
        let mut layer = self.steps[step] as usize;
        while layer < last && self.spans[layer].top_mm <= z {
            layer += 1;
        }
        2 * layer as u32 + u32::from(z >= self.spans[layer].middle_mm())
    }
}
