//! The shape and its colours as the page's view takes them.

use std::fmt::Write as _;

use blend::{Lab, Xyz, ciede2000};
use data_encoding::BASE64;
use geometry::DVec3;
use geometry::surface::clustered;
use plan::Schedule;
use rustc_hash::FxHashMap;

use crate::comparison::{FULL_DE00, scale};
use crate::patches::{ClassColour, LayerColours, Patches};

/// The most triangles that are shown: about 2 MB of page. More are thinned out.
pub(super) const MOST_TRIANGLES: usize = 80_000;
/// The most heights at which colours are told apart.
const MOST_ROWS: usize = 1024;

/// So many classes have a column of colours each; of more, those share one that are nowhere of
/// one height, as bands are.
const MOST_COLUMNS: usize = 64;

/// The shape, ready to be put into the page.
pub(super) struct Shape {
    /// For each vertex its place in the box, three numbers of two bytes, and the column of its
    /// colours.
    vertices: Vec<u8>,
    indices: Vec<u8>,
    size_mm: [f64; 3],
    columns: usize,
    rows: usize,
    /// For each height from the bed up and each column red, green and blue.
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
        let rows = (2 * schedule.layers.len()).clamp(1, MOST_ROWS);
        let classes = patches.classes.len();
        let columns = match classes > MOST_COLUMNS {
            true => {
                let height = |v: u32| {
                    places
                        .get(v as usize)
                        .map_or(0.0, |p| (p.z - lo.z) / size.z)
                };
                Columns::shared(used_rows(&triangles, classes, rows, height))
            }
            false => Columns::own(classes, rows),
        };
        let mut known: FxHashMap<(u32, u32), u32> = FxHashMap::default();
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
                    vertices.extend((columns.of(class as usize) as u16).to_le_bytes());
                }
                indices.extend(index.to_le_bytes());
            }
        }
        let mut shape = Self {
            vertices,
            indices,
            size_mm: size.to_array(),
            columns: columns.count,
            rows,
            asked: vec![0; 3 * rows * columns.count],
            printed: vec![0; 3 * rows * columns.count],
            off: vec![0; 3 * rows * columns.count],
        };
        for row in 0..rows {
            let height = lo.z + size.z * (row as f64 + 0.5) / rows as f64;
            let layer = colours.layer_at(height);
            for (class, column) in columns.at(row) {
                shape.put(row * columns.count + column, colours.at(layer, class));
            }
        }
        shape
    }

    fn put(&mut self, cell: usize, colour: ClassColour) {
        let code = |lab: Lab| lab.to_xyz().to_srgb().0;
        let off = scale(ciede2000(colour.asked, colour.printed) / FULL_DE00);
        for (bytes, code) in [
            (&mut self.asked, code(colour.asked)),
            (&mut self.printed, code(colour.printed)),
            (&mut self.off, Xyz::from_linear_srgb(off).to_srgb().0),
        ] {
            if let Some(place) = bytes.get_mut(3 * cell..3 * cell + 3) {
                place.copy_from_slice(&code);
            }
        }
    }

    /// The data as elements of the page.
    pub(super) fn data(&self) -> String {
        let mut out = String::new();
        let facts = serde_json::json!({
            "size_mm": self.size_mm, "classes": self.columns, "rows": self.rows,
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

/// The patches, in fewer triangles if there are too many. It is a picture to look at; nothing is made
/// from it.
fn thinned(patches: &Patches, most: usize) -> (Vec<DVec3>, Triangles) {
    let (vertices, triangles) = (&patches.vertices, &patches.triangles);
    if triangles.len() <= most {
        let all = triangles.iter().zip(&patches.class);
        return (vertices.clone(), all.map(|(t, c)| (*t, *c)).collect());
    }
    let few = clustered(vertices, triangles, &patches.class, most);
    let triangles = few.triangles.into_iter().zip(few.class).collect();
    (few.vertices, triangles)
}

/// First and last row of the colours that the triangles of each class show; none for a class
/// without any. `height` gives the part of the whole height at which a vertex lies.
fn used_rows(
    triangles: &Triangles,
    classes: usize,
    rows: usize,
    height: impl Fn(u32) -> f64,
) -> Vec<Option<[usize; 2]>> {
    let mut used: Vec<Option<[usize; 2]>> = vec![None; classes];
    for (triangle, class) in triangles {
        let Some(used) = used.get_mut(*class as usize) else {
            continue;
        };
        for row in triangle.map(|v| (height(v).clamp(0.0, 1.0) * rows as f64) as usize) {
            // One more on either side: a level face shows the row beneath it, and places are
            // rounded.
            let (low, high) = (row.saturating_sub(1), (row + 1).min(rows.saturating_sub(1)));
            let range = used.get_or_insert([low, high]);
            *range = [range[0].min(low), range[1].max(high)];
        }
    }
    used
}

/// In which column the colours of each class stand.
struct Columns {
    count: usize,
    of_class: Vec<usize>,
    /// For each row the classes whose colours are shown there.
    in_row: Vec<Vec<u32>>,
}

impl Columns {
    /// One for each class.
    fn own(classes: usize, rows: usize) -> Self {
        Self {
            count: classes,
            of_class: (0..classes).collect(),
            in_row: vec![(0..classes as u32).collect(); rows],
        }
    }

    /// As few as hold all classes, given the rows of each: the first that is free takes the
    /// class that begins next.
    fn shared(used: Vec<Option<[usize; 2]>>) -> Self {
        let rows = used.iter().flatten().map(|[_, last]| last + 1).max();
        let mut in_row = vec![Vec::new(); rows.unwrap_or(0)];
        let mut of_class = vec![0; used.len()];
        let classes = used.iter().enumerate();
        let mut order: Vec<([usize; 2], usize)> = classes
            .filter_map(|(class, rows)| Some(((*rows)?, class)))
            .collect();
        order.sort_unstable();
        let mut free_from: Vec<usize> = Vec::new();
        for ([first, last], class) in order {
            let free = free_from.iter().position(|&from| from <= first);
            let column = free.unwrap_or(free_from.len());
            match free_from.get_mut(column) {
                Some(from) => *from = last + 1,
                None => free_from.push(last + 1),
            }
            if let Some(place) = of_class.get_mut(class) {
                *place = column;
            }
            for row in in_row.iter_mut().take(last + 1).skip(first) {
                row.push(class as u32);
            }
        }
        Self {
            count: free_from.len().max(1),
            of_class,
            in_row,
        }
    }

    fn of(&self, class: usize) -> usize {
        self.of_class.get(class).copied().unwrap_or(0)
    }

    /// The classes that a row has colours of, with their columns.
    fn at(&self, row: usize) -> impl Iterator<Item = (usize, usize)> + '_ {
        let classes = self.in_row.get(row).map(|classes| classes.iter());
        let classes = classes.into_iter().flatten();
        classes.map(|&class| (class as usize, self.of(class as usize)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bands_share_columns_and_what_overlaps_does_not() {
        let used = [Some([0, 3]), Some([3, 6]), None, Some([7, 9]), Some([2, 8])];
        let columns = Columns::shared(used.to_vec());
        assert_eq!(columns.count, 3);
        for row in 0..10 {
            let here: Vec<(usize, usize)> = columns.at(row).collect();
            let shown: Vec<usize> = here.iter().map(|(class, _)| *class).collect();
            let mut wanted: Vec<usize> = (0..5).collect();
            wanted.retain(|&class| used[class].is_some_and(|[a, b]| (a..=b).contains(&row)));
            let mut sorted = shown.clone();
            sorted.sort_unstable();
            assert_eq!(sorted, wanted);
            let mut taken: Vec<usize> = here.iter().map(|(_, column)| *column).collect();
            taken.sort_unstable();
            taken.dedup();
            assert_eq!(taken.len(), here.len(), "two in one column at row {row}");
        }
    }
}
