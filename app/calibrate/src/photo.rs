//! Reading colours from a photograph with a card of known reflectance.
//!
//! The codes are taken back to linear light by the sRGB transfer function (IEC 61966-2-1),
//! averaged over each patch, and scaled per channel so that the card comes out neutral and as
//! light as it is known to be: a von Kries scaling in the camera's own primaries. What a
//! camera's colour processing bends stays bent, so a photograph is a rough instrument; a few
//! ΔE00 off is usual (common practice, no source).

use blend::{Lab, Xyz};
use photograph::Photo;
use photograph::patch::{Pixel, mean, mean_light};

use super::patches::{Area, Patches};

/// A card of reflectance 1 should fill at least this share of the exposure.
const LEAST_EXPOSURE: f64 = 0.2;
/// Light that changes by more than this over a patch, or between cards, is told of.
const UNEVEN: f64 = 0.08;

/// What was read.
#[derive(Clone, Debug, PartialEq)]
pub struct PhotoReading {
    /// Each step's number and its colour.
    pub steps: Vec<(usize, Lab)>,
    /// What a person should know before trusting it.
    pub warnings: Vec<String>,
}

/// What is wrong with the patches, each in a line of its own.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{}", .0.join("\n"))]
pub struct PatchesError(Vec<String>);

/// A photograph whose patches are typed in.
pub struct Typed<'a> {
    photo: &'a Photo,
}

impl<'a> Typed<'a> {
    /// Of a photograph.
    pub fn new(photo: &'a Photo) -> Self {
        Self { photo }
    }

    /// Reads the patches: white-balanced by the cards, with exposure and evenness checked.
    ///
    /// # Errors
    /// [`PatchesError`] names every patch that is clipped, too dark or too small.
    pub fn read(&self, patches: &Patches) -> Result<PhotoReading, PatchesError> {
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
            false => Err(PatchesError(wrong)),
        }
    }

    /// The mean linear light of a patch.
    fn patch(
        &self,
        name: &str,
        area: Area,
        warnings: &mut Vec<String>,
    ) -> Result<[f64; 3], String> {
        let mean = mean_light(name, &self.pixels(area))?;
        let light = Xyz::from_linear_srgb(mean).y;
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
        pixels.all(|([r, g, b], _)| r == g && g == b).then(|| {
            "every pixel is a pure grey; is this a greyscale photograph saved as colour? Save it \
             in colour"
                .to_owned()
        })
    }

    fn pixels(&self, area: Area) -> Vec<Pixel> {
        let edge = |t: f64, size: usize| ((t * size as f64).round().max(0.0) as usize).min(size);
        let (width, height) = (self.photo.width(), self.photo.height());
        let (left, right) = (edge(area.x.0, width), edge(area.x.1, width));
        let (top, bottom) = (edge(area.y.0, height), edge(area.y.1, height));
        let pixel = |x: usize, y: usize| (self.photo.pixel(x, y), self.photo.ends(x, y));
        (top..bottom)
            .flat_map(|y| (left..right).map(move |x| pixel(x, y)))
            .collect()
    }

    /// How far the patch's halves are apart, across and down, as a share of its light.
    fn unevenness(&self, area: Area, light: f64) -> f64 {
        let middle = |(from, to): (f64, f64)| (from + to) / 2.0;
        let (x, y) = (middle(area.x), middle(area.y));
        let of = |x: (f64, f64), y: (f64, f64)| {
            let pixels = self.pixels(Area { x, y });
            Xyz::from_linear_srgb(mean(pixels.iter().map(|(light, _)| *light))).y
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

/// Channel by channel.
fn sum(all: impl Iterator<Item = [f64; 3]>) -> [f64; 3] {
    all.fold([0.0; 3], |[r, g, b], [x, y, z]| [r + x, g + y, b + z])
}

#[cfg(test)]
mod tests {
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
            // A picture with no colour at all would be refused for that.
            let b = if i == 0 { b ^ 1 } else { b };
            [r, g, b, 255]
        };
        let rgba = (0..SIZE * SIZE).flat_map(pixel).collect();
        let image = Image::from_rgba(SIZE, SIZE, rgba).unwrap();
        let mut file = Vec::new();
        image.write_png(&mut file).unwrap();
        Photo::read(&file).unwrap()
    }

    /// The same at 16 bits and without transparency.
    fn deep_photo(step: Srgb, light: [f64; 3]) -> Photo {
        let bytes: Vec<u8> = (0..SIZE * SIZE)
            .flat_map(|i| seen(i, step, light, 0.0))
            .flat_map(|v| ((Srgb::code(v) * 65535.0).round() as u16).to_be_bytes())
            .collect();
        let mut file = Vec::new();
        let mut encoder = png::Encoder::new(&mut file, SIZE, SIZE);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Sixteen);
        let mut writer = encoder.write_header().unwrap();
        writer.write_image_data(&bytes).unwrap();
        writer.finish().unwrap();
        Photo::read(&file).unwrap()
    }

    #[test]
    fn a_warm_and_dim_light_is_taken_out() {
        let (step, light) = (Srgb([0x6f, 0x97, 0xae]), [0.9, 0.7, 0.45]);
        let true_lab = step.to_xyz().to_lab();
        let off = |photo: Photo| {
            let reading = Typed::new(&photo).read(&patches()).unwrap();
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
            let error = Typed::new(&photo(step, [light; 3], 0.0)).read(&patches());
            error.unwrap_err().to_string()
        };
        assert!(refused(grey, 2.5).contains("card 1 is overexposed"));
        assert!(refused(Srgb([0xff; 3]), 1.3).contains("step 1 is overexposed"));
        assert!(refused(grey, 0.1).contains("underexposed"));
        assert!(refused(Srgb([2; 3]), 1.0).contains("step 1 is too dark"));
        let reading = Typed::new(&photo(grey, [0.8; 3], 0.6))
            .read(&patches())
            .unwrap();
        assert!(reading.warnings.iter().any(|w| w.contains("unevenly lit")));
        let mut small = patches();
        small.rows[0].size = (0.02, 0.02);
        let error = Typed::new(&photo(grey, [1.0; 3], 0.0))
            .read(&small)
            .unwrap_err();
        assert!(error.to_string().contains("4 pixels"), "{error}");
        assert!(Photo::read(b"no picture").is_err());
    }

    #[test]
    fn a_channel_at_zero_and_a_picture_in_greys_are_refused() {
        let error = Typed::new(&photo(Srgb([0x00, 0x60, 0xb0]), [1.0; 3], 0.0)).read(&patches());
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
        let error = Photo::read(&file).err().unwrap();
        assert!(error.to_string().contains("greyscale"), "{error}");
    }
}
