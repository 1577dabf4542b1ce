//! What a region gets, made ready: one blend, or a fade with its table of colours.

use blend::{MixModel, Ramp, Shares, VisibleArea, Xyz};
use geometry::field::PreparedField;
use geometry::{DVec3, SurfacePoint};

use crate::Paint;

/// Shades in the table of a fade: over 200 mm a shade for each 0.05 mm.
const TABLE: usize = 4096;

/// A region's paint, ready for many points.
pub(crate) enum PreparedPaint {
    /// One blend.
    Fixed { shares: Shares, xyz: Xyz },
    /// A fade.
    Fade(Box<PreparedFade>),
}

pub(crate) struct PreparedFade {
    pub(crate) field: PreparedField,
    pub(crate) ramp: Ramp,
    /// Whether the fade is the same all over a level cut.
    pub(crate) level: bool,
    table: Vec<Xyz>,
    from_mm: f64,
    to_mm: f64,
}

impl PreparedPaint {
    /// `field` is needed for a fade; a fade without it is taken for its first blend.
    pub(super) fn of(
        paint: &Paint,
        field: Option<PreparedField>,
        area: Option<&VisibleArea>,
        model: &dyn MixModel,
    ) -> Self {
        let fixed = |shares: Shares| Self::Fixed {
            xyz: model.mix(&shares),
            shares,
        };
        match (paint, field) {
            (Paint::Fixed(shares) | Paint::Blend(crate::NamedBlend { shares, .. }), _) => {
                fixed(*shares)
            }
            (Paint::Fade { fade, .. }, None) => {
                fixed(fade.stops.first().map_or(Shares::SINGLE, |s| s.shares))
            }
            (Paint::Fade { along, fade }, Some(field)) => {
                let ramp = Ramp::new(fade, model, area);
                let (from_mm, to_mm) = ramp.extent_mm().unwrap_or((0.0, 0.0));
                let step = (to_mm - from_mm) / (TABLE - 1) as f64;
                let shade = |i: usize| model.mix(&ramp.at(from_mm + step * i as f64));
                Self::Fade(Box::new(PreparedFade {
                    table: (0..TABLE).map(shade).collect(),
                    level: along.depends_on_height_only(),
                    field,
                    ramp,
                    from_mm,
                    to_mm,
                }))
            }
        }
    }

    pub(crate) fn shares_at(&self, point: SurfacePoint) -> Shares {
        match self {
            Self::Fixed { shares, .. } => *shares,
            Self::Fade(fade) => fade.ramp.at(fade.field.at(point)),
        }
    }

    pub(crate) fn xyz_at(&self, point: SurfacePoint) -> Xyz {
        match self {
            Self::Fixed { xyz, .. } => *xyz,
            Self::Fade(fade) => fade.xyz(fade.field.at(point)),
        }
    }

    /// The one blend that it has at a height, if it has one.
    pub(crate) fn shares_at_height(&self, height_mm: f64) -> Option<Shares> {
        match self {
            Self::Fixed { shares, .. } => Some(*shares),
            Self::Fade(fade) if fade.level => Some(self.shares_at(SurfacePoint {
                point_mm: DVec3::Z * height_mm,
                facet: 0,
            })),
            Self::Fade(_) => None,
        }
    }

    pub(crate) fn ramp(&self) -> Option<&Ramp> {
        match self {
            Self::Fixed { .. } => None,
            Self::Fade(fade) => Some(&fade.ramp),
        }
    }

    pub(super) fn field(&self) -> Option<&PreparedField> {
        match self {
            Self::Fixed { .. } => None,
            Self::Fade(fade) => Some(&fade.field),
        }
    }
}

impl PreparedFade {
    fn xyz(&self, at_mm: f64) -> Xyz {
        let span = self.to_mm - self.from_mm;
        let t = match span > 0.0 {
            true => ((at_mm - self.from_mm) / span).clamp(0.0, 1.0),
            false => 0.0,
        };
        // Not a number only where the field is not; it is then held at the first shade.
        let place = t * (self.table.len() - 1) as f64;
        let below = (place as usize).min(self.table.len() - 2);
        let (a, b, t) = (
            self.table[below],
            self.table[below + 1],
            place - below as f64,
        );
        let t = if t.is_nan() { 0.0 } else { t };
        Xyz {
            x: a.x + (b.x - a.x) * t,
            y: a.y + (b.y - a.y) * t,
            z: a.z + (b.z - a.z) * t,
        }
    }
}
