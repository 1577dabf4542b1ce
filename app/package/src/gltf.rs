//! glTF 2.0, binary: the predicted colours for any viewer of models.
//!
//! Source: Khronos Group, glTF 2.0 Specification (ISO/IEC 12113:2022). Lengths are metres and y
//! is up; vertex colours are linear. The material is rough and no metal, so that a viewer's
//! light does little to the colour.

use std::io::{self, Write};

use serde_json::json;

use crate::coloured::Coloured;

/// Numbers of the specification: element kinds, buffer targets, the triangle mode.
const FLOAT: u32 = 5126;
const UNSIGNED_SHORT: u32 = 5123;
const UNSIGNED_INT: u32 = 5125;
const VERTICES: u32 = 34962;
const INDICES: u32 = 34963;
const TRIANGLES: u32 = 4;

/// Writes a part as one binary glTF file.
///
/// # Errors
/// What the writer says; [`io::ErrorKind::InvalidInput`] for a part of more than 4 GiB.
pub fn write_glb(part: &Coloured, title: &str, note: &str, out: &mut dyn Write) -> io::Result<()> {
    let positions: Vec<[f32; 3]> = part
        .vertices
        .iter()
        .map(|v| [v.x, v.z, -v.y].map(|mm| (mm * 1e-3) as f32))
        .collect();
    let mut bytes = Vec::with_capacity(positions.len() * 20 + part.triangles.len() * 12);
    for value in positions.iter().flatten() {
        bytes.extend(value.to_le_bytes());
    }
    let colours = bytes.len();
    for [r, g, b] in &part.linear {
        for value in [*r, *g, *b, 1.0] {
            let level = (value.clamp(0.0, 1.0) * 65535.0).round() as u16;
            bytes.extend(level.to_le_bytes());
        }
    }
    let indices = bytes.len();
    for corner in part.triangles.iter().flatten() {
        bytes.extend(corner.to_le_bytes());
    }
    let bound = |pick: fn(f32, f32) -> f32, start: f32| {
        positions.iter().fold([start; 3], |all, p| {
            [0, 1, 2].map(|axis: usize| pick(all[axis], p[axis]))
        })
    };
    let count = positions.len();
    let head = json!({
        "asset": {
            "version": "2.0",
            "generator": concat!("Tintfall ", env!("CARGO_PKG_VERSION")),
            "extras": { "note": note },
        },
        "scene": 0,
        "scenes": [{ "nodes": [0] }],
        "nodes": [{ "mesh": 0, "name": title }],
        "materials": [{
            "name": "Printed plastic",
            "pbrMetallicRoughness": { "metallicFactor": 0.0, "roughnessFactor": 1.0 },
        }],
        "meshes": [{ "name": title, "primitives": [{
            "attributes": { "POSITION": 0, "COLOR_0": 1 },
            "indices": 2, "material": 0, "mode": TRIANGLES,
        }]}],
        "accessors": [
            { "bufferView": 0, "componentType": FLOAT, "count": count, "type": "VEC3",
              "min": bound(f32::min, f32::INFINITY), "max": bound(f32::max, f32::NEG_INFINITY) },
            { "bufferView": 1, "componentType": UNSIGNED_SHORT, "normalized": true,
              "count": count, "type": "VEC4" },
            { "bufferView": 2, "componentType": UNSIGNED_INT,
              "count": part.triangles.len() * 3, "type": "SCALAR" },
        ],
        "bufferViews": [
            { "buffer": 0, "byteOffset": 0, "byteLength": colours, "target": VERTICES },
            { "buffer": 0, "byteOffset": colours, "byteLength": indices - colours,
              "target": VERTICES },
            { "buffer": 0, "byteOffset": indices, "byteLength": bytes.len() - indices,
              "target": INDICES },
        ],
        "buffers": [{ "byteLength": bytes.len() }],
    });
    let mut head = serde_json::to_vec(&head)?;
    head.resize(head.len().next_multiple_of(4), b' ');
    bytes.resize(bytes.len().next_multiple_of(4), 0);
    let length = |count: usize| {
        let large = || io::Error::new(io::ErrorKind::InvalidInput, "the part is too large");
        u32::try_from(count).map_err(|_| large())
    };
    out.write_all(b"glTF")?;
    out.write_all(&2u32.to_le_bytes())?;
    out.write_all(&length(12 + 8 + head.len() + 8 + bytes.len())?.to_le_bytes())?;
    for (kind, chunk) in [(b"JSON", &head), (b"BIN\0", &bytes)] {
        out.write_all(&length(chunk.len())?.to_le_bytes())?;
        out.write_all(kind)?;
        out.write_all(chunk)?;
    }
    Ok(())
}
