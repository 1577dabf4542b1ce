//! Good files of every format, and files broken in every way we could think of.

use std::fmt::Write as _;
use std::io::{Cursor, Write as _};
use std::path::PathBuf;

use glam::DVec3;
use proptest::prelude::*;
use tempfile::TempDir;
use zip::write::SimpleFileOptions;

use super::*;
use crate::solids;

/// Writes a file, reads it as a mesh, and removes it.
fn read_bytes(name: &str, bytes: &[u8]) -> Result<Reading, ReadError> {
    read_with(name, bytes, &ReadOptions::default())
}

fn read_with(name: &str, bytes: &[u8], options: &ReadOptions) -> Result<Reading, ReadError> {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join(name);
    std::fs::write(&path, bytes).unwrap();
    read_mesh(&path, options)
}

fn complaint(name: &str, bytes: &[u8]) -> String {
    let error = read_bytes(name, bytes).unwrap_err();
    assert!(error.file.ends_with(name));
    let words = error.problem.to_string();
    assert!(error.to_string().ends_with(&words));
    words
}

/// Corners that single precision holds exactly.
fn block() -> Mesh {
    solids::cuboid(DVec3::new(4.0, 3.0, 2.0)).unwrap()
}

fn same_shape(a: &Mesh, b: &Mesh) -> bool {
    a.vertices().len() == b.vertices().len()
        && a.triangles().len() == b.triangles().len()
        && a.bounds() == b.bounds()
        && (a.volume_mm3() - b.volume_mm3()).abs() < 1e-9
}

fn text_stl(mesh: &Mesh) -> String {
    let mut text = String::from("solid part\n");
    for facet in 0..mesh.triangles().len() {
        text += "facet normal 0 0 0\n outer loop\n";
        for p in mesh.corners(facet) {
            writeln!(text, "  vertex {:e} {} {}", p.x, p.y, p.z).unwrap();
        }
        text += " endloop\nendfacet\n";
    }
    text + "endsolid part\n"
}

fn obj(mesh: &Mesh) -> String {
    let mut text = String::from("# made for a test\no part\n");
    for p in mesh.vertices() {
        writeln!(text, "v {} {} {}", p.x, p.y, p.z).unwrap();
    }
    for [a, b, c] in mesh.triangles() {
        writeln!(text, "f {}//1 {}//1 {}//1", a + 1, b + 1, c + 1).unwrap();
    }
    text
}

fn text_ply(mesh: &Mesh) -> String {
    let mut text = format!(
        "ply\nformat ascii 1.0\ncomment made for a test\nelement vertex {}\nproperty float x\n\
         property float y\nproperty float z\nproperty uchar red\nelement face {}\n\
         property list uchar int vertex_indices\nend_header\n",
        mesh.vertices().len(),
        mesh.triangles().len()
    );
    for p in mesh.vertices() {
        writeln!(text, "{} {} {} 200", p.x, p.y, p.z).unwrap();
    }
    for [a, b, c] in mesh.triangles() {
        writeln!(text, "3 {a} {b} {c}").unwrap();
    }
    text
}

fn binary_ply(mesh: &Mesh, big: bool) -> Vec<u8> {
    let order = if big { "big" } else { "little" };
    let mut bytes = format!(
        "ply\nformat binary_{order}_endian 1.0\nelement vertex {}\nproperty double x\n\
         property double y\nproperty double z\nproperty short nothing\nelement face {}\n\
         property uchar flags\nproperty list uchar uint vertex_index\nend_header\n",
        mesh.vertices().len(),
        mesh.triangles().len()
    )
    .into_bytes();
    let mut put = |mut raw: Vec<u8>| {
        if big {
            raw.reverse();
        }
        bytes.extend(raw);
    };
    for p in mesh.vertices() {
        for x in p.to_array() {
            put(x.to_le_bytes().to_vec());
        }
        put(7i16.to_le_bytes().to_vec());
    }
    for t in mesh.triangles() {
        put(vec![9]);
        put(vec![3]);
        for v in t {
            put(v.to_le_bytes().to_vec());
        }
    }
    bytes
}

