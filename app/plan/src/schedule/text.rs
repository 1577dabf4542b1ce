//! The schedule as RON text.

use ron::ser::path_meta::Field;

use super::Schedule;
use crate::ron_text::{self, Document, Path, Problem, TextError};

impl Schedule {
    /// Version of the schedule format that is read and written here.
    pub const VERSION: u32 = 1;

    /// Reads a schedule.
    ///
    /// # Errors
    /// [`TextError`] with line and column.
    pub fn from_ron(text: &str) -> Result<Self, TextError> {
        ron_text::read(text)
    }

    /// Writes a schedule; [`Schedule::from_ron`] of it gives the same schedule.
    ///
    /// # Errors
    /// Only what the serializer itself reports.
    pub fn to_ron(&self) -> Result<String, ron::Error> {
        ron_text::write(self)
    }
}

impl Document for Schedule {
    const KIND: &'static str = "schedule";
    const VERSION: u32 = Self::VERSION;

    fn version(&self) -> u32 {
        self.version
    }

    fn problems(&self) -> Vec<Problem> {
        let mut found = Vec::new();
        for (i, layer) in self.layers.iter().enumerate() {
            for (j, dose) in layer.doses.iter().enumerate() {
                let path = Path::field("layers").at(i).then("doses").at(j);
                let count = self.totals.spools.len();
                if dose.shares.count() != count || dose.filament_mm.len() != count {
                    let what =
                        format!("this dose does not have one share for each of {count} spools");
                    found.push(Problem::new(path, what));
                } else if !(dose.volume_mm3.is_finite() && dose.volume_mm3 >= 0.0) {
                    let what = "a volume must be 0 or more";
                    found.push(Problem::new(path.then("volume_mm3"), what));
                }
            }
        }
        found
    }

    fn comments() -> Field {
        let mut top = Field::empty();
        top.build_fields(|fields| {
            for (name, comment) in [
                (
                    "provenance",
                    "What this schedule was made from. Edit the plan, not this file.",
                ),
                ("totals", "Totals of the whole part."),
                ("warnings", "What to know before you print."),
                (
                    "layers",
                    "Layers from the bed up; their doses in print order.",
                ),
            ] {
                fields.field(name).with_doc(comment);
            }
        });
        top
    }
}
