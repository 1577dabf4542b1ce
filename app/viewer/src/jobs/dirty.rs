//! Which pieces of the skin a change of the plan touches.

use std::collections::BTreeSet;

use geometry::Field;
use plan::{BrushStroke, Paint, Plan, Region};

use super::skin::Skin;

/// What has to be drawn again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Scope {
    /// The colours alone.
    Colours,
    /// Some pieces; regions keep their places.
    Pieces(BTreeSet<usize>),
    /// All pieces: regions changed their places.
    All,
}

/// Compares two plans of the same part.
pub fn scope(old: &Plan, new: &Plan, skin: &Skin) -> Scope {
    let count = old.regions.len().max(new.regions.len());
    let mut touched = BTreeSet::new();
    for index in 0..count {
        let (before, after) = (old.regions.get(index), new.regions.get(index));
        let (moved, looks) = match (before, after) {
            (Some(a), Some(b)) => (differ_in_place(a, b), a.paint != b.paint),
            _ => (true, false),
        };
        if !moved {
            continue;
        }
        if looks {
            // Another region has come to this place: colours and pieces must change at once.
            return Scope::All;
        }
        match (before, after) {
            (Some(a), Some(b)) if a.mask == b.mask && drawn_alike(a, b) => {
                // What was drawn before the first that differs is as it was.
                let same = a.brush.iter().zip(&b.brush).take_while(|(a, b)| a == b);
                let same = same.count();
                let others = a.brush.iter().skip(same).chain(b.brush.iter().skip(same));
                near(others, skin, &mut touched);
            }
            _ => {
                for region in [before, after].into_iter().flatten() {
                    touched.extend(skin.within(region.mask.bounds_mm()));
                    near(&region.brush, skin, &mut touched);
                }
            }
        }
    }
    match touched.is_empty() {
        true => Scope::Colours,
        false => Scope::Pieces(touched),
    }
}

/// Whether a region's area, or what its fade runs along, is another.
fn differ_in_place(a: &Region, b: &Region) -> bool {
    a.mask != b.mask || a.brush != b.brush || !drawn_alike(a, b)
}

/// Whether two regions are drawn the same way where their areas are the same.
fn drawn_alike(a: &Region, b: &Region) -> bool {
    a.hidden == b.hidden && along(a) == along(b)
}

/// A region of one blend is drawn with heights along its ramp, where they do no harm.
fn along(region: &Region) -> &Field {
    match &region.paint {
        Paint::Fixed(_) | Paint::Blend(_) => &Field::Height,
        Paint::Fade { along, .. } => along,
    }
}

/// Adds the pieces that strokes come near.
fn near<'a>(
    strokes: impl IntoIterator<Item = &'a BrushStroke>,
    skin: &Skin,
    touched: &mut BTreeSet<usize>,
) {
    for stroke in strokes {
        touched.extend(skin.near(stroke.stroke()));
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use geometry::mask::Stroke;
    use geometry::{DVec3, Progress, Surface};
    use plan::{FirstPlan, MeshSource, Painted};

    use super::super::patch;
    use super::*;

    fn drawn(z: f64) -> BrushStroke {
        let dab = |i: usize| {
            let (sin, cos) = (0.3 * i as f64).sin_cos();
            DVec3::new(9.0 * sin, -9.0 * cos, z)
        };
        BrushStroke::Paint(Stroke {
            dabs_mm: (0..8).map(dab).collect(),
            radius_mm: 1.0,
            reach_mm: None,
        })
    }

    /// Only the pieces that strokes come near are drawn again, and the others look as before.
    #[test]
    fn pieces_far_from_a_stroke_stay_as_they_are() {
        let mesh = Arc::new(geometry::solids::icosphere(10.0, 6).expect("a ball"));
        let skin = Skin::of(&mesh, &Progress::new()).expect("not cancelled");
        let surface = Surface::new(mesh);
        let mut plan = Plan::first(FirstPlan {
            mesh: MeshSource::named("ball.stl"),
            title: "Ball".into(),
            height_mm: 20.0,
        });
        let lay = |plan: &Plan| {
            let laid = Painted::new(
                plan.clone(),
                surface.clone(),
                plan.model(),
                &Progress::new(),
            );
            laid.expect("lays")
        };
        let mut painted = lay(&plan);
        let changes: [fn(&mut Plan); 4] = [
            |plan| {
                let mut region = Region::painted("Drawn", plan.regions[0].paint.clone());
                region.brush.push(drawn(4.0));
                plan.regions.push(region);
            },
            |plan| plan.regions[1].brush.push(drawn(-4.0)),
            |plan| plan.regions[1].brush[1] = drawn(-6.0),
            |plan| {
                plan.regions[1].brush.pop();
            },
        ];
        for change in changes {
            let before = plan.clone();
            change(&mut plan);
            let after = lay(&plan);
            let Scope::Pieces(touched) = scope(&before, &plan, &skin) else {
                panic!("some pieces change");
            };
            assert!(touched.len() < skin.pieces.len() / 2, "{touched:?}");
            for piece in 0..skin.pieces.len() {
                let of = |painted| patch::of_piece(painted, &skin, piece, &Progress::new());
                if !touched.contains(&piece) {
                    assert!(of(&painted) == of(&after), "{piece}");
                }
            }
            let changed = touched.iter().filter(|&&piece| {
                let of = |painted| patch::of_piece(painted, &skin, piece, &Progress::new());
                of(&painted) != of(&after)
            });
            assert!(changed.count() > 0);
            painted = after;
        }
    }
}
