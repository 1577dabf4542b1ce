//! A part found in one photograph, and read.

use geometry::{Mesh, Progress};
use photograph::Photo;
use photograph::find::Found;
use photograph::homography::Point;
use photograph::light::Reference;
use photograph::overlay::Line;
use photograph::scene::Scene;
use photograph::view::View;
use plan::Plan;

use super::colours::{Expected, Spot, read};
use super::fault::{FinishedError, refused};
use super::fit::{Fitted, Search};
use super::outline::Shape;
use super::posed::{Pose, Posed, Rest, Rested};
use super::sights::Sights;
use super::turned::{Settled, degrees, settled};
use super::views::Views;

/// A card so coarse shows enough of a standing part, px for a millimetre.
const LEAST_PX_PER_MM: f64 = 1.6;
/// So much of the outline must be met by an edge. In the study of docs/photographs.md parts in their
/// place have 82 % and more; two that had two thirds lay on the edge of a colour within the part.
const LEAST_MET: f64 = 0.75;
/// Of no side but the foot may more than this be missed. A foot can have the card's colour; but a
/// part whose top is met nowhere was taken for another, with its bands for its edges.
const MOST_MISSED: f64 = 0.6;
/// And so near must those edges be, mm on the part.
const MOST_OFF_MM: f64 = 0.4;
/// An outline that is wider than this is blurred, mm.
const MOST_BLUR_MM: f64 = 1.6;
/// So much of the faces may be clipped.
const MOST_CLIPPED: f64 = 0.3;
/// Clipping that is worth telling.
const SOME_CLIPPED: f64 = 0.02;
/// Pixels near the frame's edge that a part must keep clear of.
const FRAME_PX: f64 = 4.0;

/// How a photograph is to be read.
#[derive(Clone, Debug, PartialEq)]
pub struct Asked {
    /// The references on the card.
    pub references: Vec<Reference>,
    /// What the part rests on.
    pub rest: Rest,
    /// About how it is turned counter-clockwise seen from above, degrees; 0 with its front towards
    /// the card's lower edge.
    pub turn_deg: Option<f64>,
    /// Height that is read together, mm.
    pub every_mm: f64,
}

/// A part in a photograph.
pub struct InPhoto {
    /// Its colours.
    pub spots: Vec<Spot>,
    /// How well its outline fits.
    pub fitted: Fitted,
    /// How it rests.
    pub rested: Rested,
    /// The camera.
    pub view: View,
    /// The card's marks.
    pub marks: Vec<Found>,
    /// What a person should know before trusting them.
    pub warnings: Vec<String>,
    /// How it was found, in a line each.
    pub found: Vec<String>,
    /// What was found, to draw on the photograph.
    pub lines: Vec<Line>,
    /// The part from the camera's place.
    pub views: Views,
}

