//! Photographs.

use std::io::Cursor;

use calibrate::{patches::Patches, photo::Photo};

use super::Answer;

/// A photograph, up to the colours of a test bar on it.
pub fn read_photo(bytes: &[u8]) -> Answer {
    let Ok(photo) = Photo::read_png(Cursor::new(bytes)) else {
        return Answer::Refused;
    };
    let patches = Patches::from_ron(
        "(version: 1, table: \"t.csv\", cards: [(reflectance: 0.18, centre: (0.25, 0.5), \
         size: (0.5, 1))], rows: [(first_step: 1, last_step: 2, first_centre: (0.625, 0.5), \
         last_centre: (0.875, 0.5), size: (0.25, 1))])",
    )
    .expect("patches");
    let Ok(reading) = photo.read(&patches) else {
        return Answer::Refused;
    };
    assert_eq!(reading.steps.len(), 2);
    let mut colours = reading.steps.iter().map(|(_, lab)| lab);
    assert!(colours.all(|c| c.l.is_finite() && c.a.is_finite() && c.b.is_finite()));
    Answer::Read
}
