//! How the light falls on the card, and what the camera made of it.
//!
//! The light of the blank paper is measured all over the card and laid out as a smooth surface:
//! the logarithm of each channel is a polynomial of second degree in x and y, which holds a
//! gradient as well as the darkening towards a lens's corners. What lies on the card is then
//! read as a share of the paper's light. References of known reflectance say how much that share
//! is, and two or three the camera's tone curve as well.

use nalgebra::{DMatrix, DVector};

use crate::Photo;
use crate::card::{self, Rect};
use crate::homography::Point;
use crate::patch::{mean, mean_light, pixels};
use crate::tone::Tone;
use crate::view::View;

pub use crate::reference::Reference;

/// Blank patches that stray further than this from the surface have something lying on them, or
/// are in a shadow: they count for nothing.
const STRAY: f64 = 0.12;
/// The same once the surface is known.
const MOST_STRAY: f64 = 0.05;
/// So many of the blank patches must be good.
const FEWEST_BLANK: usize = 48;
/// The light at its darkest place must be this share of that at its brightest.
const MOST_UNEVEN: f64 = 0.25;
/// Blank paper darker than this share of the full exposure leaves dark steps in the noise.
const LEAST_EXPOSURE: f64 = 0.2;
/// A reference whose light changes by more than this from side to side does not lie flat, or not
/// all of it is there.
const UNEVEN: f64 = 0.08;
/// Terms of the surface.
const TERMS: usize = 6;

/// The light on the card as the camera has it.
#[derive(Clone, Debug, PartialEq)]
pub struct Light {
    /// The logarithm of the paper's light, one polynomial for each channel.
    paper: [[f64; TERMS]; 3],
    /// How far the blank patches stray from that, RMS of the logarithm.
    pub stray: f64,
    /// The light where it is darkest as a share of that where it is brightest.
    pub evenness: f64,
    tone: Tone,
}

impl Light {
    /// Measures the light of the blank paper, without references.
    ///
    /// # Errors
    /// Too much of it is blown, covered, or dark: sentences with the places.
    pub fn of_paper(photo: &Photo, view: &View) -> Result<Self, String> {
        let mut sites: Vec<(Point, [f64; 3])> = Vec::new();
        let mut blown = Vec::new();
        for rect in card::blank() {
            let pixels = pixels(photo, view, rect, 0.0);
            let share = pixels.iter().filter(|(_, ends)| ends.blown()).count() as f64;
            if share > 0.02 * pixels.len() as f64 {
                blown.push(rect.centre());
            } else if !pixels.is_empty() {
                let light = mean(pixels.iter().map(|(light, _)| *light));
                sites.push((rect.centre(), light.map(|v| v.max(1e-4).ln())));
            }
        }
        if blown.len() > 4 {
            return Err(format!(
                "the card's blank paper is overexposed ({}); photograph again with less light",
                places(&blown)
            ));
        }
        let (paper, kept) = surface(&sites).ok_or_else(|| {
            let places = places(&sites.iter().map(|site| site.0).collect::<Vec<_>>());
            format!("too little of the card's blank paper can be seen ({places})")
        })?;
        let off = |(at, light): &(Point, [f64; 3])| {
            let there = value(&paper, *at);
            let off = light.iter().zip(there).map(|(a, b)| (a - b).powi(2));
            off.sum::<f64>() / 3.0
        };
        let good = kept.iter().map(off).sum::<f64>() / kept.len().max(1) as f64;
        let green = |at: Point| value(&paper, at)[1].exp();
        let all = || card::blank().map(|rect| green(rect.centre()));
        let (least, most) = (all().fold(f64::MAX, f64::min), all().fold(0.0, f64::max));
        let light = Self {
            paper,
            stray: good.sqrt(),
            evenness: least / most,
            tone: Tone::straight(),
        };
        let darkest = card::blank().map(|rect| rect.centre());
        let darkest = darkest.min_by(|a, b| green(*a).total_cmp(&green(*b)));
        let place = darkest.map_or("middle", |(x, y)| card::place_in_words(x, y));
        if most < LEAST_EXPOSURE {
            return Err(format!(
                "the card is underexposed: its paper has {:.0} % of full exposure and needs at \
                 least {:.0} %; photograph again with more light",
                100.0 * most,
                100.0 * LEAST_EXPOSURE
            ));
        }
        if light.evenness < MOST_UNEVEN {
            return Err(format!(
                "the light is too uneven: at the {place} of the card there is {:.0} % of the \
                 light at its brightest place; light it from two sides",
                100.0 * light.evenness
            ));
        }
        Ok(light)
    }

