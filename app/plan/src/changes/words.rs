//! What is different between two plans, in words.

use crate::document::{Paint, Plan, Region};
use blend::{MixModel, Shares, ciede2000};
use serde::Serialize;

use super::leaves::{Leaf, leaves};

/// More single numbers than this are not listed one by one.
const MOST_NUMBERS: usize = 6;

/// One thing that is different.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Change {
    /// What it is about: `Machine`, `Region 'Door'`.
    pub about: String,
    /// What is different, as a clause.
    pub what: String,
}

/// All that is different between two plans, from the part to its regions. Both plans have their
/// spools and machine loaded; `mesh_differs` is whether the mesh files hold other bytes.
pub fn changes(old: &Plan, new: &Plan, mesh_differs: bool) -> Vec<Change> {
    let mut found = Vec::new();
    let mut tell = |about: &str, what: String| {
        found.push(Change {
            about: about.to_owned(),
            what,
        });
    };
    if old.title != new.title {
        tell("Title", format!("from '{}' to '{}'", old.title, new.title));
    }
    if mesh_differs {
        tell("Mesh", "the file holds another shape".to_owned());
    }
    for leaf in leaves(&old.mesh, &new.mesh) {
        tell("Mesh", leaf.words());
    }
    spools(old, new, &mut tell);
    for leaf in leaves(&old.machine.value, &new.machine.value) {
        tell("Machine", leaf.words());
    }
    for leaf in leaves(&old.layers, &new.layers) {
        tell("Layers", leaf.words());
    }
    for leaf in leaves(&old.filling, &new.filling) {
        tell("Filling", leaf.words());
    }
    for leaf in leaves(&old.laying, &new.laying) {
        tell("Laying", leaf.words());
    }
    for leaf in leaves(&old.wall, &new.wall) {
        tell("Wall", leaf.words());
    }
    for (name, old, new) in [
        ("skin_mm", old.skin_mm, new.skin_mm),
        ("step_de00", old.step_de00, new.step_de00),
    ] {
        if old != new {
            tell("Colours", format!("{name} from {old} to {new}"));
        }
    }
    blends(old, new, &mut tell);
    regions(old, new, &mut tell);
    found
}

/// Changes as lines of a list; `none` if there is none.
pub fn told(changes: &[Change], none: &str) -> String {
    if changes.is_empty() {
        return format!("{none}\n");
    }
    changes
        .iter()
        .map(|change| format!("{}: {}\n", change.about, change.what))
        .collect()
}

fn spools(old: &Plan, new: &Plan, tell: &mut impl FnMut(&str, String)) {
    for i in 0..old.spools.len().max(new.spools.len()) {
        let about = format!("Spool {}", i + 1);
        let (before, after) = match (old.spools.get(i), new.spools.get(i)) {
            (Some(before), Some(after)) => (before, after),
            (None, Some(after)) => {
                tell(&about, format!("added: '{}'", after.name));
                continue;
            }
            (Some(before), None) => {
                tell(&about, format!("removed: '{}'", before.name));
                continue;
            }
            (None, None) => continue,
        };
        if before.name != after.name {
            let what = format!("'{}' instead of '{}'", after.name, before.name);
            tell(&about, what);
        }
        if before.colour != after.colour || before.translucent != after.translucent {
            let (was, is) = (before.xyz(), after.xyz());
            let what = format!(
                "its colour from {} to {}, ΔE00 {:.1}",
                was.to_srgb(),
                is.to_srgb(),
                ciede2000(was.to_lab(), is.to_lab())
            );
            tell(&about, what);
        }
        for (name, was, is) in [
            ("density", before.density_g_cm3, after.density_g_cm3),
            ("diameter", before.diameter_mm, after.diameter_mm),
        ] {
            if was != is {
                tell(&about, format!("its {name} from {was} to {is}"));
            }
        }
    }
    match (&old.spools.measured, &new.spools.measured) {
        (None, Some(_)) => tell("Spools", "now measured".to_owned()),
        (Some(_), None) => tell("Spools", "no longer measured".to_owned()),
        (Some(was), Some(is)) if was != is => tell(
            "Spools",
            format!(
                "measured or fitted again (RMS ΔE00 {:.2}, was {:.2})",
                is.rms_delta_e00, was.rms_delta_e00
            ),
        ),
        _ => {}
    }
}

