//! What is chosen in the open plan.

use std::collections::BTreeSet;

use blend::Srgb;

/// What is chosen.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Chosen {
    /// A region: the one whose blend is shown.
    pub region: Option<usize>,
    /// Regions that are selected with it.
    pub also: BTreeSet<usize>,
    /// A stop of its fade.
    pub stop: Option<usize>,
    /// Components whose share is held while others are set.
    pub held: Vec<bool>,
    /// The region whose name is being typed, and the text.
    pub naming: Option<(usize, String)>,
}

/// A colour whose closest blend is looked for, and the text of its field.
#[derive(Clone, Debug, PartialEq)]
pub struct Wanted {
    /// The colour.
    pub colour: Srgb,
    /// What stands in the field: not always a colour while it is being typed.
    pub text: String,
}

impl Wanted {
    /// A colour, written out.
    pub fn colour(colour: Srgb) -> Self {
        Self {
            colour,
            text: colour.to_string(),
        }
    }

    /// What was typed; the colour stays the last one that could be read.
    pub fn typed(self, text: String) -> Self {
        Self {
            colour: text.trim().parse().unwrap_or(self.colour),
            text,
        }
    }
}

impl Default for Wanted {
    fn default() -> Self {
        Self::colour(Srgb([0x7f; 3]))
    }
}
