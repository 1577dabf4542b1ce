//! Whether a toolpath is of the part, but stretched.

use nalgebra::{SMatrix, SVector};

use super::fine::{Outlines, Pair, pairs};
use super::placement::Placement;

/// How many times as large as the mesh the toolpath is in the part's x and y, if that explains
/// where the lines of a stand are.
pub(super) fn stretch(outlines: &Outlines, placement: &Placement) -> Option<[f64; 2]> {
    let every = outlines.few();
    let pairs = pairs(outlines, placement, STRETCH_REACH_MM, every);
    let back = placement.back();
    let row = |pair: &Pair| -> SVector<f64, 6> {
        // Growing in the part's own x by g moves a point by g times its x there.
        let (arm, outward) = (back.rotate(pair.arm), back.rotate(pair.outward));
        [
            pair.outward.x,
            pair.outward.y,
            pair.outward.dot(pair.arm.perp()),
            -1.0,
            outward.x * arm.x,
            outward.y * arm.y,
        ]
        .into()
    };
    let found: Vec<(SVector<f64, 6>, f64)> = pairs
        .iter()
        .filter_map(|pair| Some((row(pair), pair.inset?)))
        .collect();
    let reach_mm = outlines.reach_mm();
    let unit = [1.0, 1.0, reach_mm, 1.0, reach_mm, reach_mm];
    let mut change = SVector::<f64, 6>::zeros();
    let left =
        |change: &SVector<f64, 6>, (row, inset): &(SVector<f64, 6>, f64)| inset + row.dot(change);
    // What other lines and inner walls say is not heard once most agree.
    for trim_mm in [f64::INFINITY, 1.0, 0.5, 0.25] {
        let squares: SVector<f64, 6> = unit.map(|u| 1e-5 * found.len() as f64 * u * u).into();
        let mut normal = SMatrix::<f64, 6, 6>::from_diagonal(&squares);
        let mut right = SVector::<f64, 6>::zeros();
        for pair in found.iter().filter(|p| left(&change, p).abs() < trim_mm) {
            normal += pair.0 * pair.0.transpose();
            right -= pair.0 * pair.1;
        }
        change = normal.cholesky()?.solve(&right);
    }
    let explained = found
        .iter()
        .filter(|p| left(&change, p).abs() < 0.12)
        .count();
    let most = explained as f64 > 0.8 * pairs.len() as f64;
    let [_, _, _, _, x, y] = change.into();
    most.then_some([1.0 + x, 1.0 + y])
}

/// How far lines of a stretched part are looked for, mm.
const STRETCH_REACH_MM: f64 = 2.0;
