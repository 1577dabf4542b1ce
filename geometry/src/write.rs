//! Mesh files made from meshes, as bytes: OBJ and PLY, which keep every digit. For STL see
//! [`crate::read::mesh_to_stl`].

use std::fmt::Write as _;

use crate::Mesh;

/// A mesh as a Wavefront OBJ file's bytes; objects keep their names.
///
/// ```
/// use geometry::read::{ReadOptions, read_mesh_bytes};
/// let ball = geometry::solids::icosphere(3.0, 1)?;
/// let bytes = geometry::write::mesh_to_obj(&ball);
/// let back = read_mesh_bytes("ball.obj".as_ref(), &bytes, &ReadOptions::default())?;
/// assert_eq!(back.mesh, ball);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn mesh_to_obj(mesh: &Mesh) -> Vec<u8> {
    let mut text = String::new();
    // Writing to memory has no way to fail.
    for p in mesh.vertices() {
        let _ = writeln!(text, "v {} {} {}", p.x, p.y, p.z);
    }
    let mut object = None;
    for (facet, [a, b, c]) in mesh.triangles().iter().enumerate() {
        let of_facet = mesh.groups().of_facet(facet);
        if of_facet != object {
            let (name, group) = of_facet.unwrap_or_default();
            let _ = writeln!(text, "o {name}");
            if !group.is_empty() {
                let _ = writeln!(text, "g {group}");
            }
            object = of_facet;
        }
        let _ = writeln!(text, "f {} {} {}", a + 1, b + 1, c + 1);
    }
    text.into_bytes()
}

/// A mesh as a PLY file's bytes: numbers of eight bytes, the least first.
///
/// ```
/// use geometry::read::{ReadOptions, read_mesh_bytes};
/// let ball = geometry::solids::icosphere(3.0, 1)?;
/// let bytes = geometry::write::mesh_to_ply(&ball);
/// let back = read_mesh_bytes("ball.ply".as_ref(), &bytes, &ReadOptions::default())?;
/// assert_eq!(back.mesh, ball);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn mesh_to_ply(mesh: &Mesh) -> Vec<u8> {
    let (vertices, facets) = (mesh.vertices(), mesh.triangles());
    let mut bytes = format!(
        "ply\nformat binary_little_endian 1.0\nelement vertex {}\nproperty double x\nproperty \
         double y\nproperty double z\nelement face {}\nproperty list uchar uint \
         vertex_indices\nend_header\n",
        vertices.len(),
        facets.len()
    )
    .into_bytes();
    bytes.reserve(24 * vertices.len() + 13 * facets.len());
    for p in vertices {
        for x in p.to_array() {
            bytes.extend(x.to_le_bytes());
        }
    }
    for facet in facets {
        bytes.push(3);
        for vertex in facet {
            bytes.extend(vertex.to_le_bytes());
        }
    }
    bytes
}