fn blends(old: &Plan, new: &Plan, tell: &mut impl FnMut(&str, String)) {
    let (was, is) = (old.model(), new.model());
    for blend in &new.blends {
        let about = format!("Blend '{}'", blend.name);
        match old.blend_named(&blend.name) {
            None => tell(&about, format!("added, {}", blend.shares)),
            Some(before) if before.shares != blend.shares => {
                let off = difference((&before.shares, &*was), (&blend.shares, &*is));
                let what = format!("from {} to {}, ΔE00 {off}", before.shares, blend.shares);
                tell(&about, what);
            }
            Some(_) => {}
        }
    }
    for blend in &old.blends {
        if new.blend_named(&blend.name).is_none() {
            tell(&format!("Blend '{}'", blend.name), "removed".to_owned());
        }
    }
}

fn regions(old: &Plan, new: &Plan, tell: &mut impl FnMut(&str, String)) {
    let (was, is) = (old.model(), new.model());
    let mut left: Vec<(usize, &Region)> = old.regions.iter().enumerate().collect();
    let mut places = Vec::new();
    for region in &new.regions {
        let about = format!("Region '{}'", region.name);
        let same = left.iter().position(|(_, r)| r.name == region.name);
        match same {
            Some(at) => {
                let (place, before) = left.remove(at);
                places.push(place);
                region_changes(before, region, (&*was, &*is), &mut |what| {
                    tell(&about, what)
                });
            }
            None => {
                // Renamed, if another region is just this one but for its name.
                let alike = left.iter().position(|(_, r)| {
                    r.mask == region.mask && r.brush == region.brush && r.paint == region.paint
                });
                match alike {
                    Some(at) => {
                        let (place, before) = left.remove(at);
                        places.push(place);
                        tell(&about, format!("was called '{}'", before.name));
                    }
                    None => tell(
                        &about,
                        format!("added, {}", paint_in_words(&region.paint, &*is)),
                    ),
                }
            }
        }
    }
    for (_, gone) in left {
        tell(&format!("Region '{}'", gone.name), "removed".to_owned());
    }
    if !places.is_sorted() {
        let what = "in another order, so others are on top".to_owned();
        tell("Regions", what);
    }
}

fn region_changes(
    old: &Region,
    new: &Region,
    (was, is): (&dyn MixModel, &dyn MixModel),
    tell: &mut dyn FnMut(String),
) {
    if old.mask != new.mask {
        tell(format!(
            "its area: {}",
            numbers(&leaves(&old.mask, &new.mask))
        ));
    }
    if old.brush != new.brush {
        tell(match old.brush.len() == new.brush.len() {
            true => "its brush strokes were moved".to_owned(),
            false => format!(
                "{} brush strokes instead of {}",
                new.brush.len(),
                old.brush.len()
            ),
        });
    }
    match (&old.paint, &new.paint) {
        (old, new) if old == new => {}
        // The list of named blends tells how they changed.
        (Paint::Blend(before), Paint::Blend(after)) if before.name == after.name => {}
        (_, Paint::Blend(named)) => tell(format!(
            "now the blend '{}', {}",
            named.name,
            paint_in_words(&new.paint, is)
        )),
        (
            Paint::Fixed(before) | Paint::Blend(crate::NamedBlend { shares: before, .. }),
            Paint::Fixed(after),
        ) => {
            let off = difference((before, was), (after, is));
            tell(format!("its blend from {before} to {after}, ΔE00 {off}"));
        }
        (Paint::Fade { .. }, Paint::Fade { .. }) => {
            let what = numbers(&leaves(&old.paint, &new.paint)).replace("Fade, ", "");
            tell(format!("its fade: {what}"));
        }
        (_, paint) => tell(format!("now {}", paint_in_words(paint, is))),
    }
    for (what, before, after) in [
        ("hidden", old.hidden, new.hidden),
        ("locked", old.locked, new.locked),
    ] {
        if before != after {
            tell(match after {
                true => format!("now {what}"),
                false => format!("no longer {what}"),
            });
        }
    }
}

