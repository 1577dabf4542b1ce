//! Changes of a region's area as a whole: grown, shrunk, inverted; and of several regions at once.

use geometry::Mask;
use geometry::mask::Stroke;
use plan::{BrushStroke, Edit, Region};

use super::Session;
use super::painting::area_of;

impl Session {
    /// The regions that are selected, from the base up.
    pub fn selected_regions(&self) -> Vec<usize> {
        let mut all: Vec<usize> = self.chosen.also.iter().copied().collect();
        all.extend(self.chosen.region);
        all.sort_unstable();
        all.dedup();
        all
    }

    /// Adds a region to those that are selected, or takes it out.
    pub(super) fn choose_too(&mut self, region: usize) {
        let Some(main) = self.chosen.region else {
            return self.choose_region(region);
        };
        if region == main {
            // The last of the others takes its place.
            if let Some(next) = self.chosen.also.pop_last() {
                self.choose_main(next);
            }
        } else if !self.chosen.also.remove(&region) {
            self.chosen.also.insert(region);
        }
    }

    /// Selects all regions from the chosen one to another.
    pub(super) fn choose_up_to(&mut self, region: usize) {
        let main = self.chosen.region.unwrap_or(region);
        let range = region.min(main)..=region.max(main);
        self.chosen.also = range.filter(|r| *r != main).collect();
    }

    /// Deletes the selected regions but the base and those that are locked: one step of undo.
    pub(super) fn delete_selected(&mut self) {
        let gone: Vec<usize> = self.unlocked(1).rev().collect();
        let edits = gone.iter().map(|&region| Edit::RemoveRegion { region });
        let edits: Vec<Edit> = edits.collect();
        if self.together(edits) {
            self.chosen.also.clear();
            self.keep_chosen_in_range();
        }
    }

    fn unlocked(&self, from: usize) -> impl DoubleEndedIterator<Item = usize> + use<> {
        let regions = self.doc.as_ref().map(|d| &d.plan().regions);
        let free = |r: &usize| {
            regions
                .and_then(|all| all.get(*r))
                .is_some_and(|r| !r.locked)
        };
        let all = self.selected_regions().into_iter().filter(free);
        let all: Vec<usize> = all.filter(|r| *r >= from).collect();
        all.into_iter()
    }

    /// One edit by itself, several as one step.
    fn together(&mut self, mut edits: Vec<Edit>) -> bool {
        match edits.len() {
            0 => false,
            1 => edits.pop().is_some_and(|edit| self.edit(edit)),
            _ => self.edit(Edit::Together(edits)),
        }
    }

    /// Leaves the selected regions out of the print, or takes them back in, as the chosen one.
    pub(super) fn hide_selected(&mut self) {
        let Some(hidden) = self.chosen_region().map(|r| !r.hidden) else {
            return;
        };
        let all = self.selected_regions().into_iter().filter(|r| *r > 0);
        let edits = all.map(|region| Edit::HideRegion { region, hidden });
        self.together(edits.collect());
    }

    /// Moves the selected regions up by one place, or down; their order stays.
    pub(super) fn move_selected(&mut self, up: bool) {
        let regions = self.doc.as_ref().map_or(0, |d| d.plan().regions.len());
        let mut all: Vec<usize> = self.selected_regions();
        all.retain(|r| *r > 0);
        let blocked = match up {
            true => all.last().is_none_or(|r| r + 1 >= regions),
            false => all.first().is_none_or(|r| *r <= 1),
        };
        if blocked {
            return;
        }
        if up {
            all.reverse();
        }
        let to = |from: usize| if up { from + 1 } else { from - 1 };
        let edits = all
            .iter()
            .map(|&from| Edit::MoveRegion { from, to: to(from) });
        if self.together(edits.collect()) {
            self.chosen.also = self.chosen.also.iter().map(|&r| to(r)).collect();
            let main = self.chosen.region.map(to);
            self.chosen.region = main;
            self.keep_chosen_in_range();
        }
    }

