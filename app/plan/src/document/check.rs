//! What can be wrong with a plan beyond its grammar.

use blend::{Fade, FadeError, MAX_COMPONENTS, Shares, Spool, SpoolError};
use geometry::{Field, LayerPlan, Mask};

use super::{Paint, Plan, Region};
use crate::ron_text::{Path, Problem};

/// The most regions of a plan, and the most that a person could keep apart: every point of the
/// skin asks them all.
pub(super) const MOST_REGIONS: usize = 4096;

/// The most named blends of a plan: more than anyone chooses from.
const MOST_BLENDS: usize = 256;

/// The most characters of a name: nobody reads more, and a page of them takes minutes to lay out.
const MOST_LETTERS: usize = 200;

/// White, in a fade along a picture.
const WHITEST: f64 = 100.0;

/// The thinnest and thickest layer taken for a layer and not for a slip of the pen, mm.
const LAYER_MM: std::ops::RangeInclusive<f64> = 0.01..=5.0;

impl Plan {
    /// Everything wrong with the plan, in the order of its fields; empty when it is sound.
    ///
    /// Contents of files that it names are looked at only once they are loaded.
    pub fn problems(&self) -> Vec<Problem> {
        let mut found = Vec::new();
        found.extend(too_long(&self.title, "the title", Path::field("title")));
        if self.mesh.file.trim().is_empty() {
            let path = Path::field("mesh").then("file");
            found.push(Problem::new(
                path,
                "the mesh file has no name; write it here",
            ));
        }
        if self.spools.file.is_none() || !self.spools.is_empty() {
            check_spools(&self.spools, &Path::field("spools"), &mut found);
        }
        if let Err(error) = self.mesh.place.check() {
            let path = Path::field("mesh").then("place");
            found.push(Problem::new(path, error.to_string()));
        }
        found.extend(self.machine.problems_at(&Path::field("machine")));
        let (drives, spools) = (self.machine.drives.len(), self.spools.len());
        if drives > 1 && spools > 0 && drives != spools {
            let what = format!("the machine has {drives} drives, and there are {spools} spools");
            found.push(Problem::new(Path::field("machine").then("drives"), what));
        }
        check_layers(&self.layers, &mut found);
        for (name, value) in [("skin_mm", self.skin_mm), ("step_de00", self.step_de00)] {
            if !(value.is_finite() && value > 0.0) {
                let what = format!("{name} is {value}; it must be a number above 0");
                found.push(Problem::new(Path::field(name), what));
            }
        }
        if let Some((field, what)) = self.wall.and_then(|wall| wall.problem()) {
            found.push(Problem::new(Path::field("wall").then(field), what));
        }
        if let Some((field, what)) = self.filling.problem() {
            found.push(Problem::new(Path::field("filling").then(field), what));
        }
        if let Some(de00) = self.laying.merge_de00
            && !(de00.is_finite() && de00 > 0.0)
        {
            let what = format!("merge_de00 is {de00}; it must be a number above 0, or left out");
            found.push(Problem::new(Path::field("laying").then("merge_de00"), what));
        }
        self.check_blends(&mut found);
        self.check_regions(&mut found);
        found
    }

    fn check_blends(&self, found: &mut Vec<Problem>) {
        let all = Path::field("blends");
        let count = self.blends.len();
        if count > MOST_BLENDS {
            let what =
                format!("there are {count} named blends; a plan holds {MOST_BLENDS} at most");
            found.push(Problem::new(all, what));
            return;
        }
        for (i, blend) in self.blends.iter().enumerate() {
            let (name, path) = (&blend.name, all.at(i));
            if let Some(problem) = too_long(name, "a blend's name", path.then("name")) {
                found.push(problem);
                continue;
            }
            if name.trim().is_empty() {
                let what = "a blend has no name; give it one, so that regions can use it";
                found.push(Problem::new(path.then("name"), what));
            }
            let mut before = self.blends.iter().take(i);
            if before.any(|before| before.name == *name) {
                let what = format!("two blends are called '{name}'; rename one of them");
                found.push(Problem::new(path.then("name"), what));
            }
            if let Some(what) = count_problem(
                &format!("blend '{name}'"),
                &blend.shares,
                self.component_count(),
            ) {
                found.push(Problem::new(path.then("shares"), what));
            }
        }
    }

