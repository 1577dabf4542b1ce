//! Areas between contours: insets, differences and what two have in common.

use i_overlay::core::fill_rule::FillRule;
use i_overlay::core::overlay_rule::OverlayRule;
use i_overlay::float::simplify::SimplifyShape;
use i_overlay::float::single::SingleFloatOverlay;
use i_overlay::mesh::float::outline::offset::OutlineOffset;
use i_overlay::mesh::float::style::{LineJoin, OutlineStyle};

type Contour = Vec<[f64; 2]>;

/// An area: outlines with holes.
#[derive(Clone, Debug, Default)]
pub(super) struct Area(Vec<Vec<Contour>>);

impl Area {
    /// The area within contours by the even-odd rule.
    pub(super) fn new(contours: &[Contour]) -> Self {
        let contours: Vec<Contour> = contours
            .iter()
            .filter(|c| c.len() > 2 && c.iter().flatten().all(|v| v.abs() < 1e5))
            .cloned()
            .collect();
        if contours.is_empty() {
            return Self::default();
        }
        Self(contours.simplify_shape_as::<i64>(FillRule::EvenOdd))
    }

    /// What is farther than `by` mm from the edge.
    pub(super) fn inset(&self, by: f64) -> Self {
        if self.0.is_empty() {
            return Self::default();
        }
        let style = OutlineStyle::new(-by).line_join(LineJoin::Miter(1.0));
        Self(self.0.outline_as::<i64>(&style))
    }

    /// What is in this one and not in the other.
    pub(super) fn without(&self, other: &Self) -> Self {
        self.with(other, OverlayRule::Difference)
    }

    /// What is in both.
    pub(super) fn common(&self, other: &Self) -> Self {
        self.with(other, OverlayRule::Intersect)
    }

    fn with(&self, other: &Self, rule: OverlayRule) -> Self {
        match (self.0.is_empty(), other.0.is_empty(), rule) {
            (true, _, _) | (_, true, OverlayRule::Intersect) => Self::default(),
            (_, true, _) => self.clone(),
            _ => Self(self.0.overlay_as::<i64>(&other.0, rule, FillRule::NonZero)),
        }
    }

    /// Its pieces that don't touch, each with its holes.
    pub(super) fn islands(&self) -> impl Iterator<Item = Self> + '_ {
        self.0.iter().map(|shape| Self(vec![shape.clone()]))
    }

    /// Every outline and hole.
    pub(super) fn contours(&self) -> impl Iterator<Item = Contour> + '_ {
        self.0.iter().flatten().cloned()
    }
}
