//! How the part is shown.

use emath::{Pos2, Rect};

use super::camera::Camera;
use super::section::SectionPlane;

/// Which colours are shown.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Look {
    /// Those the plan asks for.
    #[default]
    Asked,
    /// Those that the machine is predicted to lay down.
    Printed,
    /// How far the two are apart.
    Difference,
}

impl Look {
    /// All of them, in order.
    pub const ALL: [Self; 3] = [Self::Asked, Self::Printed, Self::Difference];

    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Self::Asked => "Requested",
            Self::Printed => "As printed",
            Self::Difference => "Difference",
        }
    }

    /// The next one.
    pub fn next(self) -> Self {
        match self {
            Self::Asked => Self::Printed,
            Self::Printed => Self::Difference,
            Self::Difference => Self::Asked,
        }
    }
}

/// The view.
#[derive(Clone, Debug)]
pub struct View {
    /// Where the part is seen from.
    pub camera: Camera,
    /// Where on the window the stage is, points.
    pub stage: Rect,
    /// The whole window, points.
    pub window: Rect,
    /// Whether the camera must be fitted to the part once the stage is known.
    pub fit_wanted: bool,
    /// Whether the camera was fitted and not moved since: then it is fitted anew whenever the
    /// stage changes its size.
    pub stays_fitted: bool,
    /// Which colours are shown.
    pub look: Look,
    /// Whether the part is cut open at the section plane.
    pub cut: bool,
    /// The section plane.
    pub section: SectionPlane,
    /// The layer cursor, mm.
    pub cursor_mm: f64,
    /// The height under the pointer, mm.
    pub hover_mm: Option<f64>,
    /// Where on the stage the pointer was last.
    pub hovered_at: Option<Pos2>,
    /// Whether the pointer is on the stage.
    pub hovers_part: bool,
    /// The region that is set off from the others while the pointer is on its row.
    pub lift_region: Option<usize>,
}

impl Default for View {
    fn default() -> Self {
        Self {
            camera: Camera::default(),
            stage: Rect::ZERO,
            window: Rect::ZERO,
            fit_wanted: false,
            stays_fitted: false,
            look: Look::default(),
            cut: false,
            section: SectionPlane::default(),
            cursor_mm: 0.0,
            hover_mm: None,
            hovered_at: None,
            hovers_part: false,
            lift_region: None,
        }
    }
}
