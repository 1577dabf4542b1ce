//! How a part is turned, and what of it that has to be known for.
//!
//! The outline of a round part fits in many turns. What a photograph tells of a height is the same in
//! all of them, if the plan's colours are; but a door or a window would be looked for elsewhere.

use std::collections::{BTreeMap, BTreeSet};

use blend::{Xyz, ciede2000};
use geometry::{Progress, SurfacePoint};

use super::colours::Expected;
use super::fault::{FinishedError, refused};
use super::fit::{Fitted, Search, apart};
use super::posed::Pose;
use super::sights::{Sight, Sights};

/// Colours that differ by no more than this are the same, ΔE00.
const SAME_DE00: f64 = 1.5;
/// What holds of so much of what is seen holds of all.
const FEW: f64 = 0.05;
/// More than this must not be left out.
const MOST_LEFT_OUT: f64 = 0.3;
/// How far the part may be turned from what was said, rad.
const TURN_OFF: f64 = 0.35;
/// How far an outline is turned to each side to see whether it fits as well, in how many steps,
/// degrees.
const UNSURE_DEG: f64 = 15.0;
const UNSURE_STEPS: i32 = 10;
/// Sights that are looked at.
const SIGHTS: usize = 4000;
/// Sights of small regions that tell how the part is turned.
const FEWEST: f64 = 12.0;
/// A step of light so large, as a logarithm, is a region's and not the shading's.
const CLEAR: f64 = 0.3;
/// A turn is as good if the regions explain so much of what they do in the best.
const NEAR_BEST: f64 = 0.75;
/// Heights that are taken together, mm.
const EVERY_MM: f64 = 2.0;

/// A pose, and what it tells nothing of.
pub(super) struct Settled {
    pub fitted: Fitted,
    /// Regions that may be elsewhere.
    pub left_out: BTreeSet<usize>,
}

/// The pose once it is known how the part is turned, or what of it does not hang on that.
pub(super) fn settled(
    search: &Search<'_>,
    fitted: Fitted,
    sights: &Sights,
    expected: &Expected<'_>,
    progress: &Progress,
) -> Result<Settled, FinishedError> {
    let all_round = (1..12).map(|i| turned(&fitted, f64::from(i) * 30.0));
    if search.turn.is_none()
        && Doubt::among(search, &fitted, all_round, (sights, expected)).is_none()
    {
        let left_out = BTreeSet::new();
        return Ok(Settled { fitted, left_out });
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
    if search.turn.is_some() {
        progress.check()?;
        (fitted, others) = by_regions(search, fitted, others, (sights, expected));
    }
    let doubt = Doubt::among(search, &fitted, others.iter().copied(), (sights, expected));
    if doubt.left_out > MOST_LEFT_OUT && search.turn.is_some() {
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
            degrees(fitted.pose.turn),
            few(&others)
        ));
    }
    Ok(Settled {
        fitted,
        left_out: doubt.regions,
    })
}

