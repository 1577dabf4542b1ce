//! How facets look, by format, and glTF files that are odd or hostile.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use data_encoding::BASE64;
use geometry::appearance::{Appearance, Coding, Wrap};
use geometry::read::{Format, ReadOptions, Reading, read_mesh_bytes};
use serde_json::{Value, json};

fn read(name: &str, bytes: &[u8]) -> Result<Reading, String> {
    let options = ReadOptions {
        appearance: true,
        ..ReadOptions::default()
    };
    read_mesh_bytes(name.as_ref(), bytes, &options).map_err(|error| error.to_string())
}

fn looks(name: &str, bytes: &[u8]) -> (Reading, Appearance) {
    let mut reading = read(name, bytes).unwrap();
    let appearance = reading.appearance.take().unwrap();
    (reading, appearance)
}

/// A triangle of 10 mm in glTF, with two vertices more, and its document for tests to change.
fn triangle() -> Value {
    let mut bytes = Vec::new();
    for value in [
        0.0f32, 0.0, 0.0, 0.01, 0.0, 0.0, 0.0, 0.01, 0.0, 0.0, 0.0, 0.01, 0.01, 0.01, 0.0,
    ] {
        bytes.extend(value.to_le_bytes());
    }
    bytes.extend([0u8, 1, 2, 3]);
    bytes.extend([
        255u8, 0, 0, 255, 0, 255, 0, 255, 0, 0, 255, 255, 9, 9, 9, 9, 1, 1, 1, 1,
    ]);
    let uri = format!(
        "data:application/octet-stream;base64,{}",
        BASE64.encode(&bytes)
    );
    json!({
        "asset": { "version": "2.0" },
        "nodes": [{ "mesh": 0, "name": "leaf" }],
        "scenes": [{ "nodes": [0] }],
        "meshes": [{ "primitives": [{ "attributes": { "POSITION": 0, "COLOR_0": 2 }, "indices": 1 }] }],
        "accessors": [
            { "bufferView": 0, "componentType": 5126, "count": 5, "type": "VEC3" },
            { "bufferView": 1, "componentType": 5121, "count": 3, "type": "SCALAR" },
            { "bufferView": 2, "componentType": 5121, "normalized": true, "count": 5, "type": "VEC4" },
        ],
        "bufferViews": [
            { "buffer": 0, "byteOffset": 0, "byteLength": 60 },
            { "buffer": 0, "byteOffset": 60, "byteLength": 4 },
            { "buffer": 0, "byteOffset": 64, "byteLength": 20 },
        ],
        "buffers": [{ "byteLength": 84, "uri": uri }],
    })
}

fn changed(change: impl FnOnce(&mut Value)) -> Result<Reading, String> {
    let mut document = triangle();
    change(&mut document);
    read("a.gltf", document.to_string().as_bytes())
}

#[test]
fn gltf_is_in_metres_with_y_up_and_linear_colours() {
    let (reading, appearance) = looks("a.gltf", triangle().to_string().as_bytes());
    assert_eq!(
        (reading.format, reading.unit.name()),
        (Format::Gltf, "metres")
    );
    let corners = reading.mesh.corners(0);
    assert!(
        (corners[2] - geometry::DVec3::new(0.0, 0.0, 10.0)).length() < 1e-5,
        "{corners:?}"
    );
    assert_eq!(
        (appearance.coding, appearance.between),
        (Coding::Linear, Coding::Linear)
    );
    let colours = appearance.look(0).colours.unwrap();
    assert_eq!(colours, [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]);
    assert_eq!(reading.mesh.groups().names(), ["leaf"]);
    // Without being asked, nobody looks at colours.
    let bytes = triangle().to_string();
    let plain = read_mesh_bytes("a.gltf".as_ref(), bytes.as_bytes(), &ReadOptions::default());
    assert_eq!(plain.unwrap().appearance, None);
}

#[test]
fn mirrored_nodes_keep_their_facets_outside_and_their_colours_in_place() {
    let mirrored = changed(|d| d["nodes"][0]["scale"] = json!([-1.0, 1.0, 1.0])).unwrap();
    let plain = changed(|_| {}).unwrap();
    let mirror = |p: geometry::DVec3| geometry::DVec3::new(-p.x, p.y, p.z);
    let (area, other) = (plain.mesh.area_vector(0), mirrored.mesh.area_vector(0));
    // A mirrored facet faces as its mirror image does.
    assert!((mirror(area) - other).length() < 1e-9, "{area} {other}");
    let appearance = mirrored.appearance.unwrap();
    for (corner, colour) in mirrored
        .mesh
        .corners(0)
        .iter()
        .zip(appearance.look(0).colours.unwrap())
    {
        let red = corner.length() < 1e-9;
        assert_eq!(red, colour[0] == 1.0, "{corner} {colour:?}");
        assert_eq!(corner.x < -5.0, colour[1] == 1.0);
    }
}

