//! Corners that differ by rounding, and facets that are there twice.

use std::collections::HashMap;

use glam::DVec3;

use super::MendError;
use crate::Mesh;
use crate::mesh::Edges;

/// Corners of a rim this near to each other, as a share of the greatest coordinate, are one:
/// a few units in the last place of single precision, or of six digits in text.
const ROUNDING: f64 = 2e-6;

/// Corners are welded only when they are nearer than this share of the shortest side at
/// either, so that no feature is lost, however small.
const SHORTEST: f64 = 0.25;

/// Welds corners on rims to the nearest other corner on a rim that no side joins it to; tells
/// how many went. Only rims are touched: a closed surface needs no welding.
pub(super) fn weld_rims(mesh: &Mesh) -> Option<(Mesh, usize)> {
    let edges = Edges::of(mesh);
    let mut reach = HashMap::<u32, f64>::new();
    for edge in edges.iter().filter(|e| e.balance() != 0) {
        reach.insert(edge.from, f64::INFINITY);
        reach.insert(edge.to, f64::INFINITY);
    }
    if reach.is_empty() {
        return None;
    }
    let at = |v: u32| mesh.vertices()[v as usize];
    let (low, high) = mesh.bounds();
    let most = ROUNDING * low.abs().max(high.abs()).max_element();
    for edge in edges.iter() {
        let length = SHORTEST * at(edge.from).distance(at(edge.to));
        for end in [edge.from, edge.to] {
            if let Some(shortest) = reach.get_mut(&end)
                && length > 0.0
            {
                *shortest = shortest.min(length);
            }
        }
    }
    let mut rim: Vec<(u32, DVec3, f64)> = reach
        .into_iter()
        .map(|(v, shortest)| (v, at(v), shortest.min(most)))
        .collect();
    rim.sort_by(|a, b| a.1.x.total_cmp(&b.1.x).then(a.0.cmp(&b.0)));
    let mut to: Vec<u32> = (0..mesh.vertices().len() as u32).collect();
    let mut moved = 0;
    for (i, &(vertex, place, reach)) in rim.iter().enumerate() {
        // Welded to one that comes before it and stayed where it was.
        let before = rim[..i].iter().rev();
        let near = before
            .take_while(|other| place.x - other.1.x <= reach)
            .filter(|other| to[other.0 as usize] == other.0)
            .filter(|other| place.distance(other.1) <= reach.min(other.2))
            .filter(|other| edges.between(vertex, other.0).is_none());
        if let Some(other) = near.min_by(|a, b| place.distance(a.1).total_cmp(&place.distance(b.1)))
        {
            to[vertex as usize] = other.0;
            moved += 1;
        }
    }
    if moved == 0 {
        return None;
    }
    let renumbered = mesh.triangles().iter().map(|t| t.map(|v| to[v as usize]));
    let welded = kept(mesh, renumbered.map(has_area_left).collect()).ok()?;
    Some((welded, moved))
}

fn has_area_left([a, b, c]: [u32; 3]) -> Option<[u32; 3]> {
    (a != b && b != c && c != a).then_some([a, b, c])
}

/// The mesh with facets changed or left out.
pub(super) fn kept(mesh: &Mesh, facets: Vec<Option<[u32; 3]>>) -> Result<Mesh, MendError> {
    let kept = facets.into_iter().enumerate();
    let (numbers, facets): (Vec<usize>, Vec<[u32; 3]>) =
        kept.filter_map(|(i, f)| Some((i, f?))).unzip();
    let groups = mesh.groups().of_kept(&numbers);
    if facets.is_empty() {
        return Err(MendError::NoSolid);
    }
    Ok(Mesh::new(mesh.vertices().to_vec(), facets)?.with_groups(groups))
}

/// Drops facets that have the same corners as another: of those that face the same way one
/// stays. Of those that face opposite ways both stay, as where two solids touch, unless all of
/// the mesh is so doubled. Tells how many were dropped.
pub(super) fn drop_doubles(mesh: &Mesh) -> Result<Option<(Mesh, usize)>, MendError> {
    let mut met = HashMap::<[u32; 3], [u32; 2]>::new();
    let key = |corners: [u32; 3]| {
        let mut sorted = corners;
        sorted.sort_unstable();
        // Whether they run as they are sorted, or the other way round.
        let first = corners.iter().position(|v| *v == sorted[0]).unwrap_or(0);
        (sorted, usize::from(corners[(first + 1) % 3] != sorted[1]))
    };
    for &corners in mesh.triangles() {
        let (sorted, way) = key(corners);
        met.entry(sorted).or_default()[way] += 1;
    }
    let all_both_ways = met.values().all(|[a, b]| *a > 0 && *b > 0);
    let mut used = HashMap::<[u32; 3], [bool; 2]>::new();
    let facets: Vec<Option<[u32; 3]>> = mesh
        .triangles()
        .iter()
        .map(|&corners| {
            let (sorted, way) = key(corners);
            let used = used.entry(sorted).or_default();
            let again = used[way] || (all_both_ways && used[1 - way]);
            used[way] = true;
            (!again).then_some(corners)
        })
        .collect();
    let dropped = facets.iter().filter(|f| f.is_none()).count();
    match dropped {
        0 => Ok(None),
        _ => Ok(Some((kept(mesh, facets)?, dropped))),
    }
}
