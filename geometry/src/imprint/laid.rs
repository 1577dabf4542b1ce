//! How a picture lies on a part.

use glam::{DVec2, DVec3};
use serde::{Deserialize, Serialize};

use crate::mask::MaskError;
use crate::mask::values::{finite_point, positive, unit};

/// How a flat picture is laid on a part. Lengths in mm.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum Laid {
    /// Straight along a direction, as a lamp would throw it.
    Projected {
        /// Where the picture's middle falls.
        at_mm: DVec3,
        /// The direction in which one looks at it. Its top is towards +z; where one looks along
        /// z, towards +y.
        along: DVec3,
        /// How far before and behind its middle it still takes, so that it doesn't come out on
        /// the far side.
        depth_mm: f64,
    },
    /// Round an axis, as a label round a bottle. Its top is towards the axis' end.
    Wrapped {
        /// Where its middle falls. How far that is from the axis is the radius at which widths
        /// hold; elsewhere angles are kept.
        at_mm: DVec3,
        /// A point of the axis; the origin unless given.
        #[serde(default)]
        through_mm: DVec3,
        /// The axis' direction; upright unless given.
        #[serde(default = "upright")]
        axis: DVec3,
        /// How far within and beyond that radius it still takes.
        depth_mm: f64,
    },
    /// On the skin, as a sticker: lengths hold along the skin from its middle, in every
    /// direction. A point off the skin takes what the nearest point of the skin does.
    OnSkin {
        /// Where its middle lies: at the nearest point of the skin, no farther than `depth_mm`.
        at_mm: DVec3,
        /// The direction in which one looks at its middle, which says where its top is, as if it
        /// was projected and then pressed on the skin; straight on the skin unless given.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        along: Option<DVec3>,
        /// How far beneath the skin and above it it still takes.
        depth_mm: f64,
    },
}

fn upright() -> DVec3 {
    DVec3::Z
}

/// A point seen from a picture: mm to the right and up from its middle, and off it in depth.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seen {
    pub(super) on: DVec2,
    pub(super) off_mm: f64,
}

/// The way from points to pictures, ready, where it doesn't ask for the part's shape.
#[derive(Clone, Copy, Debug)]
pub(super) enum Way {
    Straight {
        at: DVec3,
        right: DVec3,
        up: DVec3,
        along: DVec3,
    },
    Round {
        /// The point of the axis level with the picture's middle.
        foot: DVec3,
        /// From the axis to the picture's middle, and a quarter turn on.
        out: DVec3,
        on: DVec3,
        axis: DVec3,
        radius_mm: f64,
    },
}

impl Laid {
    /// Where the picture's middle falls, mm.
    pub fn at_mm(&self) -> DVec3 {
        match self {
            Self::Projected { at_mm, .. }
            | Self::Wrapped { at_mm, .. }
            | Self::OnSkin { at_mm, .. } => *at_mm,
        }
    }

    /// The same with its middle elsewhere, mm.
    #[must_use]
    pub fn at(mut self, to_mm: DVec3) -> Self {
        match &mut self {
            Self::Projected { at_mm, .. }
            | Self::Wrapped { at_mm, .. }
            | Self::OnSkin { at_mm, .. } => *at_mm = to_mm,
        }
        self
    }

    /// The same, this deep, mm.
    #[must_use]
    pub fn deep(mut self, to_mm: f64) -> Self {
        match &mut self {
            Self::Projected { depth_mm, .. }
            | Self::Wrapped { depth_mm, .. }
            | Self::OnSkin { depth_mm, .. } => *depth_mm = to_mm,
        }
        self
    }

    /// Whether every value makes sense.
    pub(crate) fn check(&self) -> Result<(), MaskError> {
        self.way()?;
        positive("depth_mm", self.depth_mm())
    }

    /// How far before and behind its middle it takes, mm.
    pub fn depth_mm(&self) -> f64 {
        match self {
            Self::Projected { depth_mm, .. }
            | Self::Wrapped { depth_mm, .. }
            | Self::OnSkin { depth_mm, .. } => *depth_mm,
        }
    }

