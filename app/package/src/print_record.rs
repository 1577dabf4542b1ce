//! The folder of a print's record: what photographs showed of the finished part, in tables and
//! pictures, with the file that names them all.

use std::path::Path;

use calibrate::finished::reading::{Reading, Shown};
use geometry::{Cancelled, Progress};
use plan::Plan;
use plan::document::sha256_hex;
use project::record::{FileHash, PictureOf, RECORD, Record, found, views};
use project::signoff::{Seal, utc};
use project::write::{self, WriteError};
use render::Image;
use report::comparison::PictureError;
use report::seen_sheet::{SeenViews, differences, picture};

/// Why there is no record.
#[derive(Debug, thiserror::Error)]
pub enum PrintRecordError {
    /// It was cancelled.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
    /// A picture has no pixels.
    #[error("{0} has no size")]
    NoSize(&'static str),
    /// The sheet of views can't be drawn.
    #[error(transparent)]
    Sheet(#[from] PictureError),
    /// A picture can't be made a PNG.
    #[error(transparent)]
    Png(std::io::Error),
    /// Its file can't be made.
    #[error(transparent)]
    Ron(#[from] ron::Error),
    /// Its folder can't be written.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// A record that is ready to be written.
#[derive(Debug)]
pub struct PrintRecord {
    /// The file that names the others.
    pub record: Record,
    /// The others by their names.
    files: Vec<(String, Vec<u8>)>,
}

impl PrintRecord {
    /// The record of what was read with a plan in the state of a seal.
    ///
    /// # Errors
    /// [`PrintRecordError`].
    pub fn new(
        reading: &Reading,
        plan: &Plan,
        seal: Seal,
        progress: &Progress,
    ) -> Result<Self, PrintRecordError> {
        progress.stage("Drawing the views");
        let tables = reading.tables(plan).into_iter();
        let mut files: Vec<_> = tables
            .map(|(name, text)| (name.to_owned(), text.into_bytes()))
            .collect();
        for (i, shown) in reading.shown.iter().enumerate() {
            progress.check()?;
            files.extend(pictures(i + 1, shown, &plan.title)?);
        }
        let hash = |(name, bytes): &(String, Vec<u8>)| FileHash {
            name: name.clone(),
            sha256: sha256_hex(bytes),
        };
        let hashes = files.iter().map(hash).collect();
        let record = Record::new(reading.taken(plan), seal, utc(), hashes)?;
        Ok(Self { record, files })
    }

    /// How far seen is from as printed, in a sentence; none if nothing was read.
    pub fn told(&self) -> Option<String> {
        let summary = self.record.summary.as_ref()?;
        Some(format!(
            "Seen against as printed: ΔE00 {:.1} in the mean, {:.1} at {:.1} mm; ± {:.1} by the \
             camera and the shading.",
            summary.mean_de00, summary.worst_de00, summary.worst_at_mm, summary.uncertainty_de00
        ))
    }

    /// Writes all of it into a folder, or nothing.
    ///
    /// # Errors
    /// [`PrintRecordError`].
    pub fn write(&self, folder: &Path) -> Result<(), PrintRecordError> {
        let mut folder = write::Folder::new(folder)?;
        for (name, bytes) in &self.files {
            folder.bytes(name, bytes)?;
        }
        folder.bytes(RECORD, self.record.to_ron()?.as_bytes())?;
        folder.commit()?;
        Ok(())
    }
}

/// The pictures of a photograph by its number from 1, in the order of their names.
fn pictures(
    number: usize,
    shown: &Shown,
    title: &str,
) -> Result<Vec<(String, Vec<u8>)>, PrintRecordError> {
    let all = &shown.part.views;
    let size = (all.width as u32, all.height as u32);
    let image = |rgba: &[u8]| {
        let image = Image::from_rgba(size.0, size.1, rgba.to_vec());
        image.ok_or(PrintRecordError::NoSize("a view"))
    };
    let (requested, printed) = (image(&all.requested)?, image(&all.printed)?);
    let seen = image(&all.seen)?;
    let sheet = SeenViews {
        title,
        note: &shown.name,
        requested: &requested,
        printed: &printed,
        seen: &seen,
        off_de00: &all.off_de00,
    };
    let off = differences(&sheet).ok_or(PrintRecordError::NoSize("a view"))?;
    let sheet = picture(&sheet)?;
    let (width, height, rgba) = &shown.overlay;
    let overlay = Image::from_rgba(*width as u32, *height as u32, rgba.clone());
    let overlay = overlay.ok_or(PrintRecordError::NoSize("the overlay"))?;
    let single = PictureOf::ALL.map(|of| {
        let image = match of {
            PictureOf::Requested => &requested,
            PictureOf::Printed => &printed,
            PictureOf::Seen => &seen,
            PictureOf::Off => &off,
        };
        (of.file(number), image)
    });
    let whole = [(views(number), &sheet), (found(number), &overlay)];
    whole.into_iter().chain(single).map(png).collect()
}

fn png((name, image): (String, &Image)) -> Result<(String, Vec<u8>), PrintRecordError> {
    let mut bytes = Vec::new();
    image.write_png(&mut bytes).map_err(PrintRecordError::Png)?;
    Ok((name, bytes))
}
