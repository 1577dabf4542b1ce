//! PLY, binary: the predicted colours for any viewer of models.
//!
//! Source: G. Turk, "The PLY Polygon File Format", 1994, from memory. Lengths are mm, z is up,
//! and colours are 8-bit sRGB, as viewers take them (common practice, no source).

use std::io::{self, Write};

use blend::Xyz;

use crate::coloured::Coloured;

/// Writes a part as binary PLY.
///
/// # Errors
/// What the writer says.
pub fn write_ply(part: &Coloured, note: &str, out: &mut dyn Write) -> io::Result<()> {
    let note: String = note
        .chars()
        .map(|c| if c.is_ascii_graphic() { c } else { ' ' })
        .collect();
    write!(
        out,
        "ply\nformat binary_little_endian 1.0\ncomment {note}\ncomment lengths in mm, colours as \
         printed\nelement vertex {}\nproperty float x\nproperty float y\nproperty float \
         z\nproperty uchar red\nproperty uchar green\nproperty uchar blue\nelement face \
         {}\nproperty list uchar uint vertex_indices\nend_header\n",
        part.vertices.len(),
        part.triangles.len()
    )?;
    for (place, linear) in part.vertices.iter().zip(&part.linear) {
        for value in place.to_array() {
            out.write_all(&(value as f32).to_le_bytes())?;
        }
        out.write_all(&Xyz::from_linear_srgb(*linear).to_srgb().0)?;
    }
    for triangle in &part.triangles {
        out.write_all(&[3])?;
        for corner in triangle {
            out.write_all(&corner.to_le_bytes())?;
        }
    }
    Ok(())
}
