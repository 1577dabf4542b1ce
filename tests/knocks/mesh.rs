//! Mesh files, and what is done first with a mesh.

use geometry::inspect::Inspection;
use geometry::layers::slice;
use geometry::read::{ReadOptions, read_mesh_bytes};
use package::three_mf::read_back;

/// Beyond so many facets only reading is looked at, so that the fuzzer stays quick.
const MOST_FACETS: usize = 2000;

pub(super) fn stl(bytes: &[u8]) {
    read("a.stl", bytes);
}

pub(super) fn obj(bytes: &[u8]) {
    read("a.obj", bytes);
}

pub(super) fn ply(bytes: &[u8]) {
    read("a.ply", bytes);
}

pub(super) fn three_mf(bytes: &[u8]) {
    read("a.3mf", bytes);
}

/// The reader that checks what was handed over.
pub(super) fn three_mf_read_back(bytes: &[u8]) {
    if let Ok(model) = read_back(bytes) {
        assert_eq!(read_back(bytes).as_ref().ok(), Some(&model));
    }
}

fn read(name: &str, bytes: &[u8]) {
    let reading = match read_mesh_bytes(name.as_ref(), bytes, &ReadOptions::default()) {
        Ok(reading) => reading,
        Err(error) => {
            assert!(error.to_string().starts_with(name));
            return;
        }
    };
    let mesh = &reading.mesh;
    assert!(!mesh.triangles().is_empty());
    assert!(mesh.vertices().iter().all(|v| v.is_finite()));
    let count = mesh.vertices().len();
    let corners = mesh.triangles().iter().flatten();
    assert!(corners.into_iter().all(|&v| (v as usize) < count));
    if mesh.triangles().len() <= MOST_FACETS && count <= MOST_FACETS {
        let report = Inspection::of(mesh);
        let (low, high) = mesh.bounds();
        let section = slice(mesh, (low.z + high.z) * 0.5);
        if report.is_sound() && section.area_mm2().is_finite() {
            assert!(section.contours.iter().all(|c| !c.points_mm.is_empty()));
        }
    }
}
