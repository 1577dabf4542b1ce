//! The skin cut so that every triangle is of one region, and of one step of a fade, and the
//! colours of each such class by layer.

mod colours;
mod skin;

pub use colours::{ClassColour, LayerColours};
pub use skin::{Class, FINE_DE00, Fades, Patches};
