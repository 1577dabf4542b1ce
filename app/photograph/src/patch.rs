//! The light of a patch, and whether the camera's codes hold all of it.

use crate::Photo;
use crate::card::Rect;
use crate::photo::{Ends, luminance};
use crate::view::View;

/// Fewest pixels of a patch: fewer say more of the noise than of the colour.
const FEWEST_PIXELS: usize = 64;
/// So many of a patch's pixels may be clipped: glints of the plastic.
const GLINTS: f64 = 0.01;
/// A patch darker than this share of full exposure drowns in noise and rounding: 8-bit codes
/// are there about a twelfth of the value apart.
const DARKEST: f64 = 0.004;

/// A pixel: its linear light, and which of its codes are at an end.
pub type Pixel = ([f32; 3], Ends);

/// The mean linear light of a patch; `name` is what it is called where it can't be used.
///
/// # Errors
/// It is too small, clipped or too dark: a sentence that says so and what to do.
pub fn mean_light(name: &str, pixels: &[Pixel]) -> Result<[f64; 3], String> {
    if pixels.len() < FEWEST_PIXELS {
        return Err(format!(
            "the patch of {name} has {} pixels and needs at least {FEWEST_PIXELS}; make it \
             larger, or photograph from nearer",
            pixels.len()
        ));
    }
    let share = |is_one: &dyn Fn(&Ends) -> bool| {
        let count = pixels.iter().filter(|(_, ends)| is_one(ends)).count();
        count as f64 / pixels.len() as f64
    };
    let blown = share(&|ends| ends.blown());
    if blown > GLINTS {
        return Err(format!(
            "{name} is overexposed: {:.0} % of its pixels are at the end of their range; \
             photograph again with less light, or move the patch out of the glare",
            100.0 * blown
        ));
    }
    let crushed = ["red", "green", "blue"].into_iter().enumerate();
    let crushed = crushed.map(|(channel, word)| (word, share(&|ends| ends.crushed(channel))));
    let worst = crushed.max_by(|a, b| a.1.total_cmp(&b.1));
    if let Some((channel, share)) = worst.filter(|(_, share)| *share > GLINTS) {
        return Err(format!(
            "{name} is clipped at zero: {:.0} % of its pixels have no {channel} at all, so its \
             colour is outside of sRGB, or too dark; photograph again with more light, or \
             measure it with an instrument",
            100.0 * share
        ));
    }
    let mean = mean(pixels.iter().map(|(light, _)| *light));
    let light = luminance(mean.map(|v| v as f32));
    if f64::from(light) < DARKEST {
        return Err(format!(
            "{name} is too dark: {:.1} % of full exposure; photograph again with more light",
            100.0 * light
        ));
    }
    Ok(mean)
}

/// The mean of some linear light; none for no light.
pub fn mean(light: impl Iterator<Item = [f32; 3]>) -> [f64; 3] {
    let (mut sum, mut count) = ([0.0; 3], 0.0_f64);
    for pixel in light {
        count += 1.0;
        for (sum, channel) in sum.iter_mut().zip(pixel) {
            *sum += f64::from(channel);
        }
    }
    sum.map(|channel| channel / count.max(1.0))
}

/// The pixels of a rectangle so many mm above the card.
pub(crate) fn pixels(photo: &Photo, view: &View, rect: Rect, up_mm: f64) -> Vec<Pixel> {
    let step = view
        .px_per_mm(rect.centre())
        .map_or(1.0, |px| 1.0 / px.max(0.5));
    let count = |(from, to): (f64, f64)| ((to - from) / step).ceil().max(1.0) as usize;
    let (across, down) = (count(rect.x), count(rect.y));
    let mut found = Vec::with_capacity(across * down);
    for row in 0..down {
        for column in 0..across {
            let between = |(from, to): (f64, f64), i: usize, count: usize| {
                from + (to - from) * (i as f64 + 0.5) / count as f64
            };
            let x = between(rect.x, column, across);
            let y = between(rect.y, row, down);
            found.extend(
                view.project([x, y, up_mm])
                    .and_then(|at| photo.pixel_at(at)),
            );
        }
    }
    found
}
