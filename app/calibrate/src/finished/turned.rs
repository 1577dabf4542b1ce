//! How a part is turned, and what of it that has to be known for.
//!
//! The outline of a round part fits in many turns. What a photograph tells of a height is the same in
//! all of them, if the plan's colours are; but a door or a window would be looked for elsewhere.

use std::collections::{BTreeMap, BTreeSet};

use blend::{Xyz, ciede2000};
use geometry::Progress;

use super::colours::Expected;
use super::contrast::{Contrast, NEAR_BEST};
use super::fault::{FinishedError, refused};
use super::fit::{Fitted, Search, apart};
use super::placed::{Placed, Shown, slot};
use super::posed::Pose;
use super::sights::Sights;

/// Colours that differ by no more than this are the same, ΔE00.
const SAME_DE00: f64 = 1.5;
/// What holds of so much of what is seen holds of all.
const FEW: f64 = 0.05;
/// A region of which more than this is elsewhere is left out at all heights.
const MUCH: f64 = 0.2;
/// More than this must not be left out.
const MOST_LEFT_OUT: f64 = 0.3;
/// How far the part may be turned from what was said, rad.
const TURN_OFF: f64 = 0.35;
/// How far an outline is turned to each side to see whether it fits as well, in how many steps,
/// degrees.
const UNSURE_DEG: f64 = 15.0;
const UNSURE_STEPS: i32 = 10;

/// A pose, and what the sights show in it.
struct Turn {
    fitted: Fitted,
    shown: Vec<Shown>,
}

impl Turn {
    fn of(fitted: Fitted, placed: &Placed<'_>) -> Self {
        Self {
            shown: placed.in_pose(fitted.pose),
            fitted,
        }
    }
}

/// A pose, and what it tells nothing of.
pub(super) struct Settled {
    pub fitted: Fitted,
    /// What may be elsewhere.
    pub left_out: LeftOut,
}

/// What of a part may be elsewhere if it is turned otherwise.
#[derive(Default)]
pub(super) struct LeftOut {
    /// Regions, wherever they are.
    pub regions: BTreeSet<usize>,
    /// Others at some heights, as [`Shown`] numbers them: a tower beside its door.
    slots: BTreeSet<(usize, usize)>,
}

impl LeftOut {
    /// Of what another turn moves, in several other turns.
    fn of(all: &[BTreeMap<(usize, usize), Group>]) -> Self {
        let mut left_out = Self::default();
        for groups in all {
            let mut sums: BTreeMap<usize, (f64, f64)> = BTreeMap::new();
            for ((region, _), group) in groups {
                let sum = sums.entry(*region).or_default();
                *sum = (sum.0 + group.moved, sum.1 + group.count);
            }
            for (region, (moved, count)) in sums {
                // What is mostly where it is in both poses is sure.
                if moved <= FEW * count {
                    continue;
                }
                if moved > MUCH * count {
                    left_out.regions.insert(region);
                }
                let here = groups.iter().filter(|((other, _), group)| {
                    *other == region && group.moved > FEW * group.count
                });
                left_out.slots.extend(here.map(|(at, _)| *at));
            }
        }
        left_out
    }

    fn has_slot(&self, region: usize, slot: usize) -> bool {
        self.regions.contains(&region) || self.slots.contains(&(region, slot))
    }

    /// Whether some of a region, read together over so many mm about a height, is left out.
    pub(super) fn has(&self, region: usize, height_mm: f64, every_mm: f64) -> bool {
        let half = every_mm / 2.0;
        let mut slots = slot(height_mm - half)..=slot(height_mm + half);
        slots.any(|slot| self.has_slot(region, slot))
    }

    /// Whether a region is left out at some heights only.
    pub(super) fn is_in_part(&self, region: usize) -> bool {
        !self.regions.contains(&region) && self.slots.iter().any(|(other, _)| *other == region)
    }
}