fn xml_mesh(mesh: &Mesh) -> String {
    let mut xml = String::from("<mesh><vertices>");
    for p in mesh.vertices() {
        write!(xml, r#"<vertex x="{}" y="{}" z="{}"/>"#, p.x, p.y, p.z).unwrap();
    }
    xml += "</vertices><triangles>";
    for [a, b, c] in mesh.triangles() {
        write!(xml, r#"<triangle v1="{a}" v2="{b}" v3="{c}"/>"#).unwrap();
    }
    xml + "</triangles></mesh>"
}

fn model(attributes: &str, resources: &str, build: &str) -> String {
    format!(
        r#"<?xml version="1.0" encoding="UTF-8"?>
        <model {attributes} xml:lang="en-US"><metadata name="Title">A &amp; B</metadata>
        <resources>{resources}</resources><build>{build}</build></model>"#
    )
}

fn package(parts: &[(&str, &str)]) -> Vec<u8> {
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, content) in parts {
        zip.start_file(*name, SimpleFileOptions::default()).unwrap();
        zip.write_all(content.as_bytes()).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

const RELATIONSHIPS: &str = r#"<?xml version="1.0"?><Relationships>
    <Relationship Id="a" Type="urn:thumbnail" Target="/Metadata/t.png"/>
    <Relationship Id="b" Type="urn:of/2013/01/3dmodel" Target="/3D/part.model"/>
    </Relationships>"#;

fn threemf(model: &str) -> Vec<u8> {
    package(&[("_rels/.rels", RELATIONSHIPS), ("3D/part.model", model)])
}

fn object(id: u32, mesh: &Mesh) -> String {
    format!(
        r#"<object id="{id}" type="model">{}</object>"#,
        xml_mesh(mesh)
    )
}

#[test]
fn every_format_gives_the_same_mesh() {
    let mesh = block();
    let files: [(&str, Format, Vec<u8>); 7] = [
        ("a.stl", Format::StlBinary, mesh_to_stl(&mesh)),
        ("b.stl", Format::StlText, text_stl(&mesh).into_bytes()),
        ("c.obj", Format::Obj, obj(&mesh).into_bytes()),
        ("d.ply", Format::Ply, text_ply(&mesh).into_bytes()),
        ("e.ply", Format::Ply, binary_ply(&mesh, false)),
        ("f.ply", Format::Ply, binary_ply(&mesh, true)),
        (
            "g.3mf",
            Format::ThreeMf,
            threemf(&model("", &object(1, &mesh), r#"<item objectid="1"/>"#)),
        ),
    ];
    for (name, format, bytes) in files {
        let reading = read_bytes(name, &bytes).unwrap();
        assert_eq!(reading.format, format);
        assert!(same_shape(&reading.mesh, &mesh), "{name}");
        assert_eq!((reading.objects, reading.unit), (1, Unit::Millimetre));
        assert!(reading.notes.is_empty(), "{name}: {:?}", reading.notes);
        // The content decides, whatever the name.
        let misnamed = read_bytes("x.txt", &bytes).unwrap();
        assert!(same_shape(&misnamed.mesh, &mesh));
    }
}

fn off(mesh: &Mesh) -> String {
    let (vertices, facets) = (mesh.vertices(), mesh.triangles());
    let mut text = format!("COFF # colours\n\n{} {} 0\n", vertices.len(), facets.len());
    for p in vertices {
        writeln!(text, "{} {} {} 255 0 0 255", p.x, p.y, p.z).unwrap();
    }
    for [a, b, c] in facets {
        writeln!(text, "3 {a} {b} {c} 0.5 0.5 0.5").unwrap();
    }
    text
}

#[test]
fn old_line_ends_and_none_at_all_are_read() {
    let mesh = block();
    let one_line = text_stl(&mesh).replace('\n', " ");
    for (name, text) in [
        ("cr.stl", text_stl(&mesh).replace('\n', "\r")),
        ("crlf.stl", text_stl(&mesh).replace('\n', "\r\n")),
        ("cr.obj", obj(&mesh).replace('\n', "\r")),
        ("cr.ply", text_ply(&mesh).replace('\n', "\r")),
        ("cr.off", off(&mesh).replace('\n', "\r")),
        ("one.stl", one_line.clone()),
        ("nameless.stl", one_line.replacen("solid part", "solid", 1)),
        ("a.off", off(&mesh)),
        (
            "b.off",
            off(&mesh).replacen("COFF # colours\n\n", "OFF ", 1),
        ),
    ] {
        let reading = read_bytes(name, text.as_bytes()).unwrap();
        assert!(same_shape(&reading.mesh, &mesh), "{name}");
        assert!(reading.notes.is_empty(), "{name}: {:?}", reading.notes);
    }
}

#[test]
fn text_stl_may_lack_its_end() {
    let text = text_stl(&block());
    let endless = text.replace("endsolid part\n", "");
    let reading = read_bytes("a.stl", endless.as_bytes()).unwrap();
    assert!(same_shape(&reading.mesh, &block()));
    assert!(
        reading.notes[0].contains("facets after 12"),
        "{:?}",
        reading.notes
    );
    // A name longer than what the format is told by.
    let named = text.replacen("solid part", &format!("solid {}", "n".repeat(100_000)), 1);
    let reading = read_bytes("a.stl", named.as_bytes()).unwrap();
    assert!(same_shape(&reading.mesh, &block()));
    assert_eq!(reading.mesh.groups().names()[0].len(), 200);
}

#[test]
fn broken_off_is_explained() {
    let text = off(&block());
    let say = |from: &str, to: &str| complaint("a.off", text.replacen(from, to, 1).as_bytes());
    assert!(say("8 12", "8 4000000000").contains("more than fit in the file"));
    assert!(say("8 12", "8 13").contains("ends before the last"));
    assert!(say("8 12", "eight").contains("'eight' is not a whole number"));
    assert!(say("-2 ", "nan ").contains("'nan' is not a finite number"));
    assert!(say("3 0 2 3", "3 0 2 8").contains("names vertex 8, but they run from 0 to 7"));
    assert!(say("3 0 2 3", "9 0 2 3").contains("line 12"));
    assert!(complaint("a.off", b"OFF BINARY\n\0\0").contains("binary OFF"));
    assert!(complaint("a.off", b"4OFF\n1 1 0\n").contains("three dimensions"));
    assert!(complaint("a.off", b"hello").contains("does not begin with the word 'OFF'"));
}

#[test]
fn ply_faces_may_come_first_and_be_strips() {
    let header = |body: &str| format!("ply\nformat ascii 1.0\n{body}");
    let vertices = "0 0 0\n4 0 0\n0 4 0\n0 0 3\n";
    let of_vertices = "element vertex 4\nproperty float x\nproperty float y\nproperty float z\n";
    let faces = "3 0 2 1\n3 0 1 3\n3 1 2 3\n3 0 3 2\n";
    let of_faces = "element face 4\nproperty list uchar int vertex_index\n";
    let first = header(&format!(
        "{of_faces}{of_vertices}end_header\n{faces}{vertices}"
    ));
    let strips = "element tristrips 1\nproperty list int int vertex_indices\n";
    let strip = header(&format!(
        "{of_vertices}{strips}end_header\n{vertices}9 0 2 1 3 -1 0 3 2 -1\n"
    ));
    for (text, count) in [(first.as_str(), 4), (strip.as_str(), 3)] {
        let reading = read_bytes("a.ply", text.as_bytes()).unwrap();
        assert_eq!(reading.mesh.triangles().len(), count);
        assert!(reading.notes.is_empty());
    }
    let whole = read_bytes("a.ply", first.as_bytes()).unwrap().mesh;
    assert!((whole.volume_mm3() - 8.0).abs() < 1e-12);
    assert!(complaint("a.ply", first.replace("3 0 2 1", "3 0 2 9").as_bytes()).contains("vertex"));
    assert!(complaint("a.ply", strip.replace("9 0 2", "9 0 7").as_bytes()).contains("vertex 7"));
}

#[test]
fn threemf_leaves_out_what_is_not_printed() {
    let resources = object(1, &block())
        + &object(2, &block()).replace("type=\"model\"", "type=\"support\"")
        + &object(3, &block()).replace("id=\"3\"", "id=\"3\" name=\"lid &amp; knob\"");
    let build = r#"<item objectid="1" printable="0"/><item objectid="2"/>
        <item objectid="3" printable="1"/>"#;
    let reading = read_bytes("a.3mf", &threemf(&model("", &resources, build))).unwrap();
    assert!(same_shape(&reading.mesh, &block()));
    assert_eq!(reading.mesh.groups().names(), ["lid & knob"]);
    assert_eq!(
        reading.notes,
        [
            "1 object was left out: it is marked as not for printing.",
            "1 object was left out: it is supports, or not for printing."
        ]
    );
}

#[test]
fn a_file_of_nothing_but_what_is_left_out_says_so() {
    let build = r#"<item objectid="1" printable="0"/>"#;
    let error = read_bytes("a.3mf", &threemf(&model("", &object(1, &block()), build)));
    assert_eq!(
        error.unwrap_err().problem.to_string(),
        "has nothing to print: 1 object was left out: it is marked as not for printing."
    );
}

#[test]
fn threemf_parts_may_be_named_in_other_case_and_written_in_utf_16() {
    let model = model("", &object(1, &block()), r#"<item objectid="1"/>"#);
    let other_case = package(&[("_RELS/.rels", RELATIONSHIPS), ("3d/Part.MODEL", &model)]);
    assert!(same_shape(
        &read_bytes("a.3mf", &other_case).unwrap().mesh,
        &block()
    ));
    for big in [false, true] {
        let units = "\u{feff}".encode_utf16().chain(model.encode_utf16());
        let bytes: Vec<u8> = units
            .flat_map(|unit| {
                if big {
                    unit.to_be_bytes()
                } else {
                    unit.to_le_bytes()
                }
            })
            .collect();
        let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
        zip.start_file("3D/3dmodel.model", SimpleFileOptions::default())
            .unwrap();
        zip.write_all(&bytes).unwrap();
        let bytes = zip.finish().unwrap().into_inner();
        assert!(same_shape(
            &read_bytes("a.3mf", &bytes).unwrap().mesh,
            &block()
        ));
    }
}

#[test]
fn objects_and_groups_keep_their_names() {
    let named = obj(&block()).replacen("f ", "o cup\ng rim top\nf ", 1);
    let mesh = read_bytes("a.obj", named.as_bytes()).unwrap().mesh;
    assert_eq!(mesh.groups().names(), ["cup", "rim top"]);
    assert!(mesh.groups().is_in(11, "rim top") && !mesh.groups().is_in(0, "lid"));
}

#[test]
fn a_wrong_name_is_told() {
    let reading = read_bytes("part.obj", &mesh_to_stl(&block())).unwrap();
    assert_eq!(
        reading.notes,
        ["The name ends in .obj, but the content is binary STL; it was read as that."]
    );
}

#[test]
fn many_facets_are_read_in_order_on_any_number_of_cores() {
    let ball = mesh_to_stl(&solids::icosphere(20.0, 5).unwrap());
    let mut spoiled = ball.clone();
    // The first corner of facet 10,001.
    spoiled[84 + 50 * 10_000 + 12..][..4].copy_from_slice(&f32::NAN.to_le_bytes());
    let pool = |threads| rayon::ThreadPoolBuilder::new().num_threads(threads).build();
    let read = |threads| {
        pool(threads)
            .unwrap()
            .install(|| read_bytes("a.stl", &ball))
    };
    let mesh = read(1).unwrap().mesh;
    let in_words = read_bytes("a.stl", text_stl(&mesh).as_bytes()).unwrap();
    assert!(mesh.vertices() == in_words.mesh.vertices());
    assert!(mesh.triangles() == in_words.mesh.triangles());
    for threads in [2, 5] {
        assert!(mesh == read(threads).unwrap().mesh, "{threads}");
        let error = pool(threads)
            .unwrap()
            .install(|| complaint("a.stl", &spoiled));
        assert!(error.contains("facet 10001 "), "{error}");
    }
}

#[test]
fn binary_stl_may_begin_with_solid() {
    let mut bytes = mesh_to_stl(&block());
    bytes[..12].copy_from_slice(b"solid facet ");
    let reading = read_bytes("a.stl", &bytes).unwrap();
    assert_eq!(reading.format, Format::StlBinary);
    assert!(same_shape(&reading.mesh, &block()));
}

#[test]
fn text_stl_may_be_untidy() {
    let text = text_stl(&block())
        .replace("solid part", "SOLID")
        .replace("facet normal 0 0 0", "FACET NORMAL nan nan nan");
    let other = text_stl(&block().map(|p| p + DVec3::X * 10.0).unwrap());
    let both = format!("\u{feff}{}\r\n\r\n{other}", text.replace('\n', "\r\n"));
    let mut bytes = both.into_bytes();
    // A name that is not UTF-8.
    let at = bytes.windows(10).position(|w| w == b"solid part").unwrap();
    bytes[at + 6] = 0xE9;
    let reading = read_bytes("a.stl", &bytes).unwrap();
    assert_eq!((reading.objects, reading.mesh.triangles().len()), (2, 24));
    assert_eq!(reading.mesh.vertices().len(), 16);
}

#[test]
fn broken_stl_is_explained() {
    let bytes = mesh_to_stl(&block());
    assert!(
        complaint("a.stl", &bytes[..400]).contains("declares 12 facets, but the file ends after 6")
    );
    assert!(complaint("a.stl", &bytes[..83]).contains("83 bytes long"));
    assert!(complaint("a.stl", &bytes[..84]).contains("ends after 0"));
    let mut huge = bytes.clone();
    huge[80..84].fill(0xff);
    assert!(complaint("a.stl", &huge).contains("declares 4294967295 facets"));
    let mut nan = bytes.clone();
    nan[96..100].copy_from_slice(&f32::NAN.to_le_bytes());
    assert!(
        complaint("a.stl", &nan).contains("facet 1 has a coordinate that is not a finite number")
    );
    let mut none = bytes[..84].to_vec();
    none[80..84].fill(0);
    assert!(complaint("a.stl", &none).contains("no facets"));
    let mut longer = bytes.clone();
    longer.extend([1; 7]);
    let reading = read_bytes("a.stl", &longer).unwrap();
    assert_eq!(
        reading.notes,
        ["7 bytes after the last facet were skipped."]
    );

    let text = text_stl(&block());
    let words = complaint("a.stl", &text.as_bytes()[..text.len() / 2]);
    assert!(
        words.contains("text STL") && words.contains("facet 6"),
        "{words}"
    );
    let words = complaint("a.stl", text.replacen("vertex", "vortex", 1).as_bytes());
    assert!(words.contains("facet 1,"), "{words}");
    assert!(complaint("a.stl", text.replacen("-2e0", "inf", 1).as_bytes()).contains("finite"));
    assert!(complaint("a.stl", b"solid part\nendsolid part\n").contains("no facets"));
    assert!(complaint("a.stl", b"solid part\n").contains("no facet follows"));
    assert!(complaint("a.stl", b"hello there").contains("does not begin with the word 'solid'"));
}

#[test]
fn facets_that_collapse_are_left_out_and_told() {
    let text = text_stl(&block());
    let flat = "facet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 0 0 0\nvertex 1 0 0\nendloop\nendfacet\nendsolid";
    let reading = read_bytes("a.stl", text.replace("endsolid", flat).as_bytes()).unwrap();
    assert_eq!(reading.mesh.triangles().len(), 12);
    assert!(reading.notes[0].starts_with("1 facet with two corners"));
    assert!(complaint("a.stl", format!("solid x\n{flat}\n").as_bytes()).contains("no facets"));
}

#[test]
fn obj_takes_what_writers_make() {
    let text = "mtllib a.mtl\nv 0 0 0 1.0\nv 4e0 0 0\nv +4 4 0\nv 2 1 0\nv 0 4 0 0.5 0.5 0.5\n\
                v 2 2 3\nvn 0 0 1\nvt 0 0\ng side\nusemtl red\ns 1\n\
                f 5 4 3 2 1 # dented\nf -1/1/1 1 2\nf 6 2 3\\\n\nf 6//1 3//1 4//1\nf 6 4 5\nf 6 5 1\n";
    let reading = read_bytes("a.obj", text.as_bytes()).unwrap();
    // Three facets for the pentagon, five around it; a pyramid over 10 mm².
    assert_eq!(reading.mesh.triangles().len(), 8);
    assert!((reading.mesh.volume_mm3() - 10.0).abs() < 1e-12);
    assert!(crate::inspect::Inspection::of(&reading.mesh).is_sound());
}

#[test]
fn broken_obj_is_explained() {
    let say = |text: &str| complaint("a.obj", text.as_bytes());
    assert!(say("v 0 0\n").contains("line 1: a vertex needs three numbers"));
    assert!(say("v 0 0 nan\n").contains("line 1: 'nan' is not a finite number"));
    assert!(
        say("v 0 0 0\n# x\nf 1 2 3\n").contains("line 3: the face names vertex 2, but there are 1")
    );
    assert!(say("v 0 0 0\nf 0 1 1\n").contains("names vertex 0"));
    assert!(say("v 0 0 0\nf -2 1 1\n").contains("names vertex -2"));
    assert!(say("v 0 0 0\nf 1 1\n").contains("three corners"));
    assert!(say("v 0 0 0\nf a b c\n").contains("'a' is not a vertex number"));
    assert!(say("v 0 0 0\nf 9999999999999999999999 1 1\n").contains("not a vertex number"));
    assert!(say("# nothing\n").contains("no facets"));
    let mut latin = b"# caf\xe9\n".to_vec();
    latin.extend(obj(&block()).bytes());
    assert!(read_bytes("a.obj", &latin).is_ok());
}

#[test]
fn broken_ply_is_explained() {
    let text = text_ply(&block());
    let say = |from: &str, to: &str| complaint("a.ply", text.replacen(from, to, 1).as_bytes());
    assert!(say("vertex 8", "vertex 4000000000").contains("declares 4000000000 of 'vertex'"));
    assert!(say("vertex 8", "vertex 9").contains("face "));
    assert!(say("vertex 8", "vertex many").contains("header line 4: the element's count"));
    assert!(say("float x", "fluid x").contains("'fluid' is not a PLY number type"));
    assert!(say("float z", "float zz").contains("do not have x, y and z"));
    assert!(say("vertex_indices", "corners").contains("do not have 'vertex_indices'"));
    assert!(say("ascii", "morse").contains("'morse' is not a PLY format"));
    assert!(say("end_header", "and_header").contains("no line 'end_header'"));
    assert!(say("format ascii 1.0\n", "").contains("no line 'format'"));
    assert!(say("element face 12", "element edge 12").contains("no facets"));
    assert!(say("\n-2 ", "\nnan ").contains("vertex 1: a coordinate is not a finite number"));
    assert!(say("\n-2 ", "\nminus ").contains("vertex 1: 'minus' is not a number"));
    assert!(
        say("3 0 2 3", "3 0 2 8").contains("face 1: it names vertex 8, but they run from 0 to 7")
    );
    assert!(say("3 0 2 3", "3 0 2 -1").contains("names vertex -1"));
    assert!(say("3 0 2 3", "9999999 0 2 3").contains("a list cannot have 9999999 members"));
    assert!(complaint("a.ply", b"plyish").contains("does not begin with the word 'ply'"));
    let bytes = binary_ply(&block(), false);
    let words = complaint("a.ply", &bytes[..bytes.len() - 3]);
    assert!(words.contains("cut short"), "{words}");
}

#[test]
fn a_ply_header_of_a_mebibyte_and_a_list_of_a_million_are_the_most() {
    let text = text_ply(&block());
    let header = text.find("end_header\n").unwrap() + "end_header\n".len();
    let padded = |length: usize| {
        let pad = "x".repeat(length - header - "comment \n".len());
        text.replacen("end_header", &format!("comment {pad}\nend_header"), 1)
    };
    assert!(read_bytes("a.ply", padded(1 << 20).as_bytes()).is_ok());
    let words = complaint("a.ply", padded((1 << 20) + 1).as_bytes());
    assert!(
        words.contains("header is longer than 1048576 bytes"),
        "{words}"
    );

    let list = |count: &str| complaint("a.ply", text.replacen("3 0 2 3", count, 1).as_bytes());
    let words = list("1000001 0 2 3");
    assert!(
        words.contains("face 1: a list cannot have 1000001 members"),
        "{words}"
    );
    let words = list("1000000 0 2 3");
    assert!(!words.contains("a list cannot have"), "{words}");
}

#[test]
fn ply_headers_may_end_their_lines_in_any_way() {
    let text = text_ply(&block());
    for end in ["\r", "\r\n"] {
        let reading = read_bytes("a.ply", text.replace('\n', end).as_bytes()).unwrap();
        assert!(same_shape(&reading.mesh, &block()));
    }
    // A value that begins with a line feed, after a header that ends in returns.
    let header = "ply\rformat binary_little_endian 1.0\relement vertex 3\rproperty uchar x\r\
                  property uchar y\rproperty uchar z\relement face 1\r\
                  property list uchar uchar vertex_index\rend_header\r";
    let mut bytes = header.as_bytes().to_vec();
    bytes.extend([10, 0, 0, 0, 10, 0, 0, 0, 10, 3, 0, 1, 2]);
    let reading = read_bytes("a.ply", &bytes).unwrap();
    assert_eq!(reading.mesh.vertices()[0], DVec3::new(10.0, 0.0, 0.0));
}

#[test]
fn threemf_places_scales_and_mirrors() {
    let mesh = block();
    let resources = format!(
        r#"{}<object id="2"><components>
            <component objectid="1"/>
            <component objectid="1" transform="1 0 0 0 1 0 0 0 1 10 0 0"/></components></object>"#,
        object(1, &mesh)
    );
    let build = r#"<item objectid="2" transform="2 0 0 0 2 0 0 0 2 0 0 5"/>
                   <item objectid="1" transform="-1 0 0 0 1 0 0 0 1 -20 0 0"/>"#;
    let reading = read_bytes(
        "a.3mf",
        &threemf(&model(r#"unit="inch""#, &resources, build)),
    )
    .unwrap();
    assert_eq!((reading.objects, reading.unit), (3, Unit::Inch));
    let (least, greatest) = reading.mesh.bounds();
    let inch = |x, y, z| DVec3::new(x, y, z) * 25.4;
    assert!(least.distance(inch(-22.0, -3.0, 0.0)) < 1e-9, "{least}");
    assert!(greatest.distance(inch(24.0, 3.0, 9.0)) < 1e-9, "{greatest}");
    // Two of eightfold and one of single volume, none of them inside out.
    let volume = 17.0 * 24.0 * 25.4f64.powi(3);
    assert!((reading.mesh.volume_mm3() / volume - 1.0).abs() < 1e-12);
    let asked = ReadOptions {
        unit: Some(Unit::Millimetre),
        ..ReadOptions::default()
    };
    let file = threemf(&model(r#"unit="inch""#, &resources, build));
    let reading = read_with("a.3mf", &file, &asked).unwrap();
    assert_eq!(reading.mesh.bounds().1.z, 9.0);
    assert!(reading.notes[0].contains("in inches; it was read in millimetres, as asked"));
}

#[test]
fn threemf_may_spread_over_parts_with_units_of_their_own() {
    let root = model(
        r#"unit="centimeter" requiredextensions="p q""#,
        r#"<object id="8"><components>
            <component p:path="/3D/Objects/o.model" objectid="3"
                transform="1 0 0 0 1 0 0 0 1 1 0 0"/></components></object>"#,
        r#"<item objectid="8"/>"#,
    );
    let other = model(
        "",
        &format!(
            r#"{}<object id="3"><components><component objectid="1"
                transform="1 0 0 0 1 0 0 0 1 1 0 0"/></components></object>"#,
            object(1, &block())
        ),
        "",
    );
    let parts = [
        ("_rels/.rels", RELATIONSHIPS),
        ("3D/part.model", root.as_str()),
        ("3D/Objects/o.model", other.as_str()),
    ];
    let reading = read_bytes("a.3mf", &package(&parts)).unwrap();
    // 10 mm by the root's centimetres, 1 mm by the other part's millimetres.
    let (least, greatest) = reading.mesh.bounds();
    assert!((least.x - 9.0).abs() < 1e-9 && (greatest.x - 13.0).abs() < 1e-9);
    assert!(reading.notes[0].contains("(q)"));
    let words = complaint("a.3mf", &package(&parts[..2]));
    assert!(words.contains("'3D/Objects/o.model' is missing"), "{words}");
}

#[test]
fn threemf_without_build_items_gives_its_objects() {
    let resources = format!(
        r#"{}<object id="2"><components><component objectid="1"/></components></object>"#,
        object(1, &block())
    );
    let reading = read_bytes("a.3mf", &threemf(&model("", &resources, ""))).unwrap();
    assert_eq!(reading.objects, 1);
    assert!(reading.notes[0].contains("places nothing"));
}

#[test]
fn broken_threemf_is_explained() {
    let good = model("", &object(1, &block()), r#"<item objectid="1"/>"#);
    let say = |from: &str, to: &str| complaint("a.3mf", &threemf(&good.replacen(from, to, 1)));
    assert!(
        say("v1=\"0\"", "v1=\"99\"")
            .contains("object 1: triangle 1 names vertex 99, but there are 8")
    );
    assert!(say("v1=\"0\"", "v1=\"-1\"").contains("'-1' is not a whole number"));
    assert!(say("v1=\"0\"", "").contains("a triangle lacks v1, v2 or v3"));
    assert!(say("x=\"-2\"", "x=\"nan\"").contains("'nan' is not a finite number"));
    assert!(say("x=\"-2\"", "").contains("a vertex lacks x, y or z"));
    assert!(say("item objectid=\"1\"", "item objectid=\"7\"").contains("object 7 is named"));
    assert!(say("item objectid", "item objekt").contains("lacks its 'objectid'"));
    assert!(say("<model ", "<model unit=\"cubit\" ").contains("'cubit' is not a unit"));
    assert!(say("item objectid", "item transform=\"1 2 3\" objectid").contains("twelve"));
    assert!(say("</build></model>", "").contains("ends in the middle"));
    assert!(say("</mesh>", "</mash>").contains("XML"));
    assert!(complaint("a.3mf", &threemf("<other/>")).contains("no element 'model'"));
    assert!(complaint("a.3mf", &package(&[("a.txt", "hello")])).contains("holds no model"));
    assert!(complaint("a.3mf", b"hello").contains("not a ZIP package"));
    let bytes = threemf(&good);
    let words = complaint("a.3mf", &bytes[..bytes.len() / 2]);
    assert!(words.contains("ZIP package"), "{words}");
    let mut damaged = bytes.clone();
    let middle = bytes.len() / 2;
    damaged[middle..middle + 20].fill(0x55);
    assert!(read_bytes("a.3mf", &damaged).is_err());
}

#[test]
fn threemf_that_would_grow_without_bound_is_refused() {
    // Text that packs a thousandfold.
    let spaces = " ".repeat(40 << 20);
    let bomb = threemf(&model(
        &spaces,
        &object(1, &block()),
        r#"<item objectid="1"/>"#,
    ));
    assert!(bomb.len() < 100_000);
    let words = complaint("a.3mf", &bomb);
    assert!(
        words.contains("unpacks to more than 100 times its size"),
        "{words}"
    );

    // Ten times ten times ten … of one object.
    let mut resources = object(1, &block());
    for id in 2..=9 {
        let component = format!(r#"<component objectid="{}"/>"#, id - 1);
        write!(
            resources,
            r#"<object id="{id}"><components>{}</components></object>"#,
            component.repeat(10)
        )
        .unwrap();
    }
    let words = complaint(
        "a.3mf",
        &threemf(&model("", &resources, r#"<item objectid="9"/>"#)),
    );
    assert!(words.contains("outgrow the file"), "{words}");

    // An object that holds itself.
    let round = r#"<object id="1"><components><component objectid="1"/></components></object>"#;
    let words = complaint(
        "a.3mf",
        &threemf(&model("", round, r#"<item objectid="1"/>"#)),
    );
    assert!(words.contains("nested deeper than 16"), "{words}");
}

#[test]
fn threemf_bounds_are_held_to_the_last() {
    // Components within components: the item's own object is not counted.
    let nested = |deep: usize| {
        let mut resources = object(1, &block());
        for id in 2..=deep + 1 {
            let inner = id - 1;
            write!(
                resources,
                r#"<object id="{id}"><components><component objectid="{inner}"/></components></object>"#
            )
            .unwrap();
        }
        threemf(&model(
            "",
            &resources,
            &format!(r#"<item objectid="{}"/>"#, deep + 1),
        ))
    };
    assert!(read_bytes("a.3mf", &nested(16)).is_ok());
    let words = complaint("a.3mf", &nested(17));
    assert!(words.contains("nested deeper than 16"), "{words}");

    let good = model("", &object(1, &block()), r#"<item objectid="1"/>"#);
    let related = |length: usize| {
        let blanks = " ".repeat(length - RELATIONSHIPS.len());
        let relationships = format!("{RELATIONSHIPS}{blanks}");
        package(&[("_rels/.rels", &relationships), ("3D/part.model", &good)])
    };
    assert!(read_bytes("a.3mf", &related(1 << 20)).is_ok());
    let words = complaint("a.3mf", &related((1 << 20) + 1));
    assert!(
        words.contains("relationships are longer than 1048576 bytes"),
        "{words}"
    );
}

#[test]
fn threemf_whose_files_overlap_is_refused() {
    let good = model("", &object(1, &block()), r#"<item objectid="1"/>"#);
    let mut file = package(&[("3D/part.model", &good), ("3D/copy.model", &good)]);
    // The last entry of the package's table is made to point to the first file.
    let entry = file
        .windows(4)
        .rposition(|four| four == b"PK\x01\x02")
        .unwrap();
    file[entry + 42..entry + 46].fill(0);
    let words = complaint("a.3mf", &file);
    assert!(words.contains("overlap"), "{words}");
}

#[test]
fn threemf_takes_no_longer_than_it_is_long() {
    // Vertices without facets, placed again and again.
    let vertices = r#"<vertex x="0" y="0" z="0"/>"#.repeat(20_000);
    let cloud = format!(r#"<object id="1"><mesh><vertices>{vertices}</vertices></mesh></object>"#);
    let items = r#"<item objectid="1"/>"#.repeat(20_000);
    let words = complaint("a.3mf", &threemf(&model("", &cloud, &items)));
    assert!(words.contains("outgrow the file"), "{words}");

    // Many objects, none placed, many of them used by one.
    let mut resources = String::new();
    let mut uses = String::new();
    for id in 1..40_000 {
        write!(resources, r#"<object id="{id}"/>"#).unwrap();
        write!(uses, r#"<component objectid="{id}"/>"#).unwrap();
    }
    write!(
        resources,
        r#"<object id="40000"><components>{uses}</components></object>"#
    )
    .unwrap();
    let words = complaint("a.3mf", &threemf(&model("", &resources, "")));
    assert!(words.contains("no facets"), "{words}");

    // One element with very many attributes.
    let many: String = (0..40_000).map(|i| format!(r#" a{i}="""#)).collect();
    let item = format!(r#"<item objectid="1"{many}/>"#);
    let file = threemf(&model(&many, &object(1, &block()), &item));
    assert!(same_shape(
        &read_bytes("a.3mf", &file).unwrap().mesh,
        &block()
    ));
}

#[test]
fn threemf_objects_keep_their_vertices_to_themselves() {
    // The first has both a mesh and components, which the specification rules out.
    let both = format!(
        r#"{}<object id="2">{}<components><component objectid="1"/></components></object>{}"#,
        object(1, &block()),
        xml_mesh(&block()),
        object(3, &block())
    );
    let reading = read_bytes(
        "a.3mf",
        &threemf(&model("", &both, r#"<item objectid="3"/>"#)),
    );
    assert!(same_shape(&reading.unwrap().mesh, &block()));
}

#[test]
fn threemf_with_names_that_point_outside_is_refused() {
    let good = model("", &object(1, &block()), r#"<item objectid="1"/>"#);
    let file = package(&[
        ("_rels/.rels", RELATIONSHIPS),
        ("3D/part.model", &good),
        ("../../outside.txt", "x"),
    ]);
    let words = complaint("a.3mf", &file);
    assert!(words.contains("points outside"), "{words}");
}

#[test]
fn other_files_are_named() {
    assert!(complaint("a.stl", b"").contains("is empty"));
    assert!(complaint("a.stl", b"ISO-10303-21;\nHEADER;").contains("a STEP file"));
    assert!(complaint("a.stl", b"<!DOCTYPE html><html>").contains("a web page"));
    assert!(complaint("a.xyz", b"1 2 3\n").contains("neither its content nor its name"));
    let missing = read_mesh("no/such/file.stl".as_ref(), &ReadOptions::default());
    assert!(matches!(missing.unwrap_err().problem, Problem::Io(_)));
    let folder = TempDir::new().unwrap();
    let error = read_mesh(folder.path(), &ReadOptions::default()).unwrap_err();
    assert!(matches!(error.problem, Problem::NotAFile));
}

#[test]
fn units_and_welding_are_as_asked() {
    let apart = block().map(|p| p + DVec3::new(4.000_01, 0.0, 0.0)).unwrap();
    let two = mesh_to_stl(&Mesh::join([block(), apart]).unwrap());
    let in_feet = ReadOptions {
        unit: Some(Unit::Foot),
        ..ReadOptions::default()
    };
    let reading = read_with("a.stl", &two, &in_feet).unwrap();
    assert!((reading.mesh.bounds().1.z - 609.6).abs() < 1e-9);
    assert_eq!(reading.mesh.vertices().len(), 16);
    assert!(reading.notes[0].contains("larger than most printers"));
    let welding = ReadOptions {
        weld_mm: 1e-4,
        ..ReadOptions::default()
    };
    let reading = read_with("a.stl", &two, &welding).unwrap();
    assert_eq!(reading.mesh.vertices().len(), 12);
    assert!(reading.notes[0].starts_with("4 vertices were welded"));
    for weld_mm in [-1.0, f64::NAN, 1e6] {
        let options = ReadOptions {
            weld_mm,
            ..ReadOptions::default()
        };
        let error = read_with("a.stl", &two, &options).unwrap_err();
        assert!(matches!(error.problem, Problem::Options(_)));
    }
    let tiny = mesh_to_stl(&block().map(|p| p * 0.001).unwrap());
    assert!(read_bytes("a.stl", &tiny).unwrap().notes[0].contains("check the unit"));
}

#[test]
fn reading_can_be_cancelled() {
    let ball = solids::icosphere(10.0, 6).unwrap();
    let options = ReadOptions::default();
    options.progress.cancel();
    let error = read_with("a.stl", &mesh_to_stl(&ball), &options).unwrap_err();
    assert!(matches!(error.problem, Problem::Cancelled(_)));
}

/// One good file of every format.
fn files() -> Vec<(&'static str, Vec<u8>)> {
    let mesh = solids::frustum(3.0, 1.0, 2.0, 5).unwrap();
    let good = model("", &object(1, &mesh), r#"<item objectid="1"/>"#);
    vec![
        ("a.stl", mesh_to_stl(&mesh)),
        ("b.stl", text_stl(&mesh).into_bytes()),
        ("c.obj", obj(&mesh).into_bytes()),
        ("d.ply", text_ply(&mesh).into_bytes()),
        ("e.ply", binary_ply(&mesh, true)),
        ("f.3mf", threemf(&good)),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Any damage gives a mesh or an error: no panic, no hang, no runaway memory.
    #[test]
    fn damaged_files_do_no_harm(
        which in 0usize..6,
        cut in any::<prop::sample::Index>(),
        damage in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..6),
        shorten in any::<bool>(),
    ) {
        let (name, mut bytes) = files().swap_remove(which);
        for (at, value) in damage {
            let at = at.index(bytes.len());
            bytes[at] = value;
        }
        if shorten {
            bytes.truncate(cut.index(bytes.len()));
        }
        match read_bytes(name, &bytes) {
            Ok(reading) => prop_assert!(!reading.mesh.triangles().is_empty()),
            Err(error) => prop_assert!(error.to_string().contains(name)),
        }
    }

    /// What is written in single precision comes back to the bit.
    #[test]
    fn stl_gives_back_what_was_written(
        points in prop::collection::vec((-1e3f32..1e3, -1e3f32..1e3, -1e3f32..1e3), 3..40)
    ) {
        let corners: Vec<DVec3> = points
            .iter()
            .map(|&(x, y, z)| DVec3::new(x.into(), y.into(), z.into()))
            .collect();
        let facets = (0..corners.len() as u32 - 2).map(|i| [i, i + 1, i + 2]).collect();
        let mesh = Mesh::new(corners, facets).unwrap();
        let reading = read_bytes("a.stl", &mesh_to_stl(&mesh)).unwrap();
        for facet in 0..mesh.triangles().len() {
            prop_assert_eq!(reading.mesh.corners(facet), mesh.corners(facet));
        }
    }
}

/// Files for a look at how a path reads.
#[test]
fn an_error_names_the_file_first() {
    let error = ReadError {
        file: PathBuf::from("lamp.stl"),
        problem: Problem::Empty,
    };
    assert_eq!(error.to_string(), "lamp.stl: is empty");
}