    /// What is wrong with a region's named blend.
    fn blend_problem(&self, region: &Region, path: &Path) -> Option<Problem> {
        let Paint::Blend(named) = &region.paint else {
            return None;
        };
        if self.blend_named(&named.name).is_some() {
            return None;
        }
        let known: Vec<String> = self
            .blends
            .iter()
            .map(|b| format!("'{}'", b.name))
            .collect();
        let known = match known.is_empty() {
            true => "the plan has no named blends".to_owned(),
            false => format!("its blends are {}", known.join(", ")),
        };
        let what = format!(
            "region '{}' has the blend '{}', which is not in the plan; {known}. Add it to blends",
            region.name, named.name
        );
        Some(Problem::new(path.then("paint"), what))
    }

    /// Everything wrong with one region on its own, which is quicker to find.
    pub(crate) fn region_problems(&self, index: usize) -> Vec<Problem> {
        let mut found = Vec::new();
        let path = Path::field("regions").at(index);
        if let Some(region) = self.regions.get(index) {
            if index == 0 {
                check_base(region, &path, &mut found);
            }
            check_region(region, self.component_count(), &path, &mut found);
            found.extend(self.blend_problem(region, &path));
        }
        found
    }

    /// How many shares each blend must have; `None` while the spools' file is not loaded.
    fn component_count(&self) -> Option<usize> {
        (!self.spools.is_empty()).then_some(self.spools.len())
    }

    fn check_regions(&self, found: &mut Vec<Problem>) {
        let all = Path::field("regions");
        match self.regions.first() {
            None => {
                let what = "there is no region; the first one must cover everything: \
                            (name: \"all\", mask: Whole, paint: …)";
                found.push(Problem::new(all.clone(), what));
            }
            Some(base) => check_base(base, &all.at(0), found),
        }
        let count = self.regions.len();
        if count > MOST_REGIONS {
            let what = format!("there are {count} regions; a plan holds {MOST_REGIONS} at most");
            found.push(Problem::new(all.clone(), what));
        }
        for (i, region) in self.regions.iter().enumerate() {
            check_region(region, self.component_count(), &all.at(i), found);
            found.extend(self.blend_problem(region, &all.at(i)));
        }
    }
}

fn check_base(base: &Region, path: &Path, found: &mut Vec<Problem>) {
    if base.mask != Mask::Whole {
        let what = format!(
            "the first region, '{}', does not cover everything; give it the mask Whole, \
             or put a region with that mask before it",
            base.name
        );
        found.push(Problem::new(path.then("mask"), what));
    }
    if !base.brush.is_empty() {
        let what = "the first region covers everything, so there is nothing to paint or erase; \
                    give the strokes to a region above it";
        found.push(Problem::new(path.then("brush"), what));
    }
    if base.hidden {
        let what = "the first region can't be hidden, because it shows wherever no other region \
                    does";
        found.push(Problem::new(path.then("hidden"), what));
    }
}

/// A name longer than anyone reads.
fn too_long(name: &str, what: &str, path: Path) -> Option<Problem> {
    let letters = name.chars().count();
    (letters > MOST_LETTERS).then(|| {
        let what = format!("{what} is {letters} characters long; shorten it to {MOST_LETTERS}");
        Problem::new(path, what)
    })
}

/// Checks spools wherever they stand.
pub(crate) fn check_spools(spools: &[Spool], path: &Path, found: &mut Vec<Problem>) {
    if !(2..=MAX_COMPONENTS).contains(&spools.len()) {
        let what = format!(
            "a mixing hotend takes 2 to {MAX_COMPONENTS} spools, and there are {}",
            spools.len()
        );
        found.push(Problem::new(path.clone(), what));
    }
    for (i, spool) in spools.iter().enumerate() {
        found.extend(too_long(
            &spool.name,
            "a spool's name",
            path.at(i).then("name"),
        ));
        if let Err(error) = spool.check() {
            let field = match error {
                SpoolError::Nameless => "name",
                SpoolError::Density { .. } => "density_g_cm3",
                SpoolError::Diameter { .. } => "diameter_mm",
                SpoolError::Colour { .. } => "colour",
                SpoolError::Translucent { .. } => "translucent",
            };
            found.push(Problem::new(path.at(i).then(field), error.to_string()));
        }
    }
}

