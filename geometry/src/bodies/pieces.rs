//! Pieces of bodies that are too thin to be laid.

use std::collections::BTreeMap;

use glam::DVec3;

use super::CutError;
use super::partition::{AIR, Face, Partition};
use crate::mesh::Parts;

/// A connected piece of a body.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Piece {
    /// The body's label.
    pub label: u32,
    /// Its volume, mm³.
    pub volume_mm3: f64,
    /// Its mean thickness, mm: twice its volume over its area.
    pub thickness_mm: f64,
    /// The middle of the box around it, mm.
    pub at_mm: DVec3,
}

/// A thin piece that was given to a neighbour.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Merged {
    /// What it was.
    pub piece: Piece,
    /// The label that it has now.
    pub into: u32,
    /// How much of the skin it shows, mm².
    pub visible_mm2: f64,
}

impl Partition {
    /// The pieces of all bodies thinner than a line, in order of labels. A body with a hollow
    /// counts as one piece.
    ///
    /// # Errors
    /// None but what can't be held.
    pub fn thin(&self, line_mm: f64) -> Result<Vec<Piece>, CutError> {
        Ok(self.thin_walls(line_mm)?.into_iter().map(|p| p.0).collect())
    }

    /// Gives every piece thinner than a line to the neighbour that it shares most wall with.
    ///
    /// # Errors
    /// None but what can't be held.
    pub fn merge_thin(&mut self, line_mm: f64) -> Result<Vec<Merged>, CutError> {
        let mut merged = Vec::new();
        // What merging joins may be thin still, but every round leaves fewer pieces.
        loop {
            let thin = self.thin_walls(line_mm)?;
            let mut done = false;
            for (piece, walls) in thin {
                let beside = |face: &Face| match face.inside == piece.label {
                    true => face.outside,
                    false => face.inside,
                };
                let mut shared = BTreeMap::<u32, f64>::new();
                for &wall in &walls {
                    let face = self.faces[wall as usize];
                    *shared.entry(beside(&face)).or_default() += self.area_mm2(&face);
                }
                let visible_mm2 = shared.remove(&AIR).unwrap_or(0.0);
                let most = shared.iter().max_by(|a, b| a.1.total_cmp(b.1));
                let Some((&into, _)) = most.filter(|(into, _)| **into != piece.label) else {
                    continue;
                };
                for &wall in &walls {
                    let face = &mut self.faces[wall as usize];
                    for side in [&mut face.inside, &mut face.outside] {
                        if *side == piece.label {
                            *side = into;
                        }
                    }
                }
                merged.push(Merged {
                    piece,
                    into,
                    visible_mm2,
                });
                done = true;
                // Walls have moved; others are looked for anew.
                break;
            }
            if !done {
                return Ok(merged);
            }
            self.faces.retain(|face| face.inside != face.outside);
        }
    }

    fn thin_walls(&self, line_mm: f64) -> Result<Vec<(Piece, Vec<u32>)>, CutError> {
        let mut thin = Vec::new();
        for label in self.labels() {
            let Some((mesh, walls)) = self.open_body(label)? else {
                continue;
            };
            let parts = Parts::of(&mesh);
            let origin = mesh.vertices()[0];
            let blank = (0.0, 0.0, DVec3::INFINITY, DVec3::NEG_INFINITY);
            let mut sums = vec![blank; parts.count()];
            for facet in 0..mesh.triangles().len() {
                let [a, b, c] = mesh.corners(facet).map(|p| p - origin);
                let sum = &mut sums[parts.of_facet(facet) as usize];
                sum.0 += a.dot(b.cross(c)) / 6.0;
                sum.1 += 0.5 * (b - a).cross(c - a).length();
                sum.2 = sum.2.min(a).min(b).min(c);
                sum.3 = sum.3.max(a).max(b).max(c);
            }
            // A hollow belongs to a piece around it; then all of the body is one.
            let one = sums.iter().any(|s| s.0 < 0.0);
            if one {
                let whole = sums.iter().fold(blank, |sum, s| {
                    (sum.0 + s.0, sum.1 + s.1, sum.2.min(s.2), sum.3.max(s.3))
                });
                sums = vec![whole];
            }
            for (number, (volume_mm3, area_mm2, low, high)) in sums.into_iter().enumerate() {
                let thickness_mm = 2.0 * volume_mm3 / area_mm2;
                if thickness_mm >= line_mm {
                    continue;
                }
                let own = walls.iter().enumerate();
                let own = own.filter(|(f, _)| one || parts.of_facet(*f) as usize == number);
                let piece = Piece {
                    label,
                    volume_mm3,
                    thickness_mm,
                    at_mm: origin + low.midpoint(high),
                };
                thin.push((piece, own.map(|(_, wall)| *wall).collect()));
            }
        }
        Ok(thin)
    }
}
