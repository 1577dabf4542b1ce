//! A nameplate with raised letters and a raised rim, 110 × 34 × 4 mm, in one closed shell.
//!
//! Its faces are polygons with holes, cut into triangles by the constrained Delaunay
//! triangulation of `spade`; the lettering comes from the outlines of the font Hack (licence MIT and Bitstream Vera), as `epaint_default_fonts`
//! carries it.

use std::f64::consts::FRAC_PI_2;

use ab_glyph::{Font, FontRef, OutlineCurve, Point, ScaleFont};
use geometry::Mesh;
use glam::{DVec2, DVec3};
use spade::{ConstrainedDelaunayTriangulation, InsertionError, Point2, Triangulation};

use crate::error::DemoError;

const TEXT: &str = "HARBOUR";
const LETTER_MM: f64 = 22.0;
const HALF_MM: DVec2 = DVec2::new(55.0, 17.0);
const RIM_MM: f64 = 2.4;
const CORNER_MM: f64 = 6.0;
const PLATE_TOP_MM: f64 = 2.0;
const RAISED_TOP_MM: f64 = 4.0;
/// Pieces of each curve of a letter.
const CURVE_STEPS: usize = 6;

/// A closed outline, counter-clockwise seen from above where it bounds plastic outwards.
type Outline = Vec<DVec2>;

/// The plate.
pub(crate) fn mesh() -> Result<Mesh, DemoError> {
    let edge = rounded_rectangle(HALF_MM, CORNER_MM);
    let rim = rounded_rectangle(HALF_MM - RIM_MM, CORNER_MM - RIM_MM);
    let (letters, counters): (Vec<Outline>, Vec<Outline>) = lettering()?
        .into_iter()
        .partition(|outline| signed_area(outline) > 0.0);

    let mut shell = Shell::default();
    shell.face(&edge, &[], 0.0, false)?;
    shell.wall(&edge, 0.0, RAISED_TOP_MM);
    shell.face(&edge, std::slice::from_ref(&rim), RAISED_TOP_MM, true)?;
    shell.wall(&reversed(&rim), PLATE_TOP_MM, RAISED_TOP_MM);
    shell.face(&rim, &letters, PLATE_TOP_MM, true)?;
    for letter in &letters {
        let holes: Vec<Outline> = counters
            .iter()
            .filter(|hole| encloses(letter, hole[0]))
            .cloned()
            .collect();
        shell.wall(letter, PLATE_TOP_MM, RAISED_TOP_MM);
        shell.face(letter, &holes, RAISED_TOP_MM, true)?;
    }
    for counter in &counters {
        shell.wall(counter, PLATE_TOP_MM, RAISED_TOP_MM);
        shell.face(&reversed(counter), &[], PLATE_TOP_MM, true)?;
    }
    let (vertices, triangles) = shell.welded();
    Ok(Mesh::new(vertices, triangles)?)
}

/// Facets collected face by face.
#[derive(Default)]
struct Shell {
    facets: Vec<[DVec3; 3]>,
}

impl Shell {
    /// A flat face with holes at a height, looking up or down.
    fn face(
        &mut self,
        outline: &Outline,
        holes: &[Outline],
        z_mm: f64,
        up: bool,
    ) -> Result<(), InsertionError> {
        let mut net = ConstrainedDelaunayTriangulation::<Point2<f64>>::new();
        for ring in std::iter::once(outline).chain(holes) {
            net.add_constraint_edges(ring.iter().map(|p| Point2::new(p.x, p.y)), true)?;
        }
        for facet in net.inner_faces() {
            let mut corners = facet.positions().map(|p| DVec2::new(p.x, p.y));
            let middle = (corners[0] + corners[1] + corners[2]) / 3.0;
            if !encloses(outline, middle) || holes.iter().any(|hole| encloses(hole, middle)) {
                continue;
            }
            if !up {
                corners.reverse();
            }
            self.facets.push(corners.map(|p| p.extend(z_mm)));
        }
        Ok(())
    }

    /// An upright wall above an outline, with the plastic to the left of its direction.
    fn wall(&mut self, outline: &Outline, from_mm: f64, to_mm: f64) {
        for (i, &a) in outline.iter().enumerate() {
            let b = outline[(i + 1) % outline.len()];
            let (low_a, low_b) = (a.extend(from_mm), b.extend(from_mm));
            let (high_a, high_b) = (a.extend(to_mm), b.extend(to_mm));
            self.facets.push([low_a, low_b, high_b]);
            self.facets.push([low_a, high_b, high_a]);
        }
    }

    /// Joins equal corners.
    fn welded(self) -> (Vec<DVec3>, Vec<[u32; 3]>) {
        let mut index = std::collections::HashMap::new();
        let mut vertices = Vec::new();
        let mut vertex = |p: DVec3| {
            *index
                .entry(p.to_array().map(f64::to_bits))
                .or_insert_with(|| {
                    vertices.push(p);
                    vertices.len() as u32 - 1
                })
        };
        let triangles = self
            .facets
            .iter()
            .map(|facet| facet.map(&mut vertex))
            .collect();
        (vertices, triangles)
    }
}

