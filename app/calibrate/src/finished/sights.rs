//! What a photograph shows of a part's skin: for each pixel that can be trusted, the point of the
//! skin and its light.

use geometry::{Cancelled, DVec3, Progress, Ray, Surface, SurfacePoint};
use photograph::homography::Point;
use photograph::scene::Scene;

use super::mask::bounds;
use super::posed::Posed;

/// Pixels of a picture that are looked at; of a larger one every second, third and so on.
const MOST_PIXELS: f64 = 160_000.0;
/// A face that is turned further away than this shows too little, the cosine of the angle.
const FACING: f64 = 0.4;
/// Outlines, also within the part, are blurred over so many px to each side.
const MARGIN_PX: f64 = 2.5;
/// Neighbouring pixels further apart than this in depth are on two sides of an outline, mm.
const STEP_MM: f64 = 1.5;
/// Faces whose normals are further apart than this, the cosine of the angle, have other light; and
/// where they meet a pixel has some of both.
const FOLD: f64 = 0.65;
/// Less than this of what is about a place open to the light makes a hollow, which has light of
/// its own.
const LEAST_OPEN: f64 = 0.8;
/// Directions that are looked in for that.
const WAYS: usize = 40;
/// How far off the skin rays begin, mm.
const OFF_SKIN_MM: f64 = 0.05;
/// Where the part itself has no channel at all, nothing can be divided.
const LEAST_LIGHT: f64 = 1e-4;

/// A pixel that shows a part's skin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sight {
    /// The point of the skin.
    pub point: SurfacePoint,
    /// Its normal in space: right, away from the card's lower edge, up.
    pub normal: DVec3,
    /// Its height above the table, mm.
    pub up_mm: f64,
    /// Its light in the three channels: the reflectance that it would have lying on the card.
    pub light: [f64; 3],
    /// Column and row in [`Sights`].
    pub at: (usize, usize),
}

/// The pixels of a part.
pub struct Sights {
    /// Those that can be trusted.
    pub good: Vec<Sight>,
    /// Where rays meet the part, row by row.
    pub hits: Vec<Option<SurfacePoint>>,
    /// Columns and rows of that.
    pub size: (usize, usize),
    /// Pixels of the photograph for one.
    pub every_px: usize,
    /// The photograph's pixel of the first.
    pub from_px: (usize, usize),
    /// The share of pixels of the part's faces that is at an end of its codes.
    pub clipped: f64,
}

impl Sights {
    /// Of a part in a scene.
    ///
    /// # Errors
    /// [`Cancelled`] when cancelled.
    pub fn of(
        scene: &Scene<'_>,
        posed: &Posed<'_>,
        surface: &Surface,
        progress: &Progress,
    ) -> Result<Self, Cancelled> {
        let photo = scene.photo;
        let seen = surface.mesh().vertices().iter();
        let seen = seen.filter_map(|v| posed.project(*v));
        let (low, high) = bounds(seen).unwrap_or_default();
        let inside = |(x, y): Point| {
            (
                (x.max(0.0) as usize).min(photo.width()),
                (y.max(0.0) as usize).min(photo.height()),
            )
        };
        let (from_px, to) = (inside(low), inside((high.0 + 1.0, high.1 + 1.0)));
        let area = ((to.0 - from_px.0) * (to.1 - from_px.1)) as f64;
        let every_px = (area / MOST_PIXELS).sqrt().ceil().max(1.0) as usize;
        let size = (
            (to.0 - from_px.0).div_ceil(every_px),
            (to.1 - from_px.1).div_ceil(every_px),
        );
        let mut sights = Self {
            good: Vec::new(),
            hits: Vec::with_capacity(size.0 * size.1),
            size,
            every_px,
            from_px,
            clipped: 0.0,
        };
        let eye = posed.eye_mm();
        for row in 0..size.1 {
            progress.check()?;
            let rays = (0..size.0).map(|column| Ray {
                from_mm: eye,
                direction: posed.sight(sights.middle_px((column, row))),
            });
            let rays: Vec<Ray> = rays.collect();
            sights.hits.extend(surface.first_hits(&rays));
        }
        sights.choose(scene, posed, surface, progress)?;
        Ok(sights)
    }

    /// The middle of a cell in the photograph, px.
    fn middle_px(&self, (column, row): (usize, usize)) -> Point {
        let half = self.every_px / 2;
        (
            (self.from_px.0 + column * self.every_px + half) as f64 + 0.5,
            (self.from_px.1 + row * self.every_px + half) as f64 + 0.5,
        )
    }

    /// Where a cell's ray meets the part.
    pub fn hit(&self, (column, row): (usize, usize)) -> Option<SurfacePoint> {
        match column < self.size.0 {
            true => self.hits.get(row * self.size.0 + column).copied().flatten(),
            false => None,
        }
    }

