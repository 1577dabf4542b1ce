//! Reading colours from a photograph with a card of known reflectance.
//!
//! The codes are taken back to linear light by the sRGB transfer function (IEC 61966-2-1),
//! averaged over each patch, and scaled per channel so that the card comes out neutral and as
//! light as it is known to be: a von Kries scaling in the camera's own primaries. What a
//! camera's colour processing bends stays bent, so a photograph is a rough instrument; a few
//! ΔE00 off is usual (common practice, no source).

use std::io::{BufRead, Seek, SeekFrom};

use blend::{Lab, Xyz};

use super::colour_space::{decoded, other_than_srgb};
use super::patches::{Area, Patches};

/// Photographs beyond this many pixels are refused before memory is asked for.
pub(crate) const MOST_PIXELS: u64 = 200_000_000;
/// A picture that packs more pixels into a byte than this is a drawing at best, and its pixels
/// would take far more memory than the file is long; a few are let through.
pub(crate) const MOST_PIXELS_PER_BYTE: u64 = 16;
/// Pixels that any file may have.
const FREE_PIXELS: u64 = 4_000_000;
/// Fewest pixels of a patch: fewer say more of the noise than of the colour.
const FEWEST_PIXELS: usize = 64;
/// From this code value on (of 1) a channel is taken to be at its end.
const CLIPPED: f64 = 0.995;
/// Up to this code value a channel is taken to be at its other end: less than half a step of
/// 8 bits.
const CLIPPED_AT_ZERO: f64 = 0.4 / 255.0;
/// So many of a patch's pixels may be clipped: glints of the plastic.
const GLINTS: f64 = 0.01;
/// A patch darker than this share of full exposure drowns in noise and rounding: 8-bit codes
/// are there about a twelfth of the value apart.
const DARKEST: f64 = 0.004;
/// A card of reflectance 1 should fill at least this share of the exposure.
const LEAST_EXPOSURE: f64 = 0.2;
/// Light that changes by more than this over a patch, or between cards, is told of.
const UNEVEN: f64 = 0.08;

/// A photograph in linear light.
pub struct Photo {
    width: usize,
    height: usize,
    /// Linear light of the three channels, rows from the top.
    linear: Vec<[f32; 3]>,
}

/// What was read.
#[derive(Clone, Debug, PartialEq)]
pub struct PhotoReading {
    /// Each step's number and its colour.
    pub steps: Vec<(usize, Lab)>,
    /// What a person should know before trusting it.
    pub warnings: Vec<String>,
}

/// Why a photograph can't be read.
#[derive(Debug, thiserror::Error)]
pub enum PhotoError {
    /// It is no PNG, or a broken one.
    #[error(
        "can't be read as a PNG picture: {0}; if the camera gives another format, save the \
         photograph as PNG without any editing"
    )]
    Png(#[from] png::DecodingError),
    /// It is too large.
    #[error("the picture has {0} pixels; at most {MOST_PIXELS} are read")]
    TooLarge(u64),
    /// It holds next to nothing.
    #[error(
        "the picture has {pixels} pixels in {bytes} bytes, so it is not a photograph; use the \
         camera's own file"
    )]
    Blank {
        /// Its pixels.
        pixels: u64,
        /// Its size.
        bytes: u64,
    },
    /// Its codes are something else than sRGB.
    #[error("{0}")]
    NotSrgb(String),
    /// A patch can't be used; all such patches are named.
    #[error("{}", .0.join("\n"))]
    Patches(Vec<String>),
}

