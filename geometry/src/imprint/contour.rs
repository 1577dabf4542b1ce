//! The line on which interpolated values are 0, in straight pieces: marching squares.

use glam::Vec2;

/// A straight piece of the line, in pixels from the centre of the first one.
pub(super) type Segment = [Vec2; 2];

/// All pieces, each with the cell that it crosses. Between two neighbours the line crosses where
/// a straight run of the values does; where it could join either way, the mean of the four
/// corners decides.
pub(super) fn contour(levels: &[f32], width: usize, height: usize) -> Vec<(Segment, usize)> {
    let mut found = Vec::new();
    for y in 0..height.saturating_sub(1) {
        for x in 0..width.saturating_sub(1) {
            let cell = y * width + x;
            let level = |at: usize| levels.get(at).copied().unwrap_or(-1.0);
            let corners = [
                level(cell),
                level(cell + 1),
                level(cell + width + 1),
                level(cell + width),
            ];
            let within = corners.map(|level| level > 0.0);
            if within == [within[0]; 4] {
                continue;
            }
            for piece in pieces(corners, within) {
                let at = Vec2::new(x as f32, y as f32);
                found.push((piece.map(|end| end + at), cell));
            }
        }
    }
    found
}

/// Corners go round: upper left, upper right, lower right, lower left.
fn pieces(levels: [f32; 4], within: [bool; 4]) -> Vec<Segment> {
    const PLACES: [Vec2; 4] = [Vec2::ZERO, Vec2::X, Vec2::ONE, Vec2::Y];
    let crossing = |side: usize| {
        let (a, b) = (side, (side + 1) % 4);
        let t = levels[a] / (levels[a] - levels[b]);
        PLACES[a].lerp(PLACES[b], t)
    };
    let sides: Vec<usize> = (0..4)
        .filter(|&side| within[side] != within[(side + 1) % 4])
        .collect();
    match sides[..] {
        [a, b] => vec![[crossing(a), crossing(b)]],
        [a, b, c, d] => {
            let middle = levels.iter().sum::<f32>() > 0.0;
            // Corners unlike the middle are cut off, each by itself.
            match within[1] != middle {
                true => vec![[crossing(a), crossing(b)], [crossing(c), crossing(d)]],
                false => vec![[crossing(d), crossing(a)], [crossing(b), crossing(c)]],
            }
        }
        _ => Vec::new(),
    }
}