#[test]
fn strips_and_fans_are_cut_as_the_specification_says() {
    let with_mode = |mode: u32| {
        changed(|d| {
            d["meshes"][0]["primitives"][0]["mode"] = json!(mode);
            d["accessors"][1]["count"] = json!(4);
        })
        .unwrap()
        .mesh
    };
    let vertices = |mesh: &geometry::Mesh| mesh.triangles().to_vec();
    assert_eq!(vertices(&with_mode(5)), [[0, 1, 2], [1, 3, 2]]);
    assert_eq!(vertices(&with_mode(6)), [[1, 2, 0], [2, 3, 0]]);
    let points = changed(|d| d["meshes"][0]["primitives"][0]["mode"] = json!(0));
    assert!(points.unwrap_err().contains("has no facets"));
}

#[test]
fn what_is_packed_or_broken_is_told_in_words() {
    let refused = |change: &dyn Fn(&mut Value), words: &str| {
        let error = changed(change).unwrap_err();
        assert!(
            error.starts_with("a.gltf: ") && error.contains(words),
            "{error}"
        );
    };
    let needs = |name: &'static str| move |d: &mut Value| d["extensionsRequired"] = json!([name]);
    refused(&needs("KHR_draco_mesh_compression"), "packed with Draco");
    refused(&needs("EXT_meshopt_compression"), "packed with meshopt");
    refused(
        &needs("EXT_mesh_gpu_instancing"),
        "'EXT_mesh_gpu_instancing'",
    );
    refused(&|d| d["accessors"][0]["sparse"] = json!({}), "sparse");
    refused(
        &|d| d["accessors"][0]["count"] = json!(u64::MAX),
        "do not fit",
    );
    refused(
        &|d| d["accessors"][0]["byteOffset"] = json!(u64::MAX),
        "do not fit",
    );
    refused(
        &|d| d["bufferViews"][0]["byteStride"] = json!(4),
        "do not fit",
    );
    refused(
        &|d| d["bufferViews"][0]["byteLength"] = json!(85),
        "beyond its buffer",
    );
    refused(&|d| d["buffers"][0]["byteLength"] = json!(85), "cut short");
    refused(
        &|d| d["buffers"][0]["uri"] = json!("a.bin"),
        "does not lie beside it",
    );
    refused(&|d| d["nodes"][0]["children"] = json!([0]), "twice");
    refused(&|d| d["nodes"][0]["children"] = json!([7]), "node 7");
    refused(&|d| d["nodes"][0]["mesh"] = json!(7), "mesh 7");
    refused(
        &|d| d["nodes"][0]["scale"] = json!([1e308, 1e308, 1e308]),
        "finite",
    );
    refused(
        &|d| d["meshes"][0]["primitives"][0]["indices"] = json!(0),
        "whole numbers",
    );
    refused(
        &|d| d["meshes"][0]["primitives"][0]["material"] = json!(0),
        "material 0",
    );
    refused(&|d| d["asset"]["version"] = json!("1.0"), "version '1.0'");
    refused(&|d| d["accessors"][1] = json!(null), "JSON");
    let many = |d: &mut Value| {
        d["nodes"] = (0..200_000).map(|_| json!({ "mesh": 0 })).collect();
        d["scenes"][0]["nodes"] = (0..200_000).map(|n| json!(n)).collect();
        d["accessors"][0] =
            json!({ "bufferView": 3, "componentType": 5121, "count": 100_000, "type": "VEC3" });
        let uri = format!("data:;base64,{}", BASE64.encode(&vec![0; 300_000]));
        let more = |list: &mut Value, one: Value| list.as_array_mut().unwrap().push(one);
        more(
            &mut d["bufferViews"],
            json!({ "buffer": 1, "byteLength": 300_000 }),
        );
        more(
            &mut d["buffers"],
            json!({ "byteLength": 300_000, "uri": uri }),
        );
    };
    // Each of a great many nodes places a mesh of 100,000 vertices.
    let error = changed(many).unwrap_err();
    assert!(
        error.contains("outgrow the file") || error.contains("JSON"),
        "{error}"
    );
    let error = read("a.glb", b"glTF\x01\0\0\0\x20\0\0\0").unwrap_err();
    assert!(error.contains("another version"), "{error}");
    let error = read("a.glb", b"glTF\x02\0\0\0\x20\0\0\0\xff\xff\xff\xffJSON").unwrap_err();
    assert!(error.contains("ends in the middle"), "{error}");
    let error = read("a.gltf", b"no").unwrap_err();
    assert!(error.contains("curly bracket"), "{error}");
}