impl Photo {
    /// Reads a PNG picture of 8 or 16 bits.
    ///
    /// # Errors
    /// [`PhotoError`].
    pub fn read_png(mut file: impl BufRead + Seek) -> Result<Self, PhotoError> {
        let bytes = file
            .seek(SeekFrom::End(0))
            .map_err(png::DecodingError::from)?;
        file.rewind().map_err(png::DecodingError::from)?;
        let mut decoder = png::Decoder::new(file);
        decoder.set_transformations(png::Transformations::EXPAND);
        let mut reader = decoder.read_info()?;
        let info = reader.info();
        let pixels = u64::from(info.width) * u64::from(info.height);
        if pixels > MOST_PIXELS {
            return Err(PhotoError::TooLarge(pixels));
        }
        if pixels > FREE_PIXELS.max(bytes.saturating_mul(MOST_PIXELS_PER_BYTE)) {
            return Err(PhotoError::Blank { pixels, bytes });
        }
        if let Some(what) = other_than_srgb(info) {
            return Err(PhotoError::NotSrgb(what));
        }
        let size = reader
            .output_buffer_size()
            .ok_or(PhotoError::TooLarge(pixels))?;
        let mut bytes = vec![0; size];
        let frame = reader.next_frame(&mut bytes)?;
        let wide = frame.bit_depth == png::BitDepth::Sixteen;
        let channels = frame.color_type.samples();
        let sample = |pixel: &[u8], channel: usize| match wide {
            true => match pixel.get(2 * channel..) {
                Some(&[high, low, ..]) => f64::from(u16::from_be_bytes([high, low])) / 65535.0,
                _ => 0.0,
            },
            false => f64::from(pixel.get(channel).copied().unwrap_or(0)) / 255.0,
        };
        let linear = bytes
            .chunks_exact(channels * if wide { 2 } else { 1 })
            .map(|pixel| [0, 1, 2].map(|channel| decoded(sample(pixel, channel)) as f32))
            .collect();
        Ok(Self {
            width: frame.width as usize,
            height: frame.height as usize,
            linear,
        })
    }

    /// Reads the patches: white-balanced by the cards, with exposure and evenness checked.
    ///
    /// # Errors
    /// [`PhotoError::Patches`] names every patch that is clipped, too dark or too small.
    pub fn read(&self, patches: &Patches) -> Result<PhotoReading, PhotoError> {
        let mut wrong = Vec::new();
        let mut warnings: Vec<String> = self.without_colour(patches).into_iter().collect();
        let mut gains: Vec<[f64; 3]> = Vec::new();
        for (i, card) in patches.cards.iter().enumerate() {
            let name = format!("card {}", i + 1);
            match self.patch(&name, card.area(), &mut warnings) {
                Ok(seen) if seen.iter().any(|v| *v < LEAST_EXPOSURE * card.reflectance) => {
                    wrong.push(format!(
                        "{name} is underexposed: it has {:.0} % of full exposure and needs at \
                         least {:.0} %; photograph again with more light",
                        100.0 * seen.iter().copied().fold(1.0, f64::min),
                        100.0 * LEAST_EXPOSURE * card.reflectance
                    ));
                }
                Ok(seen) => gains.push(seen.map(|v| card.reflectance / v)),
                Err(why) => wrong.push(why),
            }
        }
        warnings.extend(uneven_cards(&gains));
        let count = gains.len().max(1) as f64;
        let gain = sum(gains.iter().copied()).map(|channel| channel / count);
        let mut steps = Vec::new();
        for (number, area) in patches.rows.iter().flat_map(|row| row.steps()) {
            let name = format!("step {number}");
            match self.patch(&name, area, &mut warnings) {
                Ok(seen) => {
                    let ([r, g, b], [by_r, by_g, by_b]) = (seen, gain);
                    let balanced = [r * by_r, g * by_g, b * by_b];
                    let lab = Xyz::from_linear_srgb(balanced).to_lab();
                    match lab.l > 100.0 && wrong.is_empty() {
                        true => wrong.push(format!(
                            "{name} is lighter than a perfect white; check the card's reflectance, \
                             and that both are in the same light"
                        )),
                        false => steps.push((number, lab)),
                    }
                }
                Err(why) => wrong.push(why),
            }
        }
        match wrong.is_empty() {
            true => Ok(PhotoReading { steps, warnings }),
            false => Err(PhotoError::Patches(wrong)),
        }
    }