    /// The way to it; none on the skin, where the part's shape is asked for
    /// ([`OnSkin`](super::on_skin::OnSkin)).
    pub(super) fn way(&self) -> Result<Option<Way>, MaskError> {
        match *self {
            Self::Projected { at_mm, along, .. } => {
                finite_point("at_mm", at_mm)?;
                let along = unit(along)?;
                let up = top(along)?;
                Ok(Some(Way::Straight {
                    at: at_mm,
                    right: along.cross(up),
                    up,
                    along,
                }))
            }
            Self::Wrapped {
                at_mm,
                through_mm,
                axis,
                ..
            } => {
                finite_point("at_mm", at_mm)?;
                finite_point("through_mm", through_mm)?;
                let axis = unit(axis)?;
                let foot = through_mm + axis * (at_mm - through_mm).dot(axis);
                let radius_mm = at_mm.distance(foot);
                let out = (at_mm - foot)
                    .try_normalize()
                    .ok_or(MaskError::OnTheAxis { at: at_mm })?;
                Ok(Some(Way::Round {
                    foot,
                    out,
                    on: axis.cross(out),
                    axis,
                    radius_mm,
                }))
            }
            Self::OnSkin { at_mm, along, .. } => {
                finite_point("at_mm", at_mm)?;
                along.map_or(Ok(()), |along| unit(along).map(|_| ()))?;
                Ok(None)
            }
        }
    }
}

/// Which way a picture's top is, as one looks at it along a direction: towards +z, and along z
/// towards +y. Of length 1, and upright on the direction.
pub(super) fn top(along: DVec3) -> Result<DVec3, MaskError> {
    let top = match along.z.abs() > 1.0 - 1e-9 {
        true => DVec3::Y,
        false => DVec3::Z,
    };
    Ok(unit(along.cross(top))?.cross(along))
}

impl Way {
    pub(super) fn see(&self, point: DVec3) -> Seen {
        match *self {
            Self::Straight {
                at,
                right,
                up,
                along,
            } => {
                let from = point - at;
                Seen {
                    on: DVec2::new(from.dot(right), from.dot(up)),
                    off_mm: from.dot(along).abs(),
                }
            }
            Self::Round {
                foot,
                out,
                on,
                axis,
                radius_mm,
            } => {
                let from = point - foot;
                let (x, y) = (from.dot(out), from.dot(on));
                Seen {
                    on: DVec2::new(radius_mm * y.atan2(x), from.dot(axis)),
                    off_mm: (x.hypot(y) - radius_mm).abs(),
                }
            }
        }
    }

    /// The place of a point of the picture, mm to the right and up from its middle.
    pub(super) fn place(&self, on: DVec2) -> DVec3 {
        match *self {
            Self::Straight { at, right, up, .. } => at + right * on.x + up * on.y,
            Self::Round {
                foot,
                out,
                on: across,
                axis,
                radius_mm,
            } => {
                let (sin, cos) = (on.x / radius_mm).sin_cos();
                foot + (out * cos + across * sin) * radius_mm + axis * on.y
            }
        }
    }

    /// The direction in which one looks at a point of the picture.
    pub(super) fn looking(&self, on: DVec2) -> DVec3 {
        match *self {
            Self::Straight { along, .. } => along,
            Self::Round {
                out,
                on: across,
                radius_mm,
                ..
            } => {
                let (sin, cos) = (on.x / radius_mm).sin_cos();
                -(out * cos + across * sin)
            }
        }
    }

    /// How far one may go from a point of the part while its place on the picture moves by no
    /// more than `by_mm`.
    pub(super) fn room_mm(&self, point: DVec3, by_mm: f64) -> f64 {
        match *self {
            Self::Straight { .. } => by_mm,
            Self::Round {
                foot,
                out,
                on,
                radius_mm,
                ..
            } => {
                let from = point - foot;
                let (x, y) = (from.dot(out), from.dot(on));
                let (r, along) = (x.hypot(y), radius_mm * y.atan2(x).abs());
                // Where the ends meet at the back, the place jumps.
                let by = by_mm.min(std::f64::consts::PI * radius_mm - along).max(0.0);
                // Nearer to the axis the same step is a wider angle.
                by.min(by * r / (radius_mm + by))
            }
        }
    }

    /// Corners of a box about all points that see a picture of half this size, and this deep.
    pub(super) fn bounds_mm(&self, half: DVec2, depth_mm: f64) -> (DVec3, DVec3) {
        let (middle, by) = match *self {
            Self::Straight {
                at,
                right,
                up,
                along,
            } => (
                at,
                right.abs() * half.x + up.abs() * half.y + along.abs() * depth_mm,
            ),
            Self::Round {
                foot,
                axis,
                radius_mm,
                ..
            } => {
                let lean = (DVec3::ONE - axis * axis).max(DVec3::ZERO);
                let disk = DVec3::new(lean.x.sqrt(), lean.y.sqrt(), lean.z.sqrt());
                (foot, axis.abs() * half.y + disk * (radius_mm + depth_mm))
            }
        };
        (middle - by, middle + by)
    }

    /// Half of the way round, mm, where it goes round.
    pub(super) fn half_round_mm(&self) -> f64 {
        match self {
            Self::Straight { .. } => f64::INFINITY,
            Self::Round { radius_mm, .. } => std::f64::consts::PI * radius_mm,
        }
    }
}
