//! The coloured models that a plan's masks name, read and labelled.

// They come from strangers: nothing in them may end in a panic.
#![warn(
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic
)]

use std::collections::HashMap;
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;
use std::sync::Arc;

use blend::{Lab, Srgb, Xyz};
use colours::{ColoursError, ModelFile, Sampled, read_model};
use geometry::Progress;
use geometry::mask::{ModelColour, SideFile};
use geometry::pieces::{Finest, Labelled};
use geometry::place::Placement;
use geometry::read::{Problem, shape_files};
use plan::Plan;
use plan::document::hex;
use sha2::{Digest, Sha256};

use crate::imprint_error::{Fault, ImprintError};
use crate::text_file::beside;

/// SHA-256 of a file, in hexadecimal, read piece by piece.
///
/// # Errors
/// What the system says.
pub fn hash_of(path: &Path) -> io::Result<String> {
    let mut file = File::open(path)?;
    let mut hash = Sha256::new();
    let mut piece = vec![0; 1 << 16];
    loop {
        match file.read(&mut piece)? {
            0 => return Ok(hex(&hash.finalize())),
            count => hash.update(piece.get(..count).unwrap_or(&[])),
        }
    }
}

/// A coloured model as a plan names it, with the hashes of it and of the files beside it that its
/// colours are in.
///
/// # Errors
/// Which of them can't be read and what the system says, in a clause that goes on from the
/// model's name.
pub fn model_file(model: &Path, named: String, beside: &[String]) -> Result<ModelFile, String> {
    let sha256 = hash_of(model).map_err(|why| format!("can't be read: {why}"))?;
    let with = side_files(model, beside)
        .map_err(|(name, why)| format!("'{name}' beside it can't be read: {why}"))?;
    Ok(ModelFile {
        file: named,
        sha256,
        with,
    })
}

/// The files beside a model that its colours are in, with their hashes; or the name of one that
/// can't be read, and what the system says.
fn side_files(model: &Path, names: &[String]) -> Result<Vec<SideFile>, (String, io::Error)> {
    let folder = model.parent().unwrap_or(Path::new(""));
    let hashed = |name: &String| match hash_of(&folder.join(name)) {
        Ok(sha256) => Ok(SideFile {
            file: name.clone(),
            sha256,
        }),
        Err(why) => Err((name.clone(), why)),
    };
    names.iter().map(hashed).collect()
}

/// The files beside a plan's mesh that its shape is in, as the plan would name them: what is not
/// already there as a picture, a font or a file of a coloured model.
///
/// # Errors
/// What the system says if the mesh can't be read.
pub fn files_of_mesh(plan: &Plan, plan_file: &Path) -> io::Result<Vec<String>> {
    let mesh = &plan.mesh.file;
    let folder = mesh.rfind(['/', '\\']).map_or(0, |at| at + 1);
    let folder = mesh.get(..folder).unwrap_or_default();
    let known = plan.imprint_files();
    let names = shape_files(&beside(plan_file, mesh))?;
    let named = names.into_iter().map(|name| format!("{folder}{name}"));
    Ok(named.filter(|name| !known.contains(name)).collect())
}

/// How finely a model is looked at for details of a width, mm.
pub fn piece_mm(finest_width_mm: f64) -> f64 {
    0.5 * finest_width_mm
}

/// Each model is read once, and labelled once for each list of colours.
pub(crate) struct Models<'a> {
    folder: &'a Path,
    place: &'a Placement,
    progress: &'a Progress,
    read: HashMap<String, Known>,
    labelled: Vec<(ModelColour, Arc<Labelled>)>,
}

/// A model that was read.
struct Known {
    sha256: String,
    with: Vec<SideFile>,
    model: colours::Model,
    sampled: Option<(f64, Sampled)>,
}

impl<'a> Models<'a> {
    pub(crate) fn new(folder: &'a Path, place: &'a Placement, progress: &'a Progress) -> Self {
        Self {
            folder,
            place,
            progress,
            read: HashMap::new(),
            labelled: Vec::new(),
        }
    }