    /// The mean linear light of a patch.
    fn patch(
        &self,
        name: &str,
        area: Area,
        warnings: &mut Vec<String>,
    ) -> Result<[f64; 3], String> {
        let pixels = self.pixels(area);
        if pixels.len() < FEWEST_PIXELS {
            return Err(format!(
                "the patch of {name} has {} pixels and needs at least {FEWEST_PIXELS}; make it \
                 larger, or photograph from nearer",
                pixels.len()
            ));
        }
        let clipped_at = decoded(CLIPPED) as f32;
        let clipped = pixels.iter().filter(|p| p.iter().any(|v| *v >= clipped_at));
        let share = clipped.count() as f64 / pixels.len() as f64;
        if share > GLINTS {
            return Err(format!(
                "{name} is overexposed: {:.0} % of its pixels are at the end of their range; \
                 photograph again with less light, or move the patch out of the glare",
                100.0 * share
            ));
        }
        let zero = decoded(CLIPPED_AT_ZERO) as f32;
        let [red, green, blue] = [0, 1, 2].map(|channel: usize| {
            let at_zero = pixels
                .iter()
                .filter(|p| p.get(channel).is_some_and(|v| *v <= zero));
            at_zero.count() as f64 / pixels.len() as f64
        });
        let worst = [("red", red), ("green", green), ("blue", blue)].into_iter();
        let worst = worst.max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((channel, share)) = worst.filter(|(_, share)| *share > GLINTS) {
            return Err(format!(
                "{name} is clipped at zero: {:.0} % of its pixels have no {channel} at all, so its \
                 colour is outside of sRGB, or too dark; photograph again with more light, or \
                 measure it with an instrument",
                100.0 * share
            ));
        }
        let mean = mean(&pixels);
        let light = Xyz::from_linear_srgb(mean).y;
        if light < DARKEST {
            return Err(format!(
                "{name} is too dark: {:.1} % of full exposure; photograph again with more light",
                100.0 * light
            ));
        }
        let unevenness = self.unevenness(area, light);
        if unevenness > UNEVEN {
            warnings.push(format!(
                "{name} is unevenly lit or has more than one colour: its brightness changes by \
                 {:.0} % from side to side",
                100.0 * unevenness
            ));
        }
        Ok(mean)
    }

    /// A doubt about a picture that is all greys where it is looked at.
    fn without_colour(&self, patches: &Patches) -> Option<String> {
        let cards = patches.cards.iter().map(|card| card.area());
        let steps = patches.rows.iter().flat_map(|row| row.steps());
        let areas = cards.chain(steps.map(|(_, area)| area));
        let mut pixels = areas.flat_map(|area| self.pixels(area));
        pixels.all(|[r, g, b]| r == g && g == b).then(|| {
            "every pixel is a pure grey; is this a greyscale photograph saved as colour? Save it \
             in colour"
                .to_owned()
        })
    }

    fn pixels(&self, area: Area) -> Vec<[f32; 3]> {
        let edge = |t: f64, size: usize| ((t * size as f64).round().max(0.0) as usize).min(size);
        let (left, right) = (edge(area.x.0, self.width), edge(area.x.1, self.width));
        let (top, bottom) = (edge(area.y.0, self.height), edge(area.y.1, self.height));
        let row = |y: usize| {
            let start = y * self.width;
            let range = start + left..start + right.max(left);
            self.linear.get(range).unwrap_or(&[]).iter().copied()
        };
        (top..bottom).flat_map(row).collect()
    }

    /// How far the patch's halves are apart, across and down, as a share of its light.
    fn unevenness(&self, area: Area, light: f64) -> f64 {
        let middle = |(from, to): (f64, f64)| (from + to) / 2.0;
        let (x, y) = (middle(area.x), middle(area.y));
        let of = |x: (f64, f64), y: (f64, f64)| {
            Xyz::from_linear_srgb(mean(&self.pixels(Area { x, y }))).y
        };
        let across = of((area.x.0, x), area.y) - of((x, area.x.1), area.y);
        let down = of(area.x, (area.y.0, y)) - of(area.x, (y, area.y.1));
        across.abs().max(down.abs()) / light
    }
}