    /// The same, with what references of known reflectance say.
    ///
    /// # Errors
    /// A reference can't be read, or they contradict each other: sentences with their places.
    pub fn with_references(
        mut self,
        photo: &Photo,
        view: &View,
        references: &[Reference],
    ) -> Result<Self, String> {
        let mut seen = Vec::new();
        let mut wrong = Vec::new();
        for reference in references {
            match reference_light(photo, view, &self, *reference) {
                Ok(share) => seen.push((reference.reflectance.ln(), share)),
                Err(why) => wrong.push(why),
            }
        }
        if !wrong.is_empty() {
            return Err(wrong.join("\n"));
        }
        self.tone = Tone::fit(&seen)?;
        Ok(self)
    }

    /// The logarithm of the paper's light at a point.
    fn paper_at(&self, at: Point) -> [f64; 3] {
        value(&self.paper, at)
    }

    /// What is seen at a point of the card as a share of the paper's light there.
    pub fn share(&self, light: [f64; 3], at: Point) -> [f64; 3] {
        let mut share = light;
        for (share, paper) in share.iter_mut().zip(value(&self.paper, at)) {
            *share /= paper.exp();
        }
        share
    }

    /// The reflectances in the three channels of what is seen at a point of the card.
    pub fn reflectance(&self, light: [f64; 3], at: Point) -> [f64; 3] {
        let share = self.share(light, at);
        let level = value(&self.paper, at);
        let mut out = [0.0; 3];
        for (channel, out) in out.iter_mut().enumerate() {
            let of = |all: &[f64; 3]| all.get(channel).copied().unwrap_or(0.0);
            *out = self
                .tone
                .reflectance(of(&share), of(&level), of(&self.tone.paper));
        }
        out
    }

    /// The same reflectances as shares of the paper's.
    pub(crate) fn of_paper_there(&self, light: [f64; 3], at: Point) -> [f64; 3] {
        let mut share = self.reflectance(light, at);
        for (share, paper) in share.iter_mut().zip(self.tone.paper) {
            *share /= paper.exp();
        }
        share
    }

    /// The slope of the tone curve that the references told, 1 for that of sRGB.
    pub fn tone_slope(&self) -> f64 {
        self.tone.slope
    }
}

/// For each channel the logarithms of a reference's share of the paper's light, and of the latter.
fn reference_light(
    photo: &Photo,
    view: &View,
    light: &Light,
    reference: Reference,
) -> Result<[(f64, f64); 3], String> {
    let name = card::PLACE_NAMES
        .get(reference.place)
        .copied()
        .unwrap_or("?");
    let name = format!("the reference on {name}");
    let place = card::PLACES
        .get(reference.place)
        .ok_or_else(|| format!("{name}: there is no such place"))?;
    let rect = Rect::about(place.centre(), 14.0, 14.0);
    let seen = mean_light(&name, &pixels(photo, view, rect, 0.0))?;
    let spread = spread(photo, view, light, rect);
    if spread > UNEVEN {
        return Err(format!(
            "{name} is not one even colour (it varies by {:.0} %): lay it flat over the whole \
             place, in no shadow",
            100.0 * spread
        ));
    }
    let share = light.share(seen, rect.centre());
    let level = light.paper_at(rect.centre());
    let mut out = [(0.0, 0.0); 3];
    for ((out, share), level) in out.iter_mut().zip(share).zip(level) {
        *out = (share.max(1e-5).ln(), level);
    }
    Ok(out)
}

/// How much the cells of 2 mm of a rectangle vary, in standard deviations as a share of their mean.
fn spread(photo: &Photo, view: &View, light: &Light, rect: Rect) -> f64 {
    let side = card::STRIPE_MM;
    let count = ((rect.x.1 - rect.x.0) / side) as usize;
    let cells: Vec<f64> = (0..count * count)
        .map(|i| {
            let at = (
                rect.x.0 + side * (0.5 + (i % count) as f64),
                rect.y.0 + side * (0.5 + (i / count) as f64),
            );
            let pixels = pixels(photo, view, Rect::about(at, side, side), 0.0);
            light.share(mean(pixels.iter().map(|(light, _)| *light)), at)[1]
        })
        .collect();
    let number = cells.len().max(1) as f64;
    let mean = cells.iter().sum::<f64>() / number;
    let squares = cells.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
    (squares / number).sqrt() / mean.max(1e-6)
}