impl InPhoto {
    /// Finds a part in a photograph, and reads it.
    ///
    /// # Errors
    /// [`FinishedError`].
    pub fn read(
        photo: &Photo,
        expected: &Expected<'_>,
        asked: &Asked,
        progress: &Progress,
    ) -> Result<Self, FinishedError> {
        let scene = Scene::as_sharp(photo, &asked.references, LEAST_PX_PER_MM);
        let scene = scene.map_err(FinishedError::Refused)?;
        let surface = expected.painted.surface();
        let mesh = surface.mesh();
        let rested = Rested::new(mesh, asked.rest).map_err(FinishedError::Refused)?;
        progress.stage("Looking for the part");
        let (shape, rough) = (Shape::of(mesh), Shape::rough(mesh));
        let search = Search {
            photo,
            view: &scene.view,
            rested: &rested,
            shape: &shape,
            rough: &rough,
            turn: asked.turn_deg.map(f64::to_radians),
        };
        let fitted = search.best(progress)?;
        let Some(fitted) = fitted else {
            return refused(no_part());
        };
        let posed = search.posed(fitted.pose);
        fits(&search, &fitted, mesh)?;
        let sights = Sights::of(&scene, &posed, surface, progress)?;
        if sights.clipped > MOST_CLIPPED {
            return refused(format!(
                "{:.0} % of the part's faces is overexposed, or has a channel at zero; photograph \
                 again with other light",
                100.0 * sights.clipped
            ));
        }
        let mut warnings = scene.warnings.clone();
        let Settled { fitted, left_out } = settled(&search, fitted, &sights, expected, progress)?;
        let posed = search.posed(fitted.pose);
        let sights = Sights::of(&scene, &posed, surface, progress)?;
        progress.stage("Reading colours");
        let Some(mut read) = read(&sights, expected, asked.every_mm) else {
            return refused(
                "too little of the part can be read: its faces are turned away, in shadow, \
                 clipped or too small; photograph it from nearer and in more even light",
            );
        };
        let plan = expected.painted.plan();
        let is_out = |region: usize| left_out.regions.contains(&region);
        let whose = [
            ("left out", named(plan, is_out)),
            (
                "left out at some heights",
                named(plan, |region| left_out.is_in_part(region)),
            ),
        ];
        for (what, names) in whose {
            let Some(names) = names else { continue };
            warnings.push(format!(
                "{what}, because the outline does not tell how the part is turned well enough: \
                 {names}"
            ));
        }
        read.spots
            .retain(|spot| !left_out.has(spot.region, spot.height_mm, asked.every_mm));
        if read.spots.is_empty() {
            return refused("no height of the part shows enough pixels; photograph it from nearer");
        }
        let shows = |region: usize| read.spots.iter().any(|spot| spot.region == region);
        if let Some(names) = named(plan, |region| !shows(region) && !is_out(region)) {
            warnings.push(format!(
                "too small, too narrow or not in view, so not read: {names}"
            ));
        }
        if sights.clipped > SOME_CLIPPED {
            warnings.push(format!(
                "{:.0} % of the part's faces is clipped and left out",
                100.0 * sights.clipped
            ));
        }
        if (fitted.pose.scale - 1.0).abs() > 0.015 {
            warnings.push(format!(
                "the card is printed at {:.0} % of its size, by the part's outline; print it at \
                 100 %",
                100.0 / fitted.pose.scale
            ));
        }
        Ok(Self {
            views: Views::of(&sights, expected, &read.shading),
            found: found(&scene, &posed, &fitted, &sights),
            lines: lines(&scene, &search, fitted.pose),
            rested,
            view: scene.view.clone(),
            marks: scene.marks.clone(),
            spots: read.spots,
            fitted,
            warnings,
        })
    }
}

/// The names of some regions; none of none.
fn named(plan: &Plan, counts: impl Fn(usize) -> bool) -> Option<String> {
    let regions = plan.regions.iter().enumerate();
    let names: Vec<&str> = regions
        .filter(|(region, _)| counts(*region))
        .map(|(_, region)| region.name.as_str())
        .collect();
    (!names.is_empty()).then(|| names.join(", "))
}

/// Whether a point is beyond a side of a picture so wide and so high.
type IsBeyond = fn(&Point, f64, f64) -> bool;

fn no_part() -> &'static str {
    "the part is not found; stand it on the card's upper end or behind it, all of it in view, and \
     against a background of another colour"
}

