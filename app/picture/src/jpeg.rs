//! JPEG (ITU-T T.81), baseline and progressive, 8 bits.

use std::io::Cursor;

use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

use crate::pixels::{Declared, Samples};
use crate::{Limits, Orientation, Picture, PictureError};

pub(crate) fn decode(bytes: &[u8], limits: &Limits) -> Result<Picture, PictureError> {
    let broken = |error: zune_jpeg::errors::DecodeErrors| PictureError::Jpeg(error.to_string());
    let options = DecoderOptions::default()
        .set_strict_mode(true)
        .set_max_width(usize::from(u16::MAX))
        .set_max_height(usize::from(u16::MAX));
    let mut decoder = JpegDecoder::new_with_options(Cursor::new(bytes), options);
    decoder.decode_headers().map_err(broken)?;
    let (width, height) = decoder.dimensions().ok_or(PictureError::Empty)?;
    limits.check(width as u64, height as u64, bytes.len())?;
    let (channels, wanted) = match decoder.input_colorspace() {
        Some(ColorSpace::Luma) => (1, ColorSpace::Luma),
        Some(ColorSpace::RGB | ColorSpace::YCbCr) | None => (3, ColorSpace::RGB),
        Some(other) => return Err(PictureError::NotRgb(format!("{other:?}"))),
    };
    decoder.set_options(options.jpeg_set_out_colorspace(wanted));
    let samples = decoder.decode().map_err(broken)?;
    if samples.len() != width * height * channels {
        return Err(PictureError::Jpeg("it ends early".into()));
    }
    let orientation = decoder.exif().map(|exif| Orientation::of_exif(exif));
    let picture = Picture {
        width,
        height,
        channels,
        samples: Samples::Eight(samples),
        declared: Declared {
            icc: decoder.icc_profile(),
            ..Declared::default()
        },
    };
    Ok(picture.upright(orientation.unwrap_or_default()))
}
