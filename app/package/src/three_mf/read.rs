//! Reading back what was written, to check it: the subset of 3MF that [`Model`] writes.

// It comes from strangers: nothing in it may end in a panic.
#![warn(
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic
)]

use std::io::{self, Cursor, Read};

use blend::Srgb;
use geometry::read::MOST_EXPANSION;
use quick_xml::Reader;
use quick_xml::escape::unescape;
use quick_xml::events::{BytesStart, Event};
use zip::ZipArchive;
use zip::result::ZipError;

use super::{BLENDS, BOTH, COLOURS, Model, SPOOLS};

/// The longest model that is unpacked, bytes.
const LONGEST: u64 = 2 << 30;
/// What any package may unpack to, bytes, however small it is.
const FREE: u64 = 4 << 20;

/// Why a file is not one that was written here.
#[derive(Debug, thiserror::Error)]
pub enum ReadBackError {
    /// The package is damaged.
    #[error("its package is damaged: {0}")]
    Package(#[from] ZipError),
    /// The model can't be unpacked.
    #[error("its model can't be unpacked: {0}")]
    Unpack(#[from] io::Error),
    /// The model unpacks to more than its package warrants.
    #[error("its model unpacks to more than {0} bytes")]
    Expands(u64),
    /// The model is no XML.
    #[error("its model is not valid XML: {0}")]
    Xml(#[from] quick_xml::Error),
    /// The model is not what is written here.
    #[error("its model is not as Tintfall writes it: {0}")]
    Model(String),
}

/// Reads a 3MF file that [`Model::write`] wrote.
///
/// # Errors
/// [`ReadBackError`].
pub fn read_back(bytes: &[u8]) -> Result<Model, ReadBackError> {
    let mut archive = ZipArchive::new(Cursor::new(bytes))?;
    let entry = archive.by_name("3D/3dmodel.model")?;
    let mut text = String::new();
    let longest = (bytes.len() as u64).saturating_mul(MOST_EXPANSION);
    let longest = longest.clamp(FREE, LONGEST);
    entry.take(longest + 1).read_to_string(&mut text)?;
    match text.len() as u64 > longest {
        true => Err(ReadBackError::Expands(longest)),
        false => parse(&text),
    }
}

/// Where text belongs that comes next.
#[derive(PartialEq)]
enum Text {
    Title,
    Description,
    Nowhere,
}

fn parse(text: &str) -> Result<Model, ReadBackError> {
    let mut model = Model {
        spools: Vec::new(),
        blends: Vec::new(),
        vertices: Vec::new(),
        triangles: Vec::new(),
        title: String::new(),
        description: String::new(),
    };
    let mut colours = Vec::new();
    let mut place = Text::Nowhere;
    let mut reader = Reader::from_str(text);
    loop {
        match reader.read_event()? {
            Event::Eof => break,
            Event::Start(tag) | Event::Empty(tag) => {
                place = match element(&tag, &mut model, &mut colours)? {
                    Some(place) => place,
                    None => Text::Nowhere,
                };
            }
            Event::Text(words) => {
                let words = words.decode().map_err(quick_xml::Error::from)?;
                take(&mut model, &place, &words);
            }
            Event::GeneralRef(name) => {
                let name = name.decode().map_err(quick_xml::Error::from)?;
                let whole = format!("&{name};");
                let words = unescape(&whole).map_err(quick_xml::Error::from)?;
                take(&mut model, &place, &words);
            }
            Event::End(_) => place = Text::Nowhere,
            _ => {}
        }
    }
    if colours.len() != model.blends.len() {
        return Err(wrong("it does not have one display colour for each blend"));
    }
    for (blend, colour) in model.blends.iter_mut().zip(colours) {
        blend.1 = colour;
    }
    Ok(model)
}

fn take(model: &mut Model, place: &Text, words: &str) {
    match place {
        Text::Title => model.title.push_str(words),
        Text::Description => model.description.push_str(words),
        Text::Nowhere => {}
    }
}

fn element(
    tag: &BytesStart<'_>,
    model: &mut Model,
    colours: &mut Vec<Srgb>,
) -> Result<Option<Text>, ReadBackError> {
    let own = |name: &str| attribute(tag, name);
    let expect = |name: &str, wanted: &str| match own(name)? {
        value if value == wanted => Ok(()),
        value => Err(wrong(format!("{name} is '{value}', not '{wanted}'"))),
    };
    match tag.name().as_ref() {
        b"metadata" => {
            return Ok(Some(match own("name")?.as_str() {
                "Title" => Text::Title,
                "Description" => Text::Description,
                _ => Text::Nowhere,
            }));
        }
        b"basematerials" => expect("id", &SPOOLS.to_string())?,
        b"base" => model
            .spools
            .push((own("name")?, colour(&own("displaycolor")?)?)),
        b"m:compositematerials" => {
            expect("id", &BLENDS.to_string())?;
            expect("matid", &SPOOLS.to_string())?;
            let indices: Vec<String> = (0..model.spools.len()).map(|i| i.to_string()).collect();
            expect("matindices", &indices.join(" "))?;
        }
        b"m:composite" => {
            let values = own("values")?;
            let shares: Result<Vec<f64>, _> = values.split(' ').map(parsed).collect();
            model.blends.push((shares?, Srgb([0; 3])));
        }
        b"m:color" => colours.push(colour(&own("color")?)?),
        b"m:multiproperties" => {
            expect("id", &BOTH.to_string())?;
            expect("pids", &format!("{BLENDS} {COLOURS}"))?;
        }
        b"vertex" => {
            let [x, y, z] = ["x", "y", "z"].map(|axis| parsed::<f64>(&own(axis)?));
            model.vertices.push([x?, y?, z?]);
        }
        b"triangle" => {
            let [a, b, c] = ["v1", "v2", "v3"].map(|corner| parsed::<u32>(&own(corner)?));
            expect("pid", &BOTH.to_string())?;
            model.triangles.push(([a?, b?, c?], parsed(&own("p1")?)?));
        }
        _ => {}
    }
    Ok(None)
}

fn attribute(tag: &BytesStart<'_>, name: &str) -> Result<String, ReadBackError> {
    let found = tag
        .try_get_attribute(name)
        .map_err(quick_xml::Error::from)?
        .ok_or_else(|| wrong(format!("an element has no '{name}'")))?;
    let raw = std::str::from_utf8(&found.value)
        .map_err(|_| wrong(format!("'{name}' of an element is not UTF-8 text")))?;
    let value = unescape(raw).map_err(quick_xml::Error::from)?;
    Ok(value.into_owned())
}

fn parsed<T: std::str::FromStr>(text: &str) -> Result<T, ReadBackError> {
    let value = text.parse();
    value.map_err(|_| wrong(format!("'{text}' is not a number")))
}

fn colour(code: &str) -> Result<Srgb, ReadBackError> {
    let plain = code.strip_suffix("FF").unwrap_or(code);
    let colour = plain.to_ascii_lowercase().parse();
    colour.map_err(|_| wrong(format!("'{code}' is not a colour")))
}

fn wrong(what: impl Into<String>) -> ReadBackError {
    ReadBackError::Model(what.into())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write;
    use zip::ZipWriter;
    use zip::write::SimpleFileOptions;

    #[test]
    fn a_model_that_unpacks_to_more_than_its_package_warrants_is_refused() {
        let read = |length: u64| {
            let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
            let options = SimpleFileOptions::default();
            archive.start_file("3D/3dmodel.model", options).unwrap();
            archive.write_all(&vec![b' '; length as usize]).unwrap();
            read_back(&archive.finish().unwrap().into_inner())
        };
        // Nothing but blanks is an empty model.
        assert!(read(FREE).unwrap().triangles.is_empty());
        let error = read(FREE + 1).unwrap_err().to_string();
        assert!(
            error.contains("unpacks to more than 4194304 bytes"),
            "{error}"
        );
    }
}