/// The pose once it is known how the part is turned, or what of it does not hang on that. The sights
/// are those of the pose that is given.
pub(super) fn settled(
    search: &Search<'_>,
    fitted: Fitted,
    sights: &Sights,
    expected: &Expected<'_>,
    progress: &Progress,
) -> Result<Settled, FinishedError> {
    let placed = Placed::new(search.posed(fitted.pose), sights, expected);
    if search.turn.is_none() {
        let all_round = (1..12).map(|i| turned(&fitted, f64::from(i) * 30.0));
        let all_round: Vec<Turn> = all_round.map(|other| Turn::of(other, &placed)).collect();
        if Doubt::among(&Turn::of(fitted, &placed), &all_round).is_none() {
            let left_out = LeftOut::default();
            return Ok(Settled { fitted, left_out });
        }
    }
    let mut others = search.other_turns(&fitted, progress)?;
    let mut fitted = fitted;
    if let Some(said) = search.turn {
        let all = std::iter::once(&fitted).chain(&others);
        let near = all.min_by(|a, b| apart(a.pose.turn, said).total_cmp(&apart(b.pose.turn, said)));
        match near.filter(|near| apart(near.pose.turn, said) < TURN_OFF) {
            Some(near) => fitted = *near,
            None => {
                return refused(format!(
                    "the outline fits best turned by {:.0}°, and not by the {:.0}° that --turn \
                     says; 0° is with the front towards the card's lower edge, counter-clockwise \
                     from above",
                    degrees(fitted.pose.turn),
                    degrees(said)
                ));
            }
        }
        others.retain(|other| apart(other.pose.turn, said) < TURN_OFF);
    }
    let unsure = (-UNSURE_STEPS..=UNSURE_STEPS).filter(|step| *step != 0);
    let unsure = unsure
        .map(|step| {
            turned(
                &fitted,
                UNSURE_DEG * f64::from(step) / f64::from(UNSURE_STEPS),
            )
        })
        .filter_map(|other| search.judged(other.pose));
    others.extend(unsure.filter(|other| other.is_as_good(&fitted)));
    progress.check()?;
    let mut best = Turn::of(fitted, &placed);
    let mut others: Vec<Turn> = others
        .into_iter()
        .map(|other| Turn::of(other, &placed))
        .collect();
    if search.turn.is_some() {
        (best, others) = by_regions(&placed, best, others);
    }
    let doubt = Doubt::among(&best, &others);
    if doubt.share > MOST_LEFT_OUT && search.turn.is_some() {
        return refused(
            "the outline does not tell to a few degrees how the part is turned, and its regions \
             change within that; photograph it so that an edge or a corner of it is seen at its side",
        );
    }
    // How it is turned is known to some degrees at least where it was said.
    if doubt.is_too_much() && search.turn.is_none() {
        return refused(format!(
            "the part's outline is the same turned by {:.0}° and by {}, and its colours are not; \
             say about how it is turned with --turn, 0 with its front towards the card's lower \
             edge, counter-clockwise from above",
            degrees(best.fitted.pose.turn),
            few(&others)
        ));
    }
    Ok(Settled {
        fitted: best.fitted,
        left_out: doubt.left_out,
    })
}

/// Of turns in which the outline fits as well, those in which the plan's regions do: the best one, and
/// others that may be it.
fn by_regions(placed: &Placed<'_>, first: Turn, others: Vec<Turn>) -> (Turn, Vec<Turn>) {
    let contrast = |turn: &Turn| {
        let mut contrast = Contrast::default();
        // Each sight counts at the same height in all turns, so that the turns are compared.
        for ((here, there), logs) in first.shown.iter().zip(&turn.shown).zip(placed.logs()) {
            contrast.add(here.slot, there.region, logs);
        }
        (contrast.gain(), contrast.is_clear())
    };
    let mut found = vec![contrast(&first)];
    found.extend(others.iter().map(contrast));
    let gains = found.iter().enumerate();
    let best = gains.max_by(|a, b| a.1.0.total_cmp(&b.1.0));
    let Some((at, (most, true))) = best else {
        return (first, others);
    };
    let mut turns: Vec<Turn> = std::iter::once(first).chain(others).collect();
    let best = turns.swap_remove(at);
    let mut gains: Vec<f64> = found.iter().map(|(gain, _)| *gain).collect();
    gains.swap_remove(at);
    let near = turns.into_iter().zip(gains).filter(|(other, gain)| {
        *gain >= NEAR_BEST * most && other.fitted.pose.turn != best.fitted.pose.turn
    });
    let near = near.map(|(other, _)| other).collect();
    (best, near)
}

/// Some of the turns, in words.
fn few(others: &[Turn]) -> String {
    const TOLD: usize = 3;
    let told = others.iter().take(TOLD);
    let told: Vec<String> = told
        .map(|other| format!("{:.0}°", degrees(other.fitted.pose.turn)))
        .collect();
    match others.len().checked_sub(TOLD) {
        None | Some(0) => told.join(", "),
        Some(more) => format!("{} and {more} more", told.join(", ")),
    }
}

/// An angle in degrees, from 0 to 360.
pub(super) fn degrees(turn: f64) -> f64 {
    turn.to_degrees().rem_euclid(360.0)
}

