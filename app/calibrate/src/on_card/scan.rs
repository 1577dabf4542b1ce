//! Reads the colours of a test print whose place on the card is known.

use blend::{Lab, Xyz};
use photograph::laid::Laid;
use photograph::patch::{Pixel, mean, mean_light};
use photograph::scene::Scene;

use super::sample::Sample;
use crate::camera::camera_de00;

/// What is read of a step: so much to both sides of the middle, and along, mm. Less than what is
/// there to measure, for a sample is found within a millimetre.
const STEP_ASIDE_MM: f64 = 5.0;
const STEP_ALONG_MM: f64 = 2.5;
/// What is read of a tower at a height.
const TOWER_ASIDE_MM: f64 = 3.0;
/// Heights of a tower that are read together, mm, and how far apart they are.
const TOWER_ALONG_MM: f64 = 1.0;
/// A patch whose halves differ by more than this has more than one colour, or glare on it.
const UNEVEN: f64 = 0.15;

/// What was read.
#[derive(Clone, Debug, PartialEq)]
pub struct CardReading {
    /// Heights above the bed, mm, and their colours, in the order of the steps.
    pub colours: Vec<(f64, Lab)>,
    /// What a person should know before trusting them.
    pub warnings: Vec<String>,
    /// How the camera and the sample were found, in a line each.
    pub found: Vec<String>,
    /// Whether the photograph shows lightness alone: hues are then written as none.
    pub greyscale: bool,
}

/// A test print on a photograph's card.
pub(super) struct OnCard<'a> {
    pub(super) scene: &'a Scene<'a>,
    pub(super) laid: &'a Laid,
    pub(super) sample: &'a Sample,
    pub(super) depth_mm: f64,
    /// How many references lie on the card.
    pub(super) references: usize,
}

impl OnCard<'_> {
    /// Reads it.
    ///
    /// # Errors
    /// Patches that are blown, crushed, too dark or too small, each in a line; of many the first
    /// few.
    pub(super) fn read(&self) -> Result<CardReading, String> {
        let mut warnings = self.scene.warnings.clone();
        let mut wrong = Vec::new();
        let mut colours = Vec::new();
        for (name, at_mm, area) in self.areas() {
            match self.colour(&name, area, &mut warnings) {
                Ok(lab) => colours.push((at_mm, lab)),
                Err(why) => wrong.push(why),
            }
        }
        if !self.laid.foot_is_seen {
            warnings.push(
                "the picture does not show which end is the foot, so it is taken from the frame"
                    .to_owned(),
            );
        }
        let off = (self.laid.scale - 1.0) * 100.0;
        if off.abs() > 1.0 {
            warnings.push(format!(
                "the card is printed at {:.0} % of its size, by the sample's length; print it at \
                 100 %",
                100.0 / self.laid.scale
            ));
        }
        match wrong.is_empty() {
            true => Ok(CardReading {
                colours,
                warnings,
                found: self.found(),
                greyscale: self.scene.photo.is_grey(),
            }),
            false => Err(first_few(&wrong)),
        }
    }

    fn found(&self) -> Vec<String> {
        let scene = &self.scene;
        let [.., up] = scene.view.eye();
        vec![
            format!(
                "{} of 8 marks, corners within {:.2} px; camera {:.0} mm above the card",
                scene.marks.len(),
                scene.corners_off_px,
                up
            ),
            format!(
                "light: darkest place {:.0} % of the brightest; tone curve's slope {:.2}",
                100.0 * scene.light.evenness,
                scene.light.tone_slope()
            ),
            format!(
                "colours: ± ΔE00 {:.1} by the camera, alike for like colours; {} of 3 references",
                camera_de00(self.references),
                self.references
            ),
        ]
    }

    /// What is read where: its name, its height, and across and up on the face, mm.
    #[allow(clippy::type_complexity, reason = "one area")]
    pub(super) fn areas(&self) -> Vec<(String, f64, ((f64, f64), (f64, f64)))> {
        match self.sample {
            Sample::Bar(steps) => steps
                .iter()
                .map(|step| {
                    let at = step.measure_at_mm();
                    let area = (
                        (-STEP_ASIDE_MM, STEP_ASIDE_MM),
                        (at - STEP_ALONG_MM, at + STEP_ALONG_MM),
                    );
                    (format!("step {}", step.number), at, area)
                })
                .collect(),
            Sample::Tower(top_mm) => {
                // Clear of the foot's slope and of the upper end.
                let count = ((top_mm - 8.0) / TOWER_ALONG_MM) as usize;
                (0..count)
                    .map(|i| {
                        let at = 7.0 + TOWER_ALONG_MM * i as f64;
                        let half = TOWER_ALONG_MM / 2.0;
                        let area = ((-TOWER_ASIDE_MM, TOWER_ASIDE_MM), (at - half, at + half));
                        (format!("height {at:.1} mm"), at, area)
                    })
                    .collect()
            }
        }
    }

    fn colour(
        &self,
        name: &str,
        (across, up): ((f64, f64), (f64, f64)),
        warnings: &mut Vec<String>,
    ) -> Result<Lab, String> {
        let pixels = |across, up| self.laid.pixels(self.scene, (across, up), self.depth_mm);
        let all: Vec<Pixel> = pixels(across, up);
        let light = mean_light(name, &all)?;
        let middle = |(from, to): (f64, f64)| (from + to) / 2.0;
        let [x, y, _] = self.laid.place([middle(across), self.depth_mm, middle(up)]);
        let mut lab = Xyz::from_linear_srgb(self.scene.light.reflectance(light, (x, y))).to_lab();
        if self.scene.photo.is_grey() {
            (lab.a, lab.b) = (0.0, 0.0);
        }
        if lab.l > 100.5 {
            return Err(format!(
                "{name} is lighter than a perfect white; check the references' reflectance, and \
                 that there is no glare"
            ));
        }
        let green = |across| mean(pixels(across, up).iter().map(|(light, _)| *light))[1];
        let (left, right) = (
            green((across.0, middle(across))),
            green((middle(across), across.1)),
        );
        if (left - right).abs() > UNEVEN * light[1] {
            warnings.push(format!(
                "{name} is unevenly lit or has glare on it: its brightness changes by {:.0} % \
                 from side to side",
                100.0 * (left - right).abs() / light[1]
            ));
        }
        Ok(lab)
    }
}

/// The first few of what is wrong: a tower may have a hundred heights with the same fault.
fn first_few(wrong: &[String]) -> String {
    const FEW: usize = 4;
    let mut text = wrong
        .iter()
        .take(FEW)
        .cloned()
        .collect::<Vec<_>>()
        .join("\n");
    if wrong.len() > FEW {
        text.push_str(&format!("\nand {} more like these", wrong.len() - FEW));
    }
    text
}
