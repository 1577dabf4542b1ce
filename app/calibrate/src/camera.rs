//! How far a camera's colours usually are off.

/// By one reference, by two, and by three, which tell its tone curve: one standard error, ΔE00, from
/// the studies in docs/photographs.md, for simulated cameras. Like colours are off alike.
const CAMERA_DE00: [f64; 3] = [3.0, 1.8, 1.2];

/// How far colours read with so many references usually are off, one standard error, ΔE00.
pub(crate) fn camera_de00(references: usize) -> f64 {
    let [one, two, three] = CAMERA_DE00;
    match references {
        0 | 1 => one,
        2 => two,
        _ => three,
    }
}
