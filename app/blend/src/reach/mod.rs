//! Which colours a set of spools can reach, and the blend nearest to a wanted colour.

mod closest;
mod lack;
mod lattice;
mod palette;
mod sample;

pub use closest::{Match, closest};
pub use lack::Lack;
pub use palette::{MOST_BLENDS, Palette, Wanted, palettes};
pub use sample::{Reached, sample};
