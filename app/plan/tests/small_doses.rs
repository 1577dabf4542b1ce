//! Doses too small or too early to settle, and jumps of height.

use std::sync::Arc;

use blend::Shares;
use geometry::{DVec3, LayerPlan, Mask, Mesh, Progress, Surface, solids};
use plan::compensate::How;
use plan::schedule::Concern;
use plan::{AsPrinted, FirstPlan, MeshSource, Paint, Painted, Plan, Region, Schedule};

/// What is said of a dose to a tenth of ΔE00 may be off by that.
const ROUNDING: f64 = 0.1;

fn fixed(first: f64) -> Paint {
    Paint::Fixed(Shares::new(&[first, 1.0 - first]).expect("shares"))
}

fn block(x: f64, y: f64, z: f64) -> Mesh {
    let block = solids::cuboid(DVec3::new(x, y, z)).expect("a block");
    let (low, _) = block.bounds();
    let moved = block
        .vertices()
        .iter()
        .map(|&v| v - DVec3::Z * low.z)
        .collect();
    Mesh::new(moved, block.triangles().to_vec()).expect("a block")
}

fn right_half() -> Region {
    let mask = Mask::Slab {
        direction: DVec3::X,
        from_mm: 0.0,
        to_mm: 100.0,
    };
    Region::new("Right", mask, fixed(0.0))
}

struct Printed {
    schedule: Schedule,
    printed: AsPrinted,
    allowed: f64,
}

fn print(mesh: Mesh, regions: Vec<Region>, change: impl FnOnce(&mut Plan)) -> Printed {
    let mut plan = Plan::first(FirstPlan {
        mesh: MeshSource::named("part.stl"),
        title: "Part".into(),
        height_mm: 10.0,
    });
    plan.layers = LayerPlan::plain(0.3, 0.25);
    plan.regions = vec![Region::new("Left", Mask::Whole, fixed(1.0))];
    plan.regions.extend(regions);
    change(&mut plan);
    assert_eq!(plan.problems(), []);
    let progress = Progress::new();
    let (model, surface) = (plan.model(), Surface::new(Arc::new(mesh)));
    let painted = Painted::new(plan, surface, model, &progress).expect("lays");
    let schedule = Schedule::new(&painted, &progress).expect("a schedule");
    let (plan, model) = (painted.plan(), painted.model());
    Printed {
        printed: AsPrinted::new(plan, model, &schedule, &progress).expect("printed"),
        allowed: plan.machine.flush.allowed_de00,
        schedule,
    }
}

impl Printed {
    /// The greatest ΔE00 of a dose that is seen in a layer with several blends, of one region or
    /// of all.
    fn worst(&self, region: Option<usize>) -> f64 {
        let layers = self
            .schedule
            .layers
            .iter()
            .zip(&self.printed.delivery.layers);
        let mut worst = 0.0f64;
        for (layer, out) in layers.filter(|(layer, _)| layer.doses.len() > 1) {
            for (dose, out) in layer.doses.iter().zip(&out.doses) {
                if dose.area_mm2 > 0.0 && region.is_none_or(|r| r == dose.region) {
                    worst = worst.max(out.de00);
                }
            }
        }
        worst
    }
}

#[test]
fn a_spot_of_a_millimetre_comes_out_and_spoils_nothing() {
    let spot = Mask::Sphere {
        centre_mm: DVec3::new(6.0, -12.0, 5.0),
        radius_mm: 0.45,
    };
    let regions = vec![right_half(), Region::new("Spot", spot, fixed(0.5))];
    let made = print(block(24.0, 24.0, 10.0), regions, |_| {});
    assert_ne!(made.printed.compensation.how, How::Plain);
    let spot = made.worst(Some(2));
    assert!(spot > 0.0 && spot < made.allowed + ROUNDING, "{spot}");
    assert!(made.worst(None) < made.allowed + ROUNDING);
    assert_eq!(made.printed.warnings, []);
}

#[test]
fn doses_right_at_the_beginning_are_flushed_for_what_can_be_sent() {
    for side in [3.0, 6.0] {
        let heel = Mask::Box {
            min_mm: DVec3::new(-12.0, -12.0, 0.0),
            max_mm: DVec3::new(-12.0 + side, -12.0 + side, 0.3),
        };
        let regions = vec![Region::new("Heel", heel, fixed(0.0)), right_half()];
        let made = print(block(24.0, 24.0, 3.0), regions, |_| {});
        let worst = made.worst(None);
        assert!(worst < made.allowed + ROUNDING, "{side}: {worst}");
    }
}

#[test]
fn a_stored_blend_machine_flushes_for_what_it_can_send() {
    let made = print(block(20.0, 20.0, 3.0), vec![right_half()], |plan| {
        plan.machine.stored_blends = Some(8);
        plan.regions[0].paint = fixed(0.7);
    });
    let worst = made.worst(None);
    assert!(worst < made.allowed + ROUNDING, "{worst}");
}

fn bands() -> Vec<Region> {
    let band = |from_mm: f64| {
        let mask = Mask::Band {
            from_mm,
            to_mm: from_mm + 10.0,
        };
        Region::new(format!("From {from_mm}"), mask, fixed(0.0))
    };
    vec![band(10.0), band(30.0)]
}

#[test]
fn a_purge_at_jumps_is_offered_priced_and_carried_out() {
    let post = || solids::cylinder(6.0, 40.0, 60).expect("a post");
    let smeared = print(post(), bands(), |_| {});
    let offer = smeared.printed.jump_offer.as_ref().expect("an offer");
    assert_eq!(offer.jumps, 3);
    assert_eq!(smeared.printed.waste.volume_mm3, 0.0);
    let purged = print(post(), bands(), |plan| plan.laying.purge_jumps = true);
    assert_eq!(purged.printed.jump_offer, None);
    let (waste, delivery) = (&purged.printed.waste, &purged.printed.delivery);
    assert!((waste.mass_g - offer.costs_g).abs() < 1e-9);
    assert!((delivery.mean_de00 - offer.mean_de00).abs() < 1e-9);
    assert!(delivery.mean_de00 < 0.3 * smeared.printed.delivery.mean_de00);
    assert!(
        delivery.worst_de00 < purged.allowed + ROUNDING,
        "{delivery:?}"
    );
}

#[test]
fn a_ring_too_thin_to_settle_is_told_of() {
    let ring = Mask::Band {
        from_mm: 10.0,
        to_mm: 10.3,
    };
    let post = solids::cylinder(4.0, 20.0, 60).expect("a post");
    let made = print(post, vec![Region::new("Ring", ring, fixed(0.0))], |_| {});
    let told = &made.printed.warnings;
    assert!(
        told.iter()
            .any(|w| w.about == Concern::Smeared && w.region == Some(1)),
        "{told:?}"
    );
    assert!(made.printed.jump_offer.is_some());
}
