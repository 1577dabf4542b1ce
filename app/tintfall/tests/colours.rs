//! A model's own colours: from the file to the hand-off.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

mod common;

use std::fmt::Write;
use std::fs;
use std::path::Path;

use common::{areas_mm2, painted, run, signed_hand_off, tintfall};

const SPOOLS: &str = r##"(version: 1, spools: [
    (name: "Red", colour: Hex("#b8302a")),
    (name: "White", colour: Hex("#f2efe6")),
])"##;

/// A block of 20 × 20 × 20 mm in OBJ with its materials beside it: two sides red, the others white.
fn with_block() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let block = geometry::solids::cuboid(geometry::DVec3::splat(20.0)).unwrap();
    let mut text = String::from("mtllib block.mtl\n");
    for v in block.vertices() {
        writeln!(text, "v {} {} {}", v.x, v.y, v.z).unwrap();
    }
    for (facet, corners) in block.triangles().iter().enumerate() {
        let red = block.area_vector(facet).x.abs() > 1.0;
        let [a, b, c] = corners.map(|vertex| vertex + 1);
        let material = if red { "red" } else { "white" };
        writeln!(text, "usemtl {material}\nf {a} {b} {c}").unwrap();
    }
    let put = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    put("block.obj", &text);
    put("block.mtl", &materials("0.72"));
    put("spools.ron", SPOOLS);
    folder
}

fn materials(red: &str) -> String {
    format!("newmtl red\nKd {red} 0.19 0.165\nnewmtl white\nKd 0.95 0.937 0.902\n")
}

fn refused(folder: &Path, args: &[&str]) -> String {
    let output = run(folder, args);
    assert!(!output.status.success(), "{args:?}");
    String::from_utf8(output.stderr).unwrap()
}

fn new(folder: &Path) -> String {
    let args = [
        "new",
        "block.obj",
        "--colours",
        "auto",
        "--spools",
        "spools.ron",
        "--replace",
    ];
    tintfall(folder, &args)
}

#[test]
fn inspect_lists_the_colours_by_area() {
    let folder = with_block();
    let folder = folder.path();
    let said = tintfall(folder, &["inspect", "block.obj", "--picture", "strip.png"]);
    assert!(said.contains("2 different"), "{said}");
    assert!(said.contains("66.7 %     1600.0 mm²  #f2efe6"), "{said}");
    assert!(said.contains("33.3 %      800.0 mm²  #b8302a"), "{said}");
    assert!(
        fs::read(folder.join("strip.png"))
            .unwrap()
            .starts_with(b"\x89PNG")
    );
    // Without its materials it is a part like any other.
    fs::remove_file(folder.join("block.mtl")).unwrap();
    let said = tintfall(folder, &["inspect", "block.obj"]);
    assert!(
        said.contains("colours  none") && said.contains("'block.mtl'"),
        "{said}"
    );
    let error = refused(folder, &["inspect", "block.obj", "--picture", "strip.png"]);
    assert!(error.contains("has no colours"), "{error}");
    let error = refused(folder, &["new", "block.obj", "--colours", "3"]);
    assert!(error.contains("has no colours"), "{error}");
}

#[test]
fn the_models_colours_are_prepared_signed_and_handed_over() {
    let folder = with_block();
    let folder = folder.path();
    let said = new(folder);
    assert!(
        said.contains("recommended") && said.contains("Red, 33 %"),
        "{said}"
    );
    let plan = fs::read_to_string(folder.join("block.plan.ron")).unwrap();
    assert!(
        plan.contains("block.mtl") && plan.matches("Colour(").count() == 1,
        "{plan}"
    );
    tintfall(folder, &["prepare", "block.plan.ron", "--out", "out"]);
    let areas = areas_mm2(&painted(folder));
    // The face on the bed counts for nobody.
    // Edges are true to half a piece: of 160 mm of them, 18 mm².
    assert!((areas[1] / 800.0 - 1.0).abs() < 0.025, "{areas:?}");
    assert!((areas[0] / 1200.0 - 1.0).abs() < 0.025, "{areas:?}");

    let bytes = signed_hand_off(folder);
    for name in [&b"source/block.mtl"[..], b"source/block.obj"] {
        assert!(bytes.windows(name.len()).any(|w| w == name));
    }

    fs::write(folder.join("block.mtl"), materials("0.5")).unwrap();
    let error = refused(folder, &["preflight", "block.plan.ron"]);
    assert!(
        error.contains("block.mtl: is not the file that the plan names"),
        "{error}"
    );
}

