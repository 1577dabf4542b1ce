//! A nozzle that hears a file's commands and lays what its melt chamber makes of them.

use blend::Shares;
use plan::machine::Chamber;
use toolpath::Line;

use super::chamber::Melt;
use crate::dialect::{Dialect, DialectError, Heard, Listener};

/// A nozzle on its way through a file.
#[derive(Clone, Debug)]
pub struct Nozzle {
    listener: Listener,
    chamber: Chamber,
    melt: Option<Melt>,
    fed: Option<Shares>,
}

impl Nozzle {
    /// A nozzle that understands a dialect, before any command.
    ///
    /// # Errors
    /// [`DialectError`].
    pub fn new(
        dialect: &Dialect,
        components: usize,
        chamber: Chamber,
    ) -> Result<Self, DialectError> {
        Ok(Self {
            listener: Listener::new(dialect, components)?,
            chamber,
            melt: None,
            fed: None,
        })
    }

    /// Hears one line. From the first change on, the chamber is taken to be full of the first
    /// blend: a print is begun with its first blend drawn through.
    pub fn hear(&mut self, line: &Line<'_>) -> Heard {
        let heard = self.listener.hear(line);
        if let Heard::Change(shares) = heard {
            if self.melt.is_none() {
                self.melt = Some(Melt::new(self.chamber, shares));
            }
            self.fed = Some(shares);
        }
        heard
    }

    /// The blend that is fed; `None` before the first command.
    pub fn fed(&self) -> Option<Shares> {
        self.fed
    }

    /// Lays a volume, mm³, and gives its mean blend; `None` before the first command.
    pub fn lay(&mut self, volume_mm3: f64) -> Option<Shares> {
        let fed = self.fed?;
        let melt = self.melt.as_mut()?;
        Some(melt.push(&fed, volume_mm3))
    }
}
