//! Pictures from the bytes of a file, within limits: PNG, JPEG and SVG, and lines of text in a font.
//!
//! [`decode`] takes the bytes of a whole file and gives its samples as they are coded, upright,
//! with what the file says of its colours. It reads no files, and asks for no memory before the
//! picture's size has passed its [`Limits`]. [`set_line`] draws a line of text.
//!
//! ```
//! use picture::{Limits, PictureError, decode};
//! let drawing = br#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 2 1"><script/></svg>"#;
//! let error = decode(drawing, &Limits::default()).unwrap_err();
//! assert!(matches!(error, PictureError::Svg(_)));
//! ```

// Pictures come from strangers: nothing in one may end in a panic.
#![warn(
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic
)]

mod decode;
mod error;
mod jpeg;
mod letters;
mod limits;
mod orientation;
mod pixels;
mod png_file;
mod svg;

pub use decode::decode;
pub use error::PictureError;
pub use letters::{Line, LineError, own_font, set_line};
pub use limits::Limits;
pub use orientation::Orientation;
pub use pixels::{Declared, Picture};
