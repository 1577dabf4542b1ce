//! Photographs, pictures for a part, and fonts.

use calibrate::{patches::Patches, photo::Typed};
use geometry::imprint::{Covers, Stencil};
use photograph::light::Reference;
use photograph::scene::Scene;
use photograph::{Photo, mark};
use plan::document::line_of;
use project::pictures::raster;

use super::Answer;

/// A photograph, up to the colours of a test bar on it.
pub fn read_photo(bytes: &[u8]) -> Answer {
    let Ok(photo) = Photo::read(bytes).or_else(|_| Photo::read_grey(bytes)) else {
        return Answer::Refused;
    };
    let patches = Patches::from_ron(
        "(version: 1, table: \"t.csv\", cards: [(reflectance: 0.18, centre: (0.25, 0.5), \
         size: (0.5, 1))], rows: [(first_step: 1, last_step: 2, first_centre: (0.625, 0.5), \
         last_centre: (0.875, 0.5), size: (0.25, 1))])",
    )
    .expect("patches");
    let Ok(reading) = Typed::new(&photo).read(&patches) else {
        return Answer::Refused;
    };
    assert_eq!(reading.steps.len(), 2);
    let mut colours = reading.steps.iter().map(|(_, lab)| lab);
    assert!(colours.all(|c| c.l.is_finite() && c.a.is_finite() && c.b.is_finite()));
    Answer::Read
}

/// A picture for a part, up to the edge of what is dark in it.
pub fn read_picture(bytes: &[u8]) -> Answer {
    let Ok(raster) = raster(bytes) else {
        return Answer::Refused;
    };
    let (width, height) = (raster.width() as f64, raster.height() as f64);
    for place in [
        (0.0, 0.0),
        (0.5 * width, 0.5 * height),
        (9.0 * width, -height),
    ] {
        assert!((0.0..=1.0).contains(&raster.grey_at(place.0, place.1)));
    }
    // Larger ones take long where everything is checked.
    if width * height < 1e5 {
        for covers in [Covers::Dark, Covers::Light, Covers::Frame] {
            let area = Stencil::new(&raster, &covers, 0.5).area_px(0.0);
            assert!(
                (0.0..=1.01 * width * height + 8.0).contains(&area),
                "{area}"
            );
        }
    }
    Answer::Read
}

/// A font, up to a line that is set in it.
pub fn read_font(bytes: &[u8]) -> Answer {
    match line_of("H3", bytes) {
        Ok(line) => {
            assert!(line.width() * line.height() <= 1 << 24 && line.size_px() > 0.0);
            Answer::Read
        }
        Err(_) => Answer::Refused,
    }
}
/// A photograph with the card in it, up to the light on the card.
pub fn find_card(bytes: &[u8]) -> Answer {
    let Ok(photo) = Photo::read(bytes) else {
        return Answer::Refused;
    };
    let reference = Reference {
        place: 0,
        reflectance: 0.18,
    };
    let Ok(scene) = Scene::find(&photo, &[reference]) else {
        return Answer::Refused;
    };
    assert!((4..=mark::NUMBERS.len()).contains(&scene.marks.len()));
    assert!(scene.corners_off_px.is_finite());
    let seen = scene.light.reflectance([0.2; 3], (90.0, 125.0));
    assert!(seen.iter().all(|v| v.is_finite() && *v >= 0.0), "{seen:?}");
    Answer::Read
}
