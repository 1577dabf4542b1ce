//! A picture of the view on its way to a file or to the clipboard.

use std::borrow::Cow;
use std::path::{Path, PathBuf};

use arboard::{Clipboard, ImageData};
use geometry::Progress;

use super::Stop;
use crate::model::view_copy::{To, ViewCopy};

/// Pixels as the card drew them: RGBA, encoded as sRGB, row by row from the top. Where they are not
/// opaque, their light is weighted with their opacity.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pixels {
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
    /// Four bytes for each.
    pub rgba: Vec<u8>,
}

/// Where the picture went.
pub enum Done {
    /// Into a file.
    File(PathBuf),
    /// To the clipboard, which has it only as long as this is kept.
    Clipboard(Box<Clipboard>),
}

/// Brings it there.
///
/// # Errors
/// In words, when it can't be written or there is no clipboard.
pub fn run(order: &ViewCopy, mut pixels: Pixels, progress: &Progress) -> Result<Done, Stop> {
    progress.stage("Writing the picture");
    match order.clear {
        true => unweight(&mut pixels.rgba),
        false => pixels.rgba.chunks_exact_mut(4).for_each(|p| p[3] = 255),
    }
    progress.check()?;
    match &order.to {
        To::File(file) => write(file, &pixels, order.clear).map(|()| Done::File(file.clone())),
        To::Clipboard => to_clipboard(pixels).map(|c| Done::Clipboard(Box::new(c))),
    }
}

fn write(file: &Path, pixels: &Pixels, clear: bool) -> Result<(), Stop> {
    let bytes = png_bytes(pixels, clear).map_err(Stop::Failed)?;
    project::write::bytes(file, &bytes).map_err(|e| Stop::failed(&e))
}

fn to_clipboard(pixels: Pixels) -> Result<Clipboard, Stop> {
    let none = |e: arboard::Error| {
        Stop::Failed(format!(
            "The window system has no clipboard for pictures ({e}). Write the picture to a file \
             instead."
        ))
    };
    let mut clipboard = Clipboard::new().map_err(none)?;
    let image = ImageData {
        width: pixels.width as usize,
        height: pixels.height as usize,
        bytes: Cow::Owned(pixels.rgba),
    };
    clipboard.set_image(image).map_err(none)?;
    Ok(clipboard)
}

/// Gives each pixel its own light again, as picture files have it.
fn unweight(rgba: &mut [u8]) {
    for pixel in rgba.chunks_exact_mut(4) {
        let [r, g, b, a] = [pixel[0], pixel[1], pixel[2], pixel[3]];
        if a == 0 || a == 255 {
            continue;
        }
        let opacity = f64::from(a) / 255.0;
        let own = blend::Srgb([r, g, b])
            .to_linear()
            .map(|light| (light / opacity).min(1.0));
        let [r, g, b] = blend::Xyz::from_linear_srgb(own).to_srgb().0;
        pixel[..3].copy_from_slice(&[r, g, b]);
    }
}

/// Pixels as a PNG file, with their opacity or without.
///
/// # Errors
/// In words, when there are not as many pixels as there should be.
pub fn png_bytes(pixels: &Pixels, with_opacity: bool) -> Result<Vec<u8>, String> {
    let rgba = &pixels.rgba;
    let (colours, bytes) = match with_opacity {
        true => (png::ColorType::Rgba, Cow::Borrowed(rgba.as_slice())),
        false => {
            let rgb = rgba.chunks_exact(4).flat_map(|p| [p[0], p[1], p[2]]);
            (png::ColorType::Rgb, Cow::Owned(rgb.collect()))
        }
    };
    let mut out = Vec::new();
    let mut encoder = png::Encoder::new(&mut out, pixels.width, pixels.height);
    encoder.set_color(colours);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::High);
    let mut writer = encoder.write_header().map_err(|e| e.to_string())?;
    writer.write_image_data(&bytes).map_err(|e| e.to_string())?;
    writer.finish().map_err(|e| e.to_string())?;
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::view_copy::Size;

    fn order(file: &Path, clear: bool) -> ViewCopy {
        ViewCopy {
            size: Size::AsSeen,
            clear,
            to: To::File(file.to_owned()),
        }
    }

    /// The pixels of a PNG file.
    fn read(file: &Path) -> (png::ColorType, Vec<u8>) {
        let bytes = std::fs::read(file).expect("written");
        let decoder = png::Decoder::new(std::io::Cursor::new(bytes));
        let mut reader = decoder.read_info().expect("a PNG");
        let mut pixels = vec![0; reader.output_buffer_size().expect("a size")];
        let info = reader.next_frame(&mut pixels).expect("a picture");
        pixels.truncate(info.buffer_size());
        (info.color_type, pixels)
    }

    #[test]
    fn clear_ground_stays_clear_and_edges_get_their_own_colour_again() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("view.png");
        // Opaque, half covered by the same in linear light, and clear.
        let full = blend::Srgb([200, 120, 40]);
        let half = full.to_linear().map(|light| light * 128.0 / 255.0);
        let [r, g, b] = blend::Xyz::from_linear_srgb(half).to_srgb().0;
        let pixels = Pixels {
            width: 3,
            height: 1,
            rgba: vec![200, 120, 40, 255, r, g, b, 128, 0, 0, 0, 0],
        };
        assert!(run(&order(&file, true), pixels.clone(), &Progress::new()).is_ok());
        let (colours, read_back) = read(&file);
        assert_eq!(colours, png::ColorType::Rgba);
        assert_eq!(read_back[..4], [200, 120, 40, 255]);
        assert_eq!(read_back[7..], [128, 0, 0, 0, 0]);
        for (own, wanted) in read_back[4..7].iter().zip(full.0) {
            assert!(own.abs_diff(wanted) <= 2, "{read_back:?}");
        }
        // With its ground, it has no opacity.
        assert!(run(&order(&file, false), pixels, &Progress::new()).is_ok());
        let (colours, read_back) = read(&file);
        assert_eq!((colours, read_back.len()), (png::ColorType::Rgb, 9));
    }

    #[test]
    fn a_file_that_can_not_be_written_says_why() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("none/view.png");
        let pixels = Pixels {
            width: 1,
            height: 1,
            rgba: vec![1, 2, 3, 255],
        };
        match run(&order(&file, false), pixels, &Progress::new()) {
            Err(Stop::Failed(why)) => assert!(why.contains("view.png"), "{why}"),
            _ => panic!("a folder that is not there took a file"),
        }
    }
}
