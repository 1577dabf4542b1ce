//! What the stage draws: the part's skin in pieces, each with its colours' places, and the
//! table of colours. Plain numbers; the scene uploads them.

use rustc_hash::FxHashMap;

/// Texels in a row of the table of colours, without the first, which holds the row's ends.
pub const RAMP_TEXELS: usize = 1025;

/// Stands for a region on the face of a cut, where no region asks for a blend.
pub const FREE: u32 = u32::MAX;

/// Triangles ready to draw.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SkinMesh {
    /// Corners, mm.
    pub positions: Vec<[f32; 3]>,
    /// Unit normals of the corners.
    pub normals: Vec<[f32; 3]>,
    /// Where each corner lies along its region's ramp, mm.
    pub along_mm: Vec<f32>,
    /// Each corner's region; the same for the three corners of a triangle.
    pub region: Vec<u32>,
    /// Three corners for each triangle.
    pub indices: Vec<u32>,
}

impl SkinMesh {
    /// Adds a triangle.
    pub fn push(
        &mut self,
        corners: [[f32; 3]; 3],
        normals: [[f32; 3]; 3],
        along_mm: [f32; 3],
        region: u32,
    ) {
        let first = self.positions.len() as u32;
        self.indices.extend([first, first + 1, first + 2]);
        self.positions.extend(corners);
        self.normals.extend(normals);
        self.along_mm.extend(along_mm);
        self.region.extend([region; 3]);
    }

    /// Number of triangles.
    pub fn triangles(&self) -> usize {
        self.indices.len() / 3
    }

    /// The same triangles, with corners that are alike in everything held once. On smooth skin
    /// that leaves a sixth of them for the card to work out.
    pub fn with_shared_corners(&self) -> Self {
        let mut known = FxHashMap::default();
        let mut shared = Self::default();
        for &index in &self.indices {
            let i = index as usize;
            let corner = (self.positions.get(i), self.normals.get(i));
            let place = (self.along_mm.get(i), self.region.get(i));
            let ((Some(&at), Some(&normal)), (Some(&along_mm), Some(&region))) = (corner, place)
            else {
                continue;
            };
            let bits = (
                at.map(f32::to_bits),
                normal.map(f32::to_bits),
                along_mm.to_bits(),
                region,
            );
            let index = *known.entry(bits).or_insert_with(|| {
                shared.positions.push(at);
                shared.normals.push(normal);
                shared.along_mm.push(along_mm);
                shared.region.push(region);
                shared.positions.len() as u32 - 1
            });
            shared.indices.push(index);
        }
        shared
    }

    /// Whether there is nothing to draw.
    pub fn is_empty(&self) -> bool {
        self.positions.is_empty()
    }
}

/// The rows that hold a region's colours as printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PrintRows {
    /// The first of them.
    pub first: usize,
    /// How many: one for each stretch of the ramp.
    pub count: usize,
}

/// One region's colours along its ramp.
#[derive(Clone, Debug, PartialEq)]
pub struct RampRow {
    /// Where the ramp starts and ends, mm.
    pub ends_mm: (f64, f64),
    /// Colours in linear-light sRGB, evenly spread; [`RAMP_TEXELS`] of them.
    pub colours: Vec<[f32; 3]>,
    /// Where its colours as printed stand, if they are shown.
    pub printed: Option<PrintRows>,
}

impl RampRow {
    /// One colour everywhere.
    pub fn plain(colour: [f32; 3]) -> Self {
        Self {
            ends_mm: (0.0, 1.0),
            colours: vec![colour; RAMP_TEXELS],
            printed: None,
        }
    }
}

/// The table of colours: one row a region.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RampTable {
    /// The rows.
    pub rows: Vec<RampRow>,
}

impl RampTable {
    /// The table as texels of four numbers, row by row: first the ends, then the colours.
    pub fn texels(&self) -> Vec<f32> {
        let mut texels = Vec::with_capacity(self.rows.len() * (RAMP_TEXELS + 1) * 4);
        for row in &self.rows {
            let (first, count) = row.printed.map_or((0, 0), |p| (p.first, p.count));
            let ends = [row.ends_mm.0 as f32, row.ends_mm.1 as f32];
            texels.extend([ends[0], ends[1], first as f32, count as f32]);
            for i in 0..RAMP_TEXELS {
                let [r, g, b] = row.colours.get(i).copied().unwrap_or_default();
                texels.extend([r, g, b, 1.0]);
            }
        }
        texels
    }
}

/// A change of what is drawn, on its way to the scene.
#[derive(Clone, Debug, PartialEq)]
pub enum SkinUpdate {
    /// Another part, in so many pieces; all of the old one goes.
    Pieces(usize),
    /// A piece's triangles.
    Piece(usize, SkinMesh),
    /// The table of colours.
    Ramps(RampTable),
    /// What would be painted, in one colour (linear light); empty for nothing.
    Hover(SkinMesh, [f32; 3]),
    /// More of what is being painted, in one colour (linear light).
    Drawn(SkinMesh, [f32; 3]),
    /// Nothing is being painted any more.
    DrawnGone,
    /// The face that the section plane opens; empty for none.
    Face(SkinMesh),
}

impl SkinMesh {
    /// Takes in another's triangles.
    pub fn append(&mut self, other: Self) {
        let first = self.positions.len() as u32;
        self.indices.extend(other.indices.iter().map(|i| first + i));
        self.positions.extend(other.positions);
        self.normals.extend(other.normals);
        self.along_mm.extend(other.along_mm);
        self.region.extend(other.region);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A strip of squares, each of two triangles.
    fn strip(squares: usize) -> SkinMesh {
        let mut mesh = SkinMesh::default();
        for i in 0..squares {
            let (x, up) = (i as f32, [0.0, 0.0, 1.0]);
            let (a, b) = ([x, 0.0, 0.0], [x + 1.0, 0.0, 0.0]);
            let (c, d) = ([x + 1.0, 1.0, 0.0], [x, 1.0, 0.0]);
            mesh.push([a, b, c], [up; 3], [x, x + 1.0, x + 1.0], 0);
            mesh.push([a, c, d], [up; 3], [x, x + 1.0, x], 0);
        }
        mesh
    }

    #[test]
    fn shared_corners_make_the_same_triangles() {
        let mut mesh = strip(10);
        // The same place in another region is another corner.
        mesh.push([[0.0; 3], [1.0; 3], [2.0; 3]], [[0.0; 3]; 3], [0.0; 3], 1);
        let shared = mesh.with_shared_corners();
        assert_eq!(shared.triangles(), mesh.triangles());
        assert_eq!(shared.positions.len(), 22 + 3);
        let corners = |m: &SkinMesh| -> Vec<_> {
            let corner = |i: u32| {
                let i = i as usize;
                (m.positions[i], m.normals[i], m.along_mm[i], m.region[i])
            };
            m.indices.iter().map(|i| corner(*i)).collect()
        };
        assert_eq!(corners(&shared), corners(&mesh));
    }

    #[test]
    fn what_is_added_keeps_its_corners() {
        let mut both = strip(2).with_shared_corners();
        let last = strip(1);
        both.append(last.clone());
        assert_eq!(both.triangles(), 6);
        let end: Vec<_> = both.indices[12..]
            .iter()
            .map(|i| both.positions[*i as usize])
            .collect();
        assert_eq!(end, last.positions);
    }
}
