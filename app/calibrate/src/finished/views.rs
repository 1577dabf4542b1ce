//! The part from the camera's place, in the colours of the plan and in those that are seen.

use blend::{Lab, Srgb, Xyz, ciede2000};

use super::colours::Expected;
use super::shading::Shading;
use super::sights::Sights;

/// The part as requested, as it should have come out, and as seen, from the camera's place.
#[derive(Clone, Debug, PartialEq)]
pub struct Views {
    /// Pixels across.
    pub width: usize,
    /// Pixels down.
    pub height: usize,
    /// Red, green, blue and opacity of each pixel.
    pub requested: Vec<u8>,
    /// The same.
    pub printed: Vec<u8>,
    /// The same; what can't be read is grey.
    pub seen: Vec<u8>,
    /// For each pixel how far seen is from what should have come out, ΔE00; `None` where it can't
    /// be read.
    pub off_de00: Vec<Option<f32>>,
}

impl Views {
    pub(super) fn of(sights: &Sights, expected: &Expected<'_>, shading: &Shading) -> Self {
        /// What can't be read.
        const UNREAD: [u8; 4] = [150, 150, 150, 255];
        let (width, height) = sights.size;
        let opaque = |Srgb([r, g, b]): Srgb| [r, g, b, 255];
        let all = |of: &dyn Fn(geometry::SurfacePoint) -> [u8; 4]| {
            let pixels = sights.hits.iter().map(|hit| hit.map_or([0; 4], of));
            pixels.flatten().collect::<Vec<u8>>()
        };
        let mut seen = all(&|_| UNREAD);
        let mut off_de00 = vec![None; width * height];
        for sight in &sights.good {
            let shade = shading.at(sight.normal, sight.up_mm);
            let place = sight.at.1 * width + sight.at.0;
            if shade < 0.2 {
                continue;
            }
            let colour = Xyz::from_linear_srgb(sight.light.map(|v| v / shade));
            if let Some(pixel) = seen.get_mut(4 * place..4 * place + 4) {
                pixel.copy_from_slice(&opaque(colour.to_srgb()));
            }
            if let Some(off) = off_de00.get_mut(place) {
                let printed: Lab = expected.printed(sight.point).to_lab();
                *off = Some(ciede2000(colour.to_lab(), printed) as f32);
            }
        }
        Self {
            width,
            height,
            requested: all(&|point| opaque(expected.requested(point).to_srgb())),
            printed: all(&|point| opaque(expected.printed(point).to_srgb())),
            seen,
            off_de00,
        }
    }
}
