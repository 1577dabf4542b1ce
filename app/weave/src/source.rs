//! A toolpath that can be read several times.

use std::io::{self, Read};

use crate::WeaveError;

/// A toolpath that can be read several times.
pub struct Source<'a> {
    /// Opens it at its beginning.
    pub open: &'a dyn Fn() -> io::Result<Box<dyn Read>>,
    /// Its size, bytes.
    pub size_bytes: u64,
}

impl Source<'_> {
    pub(crate) fn read(&self) -> Result<Box<dyn Read>, WeaveError> {
        (self.open)().map_err(WeaveError::Open)
    }
}
