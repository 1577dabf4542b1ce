//! Arcs: G2 and G3 in any of the three planes (NIST 3.5.3).

use std::f64::consts::{FRAC_PI_2, TAU};

/// The plane in which arcs turn: G17, G18, G19.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Plane {
    /// G17.
    #[default]
    Xy,
    /// G18.
    Zx,
    /// G19.
    Yz,
}

impl Plane {
    /// What X, Y and Z have, in the plane's order: its two axes, so that a turn from the first
    /// to the second is counter-clockwise, and the axis across them.
    ///
    /// ```
    /// use toolpath::Plane;
    /// assert_eq!(Plane::Zx.ordered(['X', 'Y', 'Z']), ['Z', 'X', 'Y']);
    /// ```
    pub fn ordered<T>(self, [x, y, z]: [T; 3]) -> [T; 3] {
        match self {
            Self::Xy => [x, y, z],
            Self::Zx => [z, x, y],
            Self::Yz => [y, z, x],
        }
    }

    /// What [`Plane::ordered`] put in the plane's order, back in that of X, Y and Z.
    pub(crate) fn restored<T>(self, [first, second, across]: [T; 3]) -> [T; 3] {
        match self {
            Self::Xy => [first, second, across],
            Self::Zx => [second, across, first],
            Self::Yz => [across, first, second],
        }
    }
}

/// An arc or, if the third axis moves too, a helix.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Arc {
    /// The plane it turns in.
    pub plane: Plane,
    /// Its centre in the order of [`Plane::ordered`], mm.
    pub centre: [f64; 2],
    /// Its radius at the start, mm.
    pub radius_mm: f64,
    /// Its radius at the end, mm: the same but for the rounding of the file's numbers.
    pub end_radius_mm: f64,
    /// Direction from the centre to the start, radians.
    pub start: f64,
    /// Turn from start to end, radians; counter-clockwise is positive.
    pub sweep: f64,
}

/// Why an arc can't be drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum BadArc {
    /// Neither a centre nor a radius.
    NoCentre,
    /// A radius too short to reach from start to end, or between one point and itself.
    Radius,
    /// A radius of nothing.
    Flat,
}

/// How an arc is given.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Given {
    /// Centre relative to the start: I, J, K (NIST 3.5.3.2).
    Centre([f64; 2]),
    /// Radius: R (NIST 3.5.3.1); negative for the longer way round.
    Radius(f64),
}

impl Arc {
    /// Works the arc out from its ends, in mm.
    pub(crate) fn new(
        plane: Plane,
        clockwise: bool,
        from: [f64; 3],
        to: [f64; 3],
        given: Given,
    ) -> Result<Self, BadArc> {
        let flat = |place| {
            let [first, second, _] = plane.ordered(place);
            [first, second]
        };
        let (p, q) = (flat(from), flat(to));
        let centre = match given {
            Given::Centre(offset) => [p[0] + offset[0], p[1] + offset[1]],
            Given::Radius(radius) => centre_of(p, q, radius, clockwise)?,
        };
        let (u, v) = (
            [p[0] - centre[0], p[1] - centre[1]],
            [q[0] - centre[0], q[1] - centre[1]],
        );
        let radius_mm = u[0].hypot(u[1]);
        if !(radius_mm.is_normal() && radius_mm < 1e9) {
            return Err(BadArc::Flat);
        }
        let start = u[1].atan2(u[0]);
        Ok(Self {
            plane,
            centre,
            radius_mm,
            end_radius_mm: v[0].hypot(v[1]),
            start,
            sweep: turn(v[1].atan2(v[0]) - start, clockwise, p == q),
        })
    }

    /// The point a fraction `t` of the turn along, on a helix between `from` and `to`.
    pub(crate) fn at(&self, from: [f64; 3], to: [f64; 3], t: f64) -> [f64; 3] {
        let [_, _, low] = self.plane.ordered(from);
        let [_, _, high] = self.plane.ordered(to);
        let angle = self.start + self.sweep * t;
        let radius = self.radius_mm + (self.end_radius_mm - self.radius_mm) * t;
        self.plane.restored([
            self.centre[0] + radius * angle.cos(),
            self.centre[1] + radius * angle.sin(),
            low + (high - low) * t,
        ])
    }