fn turned(fitted: &Fitted, by_deg: f64) -> Fitted {
    let turn = fitted.pose.turn + by_deg.to_radians();
    Fitted {
        pose: Pose {
            turn,
            ..fitted.pose
        },
        ..*fitted
    }
}

/// What hangs on how the part is turned.
#[derive(Default)]
struct Doubt {
    /// What another turn would show elsewhere.
    left_out: LeftOut,
    /// The share of what is seen that is of that.
    share: f64,
    /// The share of the rest whose colour by height another turn would change.
    changed: f64,
}

impl Doubt {
    /// The worst of some other poses.
    fn among(one: &Turn, others: &[Turn]) -> Self {
        let groups = others.iter().map(|other| groups(&one.shown, &other.shown));
        let groups: Vec<_> = groups.collect();
        let mut doubt = Self {
            left_out: LeftOut::of(&groups),
            ..Self::default()
        };
        let left_out = &doubt.left_out;
        for groups in &groups {
            let all: f64 = groups.values().map(|group| group.count).sum();
            let share = |counts: &dyn Fn(bool, &Group) -> bool| {
                let counted = groups.iter().filter(|((region, slot), group)| {
                    counts(left_out.has_slot(*region, *slot), group)
                });
                counted.map(|(_, group)| group.count).sum::<f64>() / all.max(1.0)
            };
            doubt.share = doubt.share.max(share(&|is_out, _| is_out));
            let changed = share(&|is_out, group| !is_out && group.differs());
            doubt.changed = doubt.changed.max(changed);
        }
        doubt
    }

    fn is_none(&self) -> bool {
        self.share == 0.0 && self.changed <= FEW
    }

    fn is_too_much(&self) -> bool {
        self.share > MOST_LEFT_OUT || self.changed > FEW
    }
}

/// A region at a height, in one pose and in another.
#[derive(Default)]
struct Group {
    count: f64,
    one: [f64; 3],
    other: [f64; 3],
    /// How much of it is another region's, of another colour, in the other pose.
    moved: f64,
}

impl Group {
    fn differs(&self) -> bool {
        let lab = |sum: [f64; 3]| Xyz::from_array(sum.map(|v| v / self.count.max(1.0))).to_lab();
        ciede2000(lab(self.one), lab(self.other)) > SAME_DE00
    }
}

/// What is requested where the sights are, in one pose and in another.
fn groups(one: &[Shown], other: &[Shown]) -> BTreeMap<(usize, usize), Group> {
    let mut groups: BTreeMap<(usize, usize), Group> = BTreeMap::new();
    for (one, other) in one.iter().zip(other) {
        let is_moved = other.region != one.region
            && ciede2000(one.requested.to_lab(), other.requested.to_lab()) > SAME_DE00;
        let group = groups.entry((one.region, one.slot)).or_default();
        group.count += 1.0;
        group.moved += f64::from(u8::from(is_moved));
        for (sum, v) in group.one.iter_mut().zip(one.requested.to_array()) {
            *sum += v;
        }
        for (sum, v) in group.other.iter_mut().zip(other.requested.to_array()) {
            *sum += v;
        }
    }
    groups
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]
mod tests {
    use std::sync::Arc;

    use blend::Shares;
    use geometry::{DVec3, Mask, Surface, solids};
    use plan::{AsPrinted, FirstPlan, MeshSource, Paint, Painted, Plan, Region, Schedule};

    use super::super::posed::tests::view;
    use super::super::posed::{Posed, Rest, Rested};
    use super::super::sights::Sight;
    use super::*;

    fn group(count: f64, moved: f64, one: f64, other: f64) -> Group {
        Group {
            count,
            moved,
            one: [count * one; 3],
            other: [count * other; 3],
        }
    }

    #[test]
    fn a_window_that_may_be_elsewhere_is_unsure_and_its_wall_is_not() {
        let (wall, window) = (0, 1);
        let groups = BTreeMap::from([
            ((wall, 3), group(400.0, 6.0, 0.8, 0.79)),
            ((wall, 4), group(400.0, 0.0, 0.8, 0.8)),
            ((window, 3), group(40.0, 35.0, 0.05, 0.7)),
        ]);
        let left_out = LeftOut::of(std::slice::from_ref(&groups));
        assert_eq!(left_out.regions, BTreeSet::from([window]));
        assert!(!left_out.has(wall, 6.5, 1.0));
        assert!(groups.values().filter(|group| group.differs()).count() == 1);
    }

