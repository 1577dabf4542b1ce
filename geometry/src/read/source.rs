//! What a format is read from, and what its reader tells beside the mesh.

use std::io::{BufReader, Read, Seek};

use super::Problem;
use super::beside::Beside;
use crate::Progress;
use crate::unit::Unit;

/// What can be read and gone back in: a file, or bytes in memory.
pub(super) trait Bytes: Read + Seek + Send {}

impl<T: Read + Seek + Send> Bytes for T {}

/// An open file, at its beginning.
pub(super) struct Source<'a> {
    pub(super) file: BufReader<Box<dyn Bytes + 'a>>,
    /// Its length in bytes.
    pub(super) length: u64,
    /// What lies beside it.
    pub(super) beside: Beside,
    pub(super) progress: Progress,
}

impl<'a> Source<'a> {
    pub(super) fn new(
        bytes: impl Bytes + 'a,
        length: u64,
        beside: Beside,
        progress: &Progress,
    ) -> Result<Self, Problem> {
        if length == 0 {
            return Err(Problem::Empty);
        }
        Ok(Self {
            file: BufReader::with_capacity(1 << 16, Box::new(bytes)),
            length,
            beside,
            progress: progress.clone(),
        })
    }
}

/// What a format's reader hands back beside what it gave to the builder.
#[derive(Debug, Default)]
pub(super) struct Facts {
    pub(super) objects: usize,
    pub(super) unit: Option<Unit>,
    pub(super) notes: Vec<String>,
    /// The names of the files beside it that were read.
    pub(super) side_files: Vec<String>,
}