fn difference((old, was): (&Shares, &dyn MixModel), (new, is): (&Shares, &dyn MixModel)) -> String {
    if old.count() != was.count() || new.count() != is.count() {
        return "unknown".to_owned();
    }
    let off = ciede2000(was.mix(old).to_lab(), is.mix(new).to_lab());
    format!("{off:.1}")
}

fn paint_in_words(paint: &Paint, model: &dyn MixModel) -> String {
    match paint {
        Paint::Fixed(shares) | Paint::Blend(crate::NamedBlend { shares, .. })
            if shares.count() == model.count() =>
        {
            format!("one blend, {shares} ({})", model.mix(shares).to_srgb())
        }
        Paint::Fixed(shares) | Paint::Blend(crate::NamedBlend { shares, .. }) => {
            format!("one blend, {shares}")
        }
        Paint::Fade { fade, .. } => format!("a fade of {} stops", fade.stops.len()),
    }
}

/// Some numbers one by one, many as a sum.
fn numbers(leaves: &[Leaf]) -> String {
    let told: Vec<String> = leaves.iter().take(MOST_NUMBERS).map(Leaf::words).collect();
    let more = leaves.len().saturating_sub(MOST_NUMBERS);
    match more {
        0 => told.join("; "),
        more => format!("{}; and {more} more", told.join("; ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::document::{FirstPlan, MeshSource};
    use geometry::Mask;

    fn plan() -> Plan {
        let mut plan = Plan::first(FirstPlan {
            mesh: MeshSource::named("post.stl"),
            title: "Post".into(),
            height_mm: 20.0,
        });
        let band = Mask::Band {
            from_mm: 4.0,
            to_mm: 6.0,
        };
        let fixed = Paint::Fixed(Shares::new(&[0.5, 0.5]).unwrap());
        plan.regions.push(Region::new("Ring", band, fixed));
        plan
    }

    fn said(change: impl FnOnce(&mut Plan)) -> Vec<String> {
        let old = plan();
        let mut new = plan();
        change(&mut new);
        let changes = changes(&old, &new, false);
        changes
            .iter()
            .map(|c| format!("{}: {}", c.about, c.what))
            .collect()
    }

    #[test]
    fn equal_plans_have_no_changes() {
        assert!(said(|_| {}).is_empty());
        assert_eq!(told(&[], "None"), "None\n");
    }

    #[test]
    fn each_change_is_told_once_and_in_words() {
        let one = |change: fn(&mut Plan), wanted: &str| {
            let said = said(change);
            assert_eq!(said.len(), 1, "{said:?}");
            assert!(said[0].contains(wanted), "{said:?}");
        };
        one(|p| p.title = "Pole".into(), "Title: from 'Post' to 'Pole'");
        one(
            |p| p.spools[0].name = "Sea".into(),
            "Spool 1: 'Sea' instead of",
        );
        one(
            |p| p.spools[1].diameter_mm = 2.85,
            "Spool 2: its diameter from 1.75 to 2.85",
        );
        one(
            |p| p.machine.chamber.dead_mm3 = 25.0,
            "Machine: chamber, dead_mm3 from 20.0 to 25.0",
        );
        one(
            |p| p.layers.layer_mm = 0.3,
            "Layers: layer_mm from 0.2 to 0.3",
        );
        one(
            |p| p.regions[1].paint = Paint::Fixed(Shares::new(&[0.4, 0.6]).unwrap()),
            "Region 'Ring': its blend from 50 / 50 to 40 / 60, ΔE00",
        );
        one(
            |p| {
                p.regions[1].mask = Mask::Band {
                    from_mm: 4.0,
                    to_mm: 7.5,
                }
            },
            "Region 'Ring': its area: Band, to_mm from 6.0 to 7.5",
        );
        one(
            |p| p.regions[1].mask = Mask::Whole,
            "Region 'Ring': its area: from Band to 'Whole'",
        );
        one(|p| p.regions[1].name = "Hoop".into(), "was called 'Ring'");
        one(|p| p.regions.truncate(1), "Region 'Ring': removed");
        one(|p| p.regions[1].hidden = true, "now hidden");
        let fade = |p: &mut Plan| {
            if let Paint::Fade { fade, .. } = &mut p.regions[0].paint {
                fade.stops[1].at_mm = 15.0;
            }
        };
        one(fade, "its fade: fade, stops, 2, at_mm from 20.0 to 15.0");
    }
}
