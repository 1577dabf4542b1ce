//! What a schedule takes in all, and what it was made from.

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::{Laid, Layer, order};
use crate::document::hex;
use crate::{Painted, Plan};
use geometry::{Mesh, layers};

/// What a schedule was made from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Provenance {
    /// The part's title.
    pub title: String,
    /// SHA-256 over the plan; see [`Plan::sha256`].
    pub plan_sha256: String,
    /// The mesh file as the plan names it.
    pub mesh_file: String,
    /// SHA-256 over the placed mesh; see [`mesh_sha256`].
    pub mesh_sha256: String,
    /// The mixing model and where its numbers come from.
    pub model: String,
    /// The machine.
    pub machine: String,
    /// The way to the printer that every amount and colour in here is for, in words.
    #[serde(default = "route_unknown")]
    pub route: String,
    /// The program's version.
    pub made_by: String,
    /// Whether a person has looked the plan over, in words. Whoever writes the schedule out
    /// fills it in.
    #[serde(default = "not_reviewed")]
    pub review: String,
}

fn route_unknown() -> String {
    "Not given; calculated as if printed solid".to_owned()
}

fn not_reviewed() -> String {
    "Not reviewed".to_owned()
}

/// Amounts of the whole part.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Totals {
    /// Plastic laid, mm³, without what is flushed.
    pub volume_mm3: f64,
    /// Volume of the part as if it were solid, mm³.
    #[serde(default)]
    pub solid_mm3: f64,
    /// Visible area, mm².
    pub area_mm2: f64,
    /// Number of layers.
    pub layers: usize,
    /// How often the blend changes, as the machine tells blends apart.
    pub blend_changes: usize,
    /// Layers within which it changes.
    pub layers_with_changes: usize,
    /// What each spool gives, in the plan's order.
    pub spools: Vec<SpoolTotal>,
    /// What each region takes, in the plan's order.
    pub regions: Vec<RegionTotal>,
}

/// What one spool gives.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SpoolTotal {
    /// Its name.
    pub name: String,
    /// Volume, mm³.
    pub volume_mm3: f64,
    /// Mass, g.
    pub mass_g: f64,
    /// Length of filament, m.
    pub length_m: f64,
}

/// What one region takes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RegionTotal {
    /// Its name.
    pub name: String,
    /// Visible area, mm², whatever the layers.
    pub area_mm2: f64,
    /// Volume laid down in its blends, free plastic included, mm³.
    pub volume_mm3: f64,
    /// Mass of that, g.
    pub mass_g: f64,
    /// Layers that it has a dose in.
    pub layers: usize,
}

impl Provenance {
    pub(super) fn of(painted: &Painted, laid: Option<&Laid>, mesh_sha256: String) -> Self {
        let plan = painted.plan();
        Self {
            title: plan.title.clone(),
            plan_sha256: plan.sha256().unwrap_or_default(),
            mesh_file: plan.mesh.file.clone(),
            mesh_sha256,
            model: painted.model().name(),
            machine: plan.machine.name.clone(),
            route: laid.map_or_else(
                || format!("Not yet sliced; calculated for {}", plan.filling.words()),
                |laid| laid.route.clone(),
            ),
            made_by: format!("Tintfall {}", env!("CARGO_PKG_VERSION")),
            review: not_reviewed(),
        }
    }
}

impl Totals {
    pub(super) fn of(plan: &Plan, cut: &[layers::Layer], layers: &[Layer], areas: &[f64]) -> Self {
        Self {
            solid_mm3: cut.iter().map(|l| l.volume_mm3.max(0.0)).sum(),
            volume_mm3: layers.iter().map(|l| l.volume_mm3).sum(),
            area_mm2: areas.iter().sum(),
            layers: layers.len(),
            blend_changes: order::changes(layers, plan),
            layers_with_changes: layers.iter().filter(|l| changes_within(l, plan)).count(),
            spools: spools(plan, layers),
            regions: regions(plan, layers, areas),
        }
    }
}

fn changes_within(layer: &Layer, plan: &Plan) -> bool {
    let mut fed = layer.doses.iter().map(|d| plan.machine.fed(&d.shares));
    let first = fed.next();
    fed.any(|shares| Some(shares) != first)
}

fn spools(plan: &Plan, layers: &[Layer]) -> Vec<SpoolTotal> {
    let volume = |i: usize| -> f64 {
        let doses = layers.iter().flat_map(|l| &l.doses);
        doses
            .map(|d| d.volume_mm3 * d.shares.as_slice().get(i).unwrap_or(&0.0))
            .sum()
    };
    let spools = plan.spools.iter().enumerate();
    spools
        .map(|(i, spool)| {
            let volume_mm3 = volume(i);
            SpoolTotal {
                name: spool.name.clone(),
                volume_mm3,
                mass_g: spool.mass_g(volume_mm3),
                length_m: spool.length_mm(volume_mm3) / 1000.0,
            }
        })
        .collect()
}

fn regions(plan: &Plan, layers: &[Layer], areas: &[f64]) -> Vec<RegionTotal> {
    let mut totals: Vec<RegionTotal> = plan
        .regions
        .iter()
        .enumerate()
        .map(|(i, region)| RegionTotal {
            name: region.name.clone(),
            area_mm2: areas.get(i).copied().unwrap_or(0.0),
            volume_mm3: 0.0,
            mass_g: 0.0,
            layers: 0,
        })
        .collect();
    for layer in layers {
        let mut seen = Vec::new();
        for dose in &layer.doses {
            let Some(total) = totals.get_mut(dose.region) else {
                continue;
            };
            total.volume_mm3 += dose.volume_mm3;
            let parts = plan.spools.iter().zip(dose.shares.as_slice());
            total.mass_g += parts
                .map(|(spool, share)| spool.mass_g(dose.volume_mm3 * share))
                .sum::<f64>();
            if !seen.contains(&dose.region) {
                seen.push(dose.region);
                total.layers += 1;
            }
        }
    }
    totals
}

/// SHA-256 over a mesh's vertices (as little-endian doubles) and triangles, in hexadecimal:
/// the shape that was used, whatever file it came from.
pub fn mesh_sha256(mesh: &Mesh) -> String {
    /// Vertices or triangles that are hashed together.
    const TOGETHER: usize = 1024;
    let mut hash = Sha256::new();
    let mut bytes = Vec::with_capacity(24 * TOGETHER);
    for vertices in mesh.vertices().chunks(TOGETHER) {
        bytes.clear();
        for vertex in vertices {
            let coordinates = vertex.to_array().map(f64::to_le_bytes);
            bytes.extend_from_slice(coordinates.as_flattened());
        }
        hash.update(&bytes);
    }
    for triangles in mesh.triangles().chunks(TOGETHER) {
        bytes.clear();
        for corners in triangles {
            bytes.extend_from_slice(corners.map(u32::to_le_bytes).as_flattened());
        }
        hash.update(&bytes);
    }
    hex(&hash.finalize())
}
