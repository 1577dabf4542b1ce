//! The skin of a print: what colour lies where, beside what the plan asks for.

use std::collections::HashMap;

use blend::{Lab, Xyz, ciede2000};
use geometry::DVec3;

/// A place where the print will not look as planned.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Miss {
    /// Where on the part, mm.
    pub point_mm: DVec3,
    /// Line of the file.
    pub line: u64,
    /// The planned colour.
    pub asked: Lab,
    /// The colour that will be laid.
    pub laid: Lab,
    /// Their difference, ΔE00.
    pub de00: f64,
}

/// Width of a patch of skin, mm.
const PATCH_MM: f64 = 1.0;

/// Width of a class of the differences' distribution, ΔE00, and how many there are.
const CLASS_DE00: f64 = 0.1;
const CLASSES: usize = 1000;

/// Neighbouring places are told as one miss within this distance, mm.
const APART_MM: f64 = 5.0;

/// A patch of skin.
#[derive(Clone, Copy, Debug)]
struct Patch {
    volume_mm3: f64,
    /// Sums by volume.
    laid: [f64; 3],
    de00: f64,
    point_mm: DVec3,
    /// The worst bit of it.
    worst: Bit,
}

#[derive(Clone, Copy, Debug)]
struct Bit {
    line: u64,
    de00: f64,
    asked: Lab,
    laid: Lab,
}

/// The skin, in patches.
#[derive(Clone, Debug)]
pub struct Printed {
    patches: HashMap<(i32, i32, i32), Patch>,
    /// Volume by difference.
    classes: Vec<f64>,
    volume_mm3: f64,
    sum_de00: f64,
    last: Option<(Lab, Lab, f64)>,
}

impl Default for Printed {
    fn default() -> Self {
        Self::new()
    }
}

fn patch_of(point_mm: DVec3) -> (i32, i32, i32) {
    let at = (point_mm / PATCH_MM).floor();
    (at.x as i32, at.y as i32, at.z as i32)
}

impl Printed {
    /// Bare.
    pub fn new() -> Self {
        Self {
            patches: HashMap::new(),
            classes: vec![0.0; CLASSES],
            volume_mm3: 0.0,
            sum_de00: 0.0,
            last: None,
        }
    }

    /// Adds a bit of plastic at a point of the skin.
    pub fn add(&mut self, point_mm: DVec3, asked: Lab, laid: Lab, volume_mm3: f64, line: u64) {
        let de00 = match self.last {
            Some((a, l, de00)) if a == asked && l == laid => de00,
            _ => ciede2000(asked, laid),
        };
        self.last = Some((asked, laid, de00));
        self.volume_mm3 += volume_mm3;
        self.sum_de00 += de00 * volume_mm3;
        let class = ((de00 / CLASS_DE00) as usize).min(CLASSES - 1);
        if let Some(sum) = self.classes.get_mut(class) {
            *sum += volume_mm3;
        }
        let xyz = Xyz::from_lab(laid).to_array();
        let bit = Bit {
            line,
            de00,
            asked,
            laid,
        };
        let patch = self.patches.entry(patch_of(point_mm)).or_insert(Patch {
            volume_mm3: 0.0,
            laid: [0.0; 3],
            de00: 0.0,
            point_mm: DVec3::ZERO,
            worst: bit,
        });
        patch.volume_mm3 += volume_mm3;
        patch.de00 += de00 * volume_mm3;
        patch.point_mm += point_mm * volume_mm3;
        for (sum, value) in patch.laid.iter_mut().zip(xyz) {
            *sum += value * volume_mm3;
        }
        if de00 > patch.worst.de00 {
            patch.worst = bit;
        }
    }

    /// Plastic at the skin, mm³.
    pub fn volume_mm3(&self) -> f64 {
        self.volume_mm3
    }

    /// Mean difference from the plan, ΔE00, by volume; `None` if nothing lies at the skin.
    pub fn mean_de00(&self) -> Option<f64> {
        (self.volume_mm3 > 0.0).then(|| self.sum_de00 / self.volume_mm3)
    }

    /// The difference that a share of the plastic at the skin stays within, ΔE00, to a tenth.
    pub fn within_de00(&self, share: f64) -> f64 {
        let wanted = share * self.volume_mm3;
        let mut sum = 0.0;
        for (class, volume) in self.classes.iter().enumerate() {
            sum += volume;
            if sum >= wanted {
                return (class + 1) as f64 * CLASS_DE00;
            }
        }
        CLASSES as f64 * CLASS_DE00
    }

    /// The colour laid at a point of the skin; `None` where nothing was laid.
    pub fn colour_at(&self, point_mm: DVec3) -> Option<Xyz> {
        self.patch_near(point_mm)
            .map(|p| Xyz::from_array(p.laid.map(|sum| sum / p.volume_mm3)))
    }

    /// The difference from the plan at a point of the skin, ΔE00; `None` where nothing was laid.
    pub(crate) fn de00_at(&self, point_mm: DVec3) -> Option<f64> {
        self.patch_near(point_mm).map(|p| p.de00 / p.volume_mm3)
    }

    /// The patch of a point, or the nearest one beside it.
    fn patch_near(&self, point_mm: DVec3) -> Option<&Patch> {
        let (x, y, z) = patch_of(point_mm);
        if let Some(patch) = self.patches.get(&(x, y, z)) {
            return Some(patch);
        }
        let around = (-1..=1).flat_map(|dx| {
            (-1..=1).flat_map(move |dy| (-1..=1).map(move |dz| (x + dx, y + dy, z + dz)))
        });
        let far = |p: &&Patch| (p.point_mm / p.volume_mm3).distance_squared(point_mm);
        around
            .filter_map(|key| self.patches.get(&key))
            .min_by(|a, b| far(a).total_cmp(&far(b)))
    }

    /// The worst places, worst first, no two near each other.
    pub fn worst(&self, count: usize) -> Vec<Miss> {
        let mut patches: Vec<&Patch> = self.patches.values().collect();
        let mean = |p: &Patch| p.de00 / p.volume_mm3;
        patches.sort_by(|a, b| {
            mean(b)
                .total_cmp(&mean(a))
                .then(a.worst.line.cmp(&b.worst.line))
        });
        let mut found: Vec<Miss> = Vec::new();
        for patch in patches {
            if found.len() >= count {
                break;
            }
            let point_mm = patch.point_mm / patch.volume_mm3;
            if found
                .iter()
                .all(|m| m.point_mm.distance(point_mm) > APART_MM)
            {
                found.push(Miss {
                    point_mm,
                    line: patch.worst.line,
                    asked: patch.worst.asked,
                    laid: patch.worst.laid,
                    de00: mean(patch),
                });
            }
        }
        found
    }
}