    /// Grows the selected region's area by so much at its edge, mm; less than 0 shrinks it.
    pub(super) fn grow(&mut self, by_mm: f64) {
        let (Some(index), Some(region)) = (self.chosen.region, self.chosen_region()) else {
            return;
        };
        match grown(region, by_mm) {
            Ok((mask, brush)) => {
                self.edit(Edit::SetArea {
                    region: index,
                    mask,
                    brush,
                });
            }
            Err(why) => self.notices.warning(why),
        }
    }

    /// Smooths the edge of the selected region's area by the length that is set. An area that was
    /// smoothed, and not changed since, is smoothed by both lengths at once: their squares add.
    pub(super) fn smooth(&mut self) {
        let (Some(index), Some(region)) = (self.chosen.region, self.chosen_region()) else {
            return;
        };
        let by_mm = self.tools.smooth_mm;
        let mask = match area_of(region) {
            Mask::Smoothed { by_mm: before, of } => Mask::Smoothed {
                by_mm: before.hypot(by_mm),
                of,
            },
            area => Mask::Smoothed {
                by_mm,
                of: Box::new(area),
            },
        };
        self.edit(Edit::SetArea {
            region: index,
            mask,
            brush: Vec::new(),
        });
    }

    /// Makes the selected region cover what it did not cover.
    pub(super) fn invert(&mut self) {
        let (Some(index), Some(region)) = (self.chosen.region, self.chosen_region()) else {
            return;
        };
        let mask = match area_of(region) {
            Mask::Not(inner) => *inner,
            mask => Mask::Not(Box::new(mask)),
        };
        self.edit(Edit::SetArea {
            region: index,
            mask,
            brush: Vec::new(),
        });
    }
}

/// A region's mask and strokes, each grown: so their union is grown by as much.
fn grown(region: &Region, by_mm: f64) -> Result<(Mask, Vec<BrushStroke>), String> {
    let mask = grown_mask(&region.mask, by_mm)?;
    let brush: Vec<BrushStroke> = region
        .brush
        .iter()
        .filter_map(|touch| match touch {
            BrushStroke::Paint(stroke) => wider(stroke, by_mm).map(BrushStroke::Paint),
            BrushStroke::Erase(stroke) => wider(stroke, -by_mm).map(BrushStroke::Erase),
        })
        .collect();
    let painted = |list: &[BrushStroke]| list.iter().any(|t| matches!(t, BrushStroke::Paint(_)));
    if painted(&region.brush) && !painted(&brush) {
        return Err(format!(
            "Nothing would be left of {}: its strokes are narrower than that.",
            region.name
        ));
    }
    Ok((mask, brush))
}

fn wider(stroke: &Stroke, by_mm: f64) -> Option<Stroke> {
    const LEAST_MM: f64 = 1e-3;
    let radius_mm = stroke.radius_mm + by_mm;
    (radius_mm > LEAST_MM).then(|| Stroke {
        radius_mm,
        ..stroke.clone()
    })
}

