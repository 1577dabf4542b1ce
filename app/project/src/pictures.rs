//! The pictures, fonts and coloured models that a plan names, read and put into its masks and
//! fades.

// They come from strangers: nothing in them may end in a panic.
#![warn(
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic
)]

use std::collections::HashMap;
use std::fs;
use std::path::Path;
use std::sync::Arc;

use colours::Flat;
use geometry::Progress;
use geometry::imprint::{Covers, Letters, Loaded, OneColour, Picture, Raster, Sorted};
use geometry::mask::Imprint;
use picture::{Limits, PictureError, decode};
use plan::Plan;
use plan::document::{line_of, sha256_hex};

pub use crate::imprint_error::ImprintError;
use crate::imprint_error::{Fault, LONGEST_FILE};
use crate::models::{Models, check, labs};

/// The most pixels that are sorted by lists of colours: each list counts, and so many are laid on a
/// part together at most.
const MOST_SORTED: usize = 128 << 20;

/// Reads the pictures and fonts that a plan names, relative to its folder, and puts what they
/// show into its masks and fades, with their SHA-256.
pub(crate) fn load(plan: &mut Plan, folder: &Path, progress: &Progress) -> Result<(), Fault> {
    let place = plan.mesh.place.clone();
    let mut files = Files {
        folder,
        read: HashMap::new(),
        rasters: HashMap::new(),
        flat: None,
        sorted: Vec::new(),
        progress,
    };
    let mut models = Models::new(folder, &place, progress);
    let mut fault = None;
    plan.each_imprint(&mut |imprint| {
        if fault.is_none() {
            fault = match imprint {
                Imprint::Picture(picture) => files.picture(picture).err(),
                Imprint::Letters(letters) => files.letters(letters).err(),
                Imprint::Colour(colour) => models.colour(colour).err(),
            };
        }
    });
    fault.map_or(Ok(()), Err)
}

/// Reads one picture's file: its greys, and the SHA-256 of its bytes.
///
/// # Errors
/// [`ImprintError`], a clause that goes on from the file's name.
pub fn read_picture(file: &Path) -> Result<(Raster, String), ImprintError> {
    let bytes = read(file)?;
    Ok((raster(&bytes)?, sha256_hex(&bytes)))
}

/// Reads the colours of a picture's file.
///
/// # Errors
/// [`ImprintError`], a clause that goes on from the file's name.
pub fn read_flat(file: &Path) -> Result<Flat, ImprintError> {
    Ok(Flat::new(&shown(&read(file)?)?))
}

fn shown(bytes: &[u8]) -> Result<picture::Picture, PictureError> {
    let limits = Limits {
        pixels: Raster::MOST_PIXELS as u64,
        ..Limits::default()
    };
    decode(bytes, &limits)
}

/// The greys of a picture from the bytes of its file.
///
/// # Errors
/// [`PictureError`].
pub fn raster(bytes: &[u8]) -> Result<Raster, PictureError> {
    let shown = shown(bytes)?;
    let (width, height) = (shown.width(), shown.height());
    let all = || (0..height).flat_map(|y| (0..width).map(move |x| (x, y)));
    let grey = |paper: f64| -> Vec<u8> {
        all()
            .map(|(x, y)| (255.0 * shown.grey(x, y, paper)).round() as u8)
            .collect()
    };
    let is_clear = all().any(|(x, y)| shown.rgba(x, y)[3] < 1.0);
    let on_black = is_clear.then(|| grey(0.0));
    Raster::new((width, height), grey(1.0), on_black).map_err(|_| PictureError::Empty)
}

/// Each file is read once, and each picture sorted once for each list of colours.
struct Files<'a> {
    folder: &'a Path,
    read: HashMap<String, (Arc<Vec<u8>>, String)>,
    rasters: HashMap<String, Arc<Raster>>,
    /// The colours of the last picture that was sorted.
    flat: Option<(String, Flat)>,
    /// By the file and the list, whichever of its colours is meant.
    sorted: Vec<((String, OneColour), Arc<Sorted>)>,
    progress: &'a Progress,
}

