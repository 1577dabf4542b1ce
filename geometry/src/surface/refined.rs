//! What comes out of cutting facets along the edges of areas.

use std::collections::BTreeMap;

use glam::DVec3;

/// The skin cut so that each triangle belongs to one class.
///
/// Triangles that touch share their vertices, but for a vertex that may lie on the straight
/// side of a neighbour across a facet's edge: there is no gap to be seen.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Refined {
    /// Vertices, mm.
    pub vertices: Vec<DVec3>,
    /// Triangles, wound as the facets they came from.
    pub triangles: Vec<[u32; 3]>,
    /// For each triangle the facet it came from.
    pub source_facet: Vec<u32>,
    /// For each triangle its class.
    pub class: Vec<u32>,
    /// What each class has beyond its triangles, since its edges are bent, mm².
    bends_mm2: BTreeMap<u32, f64>,
    /// How far the area of each class may be off, mm².
    error_mm2: BTreeMap<u32, f64>,
}

/// The area of a class.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClassArea {
    /// The class.
    pub class: u32,
    /// Its area, mm².
    pub area_mm2: f64,
    /// How far that may be off, mm²: what the third point of each piece of the class's edges has
    /// changed, or, where three classes meet, all of the triangle. An estimate, not a
    /// bound; on smooth edges the error is far less.
    pub error_mm2: f64,
}

impl Refined {
    /// Without a triangle, beside vertices that are there already.
    pub(super) fn beside(vertices: impl Iterator<Item = DVec3>) -> Self {
        Self {
            vertices: vertices.collect(),
            ..Self::default()
        }
    }

    /// The area of each class, in rising order of class. They add up to the surface's. Pieces of
    /// edges are taken for parabolas, not for the triangles' straight sides.
    pub fn areas(&self) -> Vec<ClassArea> {
        let mut areas = self.bends_mm2.clone();
        for (triangle, &class) in self.triangles.iter().zip(&self.class) {
            let corners = triangle.map(|v| self.vertices[v as usize]);
            *areas.entry(class).or_default() += area(corners);
        }
        class_areas(&areas, &self.error_mm2)
    }
}

fn class_areas(areas: &BTreeMap<u32, f64>, error_mm2: &BTreeMap<u32, f64>) -> Vec<ClassArea> {
    let error = |class| error_mm2.get(class).copied().unwrap_or(0.0);
    areas
        .iter()
        .map(|(class, &area_mm2)| ClassArea {
            class: *class,
            area_mm2,
            error_mm2: error(class),
        })
        .collect()
}

/// Areas of classes, each added up in order.
pub(super) fn added(areas: impl Iterator<Item = ClassArea>) -> Vec<ClassArea> {
    let (mut sums, mut errors) = (BTreeMap::new(), BTreeMap::new());
    for one in areas {
        *sums.entry(one.class).or_default() += one.area_mm2;
        *errors.entry(one.class).or_default() += one.error_mm2;
    }
    class_areas(&sums, &errors)
}

pub(super) fn area([a, b, c]: [DVec3; 3]) -> f64 {
    0.5 * (b - a).cross(c - a).length()
}

/// Takes the triangles that come out, one after the other.
pub(super) trait Pieces {
    /// Adds a vertex; says its name.
    fn vertex(&mut self, point_mm: DVec3) -> u32;
    /// Where a vertex is, mm.
    fn at(&self, vertex: u32) -> DVec3;
    /// Adds a triangle of a facet.
    fn put(&mut self, triangle: [u32; 3], facet: u32, class: u32);
    /// Adds to the area of a class what its triangles don't have.
    fn bend(&mut self, class: u32, by_mm2: f64);
    /// Adds to how far the area of a class may be off.
    fn err(&mut self, class: u32, by_mm2: f64);
}

impl Pieces for Refined {
    fn vertex(&mut self, point_mm: DVec3) -> u32 {
        self.vertices.push(point_mm);
        self.vertices.len() as u32 - 1
    }

    fn at(&self, vertex: u32) -> DVec3 {
        self.vertices[vertex as usize]
    }

    fn put(&mut self, triangle: [u32; 3], facet: u32, class: u32) {
        self.triangles.push(triangle);
        self.source_facet.push(facet);
        self.class.push(class);
    }

    fn bend(&mut self, class: u32, by_mm2: f64) {
        *self.bends_mm2.entry(class).or_default() += by_mm2;
    }

    fn err(&mut self, class: u32, by_mm2: f64) {
        *self.error_mm2.entry(class).or_default() += by_mm2;
    }
}

/// More vertices beside some that are elsewhere.
pub(super) struct Beside<F> {
    /// How many those are, and where.
    before: usize,
    at: F,
    more: Vec<DVec3>,
}

impl<F: Fn(u32) -> DVec3> Beside<F> {
    pub(super) fn new(before: usize, at: F) -> Self {
        let more = Vec::new();
        Self { before, at, more }
    }

