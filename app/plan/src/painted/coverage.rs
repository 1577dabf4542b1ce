//! A region's area made ready: its mask, and the strokes drawn on it.

use std::sync::Arc;

use geometry::mask::{Brushwork, Mark, MaskError, OnPart, PreparedMask, PreparedStroke, Stroke};
use geometry::{DVec3, Progress, Surface, SurfacePoint};
use rayon::prelude::*;

use crate::{BrushStroke, Region};

/// Room left about the heights that masks and strokes tell, mm.
const ROOM_MM: f64 = 1e-6;

/// A region's area, ready for many points.
pub(crate) struct Coverage {
    mask: PreparedMask,
    brush: Brushwork,
    /// Least and greatest height of any point in it, mm.
    heights_mm: (f64, f64),
    level: bool,
}

impl Coverage {
    /// Lays a region's mask and strokes on a part. `old` is a region of the same mask from
    /// which what is prepared can be taken over.
    pub(super) fn new(
        region: &Region,
        surface: &Surface,
        old: Option<(&Region, &Coverage)>,
        progress: &Progress,
    ) -> Result<Self, MaskError> {
        let mask = match old {
            Some((_, area)) => area.mask.clone(),
            None => PreparedMask::new(&region.mask, surface, progress)?,
        };
        let mark = |(i, touch): (usize, &BrushStroke)| -> Result<Mark, MaskError> {
            let old = old.and_then(|(old, area)| {
                let stroke = old.brush.get(i)?.stroke();
                let mark = area.brush.marks().get(i)?;
                Some((stroke, &mark.stroke))
            });
            Ok(Mark {
                erases: matches!(touch, BrushStroke::Erase(_)),
                stroke: prepared(touch.stroke(), old, surface, progress)?,
            })
        };
        // The first fault in the order of the strokes is told, whichever is found first.
        let marks: Vec<Result<Mark, MaskError>> =
            region.brush.par_iter().enumerate().map(mark).collect();
        let marks = marks
            .into_iter()
            .collect::<Result<Vec<Mark>, MaskError>>()?;
        let before = old.map(|(_, area)| &area.brush);
        Ok(Self {
            mask,
            brush: Brushwork::new(marks, before),
            heights_mm: heights(region),
            level: region.mask.depends_on_height_only() && region.brush.is_empty(),
        })
    }

    /// Whether a point of the skin is in it.
    pub(crate) fn contains(&self, at: SurfacePoint) -> bool {
        let (low, high) = self.heights_mm;
        if !(low <= at.point_mm.z && at.point_mm.z <= high) {
            return false;
        }
        match self.brush.erases(at) {
            Some(erases) => !erases,
            None => self.mask.contains(at),
        }
    }

    /// The greatest share of a picture or a line of text in it that lies in details narrower than
    /// a width, mm.
    pub(crate) fn share_finer_than(&self, width_mm: f64) -> f64 {
        let mut most: f64 = 0.0;
        self.mask
            .each_imprint(&mut |imprint| most = most.max(imprint.share_finer_than(width_mm)));
        most
    }

    /// A distance within which every point of the skin has the same answer from
    /// [`Coverage::contains`] as this place, mm, no more than `most_mm`; there may be room to
    /// spare. The less it may be, the sooner it is known.
    pub(crate) fn clearance_mm(&self, place_mm: DVec3, most_mm: f64) -> f64 {
        let (low, high) = self.heights_mm;
        let beyond = (low - place_mm.z).max(place_mm.z - high);
        if beyond > 0.0 {
            return beyond.min(most_mm);
        }
        // Nothing of the mask or the strokes lies beyond those heights, so they set no edge.
        let mask_mm = self.mask.clearance_mm(place_mm).min(most_mm);
        self.brush.clearance_mm(place_mm, mask_mm)
    }

    /// Whether [`Coverage::contains`] is surely the same for all of a part of a facet, but for
    /// level edges of an area that asks for nothing but height.
    pub(crate) fn is_even(&self, facet: u32, corners_mm: [DVec3; 3]) -> bool {
        let [a, b, c] = corners_mm;
        let (low, high) = self.heights_mm;
        let lowest = a.z.min(b.z).min(c.z);
        let highest = a.z.max(b.z).max(c.z);
        if self.level || highest < low || lowest > high {
            return true;
        }
        match self.brush.on_part(facet, corners_mm) {
            OnPart::All => lowest >= low && highest <= high,
            OnPart::Nothing => {
                let middle = (a + b + c) / 3.0;
                let size = corners_mm.map(|corner| corner.distance(middle));
                let size = size.into_iter().fold(0.0, f64::max);
                let beyond = (low - middle.z).max(middle.z - high);
                beyond > size || self.mask.is_even(facet, corners_mm)
            }
            OnPart::Some => false,
        }
    }

    /// Least and greatest height of any point in it, mm.
    pub(super) fn heights_mm(&self) -> (f64, f64) {
        self.heights_mm
    }

    /// Whether it asks for nothing but the height of a point.
    pub(crate) fn is_level(&self) -> bool {
        self.level
    }

    /// Whether it has the points of a height; meaningful where [`Coverage::is_level`].
    pub(crate) fn contains_height(&self, height_mm: f64) -> bool {
        self.contains(SurfacePoint {
            point_mm: DVec3::Z * height_mm,
            facet: 0,
        })
    }

    /// Whether any of it may lie between two heights, mm.
    pub(crate) fn may_reach(&self, low_mm: f64, high_mm: f64) -> bool {
        self.heights_mm.0 <= high_mm && self.heights_mm.1 >= low_mm
    }
}

/// Prepares a stroke; one that begins as the old one does is only drawn on.
fn prepared(
    stroke: &Stroke,
    old: Option<(&Stroke, &Arc<PreparedStroke>)>,
    surface: &Surface,
    progress: &Progress,
) -> Result<Arc<PreparedStroke>, MaskError> {
    if let Some((before, ready)) = old
        && (before.radius_mm, before.reach_mm) == (stroke.radius_mm, stroke.reach_mm)
        && let Some(new) = stroke.dabs_mm.strip_prefix(before.dabs_mm.as_slice())
    {
        let mut ready = Arc::clone(ready);
        for &dab in new {
            Arc::make_mut(&mut ready).push(dab)?;
        }
        return Ok(ready);
    }
    PreparedStroke::new(stroke, surface, progress).map(Arc::new)
}

/// Heights between which the region lies. Strokes that erase can only take away.
fn heights(region: &Region) -> (f64, f64) {
    let (mut low, mut high) = region.mask.height_range_mm();
    for touch in &region.brush {
        if let BrushStroke::Paint(stroke) = touch {
            for dab in &stroke.dabs_mm {
                low = low.min(dab.z - stroke.radius_mm);
                high = high.max(dab.z + stroke.radius_mm);
            }
        }
    }
    (low - ROOM_MM, high + ROOM_MM)
}
