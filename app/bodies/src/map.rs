//! Which stored blend a place of the part gets.

use blend::{MixModel, Ramp};
use geometry::bodies::Core;
use geometry::surface::rising;
use geometry::{DVec3, SurfacePoint};
use plan::{Paint, Painted};

use crate::choice::Choice;
use crate::options::Inside;

/// Places at which a fade's colour is looked at.
const LOOKS: usize = 1024;
/// Halvings with which the place of a change is found between two of them.
const HALVINGS: usize = 40;

/// What a region's places get.
#[derive(Clone, Debug, PartialEq)]
enum Tools {
    /// All of them the same.
    One(u32),
    /// By the place along its fade: one more than there are edges.
    Along {
        edges_mm: Vec<f64>,
        tools: Vec<u32>,
        level: bool,
    },
}

/// Which stored blend a place of the part gets.
pub(crate) struct ToolMap<'a> {
    painted: &'a Painted,
    of_region: Vec<Tools>,
}

impl<'a> ToolMap<'a> {
    /// Each place gets the stored blend that is nearest in colour to the one asked for.
    pub(crate) fn new(painted: &'a Painted, choice: &Choice) -> Self {
        let regions = painted.plan().regions.iter().enumerate();
        let model = painted.model();
        let of_region = regions
            .map(|(i, region)| match (&region.paint, painted.ramp(i)) {
                (Paint::Fade { along, .. }, Some(ramp)) => {
                    by_ramp(ramp, along.depends_on_height_only(), model, choice)
                }
                (Paint::Fixed(shares) | Paint::Blend(plan::NamedBlend { shares, .. }), _) => {
                    Tools::One(choice.nearest(model.mix(shares).to_lab()))
                }
                _ => Tools::One(0),
            })
            .collect();
        Self { painted, of_region }
    }

    pub(crate) fn painted(&self) -> &'a Painted {
        self.painted
    }

    /// The stored blend at a point of the skin.
    pub(crate) fn at(&self, point: SurfacePoint) -> u32 {
        let region = self.painted.region_at(point);
        self.of(region, || self.painted.along_mm(region, point))
    }

    fn of(&self, region: usize, along_mm: impl FnOnce() -> Option<f64>) -> u32 {
        match self.of_region.get(region) {
            Some(Tools::One(tool)) => *tool,
            Some(Tools::Along {
                edges_mm, tools, ..
            }) => {
                let at = along_mm().map_or(0, |at| edges_mm.partition_point(|&edge| edge <= at));
                tools.get(at).copied().unwrap_or(0)
            }
            None => 0,
        }
    }

    /// Whether a region has one stored blend at each height.
    pub(crate) fn is_level(&self, region: usize) -> bool {
        match self.of_region.get(region) {
            Some(Tools::Along { level, tools, .. }) => *level || tools.len() < 2,
            _ => true,
        }
    }

    /// Heights at which areas end on level lines, or level fades change, mm, rising.
    pub(crate) fn level_edges_mm(&self) -> Vec<f64> {
        let mut edges = Vec::new();
        for (region, tools) in self.painted.plan().regions.iter().zip(&self.of_region) {
            edges.extend(region.mask.level_edges_mm());
            if let Tools::Along {
                edges_mm,
                level: true,
                ..
            } = tools
            {
                edges.extend(edges_mm);
            }
        }
        rising(edges)
    }

    /// What lies beneath painted areas, of edges as [`ToolMap::level_edges_mm`] gives them.
    pub(crate) fn core(&self, edges_mm: &[f64], inside: Inside, choice: &Choice) -> Core {
        if inside == Inside::Largest {
            return Core::of_one(choice.largest());
        }
        let (low, high) = self.painted.surface().mesh().bounds();
        let edges: Vec<f64> = edges_mm
            .iter()
            .copied()
            .filter(|edge| low.z < *edge && *edge < high.z)
            .collect();
        let ends = [low.z].into_iter().chain(edges.iter().copied());
        let ends: Vec<f64> = ends.chain([high.z]).collect();
        let mut core = Core::default();
        for (i, pair) in ends.windows(2).enumerate() {
            let label = self.level_tool(0.5 * (pair[0] + pair[1]));
            if core.labels.last() == Some(&label) {
                continue;
            }
            if i > 0 {
                core.planes_mm.push(pair[0]);
            }
            core.labels.push(label);
        }
        core
    }

    /// The stored blend of a height by bands alone, without what is painted over them.
    fn level_tool(&self, height_mm: f64) -> u32 {
        let at = SurfacePoint {
            point_mm: DVec3::Z * height_mm,
            facet: 0,
        };
        let regions = &self.painted.plan().regions;
        let topmost = regions
            .iter()
            .enumerate()
            .skip(1)
            .rev()
            .find(|(i, region)| {
                !region.hidden
                    && region.brush.is_empty()
                    && region.mask.depends_on_height_only()
                    && self.is_level(*i)
                    && self.painted.covers(*i, at)
            });
        let region = topmost.map_or(0, |(i, _)| i);
        match self.of_region.get(region) {
            Some(Tools::Along {
                edges_mm,
                tools,
                level: false,
            }) => longest(edges_mm, tools),
            // A level fade runs along height itself.
            _ => self.of(region, || self.painted.along_mm(region, at)),
        }
    }
}

/// The stored blend that the greatest part of a fade has, of those between two edges.
fn longest(edges_mm: &[f64], tools: &[u32]) -> u32 {
    let inner = edges_mm.windows(2).zip(tools.iter().skip(1));
    let longest = inner.max_by(|a, b| (a.0[1] - a.0[0]).total_cmp(&(b.0[1] - b.0[0])));
    let any = tools.first().copied().unwrap_or(0);
    longest.map_or(any, |(_, tool)| *tool)
}

fn by_ramp(ramp: &Ramp, level: bool, model: &dyn MixModel, choice: &Choice) -> Tools {
    let (from, to) = ramp.extent_mm().unwrap_or((0.0, 0.0));
    let tool = |at_mm: f64| choice.nearest(model.mix(&ramp.at(at_mm)).to_lab());
    let place = |i: usize| from + (to - from) * i as f64 / LOOKS as f64;
    let mut tools = vec![tool(from)];
    let mut edges_mm = Vec::new();
    let mut before = tools[0];
    for i in 1..=LOOKS {
        let here = tool(place(i));
        if here != before {
            let (mut low, mut high) = (place(i - 1), place(i));
            for _ in 0..HALVINGS {
                let middle = 0.5 * (low + high);
                match tool(middle) == before {
                    true => low = middle,
                    false => high = middle,
                }
            }
            edges_mm.push(high);
            tools.push(here);
            before = here;
        }
    }
    match tools.len() {
        1 => Tools::One(before),
        _ => Tools::Along {
            edges_mm,
            tools,
            level,
        },
    }
}
