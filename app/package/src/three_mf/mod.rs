//! 3MF with the materials and properties extension: the part with its blends as composite
//! materials.
//!
//! Source: 3MF Consortium, 3D Manufacturing Format, Core Specification 1.3, and Materials and
//! Properties Extension 1.2. The spools are base materials with display colours; every blend is
//! a composite of them with its shares; over it lies the display colour of the blend as the
//! mixing model predicts it (a colour group, joined to the composites by multiproperties, for a
//! composite has no display colour of its own). Every triangle names its blend.

mod bodies;
mod read;

use std::fmt::Write as _;
use std::io::{self, Cursor, Write};

use blend::{Shares, Srgb};
use plan::Painted;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter};

use report::patches::Patches;
use report::schedule::number;

pub use bodies::write_bodies;
pub use read::{ReadBackError, read_back};

/// The namespaces of the two specifications.
const CORE: &str = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02";
const MATERIAL: &str = "http://schemas.microsoft.com/3dmanufacturing/material/2015/02";
/// Shares are rounded to so many decimals, those of [`number`]: finer than any drive feeds.
const DECIMALS: usize = 6;

/// What a 3MF says of a part's colours.
#[derive(Clone, Debug, PartialEq)]
pub struct Model {
    /// Spools: name and display colour.
    pub spools: Vec<(String, Srgb)>,
    /// Blends: share of each spool, and display colour.
    pub blends: Vec<(Vec<f64>, Srgb)>,
    /// Vertices, mm.
    pub vertices: Vec<[f64; 3]>,
    /// Triangles, and for each the index of its blend.
    pub triangles: Vec<([u32; 3], u32)>,
    /// The part's title.
    pub title: String,
    /// Where it comes from and how it stands, in words.
    pub description: String,
}

impl Model {
    /// Of a painted part whose skin was cut into patches, with its fades in steps.
    pub fn new(painted: &Painted, patches: &Patches, title: &str, description: &str) -> Self {
        let plan = painted.plan();
        let mut model = Self {
            spools: plan
                .spools
                .iter()
                .map(|s| (line(&s.name), s.xyz().to_srgb()))
                .collect(),
            blends: Vec::new(),
            vertices: patches.vertices.iter().map(|v| v.to_array()).collect(),
            triangles: Vec::with_capacity(patches.triangles.len()),
            title: line(title),
            description: line(description),
        };
        let of_class: Vec<u32> = patches
            .classes
            .iter()
            .map(|class| {
                let shares = class.shares.unwrap_or(Shares::SINGLE);
                let colour = painted.model().mix(&shares).to_srgb();
                let blend = (rounded(&shares), colour);
                let known = model.blends.iter().position(|b| *b == blend);
                let index = known.unwrap_or_else(|| {
                    model.blends.push(blend);
                    model.blends.len() - 1
                });
                index as u32
            })
            .collect();
        let both = patches.triangles.iter().zip(&patches.class);
        model.triangles.extend(both.map(|(triangle, class)| {
            (
                *triangle,
                of_class.get(*class as usize).copied().unwrap_or(0),
            )
        }));
        model
    }

    /// Writes the package.
    ///
    /// # Errors
    /// What the writer says.
    pub fn write(&self, out: &mut dyn Write) -> io::Result<()> {
        packed(&self.xml(), out)
    }

    fn xml(&self) -> String {
        let mut text = String::with_capacity(64 * (self.vertices.len() + self.triangles.len()));
        // A String takes whatever is written.
        let _ = self.write_xml(&mut text);
        text
    }

