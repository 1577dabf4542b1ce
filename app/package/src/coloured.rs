//! The part in its predicted colours, for formats that know colours and no blends.

use std::ops::Range;

use blend::Xyz;
use geometry::{Cancelled, DVec3, Progress};
use plan::{AsPrinted, Painted, Schedule};
use report::patches::{FINE_DE00, Fades, LayerColours, Patches};
use rustc_hash::FxHashMap;

/// A mesh with one colour to a triangle, as it will come out of the printer.
#[derive(Clone, Debug, PartialEq)]
pub struct Coloured {
    /// Vertices, mm; z is up, the bed is at 0.
    pub vertices: Vec<DVec3>,
    /// Colour of each vertex: linear-light sRGB, 0 to 1. A vertex has one colour; where colours
    /// meet there are several vertices.
    pub linear: Vec<[f64; 3]>,
    /// Triangles, counter-clockwise from outside.
    pub triangles: Vec<[u32; 3]>,
}

impl Coloured {
    /// The predicted colours of a part, as they will come out, in steps of [`FINE_DE00`].
    ///
    /// # Errors
    /// [`Cancelled`] when cancelled.
    pub fn new(
        painted: &Painted,
        schedule: &Schedule,
        printed: &AsPrinted,
        progress: &Progress,
    ) -> Result<Self, Cancelled> {
        let patches = Patches::new(painted, Fades::Whole, progress)?;
        Self::of(patches, painted, schedule, printed, progress)
    }

    /// The same, of a skin that is cut along its colours already, its fades left whole.
    ///
    /// # Errors
    /// [`Cancelled`] when cancelled.
    pub fn of(
        mut patches: Patches,
        painted: &Painted,
        schedule: &Schedule,
        printed: &AsPrinted,
        progress: &Progress,
    ) -> Result<Self, Cancelled> {
        let colours = LayerColours::new(painted, schedule, printed, &patches.classes);
        let slabs: Vec<Vec<Range<usize>>> = (0..patches.classes.len())
            .map(|class| colours.slabs(class, FINE_DE00))
            .collect();
        let of = |class: usize| slabs.get(class).map_or(&[][..], Vec::as_slice);
        patches.cut_each(|class| colours.edges_mm(of(class)));
        progress.check()?;
        let mut seen: FxHashMap<(u32, usize, usize), u32> = FxHashMap::default();
        let mut out = Self {
            vertices: Vec::new(),
            linear: Vec::new(),
            triangles: Vec::with_capacity(patches.triangles.len()),
        };
        for (i, triangle) in patches.triangles.iter().enumerate() {
            let class = patches.class.get(i).copied().unwrap_or(0) as usize;
            let slabs = of(class);
            let middle = patches.middle_mm(i);
            let slab = slabs.partition_point(|s| colours.top_mm(s.end.saturating_sub(1)) <= middle);
            let slab = slab.min(slabs.len().saturating_sub(1));
            let corners = triangle.map(|vertex| {
                *seen.entry((vertex, class, slab)).or_insert_with(|| {
                    let all = 0..schedule.layers.len();
                    let lab = colours
                        .of_slab(class, slabs.get(slab).unwrap_or(&all))
                        .printed;
                    let linear = Xyz::from_lab(lab).to_linear_srgb();
                    let place = patches.vertices.get(vertex as usize);
                    out.vertices.push(place.copied().unwrap_or_default());
                    out.linear.push(linear.map(|v| v.clamp(0.0, 1.0)));
                    out.vertices.len() as u32 - 1
                })
            });
            out.triangles.push(corners);
        }
        Ok(out)
    }
}
