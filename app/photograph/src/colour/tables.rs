//! ICC profiles whose colours are in tables: lut8Type, lut16Type and lutAToBType (ICC.1:2022, 10.10
//! to 10.12).
//!
//! `moxcms` takes them out of the profile; they are followed here. Its own transforms bend the
//! tables into one of 33 points a side, and cut off what is outside of sRGB. Between points of a
//! grid it is interpolated in tetrahedra along the greys, so that greys stay grey.

use moxcms::{ColorProfile, DataColorSpace, LutDataType, LutMultidimensionalType, LutStore};
use moxcms::{LutWarehouse, ToneReprCurve, Xyzd};

use super::curve::{Curve, followed};

/// The white of the connection space (ICC.1:2022, 7.2.16): D50.
const WHITE: [f64; 3] = [0.9642, 1.0, 0.8249];

/// Codes into the connection space by tables.
pub(crate) struct Tables {
    /// What comes first: the A curves, or the input tables.
    pub(super) first: [Curve; 3],
    rest: Rest,
}

/// What comes after the first curves.
pub(crate) struct Rest {
    grid: Option<Grid>,
    /// The M curves, the matrix and what it adds, one row for each channel.
    middle: Option<([Curve; 3], [[f64; 4]; 3])>,
    last: [Curve; 3],
    space: Space,
    to_srgb: [[f64; 3]; 3],
}

/// How values from 0 to 1 stand for colours.
#[derive(Clone, Copy)]
enum Space {
    /// CIE XYZ.
    Xyz,
    /// CIELAB: what L* and a* are multiplied by, before 128 is taken from the latter.
    Lab(f64, f64),
}

/// A table over three values.
struct Grid {
    /// Points along each of them.
    sides: [usize; 3],
    /// The last value's points are beside each other.
    points: Vec<[f32; 3]>,
}

impl Tables {
    /// The tables of a profile for RGB, if it has any: those for measured colours before those for
    /// pleasant ones (ICC.1:2022, 8.10.2).
    ///
    /// # Errors
    /// They are not of three channels, or not whole: what is wrong, after "the profile has".
    pub(super) fn of(profile: &ColorProfile) -> Result<Option<Self>, &'static str> {
        let measured = profile.lut_a_to_b_colorimetric.as_ref();
        let Some(tables) = measured.or(profile.lut_a_to_b_perceptual.as_ref()) else {
            return Ok(None);
        };
        let lab = match profile.pcs {
            DataColorSpace::Lab => true,
            DataColorSpace::Xyz => false,
            _ => return Err("tables into a space that is none to connect profiles"),
        };
        let found = match tables {
            LutWarehouse::Lut(tables) => of_plain(tables, lab),
            LutWarehouse::Multidimensional(tables) => of_curved(tables, lab),
        };
        let (first, grid, middle, last, space) = found.ok_or("tables that are not whole")?;
        let to_srgb = from_connection();
        let sound = to_srgb.iter().flatten().all(|v| v.is_finite());
        let rest = Rest {
            grid,
            middle,
            last,
            space,
            to_srgb,
        };
        match sound {
            true => Ok(Some(Self { first, rest })),
            false => Err("tables that can't be followed"),
        }
    }

    pub(super) fn split(self) -> ([Curve; 3], Rest) {
        (self.first, self.rest)
    }
}

impl Rest {
    /// Linear light of sRGB's primaries.
    pub(super) fn light(&self, first: [f64; 3]) -> [f64; 3] {
        let mut values = match &self.grid {
            Some(grid) => grid.at(first),
            None => first,
        };
        if let Some((curves, rows)) = &self.middle {
            let [x, y, z] = through(curves, values);
            values = rows.map(|[a, b, c, more]| a * x + b * y + c * z + more);
        }
        let values = through(&self.last, values);
        let [x, y, z] = self.space.to_xyz(values);
        self.to_srgb.map(|[a, b, c]| a * x + b * y + c * z)
    }
}

impl Space {
    fn to_xyz(self, [one, two, three]: [f64; 3]) -> [f64; 3] {
        match self {
            // Codes go up to 1 + 32767/32768 (ICC.1:2022, 6.3.4.2).
            Self::Xyz => [one, two, three].map(|v| v * (1.0 + 32767.0 / 32768.0)),
            Self::Lab(l, a) => {
                let lab = blend::Lab {
                    l: l * one,
                    a: a * two - 128.0,
                    b: a * three - 128.0,
                };
                // The same shares of another white.
                let (there, white) = (lab.to_xyz(), blend::WHITE);
                let [x, y, z] = WHITE;
                [
                    x * there.x / white.x,
                    y * there.y / white.y,
                    z * there.z / white.z,
                ]
            }
        }
    }
}

impl Grid {
    fn new(sides: [u8; 3], points: &LutStore) -> Option<Self> {
        let sides = sides.map(usize::from);
        let values = points.to_clut_f32();
        let points: Vec<[f32; 3]> = values
            .chunks_exact(3)
            .filter_map(|point| point.try_into().ok())
            .collect();
        let whole = sides.iter().all(|side| *side >= 2)
            && points.len() == sides.iter().product::<usize>()
            && values.len() == 3 * points.len();
        whole.then_some(Self { sides, points })
    }

