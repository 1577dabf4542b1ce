//! The mesh file formats.

use std::fmt;

use serde::Serialize;

/// A mesh file format.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum Format {
    /// STL in bytes.
    StlBinary,
    /// STL in words.
    StlText,
    /// Wavefront OBJ.
    Obj,
    /// PLY, in words or bytes.
    Ply,
    /// OFF, in words.
    Off,
    /// 3MF.
    ThreeMf,
    /// glTF in words.
    Gltf,
    /// glTF in bytes.
    Glb,
}

impl Format {
    /// Whether its files say which unit their numbers are in.
    pub fn states_unit(self) -> bool {
        match self {
            Self::StlBinary | Self::StlText | Self::Obj | Self::Ply | Self::Off => false,
            Self::ThreeMf | Self::Gltf | Self::Glb => true,
        }
    }
}

impl fmt::Display for Format {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::StlBinary => "binary STL",
            Self::StlText => "text STL",
            Self::Obj => "OBJ",
            Self::Ply => "PLY",
            Self::Off => "OFF",
            Self::ThreeMf => "3MF",
            Self::Gltf => "glTF",
            Self::Glb => "binary glTF",
        })
    }
}