    /// Reads the model of a mask, compares the hashes that the plan gives or fills them in, and
    /// labels its skin.
    pub(crate) fn colour(&mut self, colour: &mut ModelColour) -> Result<(), Fault> {
        let file = colour.file.clone();
        let path = self.folder.join(&file);
        let fault = |why: ImprintError| (path.clone(), why);
        if !self.read.contains_key(&file) {
            let known = self.model(&path).map_err(fault)?;
            self.read.insert(file.clone(), known);
        }
        let Some(known) = self.read.get_mut(&file) else {
            return Err(fault(ImprintError::NoFile));
        };
        check(&mut colour.sha256, &known.sha256).map_err(fault)?;
        check_beside(colour, known, &path)?;
        let task = ModelColour {
            colour: String::new(),
            ..colour.clone()
        };
        if let Some((_, labelled)) = self.labelled.iter().find(|(done, _)| *done == task) {
            colour.content = Arc::clone(labelled).into();
            return Ok(());
        }
        let labelled = known.labelled(colour, self.progress).map_err(fault)?;
        colour.content = Arc::clone(&labelled).into();
        self.labelled.push((task, labelled));
        Ok(())
    }

    fn model(&self, path: &Path) -> Result<Known, ImprintError> {
        let sha256 = hash_of(path)?;
        let (model, reading) = read_model(path, self.place, self.progress).map_err(in_words)?;
        let with = side_files(path, &reading.side_files).map_err(|(_, why)| why)?;
        Ok(Known {
            sha256,
            with,
            model,
            sampled: None,
        })
    }
}

impl Known {
    fn labelled(
        &mut self,
        colour: &ModelColour,
        progress: &Progress,
    ) -> Result<Arc<Labelled>, ImprintError> {
        let finest = Finest {
            width_mm: colour.finest_mm.0,
            height_mm: colour.finest_mm.1,
        };
        let size_mm = piece_mm(finest.width_mm);
        let sampled = match self.sampled.take() {
            Some((known_mm, sampled)) if known_mm == size_mm => sampled,
            _ => Sampled::new(&self.model, size_mm, progress)?,
        };
        let labelled = sampled.labelled(&labs(&colour.among), colour.by, finest, progress);
        self.sampled = Some((size_mm, sampled));
        Ok(labelled?)
    }
}

/// The colours of a list of codes, which the plan has checked.
pub(crate) fn labs(codes: &[String]) -> Vec<Lab> {
    let lab = |code: &String| {
        let code: Srgb = code.parse().unwrap_or(Srgb([255; 3]));
        Xyz::from_srgb(code).to_lab()
    };
    codes.iter().map(lab).collect()
}

/// The reader's error names the file already.
fn in_words(error: ColoursError) -> ImprintError {
    match error {
        ColoursError::Mesh(error) => match error.problem {
            Problem::Cancelled(stop) => ImprintError::Cancelled(stop),
            _ => ImprintError::Model(error.problem),
        },
        other => ImprintError::Colours(other),
    }
}

/// Compares a hash with that which the plan gives, or fills it in.
pub(crate) fn check(wanted: &mut Option<String>, hash: &str) -> Result<(), ImprintError> {
    match wanted {
        Some(wanted) if !wanted.eq_ignore_ascii_case(hash) => {
            let is = hash.to_owned();
            Err(ImprintError::OtherContent { is })
        }
        _ => {
            *wanted = Some(hash.to_owned());
            Ok(())
        }
    }
}

/// Compares the files beside a model with those that the plan names, or names them.
fn check_beside(colour: &mut ModelColour, known: &Known, model: &Path) -> Result<(), Fault> {
    if colour.with.is_empty() {
        colour.with.clone_from(&known.with);
        return Ok(());
    }
    let folder = model.parent().unwrap_or(Path::new(""));
    for side in &colour.with {
        let found = known.with.iter().find(|found| found.file == side.file);
        let is = match found {
            Some(found) => found.sha256.clone(),
            None => hash_of(&folder.join(&side.file))
                .map_err(|why| (folder.join(&side.file), why.into()))?,
        };
        check(&mut Some(side.sha256.clone()), &is).map_err(|why| (folder.join(&side.file), why))?;
    }
    let unnamed = known
        .with
        .iter()
        .find(|f| !colour.with.iter().any(|side| side.file == f.file));
    match unnamed {
        Some(side) => Err((
            folder.join(&side.file),
            ImprintError::NotNamed {
                name: side.file.clone(),
                is: side.sha256.clone(),
            },
        )),
        None => Ok(()),
    }
}