    #[test]
    fn a_wall_beside_a_door_is_left_out_at_the_doors_heights_only() {
        let wall = 0;
        let groups = BTreeMap::from([
            ((wall, 3), group(100.0, 30.0, 0.8, 0.6)),
            ((wall, 4), group(400.0, 0.0, 0.8, 0.8)),
        ]);
        let left_out = LeftOut::of(&[groups]);
        assert!(left_out.regions.is_empty() && left_out.is_in_part(wall));
        assert!(left_out.has(wall, 6.5, 1.0) && left_out.has(wall, 8.2, 1.0));
        assert!(!left_out.has(wall, 8.6, 1.0));
    }

    fn fitted(deg: f64) -> Fitted {
        Fitted {
            pose: Pose {
                x_mm: 90.0,
                y_mm: 20.0,
                turn: f64::to_radians(deg),
                scale: 1.0,
            },
            off_px: 0.2,
            met: 1.0,
            width_px: 2.0,
        }
    }

    #[test]
    fn no_more_than_three_turns_are_told() {
        let turn = |deg: f64| Turn {
            fitted: fitted(deg),
            shown: Vec::new(),
        };
        let others: Vec<Turn> = [-10.0, 180.0, 90.0, 30.0, 40.0].map(turn).into();
        assert_eq!(few(&others[..2]), "350°, 180°");
        assert_eq!(few(&others), "350°, 180°, 90° and 2 more");
    }

    /// A round tower with a dark window at its front.
    fn tower() -> Painted {
        let mut plan = Plan::first(FirstPlan {
            mesh: MeshSource::named("tower.stl"),
            title: "Tower".into(),
            height_mm: 40.0,
        });
        let window = Mask::Sphere {
            centre_mm: DVec3::new(0.0, -15.0, 20.0),
            radius_mm: 5.0,
        };
        let dark = Paint::Fixed(Shares::new(&[0.0, 1.0]).unwrap());
        plan.regions[0].paint = Paint::Fixed(Shares::new(&[1.0, 0.0]).unwrap());
        plan.regions.push(Region::new("Window", window, dark));
        let (model, round) = (plan.model(), solids::cylinder(15.0, 40.0, 120).unwrap());
        Painted::new(plan, Surface::new(Arc::new(round)), model, &Progress::new()).unwrap()
    }

    #[test]
    fn sights_stay_where_they_were_taken_whichever_turn_is_asked_about() {
        let painted = tower();
        let progress = Progress::new();
        let schedule = Schedule::new(&painted, &progress).unwrap();
        let printed = AsPrinted::new(painted.plan(), painted.model(), &schedule, &progress);
        let expected = Expected {
            painted: &painted,
            schedule: &schedule,
            printed: &printed.unwrap(),
        };
        let (view, surface) = (view(), painted.surface());
        let rested = Rested::new(surface.mesh(), Rest::Standing).unwrap();
        let posed = |deg: f64| Posed {
            view: &view,
            rested: &rested,
            pose: fitted(deg).pose,
        };
        // The outline was first found in no turn, and the part is really turned by 40°.
        let (taken, real) = (posed(0.0), posed(40.0));
        let mut sights = Sights {
            good: Vec::new(),
            hits: Vec::new(),
            size: (0, 0),
            every_px: 1,
            from_px: (0, 0),
            clipped: 0.0,
        };
        for (height, aside) in (1..39).flat_map(|up| (-35..=35).map(move |i| (up, 2 * i))) {
            let (sin, cos) = f64::from(aside).to_radians().sin_cos();
            let point_mm = DVec3::new(15.0 * sin, -15.0 * cos, f64::from(height));
            let point = surface.nearest(point_mm);
            let there = surface.nearest(real.point_at(taken.place(point.point_mm)));
            let dark = expected.region(there) == 1;
            sights.good.push(Sight {
                point,
                normal: DVec3::Z,
                up_mm: f64::from(height),
                light: [if dark { 0.05 } else { 0.6 }; 3],
                at: (0, 0),
            });
        }
        let placed = Placed::new(taken, &sights, &expected);
        let turns = |near: &[f64]| -> Vec<Turn> {
            let turns = near.iter().map(|deg| Turn::of(fitted(*deg), &placed));
            turns.collect()
        };
        let (best, near) = by_regions(
            &placed,
            Turn::of(fitted(50.0), &placed),
            turns(&[20.0, 30.0, 40.0, 60.0]),
        );
        assert_eq!(degrees(best.fitted.pose.turn).round(), 40.0);
        assert!(near.is_empty());
        // What a turn shows does not hang on which was first.
        let doubt = Doubt::among(&best, &turns(&[40.5]));
        assert!(doubt.is_none());
        assert!(!Doubt::among(&best, &turns(&[55.0])).is_none());
    }
}
