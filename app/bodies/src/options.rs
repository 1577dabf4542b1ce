//! What a person can choose.

use plan::Plan;

/// How many blends are stored where the machine file does not say: common practice, no source.
pub const USUAL_TOOLS: usize = 8;
/// The most tools.
pub const MOST_TOOLS: usize = 64;

/// How deep painted areas reach.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Depth {
    /// As the plan says: `skin_mm`.
    #[default]
    Skin,
    /// So many mm.
    Stated(f64),
    /// As deep as the part is: where two skins face each other, bodies meet in the middle.
    Through,
}

/// What is inside, beneath painted areas.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Inside {
    /// The blend of its height: bands and level fades go right through the part.
    #[default]
    Levels,
    /// One blend for all of it, the one that most of the skin has: bands are only as deep as
    /// painted areas.
    Largest,
}

/// What a person can choose.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Options {
    /// How many blends are stored; as the machine file says, or [`USUAL_TOOLS`], unless given.
    pub tools: Option<usize>,
    /// How deep painted areas reach.
    pub depth: Depth,
    /// What is inside.
    pub inside: Inside,
    /// Whether bodies thinner than a line of the nozzle are merged into their neighbours.
    pub merge_thin: bool,
}

impl Options {
    /// How many blends may be stored.
    pub fn most_tools(&self, plan: &Plan) -> usize {
        let asked = self.tools.or(plan.machine.stored_blends);
        asked.unwrap_or(USUAL_TOOLS).clamp(1, MOST_TOOLS)
    }
}
