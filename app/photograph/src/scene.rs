//! A photograph with the card found in it.

use crate::Photo;
use crate::card;
use crate::find::{Found, marks};
use crate::homography::Point;
use crate::light::{Light, Reference};
use crate::mark;
use crate::view::View;

/// Fewest marks that the camera's place is taken from.
const FEWEST_MARKS: usize = 4;
/// A mark whose corners are off by more than this is somewhere else than it should be, mm.
const MOST_OFF_MM: f64 = 1.5;
/// Edges wider than this make a blurred picture, mm on the card.
const MOST_BLUR_MM: f64 = 1.2;
/// A coarser picture shows too little of a bar's notches, px for a millimetre.
const LEAST_PX_PER_MM: f64 = 2.5;

/// The card in a photograph.
pub struct Scene<'a> {
    /// The photograph.
    pub photo: &'a Photo,
    /// Where the camera stood.
    pub view: View,
    /// How the light falls.
    pub light: Light,
    /// The marks that were found and used.
    pub marks: Vec<Found>,
    /// How far their corners are from where the camera should see them, RMS, px.
    pub corners_off_px: f64,
    /// What a person should know.
    pub warnings: Vec<String>,
}

/// The card's marks in a photograph, and the camera before them.
#[derive(Clone, Debug, PartialEq)]
pub struct Marked {
    /// Where the camera stood.
    pub view: View,
    /// The marks that were found and used.
    pub marks: Vec<Found>,
    /// How far their corners are from where the camera should see them, RMS, px.
    pub corners_off_px: f64,
}

impl Marked {
    /// Finds the card's marks.
    ///
    /// # Errors
    /// The card is not there, or not all in view: what is wrong and what to do.
    pub fn find(photo: &Photo) -> Result<Self, String> {
        let (mut marks, several) = marks(photo);
        if several.len() > 1 {
            return Err(
                "there are two cards in the picture; photograph one of them alone".to_owned(),
            );
        }
        enough(&marks)?;
        loop {
            let pairs = pairs(&marks);
            let view = View::fit(&pairs, photo.width(), photo.height()).ok_or_else(|| {
                "the card's marks don't lie as on a flat card; lay it flat and photograph it from \
                 above"
                    .to_owned()
            })?;
            let off = |mark: &Found| corner_offs(&view, mark).fold(0.0, f64::max);
            let worst = (0..marks.len()).max_by(|a, b| {
                let off = |i: &usize| marks.get(*i).map_or(0.0, off);
                off(a).total_cmp(&off(b))
            });
            let px_per_mm = view.px_per_mm((90.0, 125.0)).unwrap_or(1.0);
            match worst {
                Some(i)
                    if marks
                        .get(i)
                        .is_some_and(|m| off(m) > MOST_OFF_MM * px_per_mm) =>
                {
                    marks.remove(i);
                    enough(&marks)?;
                }
                _ => {
                    let all = marks.iter().flat_map(|mark| corner_offs(&view, mark));
                    let squares: f64 = all.map(|off| off * off).sum();
                    let corners_off_px = (squares / (4 * marks.len()).max(1) as f64).sqrt();
                    return Ok(Self {
                        view,
                        marks,
                        corners_off_px,
                    });
                }
            }
        }
    }
}

impl<'a> Scene<'a> {
    /// Finds the card in a photograph, and measures the light by references that lie on it.
    ///
    /// # Errors
    /// The card is not there, not sharp, or not well lit: what is wrong, where, and what to do.
    pub fn find(photo: &'a Photo, references: &[Reference]) -> Result<Self, String> {
        Self::of(photo, Marked::find(photo)?, references)
    }

    /// The same, where the marks are found already.
    ///
    /// # Errors
    /// As [`Scene::find`].
    pub fn of(photo: &'a Photo, marked: Marked, references: &[Reference]) -> Result<Self, String> {
        Self::sharp_enough(photo, marked, references, LEAST_PX_PER_MM)
    }

