//! The shape and its colours as the page's view takes them.

use std::collections::HashMap;
use std::fmt::Write as _;

use blend::{Lab, Xyz, ciede2000};
use data_encoding::BASE64;
use geometry::DVec3;
use plan::Schedule;

use crate::comparison::{FULL_DE00, scale};
use crate::patches::{LayerColours, Patches};

/// The most triangles that are shown: about 2 MB of page. More are thinned out.
const MOST_TRIANGLES: usize = 80_000;
/// The most heights at which colours are told apart.
const MOST_ROWS: usize = 1024;

/// The shape, ready to be put into the page.
pub(super) struct Shape {
    /// For each vertex its place in the box, three numbers of two bytes, and its class.
    vertices: Vec<u8>,
    indices: Vec<u8>,
    size_mm: [f64; 3],
    classes: usize,
    rows: usize,
    /// For each height from the bed up and each class red, green and blue.
    asked: Vec<u8>,
    printed: Vec<u8>,
    off: Vec<u8>,
}

impl Shape {
    pub(super) fn new(patches: &Patches, colours: &LayerColours, schedule: &Schedule) -> Self {
        let (places, triangles) = thinned(patches, MOST_TRIANGLES);
        let (lo, hi) = places
            .iter()
            .fold((DVec3::INFINITY, DVec3::NEG_INFINITY), |(lo, hi), p| {
                (lo.min(*p), hi.max(*p))
            });
        let size = (hi - lo).max(DVec3::splat(1e-6));
        let mut known: HashMap<(u32, u32), u32> = HashMap::new();
        let (mut vertices, mut indices) = (Vec::new(), Vec::new());
        for (triangle, class) in triangles {
            for corner in triangle {
                let next = known.len() as u32;
                let index = *known.entry((corner, class)).or_insert(next);
                if index == next {
                    let place = places.get(corner as usize).copied().unwrap_or(lo);
                    for part in ((place - lo) / size).to_array() {
                        let level = (part.clamp(0.0, 1.0) * 65535.0).round() as u16;
                        vertices.extend(level.to_le_bytes());
                    }
                    vertices.extend((class as u16).to_le_bytes());
                }
                indices.extend(index.to_le_bytes());
            }
        }
        let rows = (2 * schedule.layers.len()).clamp(1, MOST_ROWS);
        let classes = patches.classes.len();
        let mut shape = Self {
            vertices,
            indices,
            size_mm: size.to_array(),
            classes,
            rows,
            asked: Vec::new(),
            printed: Vec::new(),
            off: Vec::new(),
        };
        for row in 0..rows {
            let height = lo.z + size.z * (row as f64 + 0.5) / rows as f64;
            let layer = colours.layer_at(height);
            for class in 0..classes {
                let colour = colours.at(layer, class);
                let code = |lab: Lab| lab.to_xyz().to_srgb().0;
                let off = scale(ciede2000(colour.asked, colour.printed) / FULL_DE00);
                shape.asked.extend(code(colour.asked));
                shape.printed.extend(code(colour.printed));
                shape.off.extend(Xyz::from_linear_srgb(off).to_srgb().0);
            }
        }
        shape
    }

    /// The data as elements of the page.
    pub(super) fn data(&self) -> String {
        let mut out = String::new();
        let facts = serde_json::json!({
            "size_mm": self.size_mm, "classes": self.classes, "rows": self.rows,
        });
        // A String takes whatever is written.
        let _ = writeln!(
            out,
            "<script type=\"application/json\" id=\"view-facts\">{facts}</script>"
        );
        for (id, bytes) in [
            ("vertices", &self.vertices),
            ("indices", &self.indices),
            ("colours-asked", &self.asked),
            ("colours-printed", &self.printed),
            ("colours-off", &self.off),
        ] {
            let text = BASE64.encode(bytes);
            let _ = writeln!(
                out,
                "<script type=\"text/plain\" id=\"{id}\">{text}</script>"
            );
        }
        out
    }
}

/// Triangles and their classes.
type Triangles = Vec<([u32; 3], u32)>;

/// The patches, with vertices that lie in one cell of a grid drawn together if there are too
/// many triangles (J. Rossignac and P. Borrel, "Multi-resolution 3D approximations for rendering
/// complex scenes", 1993, from memory). It is a picture to look at; nothing is made from it.
fn thinned(patches: &Patches, most: usize) -> (Vec<DVec3>, Triangles) {
    let both = patches.triangles.iter().zip(&patches.class);
    let all: Triangles = both.map(|(t, c)| (*t, *c)).collect();
    if all.len() <= most {
        return (patches.vertices.clone(), all);
    }
    let bounds = patches.vertices.iter();
    let (lo, hi) = bounds.fold((DVec3::INFINITY, DVec3::NEG_INFINITY), |(lo, hi), p| {
        (lo.min(*p), hi.max(*p))
    });
    let mut cell = (hi - lo).max_element().max(1e-6) / 1024.0;
    loop {
        let (places, triangles) = clustered(patches, &all, lo, cell);
        if triangles.len() <= most {
            return (places, triangles);
        }
        cell *= 1.25;
    }
}

fn clustered(patches: &Patches, all: &Triangles, lo: DVec3, cell: f64) -> (Vec<DVec3>, Triangles) {
    let mut known: HashMap<[i64; 3], u32> = HashMap::new();
    let mut sums: Vec<(DVec3, f64)> = Vec::new();
    let of_vertex: Vec<u32> = patches
        .vertices
        .iter()
        .map(|vertex| {
            let key = ((*vertex - lo) / cell).to_array().map(|v| v.floor() as i64);
            let next = sums.len() as u32;
            let index = *known.entry(key).or_insert(next);
            if index == next {
                sums.push((DVec3::ZERO, 0.0));
            }
            if let Some(sum) = sums.get_mut(index as usize) {
                sum.0 += *vertex;
                sum.1 += 1.0;
            }
            index
        })
        .collect();
    let moved = |v: u32| of_vertex.get(v as usize).copied().unwrap_or(0);
    let kept = all
        .iter()
        .map(|(triangle, class)| (triangle.map(moved), *class))
        .filter(|([a, b, c], _)| a != b && b != c && c != a)
        .collect();
    let places = sums.iter().map(|(sum, count)| *sum / count.max(1.0));
    (places.collect(), kept)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn many_triangles_are_thinned_and_the_shape_stays() {
        let side = 60u32;
        let at = |i: u32, j: u32| DVec3::new(f64::from(i), f64::from(j), f64::from(i % 3) * 0.1);
        let mut triangles = Vec::new();
        for i in 0..side {
            for j in 0..side {
                let v = |a: u32, b: u32| (i + a) * (side + 1) + j + b;
                triangles.extend([[v(0, 0), v(1, 0), v(1, 1)], [v(0, 0), v(1, 1), v(0, 1)]]);
            }
        }
        let vertices = (0..=side).flat_map(|i| (0..=side).map(move |j| at(i, j)));
        let patches = Patches {
            vertices: vertices.collect(),
            class: vec![0; triangles.len()],
            triangles,
            classes: Vec::new(),
        };
        let (places, kept) = thinned(&patches, 1000);
        assert!(kept.len() <= 1000 && kept.len() > 200, "{}", kept.len());
        let area: f64 = kept
            .iter()
            .map(|([a, b, c], _)| {
                let [a, b, c] = [a, b, c].map(|v| places[*v as usize]);
                0.5 * (b - a).cross(c - a).z
            })
            .sum();
        assert!((area / 3600.0 - 1.0).abs() < 0.15, "{area}");
    }
}