/// Whether the part is there, whole and sharp.
fn fits(search: &Search<'_>, fitted: &Fitted, mesh: &Mesh) -> Result<(), FinishedError> {
    let posed = search.posed(fitted.pose);
    let px_per_mm = posed.px_per_mm();
    let off_mm = fitted.off_px / px_per_mm;
    if fitted.met < 0.35 {
        return refused(no_part());
    }
    let (width, height) = (search.photo.width() as f64, search.photo.height() as f64);
    let seen: Vec<Point> = mesh
        .vertices()
        .iter()
        .filter_map(|v| posed.project(*v))
        .collect();
    let sides: [(&str, IsBeyond); 4] = [
        ("left", |p, _, _| p.0 < FRAME_PX),
        ("right", |p, width, _| p.0 > width - FRAME_PX),
        ("upper", |p, _, _| p.1 < FRAME_PX),
        ("lower", |p, _, height| p.1 > height - FRAME_PX),
    ];
    for (name, beyond) in sides {
        if seen.iter().any(|p| beyond(p, width, height)) {
            return refused(format!(
                "the part is cut by the picture's {name} edge; photograph again with all of it in \
                 view"
            ));
        }
    }
    let missed = missed(search, fitted);
    let a_side_is_missed = missed
        .iter()
        .any(|(side, share)| *side != "foot" && *share > MOST_MISSED);
    if fitted.met < LEAST_MET || off_mm > MOST_OFF_MM || a_side_is_missed {
        let worst = missed.iter().max_by(|a, b| a.1.total_cmp(&b.1));
        return refused(format!(
            "the part's outline does not fit: {:.0} % of it is met, {:.1} px off, worst at its \
             {}; is it the part of this plan, does it stand as it was printed, and is the \
             background of another colour?",
            100.0 * fitted.met,
            fitted.off_px,
            worst.map_or("top", |(side, _)| side)
        ));
    }
    let blur_mm = fitted.width_px / px_per_mm;
    if blur_mm > MOST_BLUR_MM {
        return refused(format!(
            "the part is blurred: its outline is {blur_mm:.1} mm wide; let the camera focus \
             between part and card, hold it still, and use more light"
        ));
    }
    Ok(())
}

/// The share of the outline that no edge meets, on each side of the part.
fn missed(search: &Search<'_>, fitted: &Fitted) -> [(&'static str, f64); 4] {
    let seen = search.crossings(fitted.pose).unwrap_or_default();
    let missed = |side: usize| {
        let here = seen.iter().filter(|(place, _)| {
            let (x, y) = place.out;
            match side {
                0 => x < -0.6,
                1 => x > 0.6,
                2 => y < -0.6,
                _ => y > 0.6,
            }
        });
        let (mut all, mut met) = (0.0, 0.0);
        for (_, edge) in here {
            all += 1.0;
            met += f64::from(u8::from(edge.is_some_and(|(off, _)| off.abs() < 2.0)));
        }
        if all > 0.0 { 1.0 - met / all } else { 0.0 }
    };
    [
        ("left", missed(0)),
        ("right", missed(1)),
        ("top", missed(2)),
        ("foot", missed(3)),
    ]
}

fn found(scene: &Scene<'_>, posed: &Posed<'_>, fitted: &Fitted, sights: &Sights) -> Vec<String> {
    let Pose {
        x_mm, y_mm, turn, ..
    } = fitted.pose;
    vec![
        format!(
            "{} of 8 marks, corners within {:.2} px; camera {:.0} mm above the card",
            scene.marks.len(),
            scene.corners_off_px,
            scene.view.eye()[2]
        ),
        format!(
            "part at {x_mm:.1} mm from the left and {y_mm:.1} mm from the top of the card, turned \
             {:.1}°; {:.0} % of its outline within {:.2} px; {:.1} pixels for a millimetre",
            degrees(turn),
            100.0 * fitted.met,
            fitted.off_px,
            posed.px_per_mm()
        ),
        format!(
            "{} pixels of its skin read; tone curve's slope {:.2}",
            sights.good.len(),
            scene.light.tone_slope()
        ),
    ]
}

/// The marks and the part's outline.
fn lines(scene: &Scene<'_>, search: &Search<'_>, pose: Pose) -> Vec<Line> {
    const FOUND: [u8; 3] = [255, 0, 200];
    let marks = scene.marks.iter().map(|mark| Line {
        points: mark.corners.to_vec(),
        colour: FOUND,
    });
    let outline = search.shape.outline(&search.posed(pose), 2000);
    let dots = outline.unwrap_or_default().into_iter().map(|place| Line {
        points: vec![place.at, (place.at.0 + 1.0, place.at.1)],
        colour: FOUND,
    });
    marks.chain(dots).collect()
}