    fn write_xml(&self, out: &mut String) -> std::fmt::Result {
        writeln!(out, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>")?;
        writeln!(
            out,
            "<model unit=\"millimeter\" xml:lang=\"en-US\" xmlns=\"{CORE}\" xmlns:m=\"{MATERIAL}\">"
        )?;
        write_metadata(&self.title, &self.description, out)?;
        writeln!(out, "<resources>")?;
        self.write_materials(out)?;
        self.write_mesh(out)?;
        writeln!(out, "</resources>")?;
        // The part stands in the corner of the positive octant, as the core specification asks.
        let least = |axis: usize| -> f64 {
            let all = self.vertices.iter().map(|v| v[axis]);
            all.fold(f64::INFINITY, f64::min).min(1e9)
        };
        let [x, y, z] = [0, 1, 2].map(|axis| number(-least(axis)));
        writeln!(
            out,
            "<build><item objectid=\"{OBJECT}\" transform=\"1 0 0 0 1 0 0 0 1 {x} {y} {z}\"/></build>"
        )?;
        writeln!(out, "</model>")
    }

    fn write_materials(&self, out: &mut String) -> std::fmt::Result {
        writeln!(out, "<basematerials id=\"{SPOOLS}\">")?;
        for (name, colour) in &self.spools {
            let (name, colour) = (escaped(name), code(*colour));
            writeln!(out, "<base name=\"{name}\" displaycolor=\"{colour}\"/>")?;
        }
        writeln!(out, "</basematerials>")?;
        let indices: Vec<String> = (0..self.spools.len()).map(|i| i.to_string()).collect();
        let indices = indices.join(" ");
        writeln!(
            out,
            "<m:compositematerials id=\"{BLENDS}\" matid=\"{SPOOLS}\" matindices=\"{indices}\">"
        )?;
        for (shares, _) in &self.blends {
            let values: Vec<String> = shares.iter().map(|s| number(*s)).collect();
            writeln!(out, "<m:composite values=\"{}\"/>", values.join(" "))?;
        }
        writeln!(out, "</m:compositematerials>")?;
        writeln!(out, "<m:colorgroup id=\"{COLOURS}\">")?;
        for (_, colour) in &self.blends {
            writeln!(out, "<m:color color=\"{}\"/>", code(*colour))?;
        }
        writeln!(out, "</m:colorgroup>")?;
        writeln!(
            out,
            "<m:multiproperties id=\"{BOTH}\" pids=\"{BLENDS} {COLOURS}\" blendmethods=\"mix\">"
        )?;
        for index in 0..self.blends.len() {
            writeln!(out, "<m:multi pindices=\"{index} {index}\"/>")?;
        }
        writeln!(out, "</m:multiproperties>")
    }

    fn write_mesh(&self, out: &mut String) -> std::fmt::Result {
        let name = escaped(&self.title);
        writeln!(
            out,
            "<object id=\"{OBJECT}\" type=\"model\" name=\"{name}\" pid=\"{BOTH}\" pindex=\"0\">\
             <mesh><vertices>"
        )?;
        for vertex in &self.vertices {
            let [x, y, z] = vertex.map(number);
            writeln!(out, "<vertex x=\"{x}\" y=\"{y}\" z=\"{z}\"/>")?;
        }
        writeln!(out, "</vertices><triangles>")?;
        for ([a, b, c], blend) in &self.triangles {
            writeln!(
                out,
                "<triangle v1=\"{a}\" v2=\"{b}\" v3=\"{c}\" pid=\"{BOTH}\" p1=\"{blend}\"/>"
            )?;
        }
        writeln!(out, "</triangles></mesh></object>")
    }
}

/// Writes a package around a model's XML.
fn packed(xml: &str, out: &mut dyn Write) -> io::Result<()> {
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Deflated)
        // The same part gives the same bytes.
        .last_modified_time(DateTime::default());
    let mut package = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, text) in [
        ("[Content_Types].xml", CONTENT_TYPES),
        ("_rels/.rels", RELATIONSHIPS),
        ("3D/3dmodel.model", xml),
    ] {
        package
            .start_file(name, options)
            .map_err(io::Error::other)?;
        package.write_all(text.as_bytes())?;
    }
    let done = package.finish().map_err(io::Error::other)?;
    out.write_all(done.get_ref())
}

fn write_metadata(title: &str, description: &str, out: &mut String) -> std::fmt::Result {
    let application = concat!("Tintfall ", env!("CARGO_PKG_VERSION"));
    for (name, value) in [
        ("Title", title),
        ("Description", description),
        ("Application", application),
    ] {
        writeln!(
            out,
            "<metadata name=\"{name}\">{}</metadata>",
            escaped(value)
        )?;
    }
    Ok(())
}

/// Numbers of the resources.
const SPOOLS: u32 = 1;
const BLENDS: u32 = 2;
const COLOURS: u32 = 3;
const BOTH: u32 = 4;
const OBJECT: u32 = 5;

const CONTENT_TYPES: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
<Types xmlns=\"http://schemas.openxmlformats.org/package/2006/content-types\">\
<Default Extension=\"rels\" ContentType=\"application/vnd.openxmlformats-package.relationships+xml\"/>\
<Default Extension=\"model\" ContentType=\"application/vnd.ms-package.3dmanufacturing-3dmodel+xml\"/>\
</Types>\n";

const RELATIONSHIPS: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
<Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\">\
<Relationship Target=\"/3D/3dmodel.model\" Id=\"rel0\" \
Type=\"http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel\"/>\
</Relationships>\n";

/// Shares to as many decimals as are written, adding up to 1.
fn rounded(shares: &Shares) -> Vec<f64> {
    let unit = 10f64.powi(DECIMALS as i32);
    let mut whole: Vec<i64> = shares
        .as_slice()
        .iter()
        .map(|s| (s * unit).round() as i64)
        .collect();
    let rest = unit as i64 - whole.iter().sum::<i64>();
    // What rounding leaves over goes to the largest share.
    if let Some(largest) = whole.iter_mut().max() {
        *largest += rest;
    }
    whole.into_iter().map(|w| w as f64 / unit).collect()
}

/// A colour as the specification writes it, in capitals.
fn code(colour: Srgb) -> String {
    let [r, g, b] = colour.0;
    format!("#{r:02X}{g:02X}{b:02X}FF")
}

/// What XML 1.0 does not allow in a text, or would change on reading, becomes a space.
fn line(text: &str) -> String {
    let kept = |c: char| match c {
        c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => ' ',
        c => c,
    };
    let text: String = text.chars().map(kept).collect();
    text.trim().to_owned()
}

fn escaped(text: &str) -> String {
    quick_xml::escape::escape(text).into_owned()
}
