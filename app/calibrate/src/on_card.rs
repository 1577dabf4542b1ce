//! Reading a test print that lies on the photograph card: the steps of a swatch bar, or the
//! colours of a lag tower by height.

use blend::{Lab, Xyz};
use geometry::{Mask, Mesh};
use photograph::Photo;
use photograph::card;
use photograph::laid::{Laid, Shape};
use photograph::light::Reference;
use photograph::overlay::Line;
use photograph::patch::{Pixel, mean, mean_light};
use photograph::scene::Scene;
use plan::{Paint, Plan};

use super::lag_test::{FOOT_OUT_MM as TOWER_FOOT_MM, SIDE_MM};
use super::test_part::{DEPTH_MM, FACE_MM, FOOT_OUT_MM as BAR_FOOT_MM, Step};

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

/// A test print, by its plan.
#[derive(Clone, Debug, PartialEq)]
pub enum Sample {
    /// A swatch bar and its steps, counted from 1 on this bar.
    Bar(Vec<Step>),
    /// A lag tower and its height, mm.
    Tower(f64),
}

/// What was read.
#[derive(Clone, Debug, PartialEq)]
pub struct CardReading {
    /// Heights above the bed, mm, and their colours, in the order of the steps.
    pub colours: Vec<(f64, Lab)>,
    /// What a person should know before trusting them.
    pub warnings: Vec<String>,
    /// How the camera and the sample were found, in a line each.
    pub found: Vec<String>,
}

/// A test print on a photograph's card.
pub struct OnCard<'a> {
    scene: Scene<'a>,
    laid: Laid,
    sample: Sample,
    depth_mm: f64,
}

impl Sample {
    /// What a plan's part is.
    ///
    /// # Errors
    /// It is neither a swatch bar nor a lag tower.
    pub fn of(plan: &Plan, mesh: &Mesh) -> Result<Self, String> {
        let (low, high) = mesh.bounds();
        let is = |width: f64, depth: f64| {
            (high.x - low.x - width).abs() < 0.1 && (high.y - low.y - depth).abs() < 0.1
        };
        if is(FACE_MM + 2.0 * BAR_FOOT_MM, DEPTH_MM + BAR_FOOT_MM) {
            return Ok(Self::Bar(steps(plan, high.z)));
        }
        if is(SIDE_MM + 2.0 * TOWER_FOOT_MM, SIDE_MM + 2.0 * TOWER_FOOT_MM) {
            return Ok(Self::Tower(high.z));
        }
        Err(
            "this is neither the plan of a swatch bar nor of a lag test, as swatch and lag-test \
             write them"
                .to_owned(),
        )
    }
}

/// The bands of a bar's plan from the foot up.
fn steps(plan: &Plan, top_mm: f64) -> Vec<Step> {
    let mut steps: Vec<Step> = Vec::new();
    for region in &plan.regions {
        let Paint::Fixed(shares) = &region.paint else {
            continue;
        };
        let (from_mm, to_mm) = match region.mask {
            Mask::Whole => (0.0, top_mm),
            Mask::Band { from_mm, to_mm } => (from_mm, to_mm),
            _ => continue,
        };
        if let Some(before) = steps.last_mut() {
            before.to_mm = from_mm;
        }
        steps.push(Step {
            number: steps.len() + 1,
            shares: *shares,
            from_mm,
            to_mm,
        });
    }
    steps
}

impl<'a> OnCard<'a> {
    /// Finds card, references and sample in a photograph.
    ///
    /// # Errors
    /// What is wrong, where, and what to do.
    pub fn find(
        photo: &'a Photo,
        references: &[Reference],
        sample: Sample,
        mesh: &Mesh,
    ) -> Result<Self, String> {
        let scene = Scene::find(photo, references)?;
        let laid = Laid::find(&scene, &shape(mesh))?;
        let depth_mm = match sample {
            Sample::Bar(_) => mesh.bounds().0.y,
            Sample::Tower(_) => -SIDE_MM / 2.0,
        };
        Ok(Self {
            scene,
            laid,
            sample,
            depth_mm,
        })
    }