/// The outlines of [`TEXT`], centred: letters counter-clockwise, their counters clockwise.
fn lettering() -> Result<Vec<Outline>, DemoError> {
    let font =
        FontRef::try_from_slice(epaint_default_fonts::HACK_REGULAR).map_err(|_| DemoError::Font)?;
    let scaled = font.as_scaled(LETTER_MM as f32);
    let scale = f64::from(scaled.h_scale_factor());
    let mut outlines = Vec::new();
    let mut pen_mm = 0.0;
    for letter in TEXT.chars() {
        let glyph = font.glyph_id(letter);
        let curves = font.outline(glyph).ok_or(DemoError::Font)?.curves;
        for outline in flattened(&curves) {
            outlines.push(
                outline
                    .iter()
                    .map(|p| *p * scale + DVec2::new(pen_mm, 0.0))
                    .collect(),
            );
        }
        pen_mm += f64::from(scaled.h_advance(glyph));
    }
    centre(&mut outlines);
    // TrueType runs outer outlines clockwise; plastic to the left wants them the other way.
    Ok(outlines.iter().map(reversed).collect())
}

/// Moves the lettering so that the middle of its box is the origin, on a grid of 1 µm.
fn centre(outlines: &mut [Outline]) {
    let points = || outlines.iter().flatten();
    let low = points().fold(DVec2::INFINITY, |low, p| low.min(*p));
    let high = points().fold(DVec2::NEG_INFINITY, |high, p| high.max(*p));
    let middle = (low + high) * 0.5;
    for point in outlines.iter_mut().flatten() {
        *point = ((*point - middle) * 1000.0).round() / 1000.0;
    }
}

/// Chains a glyph's curves into closed outlines of straight pieces, in font units.
fn flattened(curves: &[OutlineCurve]) -> Vec<Outline> {
    let mut outlines: Vec<Outline> = Vec::new();
    let mut end: Option<Point> = None;
    for curve in curves {
        let (start, stop) = match curve {
            OutlineCurve::Line(a, b)
            | OutlineCurve::Quad(a, _, b)
            | OutlineCurve::Cubic(a, _, _, b) => (*a, *b),
        };
        if end != Some(start) {
            outlines.push(vec![vector(start)]);
        }
        end = Some(stop);
        if let Some(outline) = outlines.last_mut() {
            outline.extend(pieces(curve));
        }
    }
    for outline in &mut outlines {
        tidy(outline);
    }
    outlines
}

/// The points of a curve after its first.
fn pieces(curve: &OutlineCurve) -> Vec<DVec2> {
    let steps = |at: &dyn Fn(f64) -> DVec2| {
        (1..=CURVE_STEPS)
            .map(|i| at(i as f64 / CURVE_STEPS as f64))
            .collect()
    };
    match *curve {
        OutlineCurve::Line(_, b) => vec![vector(b)],
        OutlineCurve::Quad(a, b, c) => {
            let [a, b, c] = [a, b, c].map(vector);
            steps(&|t| a.lerp(b, t).lerp(b.lerp(c, t), t))
        }
        OutlineCurve::Cubic(a, b, c, d) => {
            let [a, b, c, d] = [a, b, c, d].map(vector);
            steps(&|t| {
                let (ab, bc, cd) = (a.lerp(b, t), b.lerp(c, t), c.lerp(d, t));
                ab.lerp(bc, t).lerp(bc.lerp(cd, t), t)
            })
        }
    }
}

/// Drops repeated points and points in the middle of a straight run, which the cutting into
/// triangles would pass over and so leave the shell open.
fn tidy(outline: &mut Outline) {
    outline.dedup_by(|a, b| a.distance(*b) < 1.0);
    while outline.len() > 1 && outline[0].distance(outline[outline.len() - 1]) < 1.0 {
        outline.pop();
    }
    let turns = |i: usize| {
        let n = outline.len();
        let (before, here, after) = (outline[(i + n - 1) % n], outline[i], outline[(i + 1) % n]);
        let (into, out) = ((here - before).normalize(), (after - here).normalize());
        into.perp_dot(out).abs() > 1e-3 || into.dot(out) < 0.0
    };
    *outline = (0..outline.len())
        .filter(|&i| turns(i))
        .map(|i| outline[i])
        .collect();
}

fn vector(point: Point) -> DVec2 {
    DVec2::new(f64::from(point.x), f64::from(point.y))
}

/// A rectangle with rounded corners, counter-clockwise.
fn rounded_rectangle(half_mm: DVec2, corner_mm: f64) -> Outline {
    const STEPS: usize = 10;
    let mut outline = Vec::new();
    for (quarter, side) in [(1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0), (1.0, -1.0)]
        .into_iter()
        .enumerate()
    {
        let centre = DVec2::new(side.0, side.1) * (half_mm - corner_mm);
        for step in 0..=STEPS {
            let angle = FRAC_PI_2 * (quarter as f64 + step as f64 / STEPS as f64);
            outline.push(centre + corner_mm * DVec2::from_angle(angle));
        }
    }
    outline
}

fn reversed(outline: &Outline) -> Outline {
    outline.iter().rev().copied().collect()
}

/// Area of an outline, positive when counter-clockwise, mm².
fn signed_area(outline: &Outline) -> f64 {
    let n = outline.len();
    (0..n)
        .map(|i| outline[i].perp_dot(outline[(i + 1) % n]))
        .sum::<f64>()
        / 2.0
}

/// Whether a point lies inside an outline (even-odd rule).
fn encloses(outline: &Outline, point: DVec2) -> bool {
    let n = outline.len();
    let crosses = |i: usize| {
        let (a, b) = (outline[i], outline[(i + 1) % n]);
        (a.y > point.y) != (b.y > point.y)
            && point.x < a.x + (b.x - a.x) * (point.y - a.y) / (b.y - a.y)
    };
    (0..n).filter(|&i| crosses(i)).count() % 2 == 1
}
