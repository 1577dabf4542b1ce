//! Why a colour can't be met, in words.

use crate::{Lab, ShareLimits};

/// What stands between a wanted colour and the nearest blend.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Lack {
    /// Nothing that an eye sees.
    Nothing,
    /// The machine's share step or least share: without them the blend would be this near.
    Limits {
        /// The limits.
        limits: ShareLimits,
        /// What the spools could do.
        without_delta_e00: f64,
    },
    /// A spool that is not there: the nearest blend is off by so much in lightness, chroma and
    /// hue, each in units of ΔE00 and positive where the wanted colour has more.
    Spool {
        /// How much lighter the wanted colour is.
        lighter: f64,
        /// How much more saturated it is.
        more_saturated: f64,
        /// How far its hue is away.
        hue: f64,
        /// The wanted colour.
        wanted: Lab,
    },
}

impl Lack {
    /// Takes the difference of a blend from a wanted colour apart.
    pub(super) fn of_spool(wanted: Lab, got: Lab) -> Self {
        // S_L is near 1 in the middle and S_C, S_H grow with chroma, as in CIEDE2000; close
        // enough to tell which of the three is the most seen.
        let mean_chroma = (wanted.chroma() + got.chroma()) / 2.0;
        let chroma = wanted.chroma() - got.chroma();
        let apart = (wanted.a - got.a).hypot(wanted.b - got.b);
        let hue = (apart * apart - chroma * chroma).max(0.0).sqrt();
        Self::Spool {
            lighter: wanted.l - got.l,
            more_saturated: chroma / (1.0 + 0.045 * mean_chroma),
            hue: hue / (1.0 + 0.015 * mean_chroma),
            wanted,
        }
    }
}

impl std::fmt::Display for Lack {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Nothing => write!(f, "no visible difference"),
            Self::Limits {
                limits,
                without_delta_e00,
            } => write!(
                f,
                "the spools could come within {without_delta_e00:.1} ΔE00, but the machine's share \
                 step of {:.0} % and least share of {:.0} % prevent it",
                limits.share_step * 100.0,
                limits.least_share * 100.0
            ),
            Self::Spool {
                lighter,
                more_saturated,
                hue,
                wanted,
            } => {
                let size = lighter.abs().max(more_saturated.abs()).max(*hue);
                let counts = |part: f64| part.abs() > 0.5 * size;
                let mut words = Vec::new();
                if counts(*lighter) {
                    words.push(if *lighter > 0.0 { "lighter" } else { "darker" });
                }
                let grey = wanted.chroma() < 8.0;
                if counts(*more_saturated) && !grey {
                    let less = *more_saturated < 0.0;
                    words.push(if less {
                        "less saturated"
                    } else {
                        "more saturated"
                    });
                }
                let kind = if grey { "grey" } else { hue_name(*wanted) };
                let words = words.join(", ");
                let gap = if words.is_empty() { "" } else { " " };
                write!(f, "needs a {words}{gap}{kind} spool")
            }
        }
    }
}

/// The plain name of a CIELAB hue, by where the primaries and secondaries of sRGB lie: red at
/// 40°, yellow 103°, green 136°, cyan 196°, blue 306°, magenta 328°.
fn hue_name(colour: Lab) -> &'static str {
    match colour.hue_deg() {
        h if h < 20.0 => "crimson",
        h if h < 50.0 => "red",
        h if h < 80.0 => "orange",
        h if h < 110.0 => "yellow",
        h if h < 128.0 => "yellow-green",
        h if h < 175.0 => "green",
        h if h < 235.0 => "turquoise",
        h if h < 308.0 => "blue",
        h if h < 322.0 => "violet",
        h if h < 350.0 => "magenta",
        _ => "crimson",
    }
}
