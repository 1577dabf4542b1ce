//! A part of the plan that may stand in a file of its own.

use std::fmt;
use std::marker::PhantomData;
use std::ops::{Deref, DerefMut};

use serde::de::value::{MapAccessDeserializer, SeqAccessDeserializer};
use serde::de::{Error, MapAccess, SeqAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// A value, and the file that it came from, if it stands in one.
///
/// In a plan it is written either out in full or as the file's name in quotation marks,
/// relative to the plan's folder. A named file's value is the default until
/// `Plan::load_files` has read it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct External<T> {
    /// The file, or `None` when the value stands in the plan itself.
    pub file: Option<String>,
    /// The value.
    pub value: T,
}

impl<T> External<T> {
    /// A value that is to be read from a file.
    pub fn named(file: impl Into<String>) -> Self
    where
        T: Default,
    {
        Self {
            file: Some(file.into()),
            value: T::default(),
        }
    }
}

impl<T> From<T> for External<T> {
    fn from(value: T) -> Self {
        Self { file: None, value }
    }
}

impl<T> Deref for External<T> {
    type Target = T;

    fn deref(&self) -> &T {
        &self.value
    }
}

impl<T> DerefMut for External<T> {
    fn deref_mut(&mut self) -> &mut T {
        &mut self.value
    }
}

impl<T: Serialize> Serialize for External<T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match &self.file {
            Some(file) => serializer.serialize_str(file),
            None => self.value.serialize(serializer),
        }
    }
}

impl<'de, T: Deserialize<'de> + Default> Deserialize<'de> for External<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(HereOrFile(PhantomData))
    }
}

struct HereOrFile<T>(PhantomData<T>);

impl<'de, T: Deserialize<'de> + Default> Visitor<'de> for HereOrFile<T> {
    type Value = External<T>;

    fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str("the values themselves, or a file name in quotation marks")
    }

    fn visit_str<E: Error>(self, file: &str) -> Result<Self::Value, E> {
        Ok(External::named(file))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, list: A) -> Result<Self::Value, A::Error> {
        T::deserialize(SeqAccessDeserializer::new(list)).map(External::from)
    }

    fn visit_map<A: MapAccess<'de>>(self, fields: A) -> Result<Self::Value, A::Error> {
        T::deserialize(MapAccessDeserializer::new(fields)).map(External::from)
    }

    // RON's empty brackets `()`: every field at its default.
    fn visit_unit<E: Error>(self) -> Result<Self::Value, E> {
        Ok(T::default().into())
    }
}
