//! Mesh files, and what is done first with a mesh.

use geometry::Mesh;
use geometry::inspect::Inspection;
use geometry::layers::slice;
use geometry::read::{ReadOptions, read_mesh_bytes};
use package::three_mf::read_back;

use super::Answer;

/// Beyond so many facets only reading is looked at, so that the fuzzer stays quick.
const MOST_FACETS: usize = 2000;

/// Beyond so far from the origin, mm, areas and volumes are beyond all numbers.
const FARTHEST_MM: f64 = 1e90;

/// STL, in bytes or in text.
pub fn read_stl(bytes: &[u8]) -> Answer {
    read("a.stl", bytes)
}

/// OBJ.
pub fn read_obj(bytes: &[u8]) -> Answer {
    read("a.obj", bytes)
}

/// PLY, in bytes or in text.
pub fn read_ply(bytes: &[u8]) -> Answer {
    read("a.ply", bytes)
}

/// 3MF, as a part to be coloured.
pub fn read_3mf(bytes: &[u8]) -> Answer {
    read("a.3mf", bytes)
}

/// 3MF, by the reader that checks what was handed over.
pub fn read_back_3mf(bytes: &[u8]) -> Answer {
    match read_back(bytes) {
        Ok(model) => {
            assert_eq!(read_back(bytes).as_ref().ok(), Some(&model));
            Answer::Read
        }
        Err(_) => Answer::Refused,
    }
}

fn read(name: &str, bytes: &[u8]) -> Answer {
    let mesh = match read_mesh_bytes(name.as_ref(), bytes, &ReadOptions::default()) {
        Ok(reading) => reading.mesh,
        Err(error) => {
            assert!(error.to_string().starts_with(name));
            return Answer::Refused;
        }
    };
    assert!(!mesh.triangles().is_empty());
    assert!(mesh.vertices().iter().all(|v| v.is_finite()));
    let count = mesh.vertices().len();
    let mut corners = mesh.triangles().iter().flatten();
    assert!(corners.all(|&v| (v as usize) < count));
    if mesh.triangles().len() <= MOST_FACETS && count <= MOST_FACETS {
        inspected_and_cut(&mesh);
    }
    Answer::Read
}

/// A mesh in which there is nothing to mend has a volume, and outlines that are closed.
fn inspected_and_cut(mesh: &Mesh) {
    let report = Inspection::of(mesh);
    let (low, high) = mesh.bounds();
    let section = slice(mesh, (low.z + high.z) * 0.5);
    let near = low.abs().max(high.abs()).max_element() < FARTHEST_MM;
    if !report.is_sound() || !near {
        return;
    }
    assert!(report.volume_mm3.is_finite() && section.area_mm2().is_finite());
    assert_eq!(section.open_ends, 0);
    for contour in &section.contours {
        assert!(contour.closed && contour.points_mm.len() >= 3);
        assert!(contour.points_mm.iter().all(|p| p.is_finite()));
    }
}
