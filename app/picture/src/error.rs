//! Why a picture can't be read.

/// Why a picture can't be read: a clause that goes on from the file's name.
#[derive(Debug, thiserror::Error)]
pub enum PictureError {
    /// It is neither PNG nor JPEG nor SVG.
    #[error("is neither a PNG nor a JPEG nor an SVG picture; save it as one of these")]
    Unknown,
    /// It is a drawing in SVG that is broken, or asks for what is not done here.
    #[error("can't be read as an SVG drawing: {0}")]
    Svg(String),
    /// It is one of the formats that phones keep to themselves.
    #[error(
        "is a HEIC or AVIF picture, and these are not read; export it from the phone as JPEG at \
         full size and without editing, or set the camera to save JPEG"
    )]
    Heic,
    /// The PNG is broken.
    #[error("can't be read as a PNG picture: {0}; save it again")]
    Png(#[from] png::DecodingError),
    /// The JPEG is broken.
    #[error("can't be read as a JPEG picture: {0}; save it again")]
    Jpeg(String),
    /// The JPEG's colours are not red, green and blue.
    #[error("is a JPEG in {0}; save it in RGB")]
    NotRgb(String),
    /// It has no pixels.
    #[error("has no pixels; save it again")]
    Empty,
    /// It is too large.
    #[error("has {pixels} pixels, and {most} at most are read; make it smaller")]
    TooLarge {
        /// Its pixels.
        pixels: u64,
        /// The most that are read.
        most: u64,
    },
    /// It holds next to nothing.
    #[error(
        "has {pixels} pixels in {bytes} bytes, so there is next to nothing in it; make it smaller"
    )]
    Blank {
        /// Its pixels.
        pixels: u64,
        /// Its size.
        bytes: u64,
    },
}
