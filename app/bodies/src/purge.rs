//! What is purged where a print step changes tools.

use geometry::Mesh;
use plan::economy::FlushTable;
use plan::{Painted, Schedule};
use serde::{Deserialize, Serialize};

use crate::body::Body;

/// What a print step purges for a part in bodies.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Purge {
    /// Volume to flush from each tool (row) to each other (column), mm³: what the melt chamber
    /// holds unmixed, and what it takes until the new blend is off by no more than the machine
    /// file allows. A change is not sent ahead, as no print step does that.
    pub flush_mm3: Vec<Vec<f64>>,
    /// How far a blend may be off when it is seen first, ΔE00.
    pub allowed_de00: f64,
    /// For each layer how often the tool changes.
    pub changes: Vec<usize>,
    /// All that is flushed, mm³.
    pub volume_mm3: f64,
    /// Its mass, g.
    pub mass_g: f64,
}

impl Purge {
    /// Of bodies laid in a schedule's layers. In each layer every tool is used once, and the next
    /// is always the one that takes least to flush; what is flushed counts as the new blend.
    pub(crate) fn new(painted: &Painted, schedule: &Schedule, bodies: &[Body]) -> Self {
        let plan = painted.plan();
        let mut table = FlushTable::new(&plan.machine, painted.model(), false);
        let flush_mm3: Vec<Vec<f64>> = bodies
            .iter()
            .map(|from| {
                let to = bodies.iter();
                to.map(|to| table.volume_mm3(&from.shares, &to.shares))
                    .collect()
            })
            .collect();
        let middles: Vec<f64> = schedule.layers.iter().map(|l| l.span.middle_mm()).collect();
        let cut: Vec<Vec<bool>> = bodies.iter().map(|b| cuts(&b.mesh, &middles)).collect();
        let mut purge = Self {
            flush_mm3,
            allowed_de00: plan.machine.flush.allowed_de00,
            changes: Vec::with_capacity(middles.len()),
            volume_mm3: 0.0,
            mass_g: 0.0,
        };
        let mut current = None;
        for layer in 0..middles.len() {
            let has = |tool: &usize| cut.get(*tool).and_then(|c| c.get(layer)) == Some(&true);
            let left: Vec<usize> = (0..bodies.len()).filter(has).collect();
            let changes = purge.lay(left, &mut current, |tool, volume_mm3| {
                let body = bodies.get(tool)?;
                let spools = plan.spools.iter().zip(body.shares.as_slice());
                Some(spools.map(|(s, share)| s.mass_g(volume_mm3 * share)).sum())
            });
            purge.changes.push(changes);
        }
        purge
    }

    /// Lays one layer's tools; tells how often they change.
    fn lay(
        &mut self,
        mut left: Vec<usize>,
        current: &mut Option<usize>,
        mass_g: impl Fn(usize, f64) -> Option<f64>,
    ) -> usize {
        let mut changes = 0;
        while !left.is_empty() {
            let volume = |tool: usize| match *current {
                Some(from) if from != tool => self
                    .flush_mm3
                    .get(from)
                    .and_then(|row| row.get(tool))
                    .copied()
                    .unwrap_or(0.0),
                _ => 0.0,
            };
            let stays = left.iter().position(|tool| Some(*tool) == *current);
            let least =
                (0..left.len()).min_by(|&a, &b| volume(left[a]).total_cmp(&volume(left[b])));
            let next = left.swap_remove(stays.or(least).unwrap_or(0));
            if current.is_some_and(|from| from != next) {
                let flushed = volume(next);
                changes += 1;
                self.volume_mm3 += flushed;
                self.mass_g += mass_g(next, flushed).unwrap_or(0.0);
            }
            *current = Some(next);
        }
        changes
    }

    /// Changes of tool in all.
    pub fn all_changes(&self) -> usize {
        self.changes.iter().sum()
    }

    /// The most changes in one layer.
    pub fn most_changes(&self) -> usize {
        self.changes.iter().copied().max().unwrap_or(0)
    }
}

/// Which of some rising heights cut a mesh.
fn cuts(mesh: &Mesh, heights_mm: &[f64]) -> Vec<bool> {
    let mut begins = vec![0i64; heights_mm.len() + 1];
    for facet in 0..mesh.triangles().len() {
        let z = mesh.corners(facet).map(|p| p.z);
        let low = z[0].min(z[1]).min(z[2]);
        let high = z[0].max(z[1]).max(z[2]);
        let from = heights_mm.partition_point(|&h| h < low);
        let to = heights_mm.partition_point(|&h| h <= high);
        if from < to {
            begins[from] += 1;
            begins[to] -= 1;
        }
    }
    let mut open = 0;
    begins
        .iter()
        .take(heights_mm.len())
        .map(|step| {
            open += step;
            open > 0
        })
        .collect()
}