fn grown_mask(mask: &Mask, by_mm: f64) -> Result<Mask, String> {
    let all = |list: &[Mask], by_mm| {
        let grown = list.iter().map(|mask| grown_mask(mask, by_mm));
        grown.collect::<Result<Vec<Mask>, String>>()
    };
    let gone = || Err("Nothing would be left of this region.".to_owned());
    Ok(match mask.clone() {
        Mask::Band { from_mm, to_mm } if to_mm - from_mm + 2.0 * by_mm <= 0.0 => return gone(),
        Mask::Band { from_mm, to_mm } => Mask::Band {
            from_mm: from_mm - by_mm,
            to_mm: to_mm + by_mm,
        },
        Mask::Slab {
            direction,
            from_mm,
            to_mm,
        } => Mask::Slab {
            direction,
            from_mm: from_mm - by_mm,
            to_mm: to_mm + by_mm,
        },
        Mask::Sphere { radius_mm, .. } if radius_mm + by_mm <= 0.0 => return gone(),
        Mask::Sphere {
            centre_mm,
            radius_mm,
        } => Mask::Sphere {
            centre_mm,
            radius_mm: radius_mm + by_mm,
        },
        Mask::Stroke(stroke) => match wider(&stroke, by_mm) {
            Some(stroke) => Mask::Stroke(stroke),
            None => return gone(),
        },
        Mask::Any(list) => Mask::Any(all(&list, by_mm)?),
        Mask::All(list) => Mask::All(all(&list, by_mm)?),
        Mask::Not(inner) => Mask::Not(Box::new(grown_mask(&inner, -by_mm)?)),
        Mask::Whole => Mask::Whole,
        Mask::Smoothed {
            by_mm: smooth_mm,
            of,
        } => Mask::Smoothed {
            by_mm: smooth_mm,
            of: Box::new(grown_mask(&of, by_mm)?),
        },
        Mask::Outline(_) => {
            return Err(
                "What an outline covers can't grow or shrink: draw a larger or a smaller one."
                    .to_owned(),
            );
        }
        Mask::Picture(_) | Mask::Text(_) => {
            return Err(
                "A picture or letters can't grow here: give the picture another threshold, or \
                 the letters a bolder stroke, in the plan."
                    .to_owned(),
            );
        }
        Mask::Colour(_) => {
            return Err(
                "This region is a colour of the model: its edge is where the model's colours \
                 change."
                    .to_owned(),
            );
        }
        Mask::Box { .. }
        | Mask::Cylinder { .. }
        | Mask::Shell { .. }
        | Mask::Object(_)
        | Mask::Crease { .. }
        | Mask::Flat { .. }
        | Mask::Connected { .. } => {
            return Err(
                "This region follows the part's own edges, another region's, or a shape with \
                 corners; only bands, spheres and painted strokes can grow and shrink."
                    .to_owned(),
            );
        }
    })
}

#[cfg(test)]
mod tests {
    use geometry::DVec3;
    use plan::Paint;
    use proptest::prelude::*;

    use super::*;

    fn stroke(at: DVec3, radius_mm: f64) -> Stroke {
        Stroke {
            dabs_mm: vec![at],
            radius_mm,
            reach_mm: None,
        }
    }

    proptest! {
        /// Growing and shrinking by as much gives the same area.
        #[test]
        fn what_grows_and_shrinks_is_as_before(by_mm in 0.1..5.0_f64, radius_mm in 0.5..9.0_f64) {
            let mut region = Region::painted("Area", Paint::Fixed(blend::Shares::SINGLE));
            region.mask = Mask::Not(Box::new(Mask::Band { from_mm: -40.0, to_mm: 40.0 }));
            region.brush = vec![
                BrushStroke::Paint(stroke(DVec3::ZERO, radius_mm)),
                BrushStroke::Erase(stroke(DVec3::X, radius_mm + 6.0)),
            ];
            let (mask, brush) = grown(&region, by_mm).expect("grown");
            let BrushStroke::Paint(painted) = &brush[0] else { panic!("paint") };
            prop_assert!((painted.radius_mm - radius_mm - by_mm).abs() < 1e-12);
            let larger = Region { mask, brush, ..region.clone() };
            let (mask, brush) = grown(&larger, -by_mm).expect("shrunk");
            let Mask::Not(inner) = mask else { panic!("not") };
            let Mask::Band { from_mm, .. } = *inner else { panic!("band") };
            prop_assert!((from_mm + 40.0).abs() < 1e-12);
            prop_assert_eq!(brush.len(), 2);
        }
    }

    #[test]
    fn what_would_vanish_or_has_corners_is_refused_in_words() {
        let mut region = Region::painted("Area", Paint::Fixed(blend::Shares::SINGLE));
        region.brush = vec![BrushStroke::Paint(stroke(DVec3::ZERO, 1.0))];
        let why = grown(&region, -1.5).expect_err("gone");
        assert!(why.contains("Area"), "{why}");
        region.mask = Mask::Object("lid".to_owned());
        assert!(grown(&region, 1.0).is_err());
    }
}
