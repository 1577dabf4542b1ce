//! Plans of two spools.

use blend::{Fade, Shares, Spacing, Stop};
use geometry::{Field, LayerPlan, Mask};
use plan::{FirstPlan, MeshSource, Paint, Plan, Region};

/// A blend of two spools.
pub(crate) fn shares(first: f64) -> Shares {
    Shares::new(&[first, 1.0 - first]).expect("shares")
}

/// One blend of two spools.
pub(crate) fn fixed(first: f64) -> Paint {
    Paint::Fixed(shares(first))
}

/// A fade of two spools along something, given places, mm, and the first one's share there.
pub(crate) fn fade(along: Field, stops: &[(f64, f64)]) -> Paint {
    let stops = stops.iter().map(|&(at_mm, first)| Stop {
        at_mm,
        shares: shares(first),
    });
    Paint::Fade {
        along,
        fade: Fade {
            stops: stops.collect(),
            spacing: Spacing::Linear,
        },
    }
}

/// A plan of some layers: its base, and regions on it.
pub(crate) fn plan_of(layers: LayerPlan, base: Paint, regions: Vec<Region>) -> Plan {
    let mesh = MeshSource::named("part.stl");
    let mut plan = Plan::first(FirstPlan {
        mesh,
        title: "Part".into(),
        height_mm: 10.0,
    });
    plan.layers = layers;
    plan.regions = vec![Region::new("Base", Mask::Whole, base)];
    plan.regions.extend(regions);
    assert_eq!(plan.problems(), []);
    plan
}