/// What several cards tell of the light.
fn uneven_cards(gains: &[[f64; 3]]) -> Option<String> {
    let green = || gains.iter().map(|g| g[1]);
    let (least, most) = (green().reduce(f64::min)?, green().reduce(f64::max)?);
    (most / least - 1.0 > UNEVEN).then(|| {
        format!(
            "the light is uneven: at the cards it changes by {:.0} % across the photograph; light \
             it from two sides, or photograph from further away",
            100.0 * (most / least - 1.0)
        )
    })
}

fn mean(pixels: &[[f32; 3]]) -> [f64; 3] {
    let count = pixels.len().max(1) as f64;
    sum(pixels.iter().map(|p| p.map(f64::from))).map(|channel| channel / count)
}

/// Channel by channel.
fn sum(all: impl Iterator<Item = [f64; 3]>) -> [f64; 3] {
    all.fold([0.0; 3], |[r, g, b], [x, y, z]| [r + x, g + y, b + z])
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use blend::{Srgb, ciede2000};

    use super::super::patches::{Card, StepRow};
    use super::*;
    use render::Image;

    const SIZE: u32 = 100;

    fn patches() -> Patches {
        Patches {
            version: 1,
            table: "t.csv".into(),
            cards: vec![Card {
                reflectance: 0.5,
                centre: (0.25, 0.5),
                size: (0.3, 0.5),
            }],
            rows: vec![StepRow {
                first_step: 1,
                last_step: 1,
                first_centre: (0.75, 0.5),
                last_centre: (0.75, 0.5),
                size: (0.3, 0.5),
            }],
        }
    }

    /// What a camera sees of a pixel: a card on the left, one step on the right, in a light of
    /// some colour that changes from top to bottom.
    fn seen(i: u32, step: Srgb, light: [f64; 3], slope: f64) -> [f64; 3] {
        let (x, y) = (i % SIZE, i / SIZE);
        let lit = 1.0 + slope * (f64::from(y) / f64::from(SIZE) - 0.5);
        let surface = match x < SIZE / 2 {
            true => [0.5; 3],
            false => step.to_linear(),
        };
        [0, 1, 2].map(|c| (surface[c] * light[c] * lit).min(1.0))
    }

    fn photo(step: Srgb, light: [f64; 3], slope: f64) -> Photo {
        let pixel = |i: u32| {
            let [r, g, b] = Xyz::from_linear_srgb(seen(i, step, light, slope))
                .to_srgb()
                .0;
            [r, g, b, 255]
        };
        let rgba = (0..SIZE * SIZE).flat_map(pixel).collect();
        let image = Image::from_rgba(SIZE, SIZE, rgba).unwrap();
        let mut file = Vec::new();
        image.write_png(&mut file).unwrap();
        Photo::read_png(Cursor::new(file)).unwrap()
    }

    /// The same at 16 bits and without transparency.
    fn deep_photo(step: Srgb, light: [f64; 3]) -> Photo {
        let code = |v: f64| match v <= 0.0031308 {
            true => v * 12.92,
            false => 1.055 * v.powf(1.0 / 2.4) - 0.055,
        };
        let bytes: Vec<u8> = (0..SIZE * SIZE)
            .flat_map(|i| seen(i, step, light, 0.0))
            .flat_map(|v| ((code(v) * 65535.0).round() as u16).to_be_bytes())
            .collect();
        let mut file = Vec::new();
        let mut encoder = png::Encoder::new(&mut file, SIZE, SIZE);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Sixteen);
        let mut writer = encoder.write_header().unwrap();
        writer.write_image_data(&bytes).unwrap();
        writer.finish().unwrap();
        Photo::read_png(Cursor::new(file)).unwrap()
    }

    #[test]
    fn a_warm_and_dim_light_is_taken_out() {
        let (step, light) = (Srgb([0x6f, 0x97, 0xae]), [0.9, 0.7, 0.45]);
        let true_lab = step.to_xyz().to_lab();
        let off = |photo: Photo| {
            let reading = photo.read(&patches()).unwrap();
            assert!(reading.warnings.is_empty(), "{:?}", reading.warnings);
            assert_eq!(reading.steps[0].0, 1);
            ciede2000(reading.steps[0].1, true_lab)
        };
        // At 16 bits next to nothing is left of the light.
        let deep = off(deep_photo(step, light));
        assert!(deep < 0.01, "{deep}");
        // At 8 bits card and step are each rounded by up to half a code, here 0.8 % of a
        // channel's light apiece; an even patch has no noise to average that out.
        let shallow = off(photo(step, light, 0.0));
        assert!(shallow < 1.2, "{shallow}");
    }

    #[test]
    fn bad_exposure_is_refused_and_uneven_light_told() {
        let grey = Srgb([0x80; 3]);
        let refused = |step, light| {
            let error = photo(step, [light; 3], 0.0).read(&patches());
            error.unwrap_err().to_string()
        };
        assert!(refused(grey, 2.5).contains("card 1 is overexposed"));
        assert!(refused(Srgb([0xff; 3]), 1.3).contains("step 1 is overexposed"));
        assert!(refused(grey, 0.1).contains("underexposed"));
        assert!(refused(Srgb([2; 3]), 1.0).contains("step 1 is too dark"));
        let reading = photo(grey, [0.8; 3], 0.6).read(&patches()).unwrap();
        assert!(reading.warnings.iter().any(|w| w.contains("unevenly lit")));
        let mut small = patches();
        small.rows[0].size = (0.02, 0.02);
        let error = photo(grey, [1.0; 3], 0.0).read(&small).unwrap_err();
        assert!(error.to_string().contains("4 pixels"), "{error}");
        assert!(Photo::read_png(Cursor::new(b"no picture".to_vec())).is_err());
    }

    #[test]
    fn a_channel_at_zero_and_a_picture_in_greys_are_refused() {
        let error = photo(Srgb([0x00, 0x60, 0xb0]), [1.0; 3], 0.0).read(&patches());
        let words = error.unwrap_err().to_string();
        assert!(words.contains("step 1 is clipped at zero"), "{words}");
        assert!(words.contains("no red"), "{words}");
        let mut file = Vec::new();
        let mut encoder = png::Encoder::new(&mut file, SIZE, SIZE);
        encoder.set_color(png::ColorType::Grayscale);
        encoder.set_depth(png::BitDepth::Eight);
        let mut writer = encoder.write_header().unwrap();
        let pixels = vec![0x80; (SIZE * SIZE) as usize];
        writer.write_image_data(&pixels).unwrap();
        writer.finish().unwrap();
        let error = Photo::read_png(Cursor::new(file)).err().unwrap();
        assert!(error.to_string().contains("greyscale"), "{error}");
    }

    /// What is said of a picture of which only the size is there, padded to a length.
    fn said_of(width: u32, height: u32, bytes: usize) -> PhotoError {
        let mut file = Vec::new();
        let mut encoder = png::Encoder::new(&mut file, width, height);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        let mut writer = encoder.write_header().unwrap();
        writer.write_chunk(png::chunk::IDAT, &[]).unwrap();
        drop(writer);
        file.resize(file.len().max(bytes), 0);
        Photo::read_png(Cursor::new(file)).err().unwrap()
    }

    #[test]
    fn pictures_are_refused_by_their_size_before_memory_is_asked_for() {
        let error = said_of(3, 66_666_667, 0);
        assert!(matches!(error, PhotoError::TooLarge(200_000_001)));
        let words = error.to_string();
        assert!(
            words.contains("200000001 pixels; at most 200000000"),
            "{words}"
        );
        // As many as may be, but in next to no bytes.
        assert!(matches!(
            said_of(20_000, 10_000, 0),
            PhotoError::Blank { .. }
        ));

        let error = said_of(2049, 1953, 0);
        let words = error.to_string();
        assert!(words.contains("has 4001697 pixels in "), "{words}");
        assert!(words.contains("it is not a photograph"), "{words}");
        // Four million are free; beyond, there must be a byte for sixteen.
        assert!(matches!(said_of(2000, 2000, 0), PhotoError::Png(_)));
        let bytes = 2049 * 1953 / 16;
        assert!(matches!(
            said_of(2049, 1953, bytes),
            PhotoError::Blank { .. }
        ));
        assert!(matches!(said_of(2049, 1953, bytes + 1), PhotoError::Png(_)));
    }
}
