//! Which kind of picture it is.

use crate::{Limits, Picture, PictureError, jpeg, png_file, svg};

/// Reads a picture from the bytes of its file, PNG, JPEG or SVG, upright by its Exif orientation.
///
/// # Errors
/// [`PictureError`].
pub fn decode(bytes: &[u8], limits: &Limits) -> Result<Picture, PictureError> {
    if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        return png_file::decode(bytes, limits);
    }
    if bytes.starts_with(&[0xff, 0xd8]) {
        return jpeg::decode(bytes, limits);
    }
    // ISO/IEC 14496-12: a size, then the file type, then its brand.
    let brand = bytes.get(8..12).unwrap_or_default();
    let known: [&[u8]; 6] = [b"heic", b"heix", b"hevc", b"mif1", b"msf1", b"avif"];
    if bytes.get(4..8) == Some(b"ftyp") && known.contains(&brand) {
        return Err(PictureError::Heic);
    }
    match svg::is_svg(bytes) {
        true => svg::decode(bytes, limits),
        false => Err(PictureError::Unknown),
    }
}
