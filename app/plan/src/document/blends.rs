//! Blends that a plan names, so that several regions can have one and change with it.

use blend::Shares;
use serde::{Deserialize, Serialize};

use super::{Paint, Plan};

/// A blend with a name.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NamedBlend {
    /// The user's name for it; no two blends of a plan have the same.
    pub name: String,
    /// What it is.
    pub shares: Shares,
}

impl Plan {
    /// The blend of a name.
    pub fn blend_named(&self, name: &str) -> Option<&NamedBlend> {
        self.blends.iter().find(|blend| blend.name == name)
    }

    /// Gives each region that names a blend its shares. Names that the plan does not have are
    /// left as they are: [`Plan::problems`] tells them.
    pub(crate) fn resolve_blends(&mut self) {
        for region in &mut self.regions {
            if let Paint::Blend(named) = &mut region.paint
                && let Some(blend) = self.blends.iter().find(|b| b.name == named.name)
            {
                named.shares = blend.shares;
            }
        }
    }
}

/// A region names its blend, and the plan's list alone says what that is.
pub(super) mod by_name {
    use serde::{Deserializer, Serializer};

    use super::{Deserialize, NamedBlend, Shares};

    pub(in crate::document) fn serialize<S: Serializer>(
        blend: &NamedBlend,
        serializer: S,
    ) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&blend.name)
    }

    pub(in crate::document) fn deserialize<'de, D: Deserializer<'de>>(
        deserializer: D,
    ) -> Result<NamedBlend, D::Error> {
        Ok(NamedBlend {
            name: String::deserialize(deserializer)?,
            // Until the whole plan is read.
            shares: Shares::SINGLE,
        })
    }
}