fn check_layers(layers: &LayerPlan, found: &mut Vec<Problem>) {
    let path = Path::field("layers");
    let mut height = |path: Path, value: f64| {
        if !LAYER_MM.contains(&value) {
            let what = format!(
                "a layer height of {value} mm; it must be from {} to {} mm",
                LAYER_MM.start(),
                LAYER_MM.end()
            );
            found.push(Problem::new(path, what));
        }
    };
    height(path.then("first_layer_mm"), layers.first_layer_mm);
    height(path.then("layer_mm"), layers.layer_mm);
    for (i, change) in layers.changes.iter().enumerate() {
        height(path.then("changes").at(i).then("layer_mm"), change.layer_mm);
    }
    let mut below = 0.0;
    for (i, change) in layers.changes.iter().enumerate() {
        let above = change.above_mm;
        if !(above.is_finite() && above >= 0.0) || (i > 0 && above <= below) {
            let what = format!(
                "the layer height changes at {above} mm; heights must be 0 or more, and each \
                 above the one before it"
            );
            let path = path.then("changes").at(i).then("above_mm");
            found.push(Problem::new(path, what));
        }
        below = above;
    }
}

fn check_region(region: &Region, count: Option<usize>, path: &Path, found: &mut Vec<Problem>) {
    let name = &region.name;
    if let Some(problem) = too_long(name, "a region's name", path.then("name")) {
        found.push(problem);
        return; // Nothing else is worth saying with such a name in it.
    }
    if name.trim().is_empty() {
        let what = "a region has no name; give it one, so that messages can name it";
        found.push(Problem::new(path.then("name"), what));
    }
    for error in region.mask.faults() {
        let what = format!("region '{name}': {error}");
        found.push(Problem::new(path.then("mask"), what));
    }
    for (i, touch) in region.brush.iter().enumerate() {
        if let Err(error) = touch.stroke().check() {
            let what = format!("region '{name}', brush stroke {}: {error}", i + 1);
            found.push(Problem::new(path.then("brush").at(i), what));
        }
    }
    let below_plate = matches!(region.mask, Mask::Band { from_mm, .. } if from_mm < 0.0);
    if below_plate {
        let what = format!("region '{name}': a height below 0; heights are above the bed");
        found.push(Problem::new(path.then("mask").then("from_mm"), what));
    }
    let paint = path.then("paint");
    match &region.paint {
        Paint::Fixed(shares) => {
            if let Some(what) = count_problem(&format!("region '{name}'"), shares, count) {
                found.push(Problem::new(paint, what));
            }
        }
        // Its shares stand in the plan's list.
        Paint::Blend(_) => {}
        Paint::Fade { along, fade } => {
            if let Err(error) = along.check() {
                let what = format!("region '{name}': the fade's measure: {error}");
                found.push(Problem::new(paint.then("along"), what));
            }
            let lowest = match along {
                Field::Direction(_) => f64::NEG_INFINITY,
                _ => 0.0,
            };
            check_fade(name, fade, lowest, count, &paint.then("fade"), found);
            let beyond = |stop: &&blend::Stop| stop.at_mm > WHITEST;
            if let (Field::Picture(_), Some(stop)) = (along, fade.stops.iter().find(beyond)) {
                let what = format!(
                    "region '{name}': a stop at {}; a picture's greys go from 0, black, to \
                     {WHITEST}, white",
                    stop.at_mm
                );
                found.push(Problem::new(paint.then("fade").then("stops"), what));
            }
        }
    }
}

fn check_fade(
    name: &str,
    fade: &Fade,
    lowest: f64,
    count: Option<usize>,
    path: &Path,
    found: &mut Vec<Problem>,
) {
    let stops = path.then("stops");
    if let Err(error) = fade.check() {
        let path = match &error {
            FadeError::TooFew(_) => stops.clone(),
            FadeError::Place { stop, .. } | FadeError::NotRising { stop, .. } => {
                stops.at(stop - 1).then("at_mm")
            }
            FadeError::Count { stop, .. } => stops.at(stop - 1).then("shares"),
        };
        found.push(Problem::new(path, format!("region '{name}': {error}")));
    }
    for (i, stop) in fade.stops.iter().enumerate() {
        if stop.at_mm < lowest {
            let (nth, at) = (i + 1, stop.at_mm);
            let what = format!(
                "region '{name}': stop {nth} is at {at} mm; this measure has no \
                                values below 0"
            );
            found.push(Problem::new(stops.at(i).then("at_mm"), what));
        }
        if let Some(what) = count_problem(&format!("region '{name}'"), &stop.shares, count) {
            found.push(Problem::new(stops.at(i).then("shares"), what));
        }
    }
}

fn count_problem(whose: &str, shares: &Shares, count: Option<usize>) -> Option<String> {
    let (has, needs) = (shares.count(), count?);
    (has != needs).then(|| {
        format!(
            "{whose}: this blend has {has} shares, and there are {needs} spools; \
             write one share for each, 0 for a spool that is not used"
        )
    })
}
