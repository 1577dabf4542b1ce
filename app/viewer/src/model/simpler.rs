//! Polylines with no more points than they need.

use geometry::DVec3;

/// Drops points that lie within a tolerance of the polyline through the others
/// (Douglas and Peucker 1973).
pub(super) fn simplified(points: &[DVec3], tolerance: f64) -> Vec<DVec3> {
    let Some(last) = points.len().checked_sub(1) else {
        return Vec::new();
    };
    let mut keep = vec![false; points.len()];
    keep[0] = true;
    keep[last] = true;
    let mut spans = vec![(0, last)];
    while let Some((from, to)) = spans.pop() {
        let farthest = (from + 1..to)
            .map(|i| (i, off_segment(points[i], points[from], points[to])))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((i, off)) = farthest.filter(|f| f.1 > tolerance) {
            keep[i] = true;
            spans.push((from, i));
            spans.push((i, to));
            debug_assert!(off.is_finite());
        }
    }
    let kept = points.iter().zip(keep).filter(|(_, keep)| *keep);
    kept.map(|(p, _)| *p).collect()
}

fn off_segment(p: DVec3, a: DVec3, b: DVec3) -> f64 {
    let along = b - a;
    let t = (p - a).dot(along) / along.length_squared().max(f64::MIN_POSITIVE);
    p.distance(a + along * t.clamp(0.0, 1.0))
}