    /// Reads it.
    ///
    /// # Errors
    /// Patches that are blown, crushed, too dark or too small, each in a line; of many the first
    /// few.
    pub fn read(&self) -> Result<CardReading, String> {
        let mut warnings = self.scene.warnings.clone();
        let mut wrong = Vec::new();
        let mut colours = Vec::new();
        for (name, at_mm, area) in self.areas() {
            match self.colour(&name, area, &mut warnings) {
                Ok(lab) => colours.push((at_mm, lab)),
                Err(why) => wrong.push(why),
            }
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
        ]
    }

    /// What is read where: its name, its height, and across and up on the face, mm.
    #[allow(clippy::type_complexity, reason = "one area")]
    fn areas(&self) -> Vec<(String, f64, ((f64, f64), (f64, f64)))> {
        match &self.sample {
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
        let pixels = |across, up| self.laid.pixels(&self.scene, (across, up), self.depth_mm);
        let all: Vec<Pixel> = pixels(across, up);
        let light = mean_light(name, &all)?;
        let middle = |(from, to): (f64, f64)| (from + to) / 2.0;
        let [x, y, _] = self.laid.place([middle(across), self.depth_mm, middle(up)]);
        let lab = Xyz::from_linear_srgb(self.scene.light.reflectance(light, (x, y))).to_lab();
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

    /// What was found and read where, to draw on the photograph.
    pub fn lines(&self) -> Vec<Line> {
        const FOUND: [u8; 3] = [255, 0, 200];
        const READ: [u8; 3] = [0, 220, 0];
        let view = &self.scene.view;
        let mut lines: Vec<Line> = self
            .scene
            .marks
            .iter()
            .map(|mark| Line {
                points: mark.corners.to_vec(),
                colour: FOUND,
            })
            .collect();
        let sides = &self.laid.outline;
        let left = sides.iter().map(|(y, (from, _))| (*from, *y));
        let right = sides.iter().rev().map(|(y, (_, to))| (*to, *y));
        let seen = left
            .chain(right)
            .filter_map(|(x, y)| view.project([x, y, 0.0]));
        lines.push(Line {
            points: seen.collect(),
            colour: FOUND,
        });
        for place in card::PLACES {
            let rect = card::Rect::about(place.centre(), 14.0, 14.0);
            let corners = [
                (rect.x.0, rect.y.0),
                (rect.x.1, rect.y.0),
                (rect.x.1, rect.y.1),
                (rect.x.0, rect.y.1),
            ];
            let seen = corners
                .into_iter()
                .filter_map(|(x, y)| view.project([x, y, 0.0]));
            lines.push(Line {
                points: seen.collect(),
                colour: READ,
            });
        }
        for (_, _, (across, up)) in self.areas() {
            let corners = [
                (across.0, up.0),
                (across.1, up.0),
                (across.1, up.1),
                (across.0, up.1),
            ];
            let seen = corners
                .into_iter()
                .filter_map(|(x, z)| view.project(self.laid.place([x, self.depth_mm, z])));
            lines.push(Line {
                points: seen.collect(),
                colour: READ,
            });
        }
        lines
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

/// A mesh's corners and edges.
fn shape(mesh: &Mesh) -> Shape {
    let mut edges: Vec<[usize; 2]> = Vec::new();
    for [a, b, c] in mesh.triangles() {
        for [from, to] in [[a, b], [b, c], [c, a]] {
            // Each edge once: its other side runs the other way.
            if from < to {
                edges.push([*from as usize, *to as usize]);
            }
        }
    }
    Shape {
        points: mesh.vertices().iter().map(|p| [p.x, p.y, p.z]).collect(),
        edges,
    }
}
