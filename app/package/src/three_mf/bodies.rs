//! 3MF of a part in bodies: the core specification alone.
//!
//! Source: 3MF Consortium, 3D Manufacturing Format, Core Specification 1.3. Each body is an object
//! with a mesh and a base material of its own, with a display colour; one object puts them
//! together as components, so that they load as one part. Coordinates have all their digits:
//! bodies share their walls to the last bit.

use std::fmt::Write as _;
use std::io::{self, Write};

use bodies::Bodies;
use geometry::{DVec3, Mesh};

use super::{CORE, code, escaped, line, packed, write_metadata};

/// The resource of the base materials; objects are numbered from the next on.
const MATERIALS: usize = 1;

/// Writes the package.
///
/// # Errors
/// What the writer says.
pub fn write_bodies(
    bodies: &Bodies,
    title: &str,
    description: &str,
    out: &mut dyn Write,
) -> io::Result<()> {
    let mut xml = String::new();
    // A String takes whatever is written.
    let _ = write_xml(bodies, title, description, &mut xml);
    packed(&xml, out)
}

fn write_xml(
    bodies: &Bodies,
    title: &str,
    description: &str,
    out: &mut String,
) -> std::fmt::Result {
    writeln!(out, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>")?;
    writeln!(
        out,
        "<model unit=\"millimeter\" xml:lang=\"en-US\" xmlns=\"{CORE}\">"
    )?;
    write_metadata(&line(title), &line(description), out)?;
    writeln!(out, "<resources>\n<basematerials id=\"{MATERIALS}\">")?;
    for body in &bodies.bodies {
        let (name, colour) = (escaped(&line(&body.name)), code(body.colour));
        writeln!(out, "<base name=\"{name}\" displaycolor=\"{colour}\"/>")?;
    }
    writeln!(out, "</basematerials>")?;
    let object = |index: usize| MATERIALS + 1 + index;
    for (i, body) in bodies.bodies.iter().enumerate() {
        let name = escaped(&line(&body.name));
        writeln!(
            out,
            "<object id=\"{}\" type=\"model\" name=\"{name}\" pid=\"{MATERIALS}\" pindex=\"{i}\">",
            object(i)
        )?;
        write_mesh(&body.mesh, out)?;
        writeln!(out, "</object>")?;
    }
    let count = bodies.bodies.len();
    writeln!(
        out,
        "<object id=\"{}\" type=\"model\" name=\"{}\">\n<components>",
        object(count),
        escaped(&line(title))
    )?;
    for i in 0..count {
        writeln!(out, "<component objectid=\"{}\"/>", object(i))?;
    }
    writeln!(out, "</components>\n</object>\n</resources>")?;
    // The part stands in the corner of the positive octant, as the core specification asks.
    let meshes = bodies.bodies.iter().map(|b| b.mesh.bounds().0);
    let least = meshes
        .fold(DVec3::INFINITY, DVec3::min)
        .min(DVec3::splat(1e9));
    writeln!(
        out,
        "<build><item objectid=\"{}\" transform=\"1 0 0 0 1 0 0 0 1 {} {} {}\"/></build>\n</model>",
        object(count),
        -least.x,
        -least.y,
        -least.z
    )
}

fn write_mesh(mesh: &Mesh, out: &mut String) -> std::fmt::Result {
    writeln!(out, "<mesh><vertices>")?;
    for DVec3 { x, y, z } in mesh.vertices() {
        writeln!(out, "<vertex x=\"{x}\" y=\"{y}\" z=\"{z}\"/>")?;
    }
    writeln!(out, "</vertices><triangles>")?;
    for [a, b, c] in mesh.triangles() {
        writeln!(out, "<triangle v1=\"{a}\" v2=\"{b}\" v3=\"{c}\"/>")?;
    }
    writeln!(out, "</triangles></mesh>")
}
