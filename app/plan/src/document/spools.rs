//! The spools of a plan, and what was measured of them.

use std::ops::{Deref, DerefMut};

use blend::calibrate::DocumentError;
use blend::{MeasuredSpools, Spool};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::External;
use crate::ron_text::{Document, Path, Problem};

/// Spools in the order of the hotend's components; where they come from a file of measured
/// spools, with the fit that belongs to them.
///
/// In a plan's own text it is a list of spools.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SpoolSet {
    /// The spools.
    pub list: Vec<Spool>,
    /// The file of measured spools that they came from, if they did.
    pub measured: Option<MeasuredSpools>,
}

impl Deref for SpoolSet {
    type Target = Vec<Spool>;

    fn deref(&self) -> &Vec<Spool> {
        &self.list
    }
}

impl DerefMut for SpoolSet {
    fn deref_mut(&mut self) -> &mut Vec<Spool> {
        &mut self.list
    }
}

impl From<Vec<Spool>> for SpoolSet {
    fn from(list: Vec<Spool>) -> Self {
        Self {
            list,
            measured: None,
        }
    }
}

impl From<MeasuredSpools> for SpoolSet {
    fn from(measured: MeasuredSpools) -> Self {
        Self {
            list: measured.spools.clone(),
            measured: Some(measured),
        }
    }
}

impl From<Vec<Spool>> for External<SpoolSet> {
    fn from(list: Vec<Spool>) -> Self {
        SpoolSet::from(list).into()
    }
}

impl Serialize for SpoolSet {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.list.serialize(serializer)
    }
}

impl<'de> Deserialize<'de> for SpoolSet {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Vec::deserialize(deserializer).map(Self::from)
    }
}

impl Document for MeasuredSpools {
    const KIND: &'static str = "file of measured spools";
    const VERSION: u32 = blend::calibrate::VERSION;
    const OLDEST: u32 = blend::calibrate::OLDEST_VERSION;

    fn version(&self) -> u32 {
        self.version
    }

    fn problems(&self) -> Vec<Problem> {
        let problem = |error: DocumentError| Problem::new(Path::default(), error.to_string());
        self.check().err().map(problem).into_iter().collect()
    }
}
