//! Fills: up to creases, over flat skin, or over skin of one blend.

use emath::Pos2;
use geometry::{DVec3, Mask, SurfacePoint};
use plan::{Paint, Plan, Region};

use super::Session;
use super::painting::area_of;
use crate::commands::Command;
use crate::model::tool::FillBy;

/// The skin may be this far from a mirrored click and still be meant, mm.
const MIRROR_MISS_MM: f64 = 1.0;

/// A fill whose area needs more numbers than this to be told is refused: it would make the plan
/// too long.
const MOST_NUMBERS: usize = 100_000;

/// Masks stand within so many others at most: a plan's text holds 60.
const DEEPEST: usize = 40;

impl Session {
    /// Sets how fills end; what is shown of one under the pointer is that of before.
    pub(super) fn set_fill(&mut self, command: &Command) {
        let tools = &mut self.tools;
        match *command {
            Command::Crease(angle_deg) => tools.set_crease_deg(angle_deg),
            Command::Flatness(angle_deg) => tools.set_flat_deg(angle_deg),
            Command::FillBy(what) => tools.fill_by = what,
            _ => tools.fill_by = tools.fill_by.next(),
        }
        self.clear_hover();
    }

    /// Fills from a position on the stage.
    pub(super) fn fill(&mut self, at: Pos2) {
        let Some(hit) = self.pick(at) else { return };
        let Some(doc) = &self.doc else { return };
        let images = self.tools.mirror.images_of(hit.point_mm, doc.middle_mm());
        let images = images.filter_map(|p| doc.surface.nearest_within(p, MIRROR_MISS_MM));
        let places: Vec<SurfacePoint> = std::iter::once(hit).chain(images).collect();
        let filled: Option<Vec<Mask>> = places.iter().map(|&place| self.fill_from(place)).collect();
        let Some(filled) = filled.map(merged) else {
            return;
        };
        if !filled.iter().all(can_be_stored) {
            self.clear_preview();
            self.notices.warning(
                "The areas about this place are too involved to be stored in the plan once more. \
                 Fill up to creases or by flatness, or paint it.",
            );
            return;
        }
        match (self.tools.fill_by, self.extended(&filled)) {
            (FillBy::Blend, Some((region, to))) => {
                let made = self.edit(plan::Edit::SetMask { region, to });
                self.keep_preview_if(made);
            }
            _ => self.put_masks(filled),
        }
    }

    /// What a fill from a point covers; none while the part's blends are not yet worked out.
    pub(super) fn fill_from(&self, hit: SurfacePoint) -> Option<Mask> {
        let near_mm = hit.point_mm;
        Some(match self.tools.fill_by {
            FillBy::Creases => Mask::Crease {
                near_mm,
                angle_deg: self.tools.crease_deg,
            },
            FillBy::Flatness => Mask::Flat {
                near_mm,
                angle_deg: self.tools.flat_deg,
            },
            FillBy::Blend => {
                let painted = self.painted.as_ref()?;
                let within = same_blend(painted.plan(), painted.region_at(hit));
                Mask::Connected {
                    near_mm: vec![near_mm],
                    within: Box::new(within),
                }
            }
        })
    }

    /// The chosen region's mask with more places in a fill that it has already, of the same area.
    fn extended(&self, filled: &[Mask]) -> Option<(usize, Mask)> {
        let (index, region) = self.paint_region()?;
        // What was erased from it may lie over the place.
        if region
            .brush
            .iter()
            .any(|touch| matches!(touch, plan::BrushStroke::Erase(_)))
        {
            return None;
        }
        let Mask::Any(mut parts) = region.mask.clone() else {
            return None;
        };
        for mask in filled {
            let (places, area) = connected(mask)?;
            let same = parts.iter_mut().find_map(|part| places_in(part, area));
            same?.extend_from_slice(places);
        }
        Some((index, Mask::Any(parts)))
    }
}

/// The same with fills of one area as one.
fn merged(masks: Vec<Mask>) -> Vec<Mask> {
    let mut all: Vec<Mask> = Vec::with_capacity(masks.len());
    for mask in masks {
        let joined = connected(&mask).and_then(|(places, area)| {
            let same = all.iter_mut().find_map(|one| places_in(one, area))?;
            same.extend_from_slice(places);
            Some(())
        });
        if joined.is_none() {
            all.push(mask);
        }
    }
    all
}

/// The places of a fill, if it is one of this area.
fn places_in<'a>(fill: &'a mut Mask, of: &Mask) -> Option<&'a mut Vec<DVec3>> {
    match fill {
        Mask::Connected { near_mm, within } if **within == *of => Some(near_mm),
        _ => None,
    }
}

fn connected(mask: &Mask) -> Option<(&[DVec3], &Mask)> {
    match mask {
        Mask::Connected { near_mm, within } => Some((near_mm, within)),
        _ => None,
    }
}

/// Where a plan's part has the blend that a region gives it: a snapshot, of masks alone.
///
/// What other such fills cover is left out where it can't matter. A fill is a whole piece of skin
/// of one blend; so, where the areas of all blends are still those that it was told by, it does
/// not touch the other pieces.
fn same_blend(plan: &Plan, chosen: usize) -> Mask {
    let regions = plan.regions.as_slice();
    let same = |region: &Region| {
        let paint = regions.get(chosen).map(|r| &r.paint);
        paint.is_some_and(|paint| is_same(paint, &region.paint))
    };
    let all: Vec<Fill> = fills(regions).collect();
    // Fills that have this blend themselves are of the area.
    let own = all
        .iter()
        .filter(|fill| regions.get(fill.region).is_some_and(same));
    let mut kept: Vec<Fill> = own.copied().collect();
    while let Some(unknown) = first_unknown(regions, &all, &kept) {
        kept.push(unknown);
    }
    on_top(regions, &kept, &same)
}

