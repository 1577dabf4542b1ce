//! The bodies.

use geometry::bodies::{CutError, Partition, cut};
use geometry::mend::{MendError, mend};
use geometry::surface::rising;
use geometry::{DVec3, Progress};
use plan::{Painted, Schedule};

use crate::body::Body;
use crate::choice::{Choice, Fit};
use crate::error::BodiesError;
use crate::map::ToolMap;
use crate::options::{Depth, Options};
use crate::purge::Purge;
use crate::skin::{Part, skin};
use crate::told;

/// Where what a plane cuts is no clean outline, all of the pattern is lifted by one of these, mm:
/// far less than a layer.
const LIFTS_MM: [f64; 5] = [0.0, 2e-4, -3e-4, 5e-4, -7e-4];

/// A part in bodies.
#[derive(Clone, Debug, PartialEq)]
pub struct Bodies {
    /// The bodies, in order of their tools.
    pub bodies: Vec<Body>,
    /// Names of the spools that shares are of.
    pub spools: Vec<String>,
    /// How many blends could be stored.
    pub most_tools: usize,
    /// How far the stored blends are off what the plan asks for.
    pub fit: Fit,
    /// How deep painted areas reach, mm; none if they reach as deep as the part is.
    pub depth_mm: Option<f64>,
    /// Volume of the part that was cut, mm³.
    pub part_mm3: f64,
    /// What is purged.
    pub purge: Purge,
    /// What a person should know: what was mended, merged, given up.
    pub notes: Vec<String>,
}

impl Bodies {
    /// Chooses the blends to store, and cuts a part by them. An unsound mesh is mended first.
    ///
    /// # Errors
    /// [`BodiesError`].
    pub fn new(
        painted: &Painted,
        schedule: &Schedule,
        options: &Options,
        progress: &Progress,
    ) -> Result<Self, BodiesError> {
        let depth_mm = depth_mm(painted, options)?;
        let most_tools = options.most_tools(painted.plan());
        let choice = Choice::new(painted.plan(), painted.model(), schedule, most_tools)
            .ok_or(BodiesError::Nothing)?;
        let mut notes = Vec::new();
        let part = sound(painted, &mut notes, progress)?;
        let map = ToolMap::new(painted, &choice);
        let mut partition = partition(&part, &map, &choice, options, depth_mm, progress)?;
        let name = |tool: u32| told::name(painted, &choice, tool as usize);
        told::given_up(&partition, &name, &mut notes);
        told::shallow(&partition, options.depth, depth_mm, &name, &mut notes);
        let line_mm = painted.plan().machine.nozzle_mm;
        if options.merge_thin {
            let merged = partition.merge_thin(line_mm).map_err(BodiesError::Cut)?;
            told::merged(&merged, &choice, &name, &mut notes);
        }
        let thin = partition.thin(line_mm).map_err(BodiesError::Cut)?;
        told::thin(&thin, line_mm, &name, &mut notes);
        let bodies = bodies(painted, &choice, &partition)?;
        progress.check()?;
        Ok(Self {
            purge: Purge::new(painted, schedule, &bodies),
            bodies,
            spools: painted
                .plan()
                .spools
                .iter()
                .map(|s| s.name.clone())
                .collect(),
            most_tools,
            fit: choice.fit,
            depth_mm: (options.depth != Depth::Through).then_some(depth_mm),
            part_mm3: part.surface().mesh().volume_mm3(),
            notes,
        })
    }
}

fn depth_mm(painted: &Painted, options: &Options) -> Result<f64, BodiesError> {
    match options.depth {
        Depth::Skin => Ok(painted.plan().skin_mm),
        Depth::Stated(depth_mm) if depth_mm.is_finite() && depth_mm > 0.0 => Ok(depth_mm),
        Depth::Stated(depth_mm) => Err(BodiesError::Depth(depth_mm)),
        Depth::Through => {
            let (low, high) = painted.surface().mesh().bounds();
            Ok(0.5 * (high - low).max_element())
        }
    }
}

