//! The light: a hemisphere of sky, a key light over the viewer's left shoulder.

use geometry::DVec3;

/// The least that light leaves of a colour: a shade in the deepest corner is still readable.
pub const DARKEST: f64 = 0.22;

/// Light from all round, and how much more of it comes from above.
const SKY: f64 = 0.46;
const SKY_ABOVE: f64 = 0.14;
/// The key light. With the sky at its highest the sum passes 1, so the lit side holds the
/// full colour over a broad area.
const KEY: f64 = 0.52;

/// The lights as a picture's camera has them.
pub(super) struct Light {
    key: DVec3,
}

impl Light {
    /// The key light moves with the camera, so every view has a lit side.
    pub(crate) fn for_view(toward: DVec3, right: DVec3, up: DVec3) -> Self {
        Self {
            key: (toward * 0.9 + up * 0.62 - right * 0.55).normalize_or(DVec3::Z),
        }
    }

    /// What remains of a colour, [`DARKEST`] to 1, on a face with a unit normal when a share
    /// `open` of the sky above it is free.
    pub(crate) fn on(&self, normal: DVec3, open: f64) -> f64 {
        let sky = SKY + SKY_ABOVE * normal.z;
        // Light that wraps a little past the edge: no hard line between lit and unlit.
        let key = ((normal.dot(self.key) + 0.25) / 1.25).max(0.0);
        // Corners are darkened gently: the picture is for reading colours.
        let open = 0.3 + 0.7 * open;
        let lit = sky * open + KEY * key * (0.6 + 0.4 * open);
        lit.clamp(DARKEST, 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_face_towards_the_light_keeps_its_colour_and_a_dark_one_is_readable() {
        let light = Light::for_view(-DVec3::Y, DVec3::X, DVec3::Z);
        assert_eq!(light.on(light.key, 1.0), 1.0);
        assert_eq!(light.on(-DVec3::Z, 0.0), DARKEST);
        assert!(light.on(DVec3::X, 1.0) < light.on(-DVec3::X, 1.0));
    }
}