    /// Adds a vertex; says its name.
    pub(super) fn add(&mut self, point_mm: DVec3) -> u32 {
        self.more.push(point_mm);
        (self.before + self.more.len() - 1) as u32
    }

    /// Where a vertex is, mm.
    pub(super) fn at(&self, vertex: u32) -> DVec3 {
        match (vertex as usize).checked_sub(self.before) {
            Some(more) => self.more[more],
            None => (self.at)(vertex),
        }
    }
}

/// Adds up areas and keeps no triangle.
pub(super) struct Areas<F> {
    vertices: Beside<F>,
    area_mm2: BTreeMap<u32, f64>,
    error_mm2: BTreeMap<u32, f64>,
}

impl<F: Fn(u32) -> DVec3> Areas<F> {
    /// Beside vertices that are there already: how many they are, and where.
    pub(super) fn beside(before: usize, at: F) -> Self {
        Self {
            vertices: Beside::new(before, at),
            area_mm2: BTreeMap::new(),
            error_mm2: BTreeMap::new(),
        }
    }

    /// What was added up.
    pub(super) fn told(&self) -> Vec<ClassArea> {
        class_areas(&self.area_mm2, &self.error_mm2)
    }
}

impl<F: Fn(u32) -> DVec3> Pieces for Areas<F> {
    fn vertex(&mut self, point_mm: DVec3) -> u32 {
        self.vertices.add(point_mm)
    }

    fn at(&self, vertex: u32) -> DVec3 {
        self.vertices.at(vertex)
    }

    fn put(&mut self, triangle: [u32; 3], _: u32, class: u32) {
        let corners = triangle.map(|v| self.at(v));
        *self.area_mm2.entry(class).or_default() += area(corners);
    }

    fn bend(&mut self, class: u32, by_mm2: f64) {
        *self.area_mm2.entry(class).or_default() += by_mm2;
    }

    fn err(&mut self, class: u32, by_mm2: f64) {
        *self.error_mm2.entry(class).or_default() += by_mm2;
    }
}

/// A triangle in which an edge parts one corner from the other two.
pub(super) struct Split {
    /// The corner alone, and the others in their order.
    pub(super) corners: [u32; 3],
    /// Where the edge crosses the sides from that corner to the others.
    pub(super) crossings: [u32; 2],
    /// A point of the edge between the crossings.
    pub(super) between: DVec3,
    /// The class of the corner alone, and that of the others.
    pub(super) classes: [u32; 2],
}

impl Split {
    pub(super) fn put(&self, out: &mut impl Pieces, facet: u32) {
        let ([own, next, last], [p, q]) = (self.corners, self.crossings);
        let [alone, others] = self.classes;
        let middle = out.vertex(self.between);
        // What the third point changes tells how far off the edge may still be.
        let changed = area([p, middle, q].map(|v| out.at(v)));
        for class in self.classes {
            out.err(class, changed);
        }
        let more = beyond_triangle([own, p, middle, q].map(|v| out.at(v)));
        out.bend(alone, more);
        out.bend(others, -more);
        out.put([own, p, middle], facet, alone);
        out.put([own, middle, q], facet, alone);
        out.put([p, next, middle], facet, others);
        out.put([middle, next, last], facet, others);
        out.put([middle, last, q], facet, others);
    }
}

/// The area between a parabola through three points and the straight lines from each to the next;
/// negative where it bends towards a corner. The points are the second to the last of four, the
/// corner is the first.
///
/// Archimedes, *Quadrature of the Parabola*: the segment between a chord and the parabola is 4/3
/// of the triangle whose third point is where the parabola is farthest off. Where that point is a
/// part `t` along the chord, the triangle is smaller by `4 t (1 - t)`.
fn beyond_triangle([corner, from, middle, to]: [DVec3; 4]) -> f64 {
    let chord = to - from;
    let t = (middle - from).dot(chord) / chord.length_squared();
    if !(0.1..=0.9).contains(&t) {
        return 0.0;
    }
    let (bend, side) = (chord.cross(middle - from), chord.cross(corner - from));
    let triangle = 0.5 * bend.length();
    let more = triangle * (1.0 / (3.0 * t * (1.0 - t)) - 1.0);
    if bend.dot(side) > 0.0 { -more } else { more }
}

/// A triangle in which an edge goes through a corner. What has lost its area is left out.
pub(super) fn put_snapped(
    out: &mut impl Pieces,
    [own, next, last]: [u32; 3],
    [p, q]: [u32; 2],
    [alone, others]: [u32; 2],
    facet: u32,
) {
    let rest = match p == own {
        true => [[p, next, q], [q, next, last]],
        false => [[p, next, last], [p, last, q]],
    };
    let pieces = [([own, p, q], alone), (rest[0], others), (rest[1], others)];
    for (corners, class) in pieces {
        let [a, b, c] = corners;
        if a != b && b != c && c != a {
            out.put(corners, facet, class);
        }
    }
}