    fn at(&self, values: [f64; 3]) -> [f64; 3] {
        let [_, green, blue] = self.sides;
        let strides = [green * blue, blue, 1];
        let mut index = 0;
        // How far on from the cell's first corner, and how far apart its corners are there.
        let mut on = [(0.0, 0); 3];
        for (((value, side), stride), on) in values.iter().zip(self.sides).zip(strides).zip(&mut on)
        {
            let last = side - 1;
            let place = value.clamp(0.0, 1.0) * last as f64;
            let cell = (place as usize).min(last - 1);
            index += cell * stride;
            *on = (place - cell as f64, stride);
        }
        on.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut sum = self.point(index);
        for (share, stride) in on {
            let before = self.point(index);
            index += stride;
            let after = self.point(index);
            for ((sum, after), before) in sum.iter_mut().zip(after).zip(before) {
                *sum += share * (after - before);
            }
        }
        sum
    }

    fn point(&self, index: usize) -> [f64; 3] {
        self.points
            .get(index)
            .copied()
            .unwrap_or_default()
            .map(f64::from)
    }
}

type Parts = (
    [Curve; 3],
    Option<Grid>,
    Option<([Curve; 3], [[f64; 4]; 3])>,
    [Curve; 3],
    Space,
);

/// Tables of 8 or 16 bits. Their matrix is for colours in XYZ alone (ICC.1:2022, 10.10).
fn of_plain(tables: &LutDataType, lab: bool) -> Option<Parts> {
    if (tables.num_input_channels, tables.num_output_channels) != (3, 3) {
        return None;
    }
    let grid = Grid::new([tables.num_clut_grid_points; 3], &tables.clut_table)?;
    let space = match (lab, &tables.clut_table) {
        (false, _) => Space::Xyz,
        (true, LutStore::Store8(_)) => Space::Lab(100.0, 255.0),
        // 16 bits keep an older code: 100 is 0xff00 (ICC.1:2022, 10.10, table 42).
        (true, LutStore::Store16(_)) => {
            Space::Lab(100.0 * 65535.0 / 65280.0, 255.0 * 65535.0 / 65280.0)
        }
    };
    let first = in_three(&tables.input_table, tables.num_input_table_entries)?;
    let last = in_three(&tables.output_table, tables.num_output_table_entries)?;
    Some((first, Some(grid), None, last, space))
}

/// Tables with curves before, between and after.
fn of_curved(tables: &LutMultidimensionalType, lab: bool) -> Option<Parts> {
    if (tables.num_input_channels, tables.num_output_channels) != (3, 3) {
        return None;
    }
    let [red, green, blue, ..] = tables.grid_points;
    let grid = match &tables.clut {
        Some(points) => Some(Grid::new([red, green, blue], points)?),
        None => None,
    };
    let first = three(&tables.a_curves)?;
    let last = three(&tables.b_curves)?;
    let middle = match tables.m_curves.is_empty() {
        true => None,
        false => {
            let bias = tables.bias.v;
            let rows = tables.matrix.v.iter().zip(bias);
            let mut all = [[0.0; 4]; 3];
            for (to, ([a, b, c], more)) in all.iter_mut().zip(rows) {
                *to = [*a, *b, *c, more];
            }
            Some((three(&tables.m_curves)?, all))
        }
    };
    let space = match lab {
        true => Space::Lab(100.0, 255.0),
        false => Space::Xyz,
    };
    Some((first, grid, middle, last, space))
}

/// Three curves, or none, which stand for themselves.
fn three(curves: &[ToneReprCurve]) -> Option<[Curve; 3]> {
    match curves {
        [] => Some([0, 1, 2].map(|_| Box::new(|code| code) as Curve)),
        [red, green, blue] => Some([followed(red)?, followed(green)?, followed(blue)?]),
        _ => None,
    }
}

/// Three tables of so many values, one after the other.
fn in_three(store: &LutStore, count: u16) -> Option<[Curve; 3]> {
    let values = store.to_clut_f32();
    let count = usize::from(count);
    let curve = |channel: usize| -> Option<Curve> {
        let own = values.get(channel * count..(channel + 1) * count)?.to_vec();
        let last = count.checked_sub(1).filter(|last| *last > 0)?;
        Some(Box::new(move |code: f64| {
            let place = code.clamp(0.0, 1.0) * last as f64;
            let cell = (place as usize).min(last - 1);
            let at = |i: usize| own.get(i).copied().map_or(0.0, f64::from);
            at(cell) + (place - cell as f64) * (at(cell + 1) - at(cell))
        }))
    };
    Some([curve(0)?, curve(1)?, curve(2)?])
}

fn through(curves: &[Curve; 3], values: [f64; 3]) -> [f64; 3] {
    let mut out = values;
    for (out, curve) in out.iter_mut().zip(curves) {
        // Each stage's values are from 0 to 1.
        *out = curve(out.clamp(0.0, 1.0));
    }
    out
}

