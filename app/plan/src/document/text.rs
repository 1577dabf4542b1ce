//! The plan as RON text.

use ron::ser::path_meta::Field;

use super::Plan;
use crate::ron_text::{self, Document, Problem, TextError};

impl Plan {
    /// Version of the plan format that is read and written here.
    pub const VERSION: u32 = 1;

    /// Reads a plan. Files that it names are not read yet; see `Plan::load_files`.
    ///
    /// # Errors
    /// [`TextError`] with every fault found, each with line, column and what to do.
    ///
    /// ```
    /// let wrong = r#"(version: 1, mesh: (file: "cup.stl"), spools: "two.ron",
    ///     layers: (first_layer_mm: 0.2, layer_mm: -0.2),
    ///     regions: [(name: "all", mask: Whole, paint: Fixed([0.5, 0.5]))])"#;
    /// let error = plan::Plan::from_ron(wrong).expect_err("a negative height");
    /// assert!(error.to_string().starts_with("line 2, column 45: "));
    /// ```
    pub fn from_ron(text: &str) -> Result<Self, TextError> {
        let mut plan: Self = ron_text::read(text)?;
        plan.resolve_blends();
        let problems = plan.set_own_letters();
        match problems.is_empty() {
            true => Ok(plan),
            false => Err(ron_text::placed(text, problems)),
        }
    }

    /// Writes a plan with the comments that a newcomer needs; [`Plan::from_ron`] of it gives
    /// the same plan, but for the contents of files that it names.
    ///
    /// # Errors
    /// None for a plan that [`Plan::problems`] finds sound.
    pub fn to_ron(&self) -> Result<String, ron::Error> {
        ron_text::write(self)
    }
}

impl Document for Plan {
    const KIND: &'static str = "plan";
    const VERSION: u32 = Self::VERSION;

    fn version(&self) -> u32 {
        self.version
    }

    fn problems(&self) -> Vec<Problem> {
        self.problems()
    }

    fn comments() -> Field {
        let mut top = Field::empty();
        top.build_fields(|fields| {
            for (name, comment) in COMMENTS {
                fields.field(*name).with_doc(*comment);
            }
        });
        top
    }
}

const COMMENTS: &[(&str, &str)] = &[
    (
        "mesh",
        "The part: a mesh file beside this plan, and how it is set on the bed.",
    ),
    (
        "spools",
        "The spools, in the order of the hotend's inlets, or the name of a file of measured spools.",
    ),
    (
        "machine",
        "What the hotend and its drives can do, or the name of a machine file.",
    ),
    ("layers", "Layer heights, mm."),
    (
        "skin_mm",
        "How deep colour reaches below the surface, mm. Nobody sees plastic deeper than this, so \
         it\n\
         can have any blend.",
    ),
    (
        "wall",
        "The visible wall, if light shines through the spools: its thickness, mm, and the\n\
         reflectance of what is behind it.",
    ),
    (
        "step_de00",
        "Greatest colour difference between neighbouring steps of a fade across a layer.",
    ),
    (
        "filling",
        "How the part is printed inside: walls, line width in mm, solid layers below and above, \
         and\n\
         the share of the inside that is filled (1: solid). It sets how much plastic is counted.",
    ),
    (
        "laying",
        "Where regions share a layer: Flush changes the blend within it, OneBlend uses the one\n\
         blend that suits it best. lead: whether changes are sent early to hide the hotend's \
         lag.\n\
         purge_jumps: true flushes the old blend out where it jumps from one layer to the next.",
    ),
    (
        "regions",
        "The regions, from the base up. A later one covers an earlier one where they meet;\n\
         the first covers everything. Shares follow the order of the spools and add up to 1.",
    ),
];
