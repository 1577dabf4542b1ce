//! Takes the stairs of a slanted edge away.

/// Of a picture of pure black and white the edge is smoothed by this, in pixels (the standard
/// deviation of a Gaussian): the least that takes the stairs of a slanted one away.
const SMOOTH_PX: f64 = 0.8;

/// How far the Gaussian is taken, pixels.
pub(super) const REACH: isize = 3;

/// Weights of a pixel and its neighbours in a row or a column; they add up to 1.
pub(super) fn weights() -> Vec<(isize, f32)> {
    let weight = |d: isize| (-0.5 * (d as f64 / SMOOTH_PX).powi(2)).exp() as f32;
    let sum: f32 = (-REACH..=REACH).map(weight).sum();
    (-REACH..=REACH).map(|d| (d, weight(d) / sum)).collect()
}

/// The levels under a Gaussian, with the outermost ones going on for ever.
pub(super) fn smoothed(levels: &[f32], width: usize, height: usize) -> Vec<f32> {
    let weights = weights();
    let pass = |from: &[f32], across: bool| -> Vec<f32> {
        let value = |i: usize| {
            let (x, y) = ((i % width) as isize, (i / width) as isize);
            let near = |&(d, weight): &(isize, f32)| {
                let (x, y) = match across {
                    true => ((x + d).clamp(0, width as isize - 1), y),
                    false => (x, (y + d).clamp(0, height as isize - 1)),
                };
                weight
                    * from
                        .get(y as usize * width + x as usize)
                        .copied()
                        .unwrap_or(0.0)
            };
            weights.iter().map(near).sum()
        };
        (0..from.len()).map(value).collect()
    };
    pass(&pass(levels, true), false)
}
