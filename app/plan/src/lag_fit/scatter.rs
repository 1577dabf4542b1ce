//! How readings scatter: by the instrument's error in the colour, and by the rule's in the
//! height, which tells most where the colour runs steepest.

/// The scatter of one reading, in its metric's three directions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Scatter {
    /// The direction in which the colour runs with the height, of length 1.
    along: [f64; 3],
    /// Standard error along it, ΔE00.
    along_de00: f64,
    /// Standard error across it, ΔE00.
    across_de00: f64,
}

/// What all readings of a lag test have in common.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Errors {
    /// Of a colour, ΔE00 along each axis.
    pub colour_de00: f64,
    /// Of a height, mm.
    pub height_mm: f64,
}

impl Scatter {
    /// The same in all directions, 1.
    pub(super) fn even() -> Self {
        Self {
            along: [0.0; 3],
            along_de00: 1.0,
            across_de00: 1.0,
        }
    }

    /// Of a reading whose colour runs so fast, ΔE00/mm.
    pub(super) fn new(slope: [f64; 3], errors: &Errors) -> Self {
        let steep = dot(slope, slope).sqrt();
        Self {
            along: match steep > 0.0 {
                true => slope.map(|s| s / steep),
                false => [0.0; 3],
            },
            along_de00: errors.colour_de00.hypot(errors.height_mm * steep),
            across_de00: errors.colour_de00,
        }
    }

    /// A difference in standard errors.
    pub(super) fn whitened(&self, off: [f64; 3]) -> [f64; 3] {
        let along = dot(self.along, off);
        std::array::from_fn(|i| {
            let part = along * self.along[i];
            (off[i] - part) / self.across_de00 + part / self.along_de00
        })
    }
}

fn dot(one: [f64; 3], other: [f64; 3]) -> f64 {
    one.iter().zip(other).map(|(a, b)| a * b).sum()
}

/// Errors that are tried: of colours from 0.05 to 13 ΔE00, of heights none and from 0.005 to 1.3 mm.
const TRIES: i32 = 24;

/// The errors under which residuals are the likeliest, from each reading's residual and how fast
/// its colour runs, both in its metric; `fitted` numbers have been fitted to them.
pub(super) fn likeliest(read: &[([f64; 3], [f64; 3])], fitted: f64) -> Errors {
    let numbers = 3.0 * read.len() as f64;
    // Residuals are smaller than errors by what the fit follows (REML in the large).
    let larger = (numbers / (numbers - fitted).max(0.25 * numbers)).sqrt();
    let heights = std::iter::once(0.0).chain((0..TRIES).map(|i| 0.005 * step(i)));
    let tries = heights.flat_map(|height_mm| {
        (0..TRIES).map(move |i| Errors {
            colour_de00: 0.05 * step(i),
            height_mm,
        })
    });
    let cost = |errors: &Errors| -> f64 {
        let each = read.iter().map(|(off, slope)| {
            let scatter = Scatter::new(*slope, errors);
            let off = scatter.whitened(off.map(|v| v * larger));
            let width = scatter.along_de00.ln() + 2.0 * scatter.across_de00.ln();
            0.5 * dot(off, off) + width
        });
        each.sum()
    };
    let scored = tries.map(|errors| (cost(&errors), errors));
    let best = scored.min_by(|a, b| a.0.total_cmp(&b.0));
    best.map_or(
        Errors {
            colour_de00: 1.0,
            height_mm: 0.0,
        },
        |(_, errors)| errors,
    )
}

/// Steps of a quarter more and less than that.
fn step(i: i32) -> f64 {
    1.275f64.powi(i)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Readings made from two known errors with numbers from a table of the normal distribution.
    #[test]
    fn both_errors_are_told_apart() {
        let mut seed = 12345u64;
        let mut uniform = || {
            seed = seed
                .wrapping_mul(6364136223846793005)
                .wrapping_add(1442695040888963407);
            (seed >> 11) as f64 / (1u64 << 53) as f64
        };
        // A sum of twelve is as good as normal (common practice).
        let mut normal = || (0..12).map(|_| uniform()).sum::<f64>() - 6.0;
        let read: Vec<([f64; 3], [f64; 3])> = (0..3000)
            .map(|i| {
                let steep = f64::from(i % 30);
                let slope = [0.6 * steep, 0.0, 0.8 * steep];
                let up = 0.12 * normal();
                let off = slope.map(|s| s * up + 0.7 * normal());
                (off, slope)
            })
            .collect();
        let found = likeliest(&read, 0.0);
        assert!((found.colour_de00 / 0.7).ln().abs() < 0.15, "{found:?}");
        assert!((found.height_mm / 0.12).ln().abs() < 0.15, "{found:?}");
    }
}