#[test]
fn a_changed_model_voids_the_signature_and_diff_tells() {
    let folder = with_block();
    let folder = folder.path();
    new(folder);
    // Without hashes, any content will do.
    let plan = fs::read_to_string(folder.join("block.plan.ron")).unwrap();
    let kept = plan.lines().filter(|line| !line.contains("sha256"));
    let text: String = kept.map(|line| format!("{line}\n")).collect();
    let (before, after) = text.split_once("with: [").unwrap();
    let (_, after) = after.split_once("],").unwrap();
    fs::write(folder.join("block.plan.ron"), format!("{before}{after}")).unwrap();
    tintfall(folder, &["sign", "block.plan.ron", "--name", "Ada Keeper"]);
    fs::write(folder.join("block.mtl"), materials("0.5")).unwrap();
    let said = tintfall(folder, &["diff", "block.plan.ron"]);
    assert!(said.contains("something else"), "{said}");
    let args = [
        "handoff",
        "block.plan.ron",
        "--out",
        "block.zip",
        "--require-review",
    ];
    let error = refused(folder, &args);
    assert!(
        error.contains("the pictures, fonts or coloured models"),
        "{error}"
    );
}

#[test]
fn what_makes_no_sense_is_refused_in_words() {
    let folder = with_block();
    let folder = folder.path();
    new(folder);
    let plan = fs::read_to_string(folder.join("block.plan.ron")).unwrap();
    let tried = |from: &str, to: &str| {
        assert!(plan.contains(from), "{plan}");
        fs::write(folder.join("block.plan.ron"), plan.replacen(from, to, 1)).unwrap();
        refused(folder, &["preflight", "block.plan.ron"])
    };
    let error = tried("colour: \"#", "colour: \"#00");
    assert!(error.contains("is not in among"), "{error}");
    let error = tried("among: [", "among: [\"red\", ");
    assert!(error.contains("'red' is no colour"), "{error}");
    let error = tried("finest_mm: (0.45", "finest_mm: (0.0");
    assert!(error.contains("finest_mm is 0"), "{error}");
    let error = refused(folder, &["new", "block.obj", "--colours", "0"]);
    assert!(error.contains("from 1 to 32, or auto"), "{error}");
}

/// A block of 20 mm, or another side, in glTF with its buffer beside it: the JSON and the buffer.
fn gltf_block(side_m: f32) -> (String, Vec<u8>) {
    let block = geometry::solids::cuboid(geometry::DVec3::ONE).unwrap();
    let mut bytes = Vec::new();
    let least = block.bounds().0;
    for v in block.vertices() {
        for part in [v.x - least.x, v.y - least.y, v.z - least.z] {
            bytes.extend((part as f32 * side_m).to_le_bytes());
        }
    }
    let points = bytes.len();
    for corner in block.triangles().iter().flatten() {
        bytes.extend(corner.to_le_bytes());
    }
    let (all, corners) = (bytes.len(), (bytes.len() - points) / 4);
    let count = points / 12;
    let text = format!(
        r#"{{"asset": {{"version": "2.0"}}, "scene": 0, "scenes": [{{"nodes": [0]}}],
        "nodes": [{{"mesh": 0}}],
        "meshes": [{{"primitives": [{{"attributes": {{"POSITION": 0}}, "indices": 1}}]}}],
        "accessors": [
            {{"bufferView": 0, "componentType": 5126, "count": {count}, "type": "VEC3"}},
            {{"bufferView": 1, "componentType": 5125, "count": {corners}, "type": "SCALAR"}}],
        "bufferViews": [
            {{"buffer": 0, "byteLength": {points}}},
            {{"buffer": 0, "byteOffset": {points}, "byteLength": {}}}],
        "buffers": [{{"uri": "the%20shape.bin", "byteLength": {all}}}]}}"#,
        all - points
    );
    (text, bytes)
}

#[test]
fn a_mesh_is_signed_and_handed_over_with_the_buffer_beside_it() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let (text, buffer) = gltf_block(0.02);
    fs::create_dir(folder.join("scan")).unwrap();
    fs::write(folder.join("scan/block.gltf"), text).unwrap();
    fs::write(folder.join("scan/the shape.bin"), buffer).unwrap();
    let new = ["new", "scan/block.gltf", "--out", "block.plan.ron"];
    tintfall(folder, &new);
    let bytes = signed_hand_off(folder);
    for name in [&b"source/scan/the shape.bin"[..], b"source/scan/block.gltf"] {
        assert!(bytes.windows(name.len()).any(|w| w == name));
    }
    let review = fs::read_to_string(folder.join("block.plan.review.ron")).unwrap();
    assert!(review.contains("scan/the shape.bin"), "{review}");

    // Another size: the JSON is the same.
    fs::write(folder.join("scan/the shape.bin"), gltf_block(0.021).1).unwrap();
    let args = [
        "handoff",
        "block.plan.ron",
        "--out",
        "other.zip",
        "--require-review",
    ];
    let error = refused(folder, &args);
    assert!(error.contains("changed since: the mesh"), "{error}");
    let said = tintfall(folder, &["diff", "block.plan.ron"]);
    assert!(said.contains("the file holds another shape"), "{said}");
}
