//! PNG (ISO/IEC 15948).

use std::io::Cursor;

use crate::pixels::{Declared, Samples};
use crate::{Limits, Orientation, Picture, PictureError};

pub(crate) fn decode(bytes: &[u8], limits: &Limits) -> Result<Picture, PictureError> {
    let mut decoder = png::Decoder::new(Cursor::new(bytes));
    decoder.set_transformations(png::Transformations::EXPAND);
    let mut reader = decoder.read_info()?;
    let info = reader.info();
    limits.check(u64::from(info.width), u64::from(info.height), bytes.len())?;
    let declared = Declared {
        icc: info.icc_profile.as_deref().map(<[u8]>::to_vec),
        cicp: info.coding_independent_code_points.map(|points| {
            (
                points.color_primaries,
                points.transfer_function,
                points.is_video_full_range_image,
            )
        }),
        srgb: info.srgb.is_some(),
        gamma: info.gama_chunk.map(|gamma| f64::from(gamma.into_value())),
        chromaticities: info.chrm_chunk.map(|c| {
            [c.white, c.red, c.green, c.blue]
                .map(|(x, y)| [x, y].map(|v| f64::from(v.into_value())))
        }),
    };
    let orientation = info.exif_metadata.as_deref().map(Orientation::of_exif);
    let size = reader.output_buffer_size().ok_or(PictureError::Empty)?;
    let mut unpacked = vec![0; size];
    let frame = reader.next_frame(&mut unpacked)?;
    unpacked.truncate(frame.buffer_size());
    let samples = match frame.bit_depth {
        png::BitDepth::Sixteen => {
            let pairs = unpacked.chunks_exact(2);
            let code = |pair: &[u8]| match pair {
                &[high, low] => u16::from_be_bytes([high, low]),
                _ => 0,
            };
            Samples::Sixteen(pairs.map(code).collect())
        }
        _ => Samples::Eight(unpacked),
    };
    let picture = Picture {
        width: frame.width as usize,
        height: frame.height as usize,
        channels: frame.color_type.samples(),
        samples,
        declared,
    };
    Ok(picture.upright(orientation.unwrap_or_default()))
}