impl Files<'_> {
    fn picture(&mut self, picture: &mut Picture) -> Result<(), Fault> {
        let file = picture.file.clone();
        let bytes = self.bytes(&file, &mut picture.sha256)?;
        let shown = match self.rasters.get(&file) {
            Some(known) => Arc::clone(known),
            None => {
                let read = raster(&bytes).map_err(|why| self.fault(&file, why.into()))?;
                let read = Arc::new(read);
                self.rasters.insert(file.clone(), Arc::clone(&read));
                read
            }
        };
        picture.content = match &picture.covers {
            Covers::Colour(one) => {
                let sorted = self.sorted(&file, &bytes, one);
                let sorted = sorted.map_err(|why| self.fault(&file, why))?;
                Loaded::sorted_by(shown, sorted)
            }
            _ => shown.into(),
        };
        Ok(())
    }

    /// A picture's pixels by the list of colours that a mask names.
    fn sorted(
        &mut self,
        file: &str,
        bytes: &[u8],
        one: &OneColour,
    ) -> Result<Arc<Sorted>, ImprintError> {
        let task = OneColour {
            colour: String::new(),
            ..one.clone()
        };
        let task = (file.to_owned(), task);
        if let Some((_, known)) = self.sorted.iter().find(|(done, _)| *done == task) {
            return Ok(Arc::clone(known));
        }
        let (_, flat) = match self.flat.take().filter(|(of, _)| of == file) {
            Some(known) => self.flat.insert(known),
            None => self
                .flat
                .insert((file.to_owned(), Flat::new(&shown(bytes)?))),
        };
        let known: usize = self.sorted.iter().map(|(_, sorted)| sorted.pixels()).sum();
        if known.saturating_add(flat.pixels()) > MOST_SORTED {
            return Err(ImprintError::TooManyLists);
        }
        let sorted = flat.sorted(&labs(&one.among), one.by, self.progress)?;
        let sorted = Arc::new(sorted.ok_or(PictureError::Empty)?);
        self.sorted.push((task, Arc::clone(&sorted)));
        Ok(sorted)
    }

    fn letters(&mut self, letters: &mut Letters) -> Result<(), Fault> {
        // Those without a font of their own are set with the plan.
        let Some(font) = letters.font.clone() else {
            return Ok(());
        };
        let bytes = self.bytes(&font, &mut letters.sha256)?;
        let line = line_of(&letters.text, &bytes).map_err(|why| self.fault(&font, why.into()))?;
        letters.content = Arc::new(line).into();
        Ok(())
    }

    /// A file's bytes; its hash is compared with that which the plan gives, or filled in.
    fn bytes(&mut self, file: &str, sha256: &mut Option<String>) -> Result<Arc<Vec<u8>>, Fault> {
        if !self.read.contains_key(file) {
            let bytes = read(&self.folder.join(file)).map_err(|why| self.fault(file, why))?;
            let hash = sha256_hex(&bytes);
            self.read.insert(file.to_owned(), (Arc::new(bytes), hash));
        }
        let Some((bytes, hash)) = self.read.get(file) else {
            return Err(self.fault(file, ImprintError::NoFile));
        };
        check(sha256, hash).map_err(|why| self.fault(file, why))?;
        Ok(Arc::clone(bytes))
    }

    fn fault(&self, file: &str, why: ImprintError) -> Fault {
        (self.folder.join(file), why)
    }
}

fn read(path: &Path) -> Result<Vec<u8>, ImprintError> {
    let data = fs::metadata(path)?;
    if !data.is_file() {
        return Err(ImprintError::NoFile);
    }
    if data.len() > LONGEST_FILE {
        return Err(ImprintError::TooLong);
    }
    Ok(fs::read(path)?)
}
