//! Pictures that were written elsewhere come out as they were.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use picture::{Limits, Picture, PictureError, decode};
use proptest::prelude::*;

fn read(bytes: &[u8]) -> Result<Picture, PictureError> {
    decode(bytes, &Limits::default())
}

fn png(size: (u32, u32), color: png::ColorType, depth: png::BitDepth, data: &[u8]) -> Vec<u8> {
    let mut file = Vec::new();
    let mut encoder = png::Encoder::new(&mut file, size.0, size.1);
    encoder.set_color(color);
    encoder.set_depth(depth);
    let mut writer = encoder.write_header().unwrap();
    writer.write_image_data(data).unwrap();
    writer.finish().unwrap();
    file
}

fn jpeg(name: &str) -> Picture {
    let path = format!("{}/tests/{name}.jpg", env!("CARGO_MANIFEST_DIR"));
    read(&std::fs::read(path).unwrap()).unwrap()
}

#[test]
fn sixteen_bits_and_opacity_are_kept() {
    let file = png(
        (1, 1),
        png::ColorType::Rgba,
        png::BitDepth::Sixteen,
        &[0x12, 0x34, 0, 0, 0xff, 0xff, 0x80, 0],
    );
    let picture = read(&file).unwrap();
    assert!(picture.is_deep() && !picture.is_grey());
    let codes = picture.rgba(0, 0).map(|v| (v * 65535.0).round() as u32);
    assert_eq!(codes, [0x1234, 0, 0xffff, 0x8000]);
    assert_eq!(picture.rgba(1, 0), [0.0; 4]);
}

#[test]
fn greys_of_one_bit_are_black_and_white() {
    let file = png(
        (3, 1),
        png::ColorType::Grayscale,
        png::BitDepth::One,
        &[0b0100_0000],
    );
    let picture = read(&file).unwrap();
    assert_eq!([0, 1, 2].map(|x| picture.grey(x, 0, 1.0)), [0.0, 1.0, 0.0]);
}

/// Four flat blocks, written by Pillow at quality 95: red, green, blue, mid-grey.
#[test]
fn a_jpeg_has_its_colours_back() {
    for name in ["blocks", "progressive"] {
        let picture = jpeg(name);
        assert_eq!((picture.width(), picture.height()), (64, 32), "{name}");
        for (at, wanted) in [
            ((8, 8), [200, 30, 40]),
            ((40, 8), [20, 160, 60]),
            ((8, 24), [30, 60, 190]),
            ((40, 24), [128, 128, 128]),
        ] {
            let seen = picture.rgba(at.0, at.1);
            for (seen, wanted) in seen.into_iter().zip(wanted) {
                let off = seen * 255.0 - f64::from(wanted);
                assert!(off.abs() <= 3.0, "{name} {at:?}: {off}");
            }
        }
    }
}

/// The same blocks with the Exif orientation 6: to be turned a quarter turn clockwise, so that
/// what is stored at the lower left is seen at the upper left.
#[test]
fn a_jpeg_is_turned_as_its_camera_was_held() {
    let picture = jpeg("turned");
    assert_eq!((picture.width(), picture.height()), (32, 64));
    let [r, g, b, _] = picture.rgba(8, 8);
    assert!(b > r && b > g);
    let [r, g, b, _] = picture.rgba(24, 8);
    assert!(r > g && r > b);
}

#[test]
fn a_grey_jpeg_is_grey_and_a_profile_is_handed_on() {
    let picture = jpeg("grey");
    assert!(picture.is_grey());
    assert!((picture.grey(4, 4, 1.0) - 90.0 / 255.0).abs() < 0.01);
    assert!(
        jpeg("profile")
            .declared
            .icc
            .is_some_and(|icc| icc.len() > 100)
    );
}

#[test]
fn what_can_t_be_read_is_told_in_words() {
    let told = |bytes: &[u8]| read(bytes).unwrap_err().to_string();
    assert!(told(b"GIF89a").contains("neither a PNG nor a JPEG"));
    assert!(told(b"<?xml version='1.0'?><svg>").contains("can't be read as an SVG drawing"));
    assert!(told(b"\x89PNG\r\n\x1a\nrest").contains("PNG"));
    assert!(told(&[0xff, 0xd8, 0xff, 0xe0, 0]).contains("JPEG"));
    let path = format!("{}/tests/cmyk.jpg", env!("CARGO_MANIFEST_DIR"));
    assert!(told(&std::fs::read(path).unwrap()).contains("save it in RGB"));
}

/// 20 000 × 20 000 grey pixels that claim to lie in a few bytes: refused before memory is asked
/// for, and so is a real file that packs its pixels too tightly.
#[test]
fn bombs_are_refused_by_their_size() {
    let mut file = png(
        (1, 1),
        png::ColorType::Grayscale,
        png::BitDepth::Eight,
        &[0],
    );
    file.splice(16..24, [0, 0, 0x4e, 0x20, 0, 0, 0x4e, 0x20]);
    let crc = crc(&file[12..29]);
    file.splice(29..33, crc.to_be_bytes());
    assert!(matches!(read(&file), Err(PictureError::TooLarge { .. })));
    let side = 3000;
    let flat = vec![0; (side * side) as usize];
    let file = png(
        (side, side),
        png::ColorType::Grayscale,
        png::BitDepth::Eight,
        &flat,
    );
    assert!(matches!(read(&file), Err(PictureError::Blank { .. })));
}

/// The checksum of a PNG chunk (ISO/IEC 15948, annex D).
fn crc(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0u32, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| match crc & 1 {
            1 => 0xedb8_8320 ^ (crc >> 1),
            _ => crc >> 1,
        })
    })
}

#[test]
fn phones_own_formats_are_told_apart() {
    let file = b"\0\0\0\x18ftypheic\0\0\0\0mif1heic";
    let error = read(file).unwrap_err();
    assert!(matches!(error, PictureError::Heic));
    assert!(error.to_string().contains("JPEG"), "{error}");
}

proptest! {
    /// Whatever was written as PNG is read back code by code.
    #[test]
    fn png_reads_back(width in 1u32..9, height in 1u32..9, seed in any::<u64>()) {
        let pixels = (width * height * 3) as usize;
        let data: Vec<u8> = (0..pixels).map(|i| (seed >> (i % 57)) as u8 ^ i as u8).collect();
        let file = png((width, height), png::ColorType::Rgb, png::BitDepth::Eight, &data);
        let picture = read(&file).unwrap();
        let back: Vec<u8> = (0..height as usize)
            .flat_map(|y| (0..width as usize).map(move |x| (x, y)))
            .flat_map(|(x, y)| picture.rgba(x, y).into_iter().take(3))
            .map(|v| (v * 255.0).round() as u8)
            .collect();
        prop_assert_eq!(back, data);
    }

    /// Any bytes behind a good start are answered.
    #[test]
    fn anything_is_answered(bytes in prop::collection::vec(any::<u8>(), 0..200), jpeg in any::<bool>()) {
        let start: &[u8] = if jpeg { &[0xff, 0xd8, 0xff] } else { b"\x89PNG\r\n\x1a\n" };
        let _ = read(&[start, &bytes].concat());
    }
}