    /// As [`Scene::find`], where so many pixels for a millimetre are enough.
    ///
    /// # Errors
    /// As [`Scene::find`].
    pub fn as_sharp(
        photo: &'a Photo,
        references: &[Reference],
        least_px_per_mm: f64,
    ) -> Result<Self, String> {
        Self::sharp_enough(photo, Marked::find(photo)?, references, least_px_per_mm)
    }

    fn sharp_enough(
        photo: &'a Photo,
        marked: Marked,
        references: &[Reference],
        least_px_per_mm: f64,
    ) -> Result<Self, String> {
        let Marked {
            view,
            marks,
            corners_off_px,
        } = marked;
        sharp(&view, &marks, least_px_per_mm)?;
        let mut warnings = Vec::new();
        let missing = missing(&marks);
        if !missing.is_empty() {
            warnings.push(format!(
                "{} of the card's 8 marks can't be seen ({}); its place is less sure for it",
                8 - marks.len(),
                missing.join(", ")
            ));
        }
        let light = Light::of_paper(photo, &view)?.with_references(photo, &view, references)?;
        if light.evenness < 0.5 {
            warnings.push(format!(
                "the light is uneven: it falls to {:.0} % over the card; that is evened out, and \
                 costs some certainty",
                100.0 * light.evenness
            ));
        }
        Ok(Self {
            photo,
            view,
            light,
            marks,
            corners_off_px,
            warnings,
        })
    }
}

fn pairs(marks: &[Found]) -> Vec<(Point, Point)> {
    let of = |mark: &Found| card::mark_corners(mark.index).into_iter().zip(mark.corners);
    marks.iter().flat_map(of).collect()
}

fn corner_offs<'a>(view: &'a View, mark: &'a Found) -> impl Iterator<Item = f64> + 'a {
    let corners = card::mark_corners(mark.index).into_iter().zip(mark.corners);
    corners.map(|((x, y), seen)| {
        let at = view.project([x, y, 0.0]).unwrap_or((f64::MAX, f64::MAX));
        (at.0 - seen.0).hypot(at.1 - seen.1)
    })
}

/// Where marks are not seen.
fn missing(marks: &[Found]) -> Vec<&'static str> {
    let mut names: Vec<&str> = Vec::new();
    for index in 0..mark::NUMBERS.len() {
        let (x, y) = card::mark(index).centre();
        let name = card::place_in_words(x, y);
        if !marks.iter().any(|mark| mark.index == index) && !names.contains(&name) {
            names.push(name);
        }
    }
    names
}

fn enough(marks: &[Found]) -> Result<(), String> {
    let left = marks.iter().filter(|mark| mark.index < 4).count();
    if marks.len() >= FEWEST_MARKS && left > 0 && left < marks.len() {
        return Ok(());
    }
    let what = "the whole card must be in view, flat, sharp and with nothing on its marks";
    Err(match marks.len() {
        0 => format!("there is no photograph card in it; {what}"),
        count => format!(
            "{count} of the card's 8 marks are found, and {FEWEST_MARKS} are needed, on both \
             sides; none at the {}; {what}",
            missing(marks).join(", ")
        ),
    })
}

/// Whether all of the card is sharp enough.
fn sharp(view: &View, marks: &[Found], least_px_per_mm: f64) -> Result<(), String> {
    let mut blurred = Vec::new();
    for mark in marks {
        let at = card::mark(mark.index).centre();
        let px_per_mm = view.px_per_mm(at).unwrap_or(1.0);
        let place = card::place_in_words(at.0, at.1);
        if px_per_mm < least_px_per_mm {
            return Err(format!(
                "the card has {px_per_mm:.1} pixels for a millimetre at the {place}, and needs at \
                 least {least_px_per_mm}; photograph it from nearer"
            ));
        }
        let blur_mm = mark.edge_px / px_per_mm;
        if blur_mm > MOST_BLUR_MM {
            blurred.push(format!("{place} ({blur_mm:.1} mm)"));
        }
    }
    match blurred.is_empty() {
        true => Ok(()),
        false => Err(format!(
            "the picture is blurred at the {}; hold the camera still, let it focus on the card, \
             and use more light",
            blurred.join(", ")
        )),
    }
}
