//! A node of the tree: the boxes of up to eight children, weighed at once.
//!
//! The sides of the boxes take a byte each: they are counted in steps from the node's low corner
//! and rounded outwards, so that a tree takes little more memory than the mesh it is about. As in
//! H. Ylitie, T. Karras and S. Laine, "Efficient Incoherent Ray Traversal on GPUs Through
//! Compressed Bvh8 BVHs", *High-Performance Graphics* 2017 (from memory).

use glam::Vec3A;

use super::lanes::Lanes;

/// Children of a node at most.
pub(super) const WIDTH: usize = 8;

/// Marks a child that is a facet; the other bits are its index.
pub(super) const FACET: u32 = 1 << 31;

/// A box; the one that holds nothing has its sides the wrong way round.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Bounds {
    pub(super) low: Vec3A,
    pub(super) high: Vec3A,
}

impl Bounds {
    pub(super) const NOTHING: Self = Self {
        low: Vec3A::INFINITY,
        high: Vec3A::NEG_INFINITY,
    };

    #[inline]
    pub(super) fn and(self, other: Self) -> Self {
        Self {
            low: self.low.min(other.low),
            high: self.high.max(other.high),
        }
    }

    /// Half the area of the box.
    #[inline]
    pub(super) fn half_area(self) -> f32 {
        let size = self.high - self.low;
        size.x * size.y + size.y * size.z + size.z * size.x
    }
}

/// What a node leads to: a facet with its mark, or another node.
#[derive(Clone, Copy)]
pub(super) struct Child {
    pub(super) bounds: Bounds,
    pub(super) name: u32,
}

/// A count of steps for each child.
type Steps = [u8; WIDTH];

/// The boxes and names of up to eight children.
pub(super) struct Node {
    /// The low corner of all boxes.
    origin: [f32; 3],
    /// The width of a step.
    step: [f32; 3],
    /// By axis, where each child's box begins and ends, in steps.
    low: [Steps; 3],
    high: [Steps; 3],
    pub(super) children: [u32; WIDTH],
    pub(super) count: u32,
}

impl Node {
    /// Of up to eight children; more are left out.
    pub(super) fn of(children: &[Child]) -> Self {
        let all = children.iter().map(|c| c.bounds);
        let all = all.reduce(Bounds::and).unwrap_or(Bounds {
            low: Vec3A::ZERO,
            high: Vec3A::ZERO,
        });
        // A little wide, so that the last step reaches the far side when rounded down.
        let width = |axis: usize| f64::from(all.high[axis]) - f64::from(all.low[axis]);
        let step = [0, 1, 2].map(|axis| (width(axis) / 255.0 * (1.0 + 1e-6)) as f32);
        let mut node = Self {
            origin: all.low.to_array(),
            step,
            low: [[0; WIDTH]; 3],
            high: [[0; WIDTH]; 3],
            children: [0; WIDTH],
            count: children.len().min(WIDTH) as u32,
        };
        for (slot, child) in children.iter().take(WIDTH).enumerate() {
            node.children[slot] = child.name;
            for (axis, &step) in step.iter().enumerate() {
                let steps = |side: f32| {
                    let off = f64::from(side) - f64::from(node.origin[axis]);
                    off / f64::from(step).max(f64::MIN_POSITIVE)
                };
                // Such a cast keeps to 0..=255.
                node.low[axis][slot] = steps(child.bounds.low[axis]).floor() as u8;
                node.high[axis][slot] = steps(child.bounds.high[axis]).ceil() as u8;
            }
        }
        node
    }

    pub(super) fn names(&self) -> impl Iterator<Item = u32> {
        self.children.into_iter().take(self.count as usize)
    }

    /// Names a child that had no name yet.
    pub(super) fn name(&mut self, slot: usize, name: u32) {
        self.children[slot] = name;
    }

    /// Counts the names of nodes from further on.
    pub(super) fn shift(&mut self, by: u32) {
        let nodes = self.children.iter_mut().filter(|name| **name & FACET == 0);
        nodes.for_each(|name| *name += by);
    }

    /// Where each box begins and ends.
    #[inline(always)]
    pub(super) fn all_sides<L: Lanes>(&self, lanes: L) -> Sides<L> {
        let x = self.sides(lanes, 0, 0.0, 1.0);
        let y = self.sides(lanes, 1, 0.0, 1.0);
        let z = self.sides(lanes, 2, 0.0, 1.0);
        Sides {
            low: [x[0], y[0], z[0]],
            high: [x[1], y[1], z[1]],
        }
    }

    /// Where the boxes begin along an axis and where they end: `(place + shift) × scale`. The
    /// ends come first if the scale is negative.
    #[inline(always)]
    pub(super) fn sides<L: Lanes>(
        &self,
        lanes: L,
        axis: usize,
        shift: f32,
        scale: f32,
    ) -> [L::Eight; 2] {
        let begin = lanes.all((self.origin[axis] + shift) * scale);
        let step = lanes.all(self.step[axis] * scale);
        let (mut first, mut second) = (&self.low[axis], &self.high[axis]);
        if scale.is_sign_negative() {
            (first, second) = (second, first);
        }
        let first = lanes.mul(lanes.of(floats(first)), step);
        let second = lanes.mul(lanes.of(floats(second)), step);
        [lanes.add(first, begin), lanes.add(second, begin)]
    }
}

#[inline(always)]
fn floats(&[a, b, c, d, e, f, g, h]: &Steps) -> [f32; WIDTH] {
    [
        f32::from(a),
        f32::from(b),
        f32::from(c),
        f32::from(d),
        f32::from(e),
        f32::from(f),
        f32::from(g),
        f32::from(h),
    ]
}

/// The sides of a node's boxes.
pub(super) struct Sides<L: Lanes> {
    /// By axis, where each child's box begins and ends.
    pub(super) low: [L::Eight; 3],
    pub(super) high: [L::Eight; 3],
}

/// The sides of a node's boxes, to be taken one box at a time.
pub(super) struct EachSide {
    /// By axis, where each child's box begins; then, by axis, where it ends.
    places: [[f32; WIDTH]; 6],
}

impl EachSide {
    #[inline(always)]
    pub(super) fn of<L: Lanes>(lanes: L, sides: &Sides<L>) -> Self {
        let ([a, b, c], [d, e, f]) = (sides.low, sides.high);
        Self {
            places: [
                lanes.each(a),
                lanes.each(b),
                lanes.each(c),
                lanes.each(d),
                lanes.each(e),
                lanes.each(f),
            ],
        }
    }

    /// Where one box begins along an axis (0 to 2), or where it ends (3 to 5).
    #[inline(always)]
    pub(super) fn at(&self, side: usize, slot: usize) -> f32 {
        self.places[side % 6][slot % WIDTH]
    }
}
