//! A finished part as requested, as it should have come out and as a photograph shows it, side by
//! side from the camera's place, and where it differs.

use crate::comparison::{FULL_DE00, PictureError, legend, scale};
use crate::page::{Align, Page, style};
use blend::Xyz;
use render::Image;

/// Width of one view, in page units; two pixels make one.
const VIEW: f32 = 300.0;
const GAP: f32 = 20.0;
const HEAD: f32 = 112.0;
const FOOT: f32 = 80.0;
const SCALE: f32 = 2.0;

/// What the sheet shows: pictures of one size.
pub struct SeenViews<'a> {
    /// The plan's title.
    pub title: &'a str,
    /// Which photograph, and what is said of it.
    pub note: &'a str,
    /// The colours requested.
    pub requested: &'a Image,
    /// The colours that should have come out.
    pub printed: &'a Image,
    /// The colours seen.
    pub seen: &'a Image,
    /// For each pixel how far seen is from what should have come out, ΔE00, where it was read.
    pub off_de00: &'a [Option<f32>],
}

/// Draws it.
///
/// # Errors
/// [`PictureError`] if it would not fit in memory.
pub fn picture(views: &SeenViews<'_>) -> Result<Image, PictureError> {
    let (width_px, height_px) = (views.seen.width_px(), views.seen.height_px());
    let width = 4.0 * VIEW + 3.0 * GAP + 2.0 * style::MARGIN;
    let tall = VIEW * (height_px as f32 / width_px.max(1) as f32).clamp(0.2, 3.0);
    let height = HEAD + tall + FOOT;
    let mut page = Page::new(width, height, SCALE).ok_or(PictureError::TooLarge)?;
    let room = width - 2.0 * style::MARGIN;
    let left = style::MARGIN;
    page.fitted(views.title, (left, 56.0), &style::TITLE, Align::Left, room);
    let size = ((VIEW * SCALE) as u32, (tall * SCALE) as u32);
    let off = differences(views);
    let columns = [
        (Some(views.requested), "Requested", "by the plan"),
        (
            Some(views.printed),
            "As printed",
            "by the melt chamber's model",
        ),
        (
            Some(views.seen),
            "Seen",
            "shading taken out; grey can't be read",
        ),
        (off.as_ref(), "Seen against as printed", views.note),
    ];
    for (column, (image, heading, note)) in columns.into_iter().enumerate() {
        let x = left + column as f32 * (VIEW + GAP);
        page.fitted(heading, (x, 84.0), &style::HEADING, Align::Left, VIEW);
        page.fitted(note, (x, 101.0), &style::NOTE, Align::Left, VIEW);
        if let Some(image) = image.and_then(|image| resized(image, size)) {
            let at = ((x * SCALE) as i32, (HEAD * SCALE) as i32);
            page.picture(&image, at);
        }
    }
    legend(
        &mut page,
        (left + 3.0 * (VIEW + GAP), height - FOOT + 24.0),
        VIEW,
    );
    Ok(page.finish().image)
}

/// The differences in the colours of their scale; see-through where nothing was read. `None` if
/// the pictures have no size.
pub fn differences(views: &SeenViews<'_>) -> Option<Image> {
    let pixel = |off: &Option<f32>| match off {
        Some(off) => {
            let linear = scale(f64::from(*off) / FULL_DE00);
            let [r, g, b] = Xyz::from_linear_srgb(linear).to_srgb().0;
            [r, g, b, 255]
        }
        None => [0; 4],
    };
    let rgba = views.off_de00.iter().flat_map(pixel).collect();
    Image::from_rgba(views.seen.width_px(), views.seen.height_px(), rgba)
}

/// A picture in another size: the mean of what falls on each pixel, or the nearest.
fn resized(image: &Image, (width, height): (u32, u32)) -> Option<Image> {
    let (from_width, from_height) = (image.width_px(), image.height_px());
    let span = |i: u32, to: u32, from: u32| {
        let low = u64::from(i) * u64::from(from) / u64::from(to.max(1));
        let high = u64::from(i + 1) * u64::from(from) / u64::from(to.max(1));
        low as u32..(high.max(low + 1) as u32).min(from)
    };
    let mut rgba = Vec::with_capacity(4 * width as usize * height as usize);
    for row in 0..height {
        for column in 0..width {
            let (mut sum, mut cover, mut count) = ([0.0; 3], 0.0, 0.0);
            for y in span(row, height, from_height) {
                for x in span(column, width, from_width) {
                    let [r, g, b, a] = image.pixel(x, y).unwrap_or_default();
                    let alpha = f64::from(a) / 255.0;
                    let linear = Xyz::from_srgb(blend::Srgb([r, g, b])).to_linear_srgb();
                    for (sum, v) in sum.iter_mut().zip(linear) {
                        *sum += alpha * v;
                    }
                    cover += alpha;
                    count += 1.0;
                }
            }
            let mean = sum.map(|v| v / f64::max(cover, 1e-9));
            let [r, g, b] = Xyz::from_linear_srgb(mean).to_srgb().0;
            let alpha = 255.0 * cover / f64::max(count, 1.0);
            rgba.extend([r, g, b, alpha.round() as u8]);
        }
    }
    Image::from_rgba(width, height, rgba)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sheet_has_four_views_and_says_what_they_are() {
        let grey = |v: u8| Image::from_rgba(4, 8, [v, v, v, 255].repeat(32)).unwrap();
        let (one, two, three) = (grey(40), grey(120), grey(200));
        let sheet = picture(&SeenViews {
            title: "Post",
            note: "photo.jpg",
            requested: &one,
            printed: &two,
            seen: &three,
            off_de00: &[None; 32],
        })
        .unwrap();
        let at = |column: u32| {
            let x = (style::MARGIN + column as f32 * (VIEW + GAP) + 20.0) * SCALE;
            sheet.pixel(x as u32, ((HEAD + 30.0) * SCALE) as u32)
        };
        assert_eq!(at(0), Some([40, 40, 40, 255]));
        assert_eq!(at(1), Some([120, 120, 120, 255]));
        assert_eq!(at(2), Some([200, 200, 200, 255]));
    }
}