/// The plan's part if it is sound, else mended.
fn sound<'a>(
    painted: &'a Painted,
    notes: &mut Vec<String>,
    progress: &Progress,
) -> Result<Part<'a>, BodiesError> {
    let surface = painted.surface();
    let mended = mend(surface.mesh(), progress).map_err(|error| match error {
        MendError::Cancelled(stop) => BodiesError::Cancelled(stop),
        error => BodiesError::Mesh(error),
    })?;
    if mended.done.is_empty() {
        return Ok(
            match mended.mesh.triangles() == surface.mesh().triangles() {
                true => Part::own(surface),
                // Where solids touch, vertices were doubled; facets are the same.
                false => Part::alike(mended.mesh),
            },
        );
    }
    notes.extend(mended.done.iter().map(|what| format!("Mended: {what}")));
    Ok(Part::mended(mended.mesh))
}

/// Cuts the part; where a plane meets no clean outline, a hair higher or lower.
fn partition(
    part: &Part<'_>,
    map: &ToolMap<'_>,
    choice: &Choice,
    options: &Options,
    depth_mm: f64,
    progress: &Progress,
) -> Result<Partition, BodiesError> {
    let edges = map.level_edges_mm();
    let mut tangled = None;
    for lifted_mm in LIFTS_MM {
        let mut core = map.core(&edges, options.inside, choice);
        for plane in &mut core.planes_mm {
            *plane += lifted_mm;
        }
        let planes = rising(edges.iter().map(|edge| edge + lifted_mm).collect());
        let skin = skin(part, map, &core, &planes, (lifted_mm, depth_mm), progress)?;
        match cut(skin, &core, depth_mm, part.surface(), progress) {
            Ok(partition) => return Ok(partition),
            Err(error @ CutError::Tangled { .. }) => tangled = Some(error),
            Err(CutError::Cancelled(stop)) => return Err(stop.into()),
            Err(error @ (CutError::Crowded { label, .. } | CutError::NotClosed { label, .. })) => {
                return Err(BodiesError::Region {
                    region: told::name(map.painted(), choice, label as usize),
                    source: error,
                });
            }
            Err(error) => return Err(BodiesError::Cut(error)),
        }
    }
    Err(tangled.map_or(BodiesError::Nothing, BodiesError::Cut))
}

fn bodies(
    painted: &Painted,
    choice: &Choice,
    partition: &Partition,
) -> Result<Vec<Body>, BodiesError> {
    let plan = painted.plan();
    let mut bodies = Vec::new();
    for label in partition.labels() {
        let region = |error| BodiesError::Region {
            region: told::name(painted, choice, label as usize),
            source: error,
        };
        let Some(mesh) = partition.body(label).map_err(region)? else {
            continue;
        };
        let Some(&shares) = choice.blends.get(label as usize) else {
            continue;
        };
        let volume_mm3 = mesh.volume_mm3();
        let spools = plan.spools.iter().zip(shares.as_slice());
        bodies.push(Body {
            tool: bodies.len(),
            name: told::name(painted, choice, label as usize),
            shares,
            colour: painted.model().mix(&shares).to_srgb(),
            volume_mm3,
            mass_g: spools.map(|(s, share)| s.mass_g(volume_mm3 * share)).sum(),
            visible_mm2: partition.visible_mm2(label),
            faces: partition.faces(label),
            mesh,
        });
    }
    Ok(bodies)
}

/// How far bodies are moved apart to be seen, as part of the part's size: upwards from one to the
/// next, and the way that they face.
const APART: (f64, f64) = (0.22, 0.4);

impl Bodies {
    /// For each body where it is moved to so that all of them are seen: those above others
    /// upwards, and those that face one way that way, mm.
    pub fn apart_mm(&self) -> Vec<DVec3> {
        let bounds: Vec<(DVec3, DVec3)> = self.bodies.iter().map(|b| b.mesh.bounds()).collect();
        let start = (DVec3::INFINITY, DVec3::NEG_INFINITY);
        let (low, high) = bounds
            .iter()
            .fold(start, |all, b| (all.0.min(b.0), all.1.max(b.1)));
        let size = (high - low).max_element();
        let middle = |i: &usize| bounds.get(*i).map_or(0.0, |b| b.0.z + b.1.z);
        let mut order: Vec<usize> = (0..bounds.len()).collect();
        order.sort_by(|a, b| middle(a).total_cmp(&middle(b)));
        let rank = |body: usize| order.iter().position(|o| *o == body).unwrap_or(0) as f64;
        let each = self.bodies.iter().enumerate();
        each.map(|(i, body)| {
            DVec3::Z * (APART.0 * size * rank(i)) + body.faces.with_z(0.0) * (APART.1 * size)
        })
        .collect()
    }
}