    /// Whether the arc leads farther from the origin, along one of the plane's axes, than its
    /// ends do and than `reach_mm`.
    pub(crate) fn leads_beyond(&self, reach_mm: f64) -> bool {
        let radius = self.radius_mm.max(self.end_radius_mm);
        let [u, v] = self.centre;
        // Nearly every circle is within reach as a whole.
        if u.abs().max(v.abs()) + radius <= reach_mm {
            return false;
        }
        let end = self.start + self.sweep;
        let turned = self.start.min(end)..=self.start.max(end);
        // It turns back from an axis's direction at whole quarters of a turn.
        let quarters = (-8..=8).map(|quarter| f64::from(quarter) * FRAC_PI_2);
        let mut turns = quarters.filter(|angle| turned.contains(angle));
        turns.any(|angle| {
            let (x, y) = (u + radius * angle.cos(), v + radius * angle.sin());
            x.abs().max(y.abs()) > reach_mm
        })
    }

    /// Length along the arc when the third axis moves by `rise`, mm.
    pub(crate) fn length_mm(&self, rise: f64) -> f64 {
        let radius = (self.radius_mm + self.end_radius_mm) / 2.0;
        (radius * self.sweep).hypot(rise)
    }
}

/// Brings an angle into the one turn that the direction allows; a whole turn if start and end
/// are one point.
fn turn(angle: f64, clockwise: bool, whole: bool) -> f64 {
    let forward = angle.rem_euclid(TAU);
    match (clockwise, whole) {
        (false, true) => TAU,
        (true, true) => -TAU,
        (false, false) => forward,
        (true, false) => forward - TAU,
    }
}

