//! Mesh files, and what is done first with a mesh.

use std::io::{Cursor, Write};
use std::sync::Arc;

use colours::Model;
use geometry::inspect::Inspection;
use geometry::layers::slice;
use geometry::mend::mend;
use geometry::read::{ReadOptions, Reading, read_mesh, read_mesh_bytes};
use geometry::{Mesh, Progress, Surface};
use package::three_mf::read_back;
use zip::write::SimpleFileOptions;

use super::Answer;

/// Beyond so many facets only reading is looked at, so that the fuzzer stays quick.
const MOST_FACETS: usize = 2000;

/// As many facets are mended; uniting takes longer.
const MOST_MENDED: usize = 60;

/// Meshes that reach farther than this, mm, are not mended here: differences are lost there.
const FARTHEST_MENDED_MM: f64 = 1e6;

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

/// glTF in words.
pub fn read_gltf(bytes: &[u8]) -> Answer {
    read("a.gltf", bytes)
}

/// glTF in bytes.
pub fn read_glb(bytes: &[u8]) -> Answer {
    read("a.glb", bytes)
}

/// The materials beside an OBJ file. No texture lies beside them.
pub fn read_mtl(bytes: &[u8]) -> Answer {
    const SHAPE: &str =
        "mtllib a.mtl\nv 0 0 0\nv 1 0 0\nv 0 1 0\nvt 0 0\nusemtl a\nf 1/1 2/1 3/1\n";
    let Ok(folder) = tempfile::tempdir() else {
        return Answer::Refused;
    };
    let file = folder.path().join("a.obj");
    let written = std::fs::write(&file, SHAPE)
        .and_then(|()| std::fs::write(folder.path().join("a.mtl"), bytes));
    if written.is_err() {
        return Answer::Refused;
    }
    let reading = match read_mesh(&file, &with_looks()) {
        Ok(reading) => reading,
        Err(error) => panic!("materials spoil no shape: {error}"),
    };
    assert_eq!(reading.mesh.triangles().len(), 1);
    match looked_at(&reading) {
        true => Answer::Read,
        false => Answer::Refused,
    }
}

/// 3MF, as a part to be coloured.
pub fn read_3mf(bytes: &[u8]) -> Answer {
    read("a.3mf", bytes)
}

/// OFF.
pub fn read_off(bytes: &[u8]) -> Answer {
    read("a.off", bytes)
}

/// The model within a 3MF package, in UTF-8 or UTF-16: the package about it is made here, for no
/// fuzzer guesses its checksums.
pub fn read_3mf_model(bytes: &[u8]) -> Answer {
    let mut package = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let stored = SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    let written = package
        .start_file("3D/3dmodel.model", stored)
        .map_err(|_| ())
        .and_then(|()| package.write_all(bytes).map_err(|_| ()))
        .and_then(|()| package.finish().map_err(|_| ()));
    match written {
        Ok(package) => read("a.3mf", &package.into_inner()),
        Err(()) => Answer::Refused,
    }
}

/// A mesh in OFF, mended: what comes out is sound, and is not mended again.
pub fn mend_mesh(bytes: &[u8]) -> Answer {
    let Ok(reading) = read_mesh_bytes("a.off".as_ref(), bytes, &ReadOptions::default()) else {
        return Answer::Refused;
    };
    let mesh = reading.mesh;
    let (low, high) = mesh.bounds();
    let far = low.abs().max(high.abs()).max_element() > FARTHEST_MENDED_MM;
    if far || mesh.triangles().len() > MOST_MENDED {
        return Answer::Refused;
    }
    let Ok(mended) = mend(&mesh, &Progress::new()) else {
        return Answer::Refused;
    };
    let seen = Inspection::of(&mended.mesh);
    assert!(seen.is_closed(), "{:?}", seen.findings());
    assert!(mended.mesh.volume_mm3() > 0.0, "{:?}", seen.findings());
    Answer::Read
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
    let reading = match read_mesh_bytes(name.as_ref(), bytes, &with_looks()) {
        Ok(reading) => reading,
        Err(error) => {
            assert!(error.to_string().starts_with(name));
            return Answer::Refused;
        }
    };
    looked_at(&reading);
    let plain = read_mesh_bytes(name.as_ref(), bytes, &ReadOptions::default());
    assert!(plain.is_ok_and(|plain| plain.mesh == reading.mesh));
    let mesh = reading.mesh;
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

fn with_looks() -> ReadOptions {
    ReadOptions {
        appearance: true,
        ..ReadOptions::default()
    }
}

/// Looks at the colours of a mesh, if it has any: whether some facet has one.
fn looked_at(reading: &Reading) -> bool {
    let Some(appearance) = &reading.appearance else {
        return false;
    };
    let facets = reading.mesh.triangles().len().min(MOST_FACETS);
    let surface = Surface::new(Arc::new(reading.mesh.clone()));
    let model = Model::new(surface, appearance.clone());
    let mut found = false;
    for facet in 0..facets {
        for weights in [[1.0, 0.0, 0.0], [0.2, 0.3, 0.5]] {
            found |= model.colour(facet, weights).is_some();
        }
    }
    assert!(appearance.look(usize::MAX).is_none());
    found
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