/// Rows that make sRGB's linear light of the connection space's XYZ.
fn from_connection() -> [[f64; 3]; 3] {
    let mut own = ColorProfile::new_srgb();
    let axis = |x, y, z| Xyzd { x, y, z };
    own.red_colorant = axis(1.0, 0.0, 0.0);
    own.green_colorant = axis(0.0, 1.0, 0.0);
    own.blue_colorant = axis(0.0, 0.0, 1.0);
    own.transform_matrix(&ColorProfile::new_srgb()).v
}

#[cfg(test)]
mod tests {
    use super::super::ToLinear;
    use picture::Declared;
    use proptest::prelude::*;

    /// A profile for RGB whose one table (lut16Type) is CIELAB of light that is a code's square, in
    /// the connection space's primaries: so much red is so much X, and so on. Written by hand after
    /// ICC.1:2022, 7.2 and 10.10.
    fn squares() -> Vec<u8> {
        const SIDE: u16 = 9;
        let mut table = Vec::new();
        table.extend(b"mft2\0\0\0\0");
        table.extend([3, 3, SIDE as u8, 0]);
        for i in 0..9 {
            let one: u32 = if i % 4 == 0 { 0x1_0000 } else { 0 };
            table.extend(one.to_be_bytes());
        }
        table.extend(2_u16.to_be_bytes());
        table.extend(2_u16.to_be_bytes());
        let straight = [0_u16, 0xffff];
        table.extend([straight; 3].concat().iter().flat_map(|v| v.to_be_bytes()));
        let node = |i: u16| f64::from(i) / f64::from(SIDE - 1);
        for r in 0..SIDE {
            for g in 0..SIDE {
                for b in 0..SIDE {
                    let f = |v: f64| match v * v > 216.0 / 24389.0 {
                        true => (v * v).cbrt(),
                        false => v * v * 841.0 / 108.0 + 4.0 / 29.0,
                    };
                    let (x, y, z) = (f(node(r)), f(node(g)), f(node(b)));
                    let lab = [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)];
                    let codes = [
                        lab[0] / 100.0 * 65280.0,
                        (lab[1] + 128.0) * 256.0,
                        (lab[2] + 128.0) * 256.0,
                    ];
                    let codes = codes.map(|code| code.round().clamp(0.0, 65535.0) as u16);
                    table.extend(codes.iter().flat_map(|code| code.to_be_bytes()));
                }
            }
        }
        table.extend([straight; 3].concat().iter().flat_map(|v| v.to_be_bytes()));
        let mut bytes = vec![0; 128];
        bytes[8] = 2;
        bytes[12..24].copy_from_slice(b"scnrRGB Lab ");
        bytes[36..40].copy_from_slice(b"acsp");
        let d50 = [0xf6d6_u32, 0x1_0000, 0xd32d];
        for (place, v) in bytes[68..80].chunks_exact_mut(4).zip(d50) {
            place.copy_from_slice(&v.to_be_bytes());
        }
        bytes.extend(1_u32.to_be_bytes());
        bytes.extend(b"A2B0");
        bytes.extend(144_u32.to_be_bytes());
        bytes.extend((table.len() as u32).to_be_bytes());
        bytes.extend(table);
        let whole = bytes.len() as u32;
        bytes[..4].copy_from_slice(&whole.to_be_bytes());
        bytes
    }

    fn of(bytes: Vec<u8>) -> Result<ToLinear, String> {
        ToLinear::new(&Declared {
            icc: Some(bytes),
            ..Declared::default()
        })
    }

    #[test]
    fn tables_are_followed_from_black_to_the_right_white() {
        let coded = of(squares()).unwrap().coded(256);
        for (code, light) in [(0_usize, 0.0), (255, 1.0), (128, 0.252)] {
            let found = coded.light([code; 3]);
            // Between two points of the table it is interpolated.
            let near = found.iter().all(|v| (f64::from(*v) - light).abs() < 2e-3);
            assert!(near, "{code}: {found:?}");
        }
        // Red and green differ: what lies outside of sRGB is not cut off.
        let red = coded.light([255, 128, 128]);
        assert!(red[0] > 1.0 && red[1] < 0.0, "{red:?}");
    }

    #[test]
    fn cut_tables_are_refused() {
        let whole = squares();
        for end in (0..whole.len()).step_by(7) {
            let error = of(whole[..end].to_vec()).err().unwrap();
            assert!(error.contains("colour profile"), "{error}");
        }
    }

    proptest! {
        /// What is not whole is refused or followed to numbers.
        #[test]
        fn spoiled_tables_never_panic(place in 0_usize..260, value: u8, code in 0_usize..256) {
            let mut bytes = squares();
            bytes[place] = value;
            if let Ok(to) = of(bytes) {
                let light = to.coded(256).light([code, 255 - code, 128]);
                prop_assert!(light.iter().all(|v| v.is_finite()));
            }
        }
    }
}