/// NIST 3.5.3.1: the centre from the radius; the shorter way for a positive one.
fn centre_of(p: [f64; 2], q: [f64; 2], radius: f64, clockwise: bool) -> Result<[f64; 2], BadArc> {
    let (dx, dy) = (q[0] - p[0], q[1] - p[1]);
    let chord = dx.hypot(dy);
    // Half a micrometre of rounding may make the chord longer than the diameter.
    if chord < 1e-9 || chord > 2.0 * radius.abs() + 1e-3 {
        return Err(BadArc::Radius);
    }
    let height = (radius * radius - chord * chord / 4.0).max(0.0).sqrt();
    let side = if clockwise == (radius > 0.0) {
        -1.0
    } else {
        1.0
    };
    Ok([
        (p[0] + q[0]) / 2.0 - side * height * dy / chord,
        (p[1] + q[1]) / 2.0 + side * height * dx / chord,
    ])
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::f64::consts::PI;

    fn near(a: [f64; 3], b: [f64; 3]) -> bool {
        (0..3).all(|i| (a[i] - b[i]).abs() < 1e-6)
    }

    #[test]
    fn nist_3_5_3_1_example_of_the_radius_form() {
        // "G17 G2 x 10 y 15 r 20 z 5" (quoted from memory): clockwise, axis parallel to Z,
        // ending at 10, 15, 5, radius 20, a helix.
        let (from, to) = ([0.0, 0.0, 0.0], [10.0, 15.0, 5.0]);
        let arc = Arc::new(Plane::Xy, true, from, to, Given::Radius(20.0)).expect("an arc");
        assert!((arc.radius_mm - 20.0).abs() < 1e-9 && (arc.end_radius_mm - 20.0).abs() < 1e-9);
        assert!(arc.sweep < 0.0 && arc.sweep > -PI);
        assert!(near(arc.at(from, to, 0.0), from) && near(arc.at(from, to, 1.0), to));
        let long = Arc::new(Plane::Xy, true, from, to, Given::Radius(-20.0)).expect("an arc");
        assert!(long.sweep < -PI && (long.sweep + arc.sweep + TAU).abs() < 1e-9);
    }

    #[test]
    fn nist_3_5_3_2_example_of_the_centre_form() {
        // "G17 G2 x 10 y 16 i 3 j 4 z 9" (quoted from memory): from 7, 7 the centre is at
        // 10, 11 and the radius 5; a helix unless z starts at 9.
        let (from, to) = ([7.0, 7.0, 0.0], [10.0, 16.0, 9.0]);
        let arc = Arc::new(Plane::Xy, true, from, to, Given::Centre([3.0, 4.0])).expect("an arc");
        assert_eq!(arc.centre, [10.0, 11.0]);
        assert!((arc.radius_mm - 5.0).abs() < 1e-12 && (arc.end_radius_mm - 5.0).abs() < 1e-12);
        assert!(arc.sweep < 0.0);
        assert!(near(arc.at(from, to, 1.0), to));
    }

    #[test]
    fn nist_3_5_3_radius_form_refuses_a_single_point_and_a_short_radius() {
        let p = [1.0, 2.0, 3.0];
        let same = Arc::new(Plane::Xy, true, p, p, Given::Radius(5.0));
        assert_eq!(same, Err(BadArc::Radius));
        let short = Arc::new(Plane::Xy, true, p, [11.0, 2.0, 3.0], Given::Radius(4.0));
        assert_eq!(short, Err(BadArc::Radius));
        let flat = Arc::new(Plane::Xy, true, p, p, Given::Centre([0.0, 0.0]));
        assert_eq!(flat, Err(BadArc::Flat));
    }

    #[test]
    fn a_centre_and_no_way_is_a_whole_turn() {
        let p = [1.0, 2.0, 3.0];
        let arc = Arc::new(Plane::Xy, false, p, p, Given::Centre([5.0, 0.0])).expect("a circle");
        assert_eq!(arc.sweep, TAU);
        assert!((arc.length_mm(0.0) - TAU * 5.0).abs() < 1e-9);
    }

    #[test]
    fn planes_turn_the_right_way_round() {
        // Counter-clockwise as seen from the positive end of the third axis: a quarter turn
        // leads from the first axis to the second.
        for plane in [Plane::Xy, Plane::Zx, Plane::Yz] {
            let from = plane.restored([1.0, 0.0, 0.0]);
            let to = plane.restored([0.0, 1.0, 0.0]);
            assert_eq!(plane.ordered(from), [1.0, 0.0, 0.0]);
            let arc = Arc::new(plane, false, from, to, Given::Centre([-1.0, 0.0])).expect("an arc");
            assert!((arc.sweep - PI / 2.0).abs() < 1e-12);
        }
    }

    proptest! {
        #[test]
        fn both_forms_agree(
            x in -50.0..50.0_f64, y in -50.0..50.0_f64,
            radius in 1.0..50.0_f64, start in 0.0..TAU,
            sweep in 0.1..6.1_f64, clockwise: bool,
        ) {
            prop_assume!((sweep - PI).abs() > 0.05);
            let turned = start + if clockwise { -sweep } else { sweep };
            let from = [x + radius * start.cos(), y + radius * start.sin(), 0.0];
            let to = [x + radius * turned.cos(), y + radius * turned.sin(), 0.0];
            let by_centre = Given::Centre([x - from[0], y - from[1]]);
            let by_radius = Given::Radius(if sweep > PI { -radius } else { radius });
            let a = Arc::new(Plane::Xy, clockwise, from, to, by_centre).expect("an arc");
            let b = Arc::new(Plane::Xy, clockwise, from, to, by_radius).expect("an arc");
            prop_assert!((a.sweep - b.sweep).abs() < 1e-6);
            prop_assert!(near(a.at(from, to, 0.3), b.at(from, to, 0.3)));
            prop_assert!(near(a.at(from, to, 1.0), to));
        }
    }
}