/// A fill that was told by areas which are no longer those of a blend, if not kept already.
fn first_unknown<'a>(regions: &[Region], all: &[Fill<'a>], kept: &[Fill<'a>]) -> Option<Fill<'a>> {
    let mut left_out = all.iter().filter(|fill| !kept.contains(fill)).peekable();
    left_out.peek()?;
    let visible = regions.iter().filter(|region| !region.hidden);
    let areas: Vec<Mask> = visible
        .map(|one| on_top(regions, kept, &|other| is_same(&one.paint, &other.paint)))
        .collect();
    left_out.find(|fill| !areas.contains(fill.area)).copied()
}

/// Where regions of one kind are on top, if all fills but some are left out.
fn on_top(regions: &[Region], kept: &[Fill<'_>], same: &dyn Fn(&Region) -> bool) -> Mask {
    let mut on_top = match regions.first().is_some_and(same) {
        true => Mask::Whole,
        false => Mask::nothing(),
    };
    let above = regions.iter().enumerate().skip(1);
    for (index, region) in above.filter(|(_, region)| !region.hidden) {
        let area = area_with(index, region, kept);
        if !area.is_nothing() {
            on_top = laid_over(on_top, area, same(region));
        }
    }
    on_top
}

/// An area over another: added to it, or taken off it.
fn laid_over(below: Mask, area: Mask, adds: bool) -> Mask {
    match (adds, below) {
        (true, Mask::Whole) => Mask::Whole,
        (true, below) if below.is_nothing() => area,
        (true, Mask::Any(mut any)) => {
            any.push(area);
            Mask::Any(any)
        }
        (true, below) => Mask::Any(vec![below, area]),
        (false, below) if below.is_nothing() => below,
        (false, Mask::All(mut all)) => {
            all.push(Mask::Not(Box::new(area)));
            Mask::All(all)
        }
        (false, below) => Mask::All(vec![below, Mask::Not(Box::new(area))]),
    }
}

/// A fill over one blend, as a part of a region's mask.
#[derive(Clone, Copy, PartialEq)]
struct Fill<'a> {
    region: usize,
    part: usize,
    /// The area of that blend, as it was told then.
    area: &'a Mask,
}

fn fills(regions: &[Region]) -> impl Iterator<Item = Fill<'_>> {
    let visible = regions.iter().enumerate().filter(|(_, r)| !r.hidden);
    visible.flat_map(|(region, r)| {
        let parts = parts_of(r).iter().enumerate();
        parts.filter_map(move |(part, mask)| {
            let (_, area) = connected(mask)?;
            Some(Fill { region, part, area })
        })
    })
}

fn parts_of(region: &Region) -> &[Mask] {
    match &region.mask {
        Mask::Any(parts) => parts.as_slice(),
        one => std::slice::from_ref(one),
    }
}

/// A region's area, of its fills over one blend with those that are kept.
fn area_with(index: usize, region: &Region, kept: &[Fill<'_>]) -> Mask {
    let is_kept = |part: usize| kept.iter().any(|f| (f.region, f.part) == (index, part));
    let parts = parts_of(region).iter().enumerate();
    let parts = parts.filter(|(part, mask)| connected(mask).is_none() || is_kept(*part));
    let mut parts: Vec<Mask> = parts
        .map(|(_, mask)| mask.clone())
        .filter(|mask| !mask.is_nothing())
        .collect();
    let mask = match parts.len() {
        0 => Mask::nothing(),
        1 => parts.swap_remove(0),
        _ => Mask::Any(parts),
    };
    area_of(&Region {
        mask,
        ..region.clone()
    })
}

/// Whether two paints are one blend, or one fade.
fn is_same(one: &Paint, other: &Paint) -> bool {
    let shares = |paint: &Paint| match paint {
        Paint::Fixed(shares) => Some(*shares),
        Paint::Blend(named) => Some(named.shares),
        Paint::Fade { .. } => None,
    };
    match (shares(one), shares(other)) {
        (Some(one), Some(other)) => one == other,
        (None, None) => one == other,
        _ => false,
    }
}

/// Whether a mask is short enough, and not nested too deeply, to be written into a plan.
fn can_be_stored(mask: &Mask) -> bool {
    let mut numbers = 0;
    mask.each(&mut |mask| {
        numbers += match mask {
            Mask::Stroke(stroke) => 3 * stroke.dabs_mm.len() + 2,
            Mask::Outline(outline) => 2 * outline.corners_mm.len() + 12,
            _ => 6,
        }
    });
    numbers <= MOST_NUMBERS && depth(mask) <= DEEPEST
}

/// How many masks stand within each other.
fn depth(mask: &Mask) -> usize {
    1 + match mask {
        Mask::All(parts) | Mask::Any(parts) => parts.iter().map(depth).max().unwrap_or(0),
        Mask::Not(part)
        | Mask::Connected { within: part, .. }
        | Mask::Smoothed { of: part, .. } => depth(part),
        _ => 0,
    }
}