/// Of turns in which the outline fits as well, those in which the plan's regions do: the best one, and
/// others that may be it.
fn by_regions(
    search: &Search<'_>,
    fitted: Fitted,
    others: Vec<Fitted>,
    (sights, expected): (&Sights, &Expected<'_>),
) -> (Fitted, Vec<Fitted>) {
    let contrast = |other: &Fitted| {
        let mut contrast = Contrast::default();
        in_both(
            search,
            [&fitted, other],
            (sights, expected),
            |sight, turned, slot| {
                contrast.add(slot, expected.region(turned), sight.light.map(f64::ln));
            },
        );
        contrast
    };
    let all = std::iter::once(fitted).chain(others.iter().copied());
    let found: Vec<(f64, bool, Fitted)> = all
        .map(|other| {
            let contrast = contrast(&other);
            (contrast.gain(), contrast.is_clear(), other)
        })
        .collect();
    let best = found.iter().max_by(|a, b| a.0.total_cmp(&b.0));
    match best {
        Some((most, true, best)) => {
            let near = found.iter().filter(|(gain, _, other)| {
                *gain >= NEAR_BEST * most && other.pose.turn != best.pose.turn
            });
            (*best, near.map(|(_, _, other)| *other).collect())
        }
        _ => (fitted, others),
    }
}

/// How well regions tell apart what is seen at each height.
#[derive(Default)]
struct Contrast(BTreeMap<usize, BTreeMap<usize, Sum>>);

/// Logarithms of light, summed.
#[derive(Clone, Copy, Default)]
struct Sum {
    count: f64,
    sum: [f64; 3],
}

impl Sum {
    fn plus(self, other: Self) -> Self {
        let mut sum = self.sum;
        for (sum, v) in sum.iter_mut().zip(other.sum) {
            *sum += v;
        }
        let count = self.count + other.count;
        Self { count, sum }
    }

    /// What the mean explains of the squares.
    fn explained(&self) -> f64 {
        self.sum.iter().map(|v| v * v).sum::<f64>() / self.count.max(1.0)
    }
}

impl Contrast {
    fn add(&mut self, slot: usize, region: usize, logs: [f64; 3]) {
        let here = self.0.entry(slot).or_default().entry(region).or_default();
        *here = here.plus(Sum {
            count: 1.0,
            sum: logs,
        });
    }

    /// What of the squares at all heights the regions explain, beyond the heights.
    fn gain(&self) -> f64 {
        let slots = self.0.values().map(|regions| {
            let whole = regions
                .values()
                .fold(Sum::default(), |all, sum| all.plus(*sum));
            let apart: f64 = regions.values().map(Sum::explained).sum();
            apart - whole.explained()
        });
        slots.sum()
    }

    /// Whether that is more than shading from side to side makes: for each sight that is not of its
    /// height's largest region.
    fn is_clear(&self) -> bool {
        let few = self.0.values().map(|regions| {
            let counts = || regions.values().map(|sum| sum.count);
            counts().sum::<f64>() - counts().fold(0.0, f64::max)
        });
        let few: f64 = few.sum();
        few >= FEWEST && self.gain() > 3.0 * CLEAR * CLEAR * few
    }
}

/// Some of the turns, in words.
fn few(others: &[Fitted]) -> String {
    const TOLD: usize = 3;
    let told = others.iter().take(TOLD);
    let told: Vec<String> = told
        .map(|other| format!("{:.0}°", degrees(other.pose.turn)))
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
    /// Regions of which another turn would show something else.
    regions: BTreeSet<usize>,
    /// The share of what is seen that is of these.
    left_out: f64,
    /// The share of the rest whose colour by height another turn would change.
    changed: f64,
}

impl Doubt {
    /// The worst of some other poses.
    fn among(
        search: &Search<'_>,
        one: &Fitted,
        others: impl Iterator<Item = Fitted>,
        seen: (&Sights, &Expected<'_>),
    ) -> Self {
        let mut doubt = Self::default();
        let groups: Vec<_> = others
            .map(|other| groups(search, one, &other, seen))
            .collect();
        for groups in &groups {
            doubt.regions.extend(moved(groups));
        }
        for groups in &groups {
            let all: f64 = groups.values().map(|group| group.count).sum();
            let share = |counts: &dyn Fn(usize, &Group) -> bool| {
                let counted = groups
                    .iter()
                    .filter(|((region, _), group)| counts(*region, group));
                counted.map(|(_, group)| group.count).sum::<f64>() / all.max(1.0)
            };
            let is_out = |region: usize| doubt.regions.contains(&region);
            let left_out = share(&|region, _| is_out(region));
            let changed = share(&|region, group| !is_out(region) && group.differs());
            doubt.left_out = doubt.left_out.max(left_out);
            doubt.changed = doubt.changed.max(changed);
        }
        doubt
    }

    fn is_none(&self) -> bool {
        self.regions.is_empty() && self.changed <= FEW
    }

    fn is_too_much(&self) -> bool {
        self.left_out > MOST_LEFT_OUT || self.changed > FEW
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

/// The regions that are mostly where they are in both poses are sure; these are not.
fn moved(groups: &BTreeMap<(usize, usize), Group>) -> BTreeSet<usize> {
    let mut sums: BTreeMap<usize, (f64, f64)> = BTreeMap::new();
    for ((region, _), group) in groups {
        let sum = sums.entry(*region).or_default();
        *sum = (sum.0 + group.moved, sum.1 + group.count);
    }
    let unsure = sums
        .into_iter()
        .filter(|(_, (moved, all))| *moved > FEW * all);
    unsure.map(|(region, _)| region).collect()
}

/// What is requested where the sights are, in one pose and in another.
fn groups(
    search: &Search<'_>,
    one: &Fitted,
    other: &Fitted,
    (sights, expected): (&Sights, &Expected<'_>),
) -> BTreeMap<(usize, usize), Group> {
    let mut groups: BTreeMap<(usize, usize), Group> = BTreeMap::new();
    in_both(
        search,
        [one, other],
        (sights, expected),
        |sight, turned, slot| {
            let region = expected.region(sight.point);
            let (one, other) = (expected.requested(sight.point), expected.requested(turned));
            let is_moved = expected.region(turned) != region
                && ciede2000(one.to_lab(), other.to_lab()) > SAME_DE00;
            let group = groups.entry((region, slot)).or_default();
            group.count += 1.0;
            group.moved += f64::from(u8::from(is_moved));
            for (sum, v) in group.one.iter_mut().zip(one.to_array()) {
                *sum += v;
            }
            for (sum, v) in group.other.iter_mut().zip(other.to_array()) {
                *sum += v;
            }
        },
    );
    groups
}

/// Takes some sights, each with the point of the part that another pose has where one has the
/// sight's own, and with the number of its height.
fn in_both(
    search: &Search<'_>,
    [one, other]: [&Fitted; 2],
    (sights, expected): (&Sights, &Expected<'_>),
    mut take: impl FnMut(&Sight, SurfacePoint, usize),
) {
    let (here, there) = (search.posed(one.pose), search.posed(other.pose));
    let surface = expected.painted.surface();
    let every = sights.good.len().div_ceil(SIGHTS).max(1);
    for sight in sights.good.iter().step_by(every) {
        let place = here.place(sight.point.point_mm);
        let slot = (expected.height_mm(sight.point) / EVERY_MM).max(0.0) as usize;
        take(sight, surface.nearest(there.point_at(place)), slot);
    }
}

#[cfg(test)]
mod tests {
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
        assert_eq!(moved(&groups), BTreeSet::from([window]));
        assert!(groups.values().filter(|group| group.differs()).count() == 1);
    }

    #[test]
    fn regions_in_their_place_explain_more_than_beside_it() {
        // A light wall that is shaded from side to side, with a dark window of 4 columns or none.
        let light = |column: usize, window: bool| match column {
            10..14 if window => 0.05,
            _ => 0.6 + 0.01 * column as f64,
        };
        let contrast = |from: usize, window: bool| {
            let mut contrast = Contrast::default();
            for slot in 0..5 {
                for column in 0..30 {
                    let region = usize::from((from..from + 4).contains(&column));
                    contrast.add(slot, region, [f64::ln(light(column, window)); 3]);
                }
            }
            contrast
        };
        let right = contrast(10, true);
        assert!(right.is_clear());
        assert!(contrast(12, true).gain() < NEAR_BEST * right.gain());
        assert!(!contrast(20, false).is_clear());
    }

    #[test]
    fn no_more_than_three_turns_are_told() {
        let fitted = |deg: f64| Fitted {
            pose: Pose {
                x_mm: 0.0,
                y_mm: 0.0,
                turn: deg.to_radians(),
                scale: 1.0,
            },
            off_px: 0.2,
            met: 1.0,
            width_px: 2.0,
        };
        let others: Vec<Fitted> = [-10.0, 180.0, 90.0, 30.0, 40.0].map(fitted).to_vec();
        assert_eq!(few(&others[..2]), "350°, 180°");
        assert_eq!(few(&others), "350°, 180°, 90° and 2 more");
    }
}