    fn choose(
        &mut self,
        scene: &Scene<'_>,
        posed: &Posed<'_>,
        surface: &Surface,
        progress: &Progress,
    ) -> Result<(), Cancelled> {
        let eye = posed.eye_mm();
        let ways = ways();
        let there = on_card(posed);
        let (mut faces, mut clipped) = (0.0, 0.0);
        let mut good = Vec::new();
        for row in 0..self.size.1 {
            progress.check()?;
            for column in 0..self.size.0 {
                let at = (column, row);
                let Some(point) = self.hit(at) else {
                    continue;
                };
                let normal = surface.normal(point.facet);
                let toward = (eye - point.point_mm).normalize_or_zero();
                if normal.dot(toward) < FACING || !self.is_inside(at, point, surface, eye) {
                    continue;
                }
                let pixel = scene.photo.pixel_at(self.middle_px(at));
                let Some((light, ends)) = pixel else {
                    continue;
                };
                faces += 1.0;
                if ends.blown() || (0..3).any(|channel| ends.crushed(channel)) {
                    clipped += 1.0;
                    continue;
                }
                let light = scene.light.reflectance(light.map(f64::from), there);
                let lit = light.iter().all(|v| *v > LEAST_LIGHT);
                if lit && openness(surface, point, normal, &ways) >= LEAST_OPEN {
                    good.push(Sight {
                        point,
                        normal: posed.direction(normal),
                        up_mm: posed.place(point.point_mm)[2],
                        light,
                        at,
                    });
                }
            }
        }
        self.good = good;
        self.clipped = clipped / f64::max(faces, 1.0);
        Ok(())
    }

    /// Whether no outline and no fold is near: all about it is the part, as deep, and faces about
    /// the same way.
    fn is_inside(
        &self,
        at: (usize, usize),
        point: SurfacePoint,
        surface: &Surface,
        eye: DVec3,
    ) -> bool {
        let depth = |point: SurfacePoint| (point.point_mm - eye).length();
        let (here, normal) = (depth(point), surface.normal(point.facet));
        self.around(at, |cell| {
            self.hit(cell).is_some_and(|other| {
                let across = (other.point_mm - point.point_mm).length();
                (depth(other) - here).abs() < STEP_MM.max(0.9 * across)
                    && normal.dot(surface.normal(other.facet)) > FOLD
            })
        })
    }

    /// Whether something holds of all cells that a blurred edge would reach one from.
    pub fn around(
        &self,
        (column, row): (usize, usize),
        holds: impl Fn((usize, usize)) -> bool,
    ) -> bool {
        let reach = (MARGIN_PX / self.every_px as f64).ceil() as usize;
        let rows = row.checked_sub(reach).map(|from| from..=row + reach);
        let columns = column.checked_sub(reach).map(|from| from..=column + reach);
        let (Some(mut rows), Some(columns)) = (rows, columns) else {
            return false;
        };
        rows.all(|row| columns.clone().all(|column| holds((column, row))))
    }
}

/// The place of the card whose light a part has: its own, or the nearest of the card.
fn on_card(posed: &Posed<'_>) -> Point {
    use photograph::card::{HEIGHT_MM, WIDTH_MM};
    (
        posed.pose.x_mm.clamp(0.0, WIDTH_MM),
        posed.pose.y_mm.clamp(0.0, HEIGHT_MM),
    )
}

/// Directions all about, evenly spread along a spiral (R. Swinbank, R. Purser, Quarterly Journal
/// of the Royal Meteorological Society 132, 1769, 2006, from memory).
fn ways() -> Vec<DVec3> {
    let golden = std::f64::consts::PI * (3.0 - 5.0_f64.sqrt());
    let way = |i: usize| {
        let z = 1.0 - 2.0 * (i as f64 + 0.5) / WAYS as f64;
        let (sin, cos) = (golden * i as f64).sin_cos();
        let across = (1.0 - z * z).sqrt();
        DVec3::new(across * cos, across * sin, z)
    };
    (0..WAYS).map(way).collect()
}

/// How much of what a place faces is open: the share of directions that meet nothing of the part,
/// each by how squarely it falls.
fn openness(surface: &Surface, point: SurfacePoint, normal: DVec3, ways: &[DVec3]) -> f64 {
    let from_mm = point.point_mm + OFF_SKIN_MM * normal;
    let facing = ways.iter().filter(|way| way.dot(normal) > 0.1);
    let rays = facing.map(|way| Ray {
        from_mm,
        direction: *way,
    });
    let rays: Vec<Ray> = rays.collect();
    let hits = surface.first_hits(&rays);
    let (mut open, mut all) = (0.0, 0.0);
    for (ray, hit) in rays.iter().zip(hits) {
        let weight = ray.direction.dot(normal);
        all += weight;
        open += if hit.is_none() { weight } else { 0.0 };
    }
    if all > 0.0 { open / all } else { 0.0 }
}