/// The surface through the logarithms of the blank patches' light, and those that it is through.
#[allow(clippy::type_complexity, reason = "a list and what became of it")]
fn surface(sites: &[(Point, [f64; 3])]) -> Option<([[f64; TERMS]; 3], Vec<(Point, [f64; 3])>)> {
    // Where the sample may throw its shadow, nothing counts before the rest is known.
    let far = sites.iter().filter(|site| card::is_far_from_lane(site.0));
    let mut kept: Vec<_> = far.copied().collect();
    let mut paper = [[0.0; TERMS]; 3];
    for round in 0..8 {
        if kept.len() < FEWEST_BLANK {
            return None;
        }
        let rows = DMatrix::from_row_iterator(
            kept.len(),
            TERMS,
            kept.iter().flat_map(|(at, _)| terms(*at)),
        );
        let start = round == 0;
        for (channel, paper) in paper.iter_mut().enumerate() {
            let light = kept.iter().map(|(_, light)| light.get(channel).copied());
            let light = DVector::from_iterator(kept.len(), light.map(Option::unwrap_or_default));
            *paper = nearest(&rows, &light, start)?;
        }
        let off = |(at, light): &(Point, [f64; 3])| {
            let there = value(&paper, *at);
            light
                .iter()
                .zip(there)
                .map(|(a, b)| (a - b).abs())
                .fold(0.0, f64::max)
        };
        let mut all: Vec<f64> = sites.iter().map(off).collect();
        all.sort_by(f64::total_cmp);
        // A few times the middle one, which what lies on the card does not move.
        let middle = all.get(all.len() / 2).copied().unwrap_or(0.0);
        let limit = (4.0 * middle).clamp(0.02, MOST_STRAY);
        // The first surfaces are pulled by what lies on the card.
        let limit = if round < 3 { limit.max(STRAY) } else { limit };
        let counts = |site: &&(Point, [f64; 3])| {
            off(site) <= limit && (round > 0 || card::is_far_from_lane(site.0))
        };
        let next: Vec<_> = sites.iter().filter(counts).copied().collect();
        if round >= 3 && next.len() == kept.len() {
            break;
        }
        kept = next;
    }
    (kept.len() >= FEWEST_BLANK).then_some((paper, kept))
}

/// The surface through some light: by least squares, or by the least sum of what is off, which a
/// part that covers a tenth of the card does not pull down.
fn nearest(rows: &DMatrix<f64>, light: &DVector<f64>, by_sum: bool) -> Option<[f64; TERMS]> {
    /// What is off by less than this counts as in least squares.
    const NEAR: f64 = 0.01;
    let mut weights = DVector::from_element(light.len(), 1.0);
    let mut paper = [0.0; TERMS];
    for _ in 0..if by_sum { 20 } else { 1 } {
        let mut sides = rows.clone();
        for (mut row, weight) in sides.row_iter_mut().zip(weights.iter()) {
            row *= *weight;
        }
        let found = sides.svd(true, true);
        let found = found.solve(&light.component_mul(&weights), 1e-9).ok()?;
        for (to, from) in paper.iter_mut().zip(found.iter()) {
            *to = *from;
        }
        let off = rows * found - light;
        // Squares over what is off are what is off (P. Holland, R. Welsch, Communications in
        // Statistics A6, 813, 1977, from memory).
        weights = off.map(|off| (1.0 / off.abs().max(NEAR)).sqrt());
    }
    Some(paper)
}

fn terms((x, y): Point) -> [f64; TERMS] {
    let half = card::HEIGHT_MM / 2.0;
    let (u, v) = ((x - card::WIDTH_MM / 2.0) / half, (y - half) / half);
    [1.0, u, v, u * u, u * v, v * v]
}

fn value(surface: &[[f64; TERMS]; 3], at: Point) -> [f64; 3] {
    let terms = terms(at);
    surface.map(|channel| channel.iter().zip(terms).map(|(a, b)| a * b).sum())
}

/// The places of some points, each once.
fn places(points: &[Point]) -> String {
    let mut names: Vec<&str> = Vec::new();
    for (x, y) in points {
        let name = card::place_in_words(*x, *y);
        if !names.contains(&name) {
            names.push(name);
        }
    }
    names.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_lies_on_the_card_does_not_bend_the_light() {
        let sites: Vec<(Point, [f64; 3])> = card::blank()
            .map(|rect| {
                let at = rect.centre();
                let true_light = 0.3 * at.0 / 180.0 - 0.2 * (at.1 / 250.0).powi(2);
                let covered = at.1 > 150.0 && at.0 > 100.0 && at.0 < 130.0;
                (at, [true_light - if covered { 0.4 } else { 0.0 }; 3])
            })
            .collect();
        let (paper, kept) = surface(&sites).unwrap();
        assert!(kept.len() < sites.len() - 5);
        let there = value(&paper, (118.0, 200.0))[1];
        let truth = 0.3 * 118.0 / 180.0 - 0.2 * (200.0_f64 / 250.0).powi(2);
        assert!((there - truth).abs() < 0.002, "{there} {truth}");
    }
}
