//! Painting on both sides at once.

use geometry::mask::Stroke;
use geometry::{DVec3, Surface};
use serde::{Deserialize, Serialize};

/// The upright plane about which strokes are mirrored; it passes through the part's middle.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Mirror {
    /// No mirror.
    #[default]
    Off,
    /// Left and right, across x.
    LeftRight,
    /// Front and back, across y.
    FrontBack,
}

impl Mirror {
    /// All choices, in the order in which a key steps through them.
    pub const ALL: [Self; 3] = [Self::Off, Self::LeftRight, Self::FrontBack];

    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Self::Off => "no mirror",
            Self::LeftRight => "mirror left–right",
            Self::FrontBack => "mirror front–back",
        }
    }

    /// The next choice.
    pub fn next(self) -> Self {
        match self {
            Self::Off => Self::LeftRight,
            Self::LeftRight => Self::FrontBack,
            Self::FrontBack => Self::Off,
        }
    }

    /// The image of a point, or `None` without a mirror.
    pub fn image(self, point_mm: DVec3, middle_mm: DVec3) -> Option<DVec3> {
        let mut image = point_mm;
        match self {
            Self::Off => return None,
            Self::LeftRight => image.x = 2.0 * middle_mm.x - point_mm.x,
            Self::FrontBack => image.y = 2.0 * middle_mm.y - point_mm.y,
        }
        Some(image)
    }

    /// The images of a stroke, drawn onto the skin. Where the other side has no skin within
    /// the brush, the image breaks off; so one stroke may have several images or none.
    pub fn images(self, stroke: &Stroke, middle_mm: DVec3, surface: &Surface) -> Vec<Stroke> {
        let mut runs: Vec<Vec<DVec3>> = vec![Vec::new()];
        for dab in &stroke.dabs_mm {
            let Some(image) = self.image(*dab, middle_mm) else {
                return Vec::new();
            };
            match surface.nearest_within(image, stroke.radius_mm) {
                Some(on_skin) => {
                    if let Some(run) = runs.last_mut() {
                        run.push(on_skin.point_mm);
                    }
                }
                None => runs.push(Vec::new()),
            }
        }
        let runs = runs.into_iter().filter(|run| !run.is_empty());
        runs.map(|dabs_mm| Stroke {
            dabs_mm,
            ..stroke.clone()
        })
        .collect()
    }
}
