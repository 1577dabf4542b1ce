//! Pictures of the coloured part, by casting rays at its skin.
//!
//! [`Stage`] holds what every view of a part shares; [`Render`] is one picture's set-up, and
//! [`Render::run`] makes it. Colour comes from a function of the point that a ray meets, in
//! linear-light sRGB.
//!
//! What the light does to colour is kept plain, so that a shade in the picture can be
//! compared with the legend: each colour is multiplied, in linear light, by one number from
//! [`light::DARKEST`] to 1, the same for red, green and blue. Hue and chromaticity stay, there
//! is no gloss, and where the light falls fully the picture shows the very colour asked for.

mod ambient;
mod camera;
mod caster;
mod ground;
mod image;
pub mod light;
mod normals;
mod occlusion;
mod pixels;
mod resolve;
mod run;
mod setup;
mod stage;
mod strips;

pub use camera::{Camera, Frame, Lens, View};
pub use image::Image;
pub use setup::{Background, Render};
pub use stage::Stage;
