//! Reading a test print that lies on the photograph card: the steps of a swatch bar, or the
//! colours of a lag tower by height.
//!
//! Everything is found by itself. Where the print is not found, or found in the wrong place, a
//! person's frame round its face says where it lies.

mod drawing;
mod grey;
mod sample;
mod scan;
pub mod table;

use std::fmt;

use geometry::{Cancelled, Mesh, Progress};
use photograph::Photo;
use photograph::laid::{Frame, Laid, first_frame};
use photograph::light::Reference;
use photograph::overlay::Line;
use photograph::scene::{Marked, Scene};

use scan::OnCard;

pub use drawing::frame_line;
pub use grey::lightness_alone;
pub use sample::Sample;
pub use scan::CardReading;

/// What is to be read.
#[derive(Clone, Copy)]
pub struct Task<'a> {
    /// The photograph.
    pub photo: &'a Photo,
    /// What lies on the card's places.
    pub references: &'a [Reference],
    /// The test print, by its plan.
    pub sample: &'a Sample,
    /// Its mesh.
    pub mesh: &'a Mesh,
    /// Where a person says that it lies; `None` to find it.
    pub frame: Option<Frame>,
}

/// Why a photograph was not read: sentences that say what is wrong and what to do.
#[derive(Clone, Debug, PartialEq)]
pub enum Refusal {
    /// Card, light or references.
    Card(String),
    /// Where the print lies, which a frame can say.
    Place(String),
    /// The patches of the print.
    Patches(String),
}

impl fmt::Display for Refusal {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (Self::Card(why) | Self::Place(why) | Self::Patches(why)) = self;
        out.write_str(why)
    }
}

/// What came of looking at a photograph.
#[derive(Clone, Debug, PartialEq)]
pub struct Look {
    /// The colours, or why there are none.
    pub reading: Result<CardReading, Refusal>,
    /// What was found and read where, to draw on the photograph.
    pub lines: Vec<Line>,
    /// The frame round the print's face: as it was found; as it was given; or one to begin with.
    pub frame: Frame,
}

/// Finds card, references and print in a photograph, and reads the print's colours. A refusal is
/// an answer too: it comes with all that was found.
///
/// # Errors
/// [`Cancelled`].
pub fn look(task: &Task<'_>, progress: &Progress) -> Result<Look, Cancelled> {
    let shape = task.sample.shape(task.mesh);
    progress.stage("Looking for the card");
    progress.check()?;
    let marked = Marked::find(task.photo);
    let known = marked.as_ref().ok();
    let frame = task
        .frame
        .unwrap_or_else(|| first_frame(task.photo, known, &shape));
    let found = known.map(|marked| drawing::of_marks(&marked.marks));
    let refused = |why: Refusal, more: Vec<Line>| {
        let mut lines = found.clone().unwrap_or_default();
        lines.extend(more);
        Look {
            reading: Err(why),
            lines,
            frame,
        }
    };
    progress.check()?;
    let scene = marked
        .clone()
        .and_then(|marked| Scene::of(task.photo, marked, task.references));
    let scene = match scene {
        Ok(scene) => scene,
        Err(why) => return Ok(refused(Refusal::Card(why), Vec::new())),
    };
    progress.stage("Looking for the print");
    progress.check()?;
    let laid = match task.frame {
        Some(frame) => Laid::framed(&scene, &shape, &frame),
        None => Laid::find(&scene, &shape),
    };
    let laid = match laid {
        Ok(laid) => laid,
        Err(why) => {
            let places = drawing::of_references(&scene.view);
            return Ok(refused(Refusal::Place(why), places));
        }
    };
    progress.stage("Reading colours");
    progress.check()?;
    let on_card = OnCard {
        scene: &scene,
        laid: &laid,
        sample: task.sample,
        depth_mm: shape.face.depth_mm,
        references: task.references.len(),
    };
    Ok(Look {
        reading: on_card.read().map_err(Refusal::Patches),
        lines: drawing::lines(&on_card),
        frame: laid.frame(&scene).unwrap_or(frame),
    })
}