#[test]
fn a_face_of_ply_comes_before_its_vertices() {
    let text = "ply\nformat ascii 1.0\nelement face 2\nproperty list uchar int vertex_indices\n\
        property uchar red\nproperty uchar green\nproperty uchar blue\nelement vertex 4\n\
        property float x\nproperty float y\nproperty float z\nproperty float red\nproperty float green\n\
        property float blue\nend_header\n3 0 1 2 255 0 51\n3 0 2 3 0 0 0\n\
        0 0 0 0 0 0.5\n1 0 0 0 0 0.5\n1 1 0 0 0 0.5\n0 1 1 nan 0 0.5\n";
    let (_, appearance) = looks("a.ply", text.as_bytes());
    assert_eq!(appearance.look(0).colours, Some([[1.0, 0.0, 0.2]; 3]));
    let text = text.replace(
        "property uchar red\nproperty uchar green\nproperty uchar blue\n",
        "",
    );
    let text = text
        .replace(" 255 0 51", "")
        .replace("3 0 2 3 0 0 0", "3 0 2 3");
    let (_, appearance) = looks("a.ply", text.as_bytes());
    assert_eq!(appearance.look(0).colours, Some([[0.0, 0.0, 0.5]; 3]));
    // One of its vertices has no whole colour.
    assert!(appearance.look(1).is_none());
}

#[test]
fn obj_has_colours_of_vertices_and_materials_beside_it() {
    let text = "mtllib a.mtl\nv 0 0 0 1 0 0\nv 1 0 0 0 1 0\nv 0 1 0 1.0 0 0 1\nv 0 0 1\nf 1 2 3\nf 1 3 4\n";
    let (reading, appearance) = looks("a.obj", text.as_bytes());
    let colours = appearance.look(0).colours.unwrap();
    assert_eq!(colours, [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]);
    assert!(appearance.look(1).is_none());
    assert!(
        reading.notes[0].contains("'a.mtl', does not lie beside it"),
        "{:?}",
        reading.notes
    );

    let folder = tempfile::tempdir().unwrap();
    let put = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
    put(
        "a.obj",
        "mtllib my paints.mtl\nv 0 0 0\nv 1 0 0\nv 0 1 0\nv 0 0 1\nvt 0.25 0.75\nvt 1 0\n\
        usemtl red one\nf 1 2 3\nusemtl skin\nf 1/1 3/2 -1/-1\nusemtl none\nf 2 3 4\n",
    );
    put(
        "my paints.mtl",
        "newmtl red one\nKd 0.8 0.25 0.125\nnewmtl skin\nKd 0 0 0\n\
        map_Kd -clamp on C:\\maps\\skin.png\nnewmtl bare\nmap_Kd gone.png\n",
    );
    put("skin.png", "not looked at");
    let options = ReadOptions {
        appearance: true,
        ..ReadOptions::default()
    };
    let reading = geometry::read::read_mesh(&folder.path().join("a.obj"), &options).unwrap();
    assert_eq!(reading.side_files, ["my paints.mtl", "skin.png"]);
    let told = reading.notes.join("\n");
    assert!(
        told.contains("'gone.png'") && told.contains("no file beside the mesh describes"),
        "{told}"
    );
    let appearance = reading.appearance.unwrap();
    let material =
        |facet: usize| appearance.materials[appearance.look(facet).material.unwrap() as usize];
    assert_eq!(material(0).colour, [0.8, 0.25, 0.125]);
    assert_eq!(
        (material(1).colour, material(1).wrap),
        ([1.0; 3], [Wrap::Clamp; 2])
    );
    assert_eq!(material(1).texture, Some(0));
    // They count from the top.
    assert_eq!(
        appearance.look(1).places,
        Some([[0.25, 0.25], [1.0, 1.0], [1.0, 1.0]])
    );
    assert_eq!(*appearance.textures[0].bytes, b"not looked at");
    assert!(appearance.look(2).is_none());
}

#[test]
fn looks_stay_with_their_facets_when_corners_are_welded() {
    let text = "v 0 0 0 1 0 0\nv 1 0 0 1 0 0\nv 0 1 0 1 0 0\nv 1.001 0 0 0 1 0\nv 0.999 0.001 0 0 1 0\n\
        v 1 1 0 0 0 1\nv 0.001 1 0 0 0 1\nf 1 2 4\nf 1 2 3\nf 5 6 7\n";
    let options = ReadOptions {
        appearance: true,
        weld_mm: 0.01,
        ..ReadOptions::default()
    };
    let reading = read_mesh_bytes("a.obj".as_ref(), text.as_bytes(), &options).unwrap();
    assert_eq!(reading.mesh.triangles().len(), 2);
    let appearance = reading.appearance.unwrap();
    assert_eq!(appearance.look(0).colours.unwrap()[0], [1.0, 0.0, 0.0]);
    assert_eq!(appearance.look(1).colours.unwrap()[1], [0.0, 0.0, 1.0]);
}
