//! A mesh named on the command line, read and stood on the bed.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::ValueEnum;
use colours::Model;
use geometry::mend::{MendError, close_cracks, closed_cracks};
use geometry::place::{Axis, Placement, Stand, Unit};
use geometry::read::{Problem, ReadError, Reading, read_mesh};
use geometry::{Mesh, Progress, Surface};

use crate::fault::Fault;

/// The arguments that name a mesh and say how to read it.
#[derive(clap::Args)]
pub(crate) struct PartArgs {
    /// The part: an STL, OBJ, PLY, OFF, 3MF or glTF file
    pub mesh: PathBuf,
    /// Unit of the file's numbers; by default the one it states, or millimetres
    #[arg(long)]
    unit: Option<UnitName>,
    /// The file's axis that points up on the printer
    #[arg(long, default_value = "z", allow_hyphen_values = true)]
    up: AxisName,
    /// Keep the file's coordinates; by default the part is centred and set on the bed
    #[arg(long)]
    as_drawn: bool,
}

/// A part as read and as it stands.
pub(crate) struct Part {
    /// What the file held.
    pub reading: Reading,
    /// The mesh on the bed.
    pub mesh: Mesh,
    /// How it was set there.
    pub placement: Placement,
}

impl PartArgs {
    /// How the part is set on the bed.
    pub(crate) fn placement(&self) -> Placement {
        Placement {
            unit: self.unit.map(Unit::from),
            up: self.up.into(),
            stand: match self.as_drawn {
                true => Stand::AsDrawn,
                false => Stand::Centred,
            },
            ..Placement::default()
        }
    }

    /// Reads the mesh and stands it on the bed.
    pub(crate) fn read(&self, progress: &Progress) -> Result<Part, Fault> {
        self.read_as(false, progress).map(|(part, _)| part)
    }

    /// As [`PartArgs::read`], with the file's colours, if it has any.
    pub(crate) fn read_coloured(
        &self,
        progress: &Progress,
    ) -> Result<(Part, Option<Model>), Fault> {
        self.read_as(true, progress)
    }

    fn read_as(
        &self,
        with_colours: bool,
        progress: &Progress,
    ) -> Result<(Part, Option<Model>), Fault> {
        let placement = self.placement();
        let mut options = placement.read_options();
        options.appearance = with_colours;
        options.progress = progress.clone();
        let mut reading = read_mesh(&self.mesh, &options).map_err(not_read)?;
        let not_placed = |error| Fault::Input(format!("{}: {error}", self.mesh.display()));
        let model = match reading.appearance.take() {
            Some(appearance) => {
                // Facets keep their colours as they were read, before any crack is closed.
                let mesh = placement.apply(reading.mesh.clone()).map_err(not_placed)?;
                progress.stage("Reading the model's colours");
                Some(Model::new(Surface::new(Arc::new(mesh)), appearance))
            }
            None => None,
        };
        let told = model.iter().flat_map(|model| model.notes().iter().cloned());
        reading.notes.extend(told);
        if let Some((closed, count)) = close_cracks(&reading.mesh) {
            reading.mesh = closed;
            reading.notes.push(closed_cracks(count));
        }
        let mesh = placement.apply(reading.mesh.clone()).map_err(not_placed)?;
        let part = Part {
            reading,
            mesh,
            placement,
        };
        Ok((part, model))
    }
}

/// A cancelled reading is no fault of the file.
pub(crate) fn not_read(error: ReadError) -> Fault {
    match error.problem {
        Problem::Cancelled(_) => Fault::Cancelled,
        _ => Fault::input(error),
    }
}

/// A mesh that can't be mended, unless cancelled.
pub(crate) fn not_mended(mesh: &Path, error: MendError) -> Fault {
    match error {
        MendError::Cancelled(_) => Fault::Cancelled,
        error => Fault::Input(format!("{}: {error}", mesh.display())),
    }
}

/// The file's name without its last ending.
pub(crate) fn stem(path: &Path) -> String {
    path.file_stem()
        .map(|stem| stem.to_string_lossy().into_owned())
        .unwrap_or_default()
}

/// A unit as it is written on the command line.
#[derive(Clone, Copy, ValueEnum)]
enum UnitName {
    Micron,
    Mm,
    Cm,
    M,
    Inch,
    Foot,
}

impl From<UnitName> for Unit {
    fn from(name: UnitName) -> Self {
        match name {
            UnitName::Micron => Self::Micron,
            UnitName::Mm => Self::Millimetre,
            UnitName::Cm => Self::Centimetre,
            UnitName::M => Self::Metre,
            UnitName::Inch => Self::Inch,
            UnitName::Foot => Self::Foot,
        }
    }
}

/// An axis as it is written on the command line.
#[derive(Clone, Copy, ValueEnum)]
enum AxisName {
    X,
    Y,
    Z,
    #[value(name = "-x")]
    MinusX,
    #[value(name = "-y")]
    MinusY,
    #[value(name = "-z")]
    MinusZ,
}

impl From<AxisName> for Axis {
    fn from(name: AxisName) -> Self {
        match name {
            AxisName::X => Self::X,
            AxisName::Y => Self::Y,
            AxisName::Z => Self::Z,
            AxisName::MinusX => Self::MinusX,
            AxisName::MinusY => Self::MinusY,
            AxisName::MinusZ => Self::MinusZ,
        }
    }
}

/// A file as the plan must name it: relative to the plan's folder where it lies beside or
/// below it, else in full.
pub(crate) fn from_folder_of(plan: &Path, mesh: &Path) -> Result<String, Fault> {
    let in_full = |path: &Path| {
        std::path::absolute(path)
            .map_err(|e| Fault::Input(format!("{}: not found: {e}", path.display())))
    };
    let (plan, mesh) = (in_full(plan)?, in_full(mesh)?);
    let folder = plan.parent().unwrap_or(Path::new(""));
    let named = mesh.strip_prefix(folder).unwrap_or(&mesh);
    named.to_str().map(str::to_owned).ok_or_else(|| {
        Fault::Input(format!(
            "{}: the file's name is not UTF-8 text, so a plan can't name it; rename the file",
            mesh.display()
        ))
    })
}
