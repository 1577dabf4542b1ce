//! The bytes of a glTF file: its buffers, and the numbers in them.

use std::sync::Arc;

use data_encoding::BASE64;

use super::document::Document;
use super::faults::{broken, shown_name};
use crate::read::Problem;
use crate::read::beside::{Beside, plain};

/// The buffers of a document, each read when it is first asked for.
pub(super) struct Buffers {
    /// The chunk of a binary file, which is the first buffer if that has no name.
    chunk: Option<Arc<Vec<u8>>>,
    read: Vec<Option<Arc<Vec<u8>>>>,
}

impl Buffers {
    pub(super) fn new(chunk: Option<Vec<u8>>, document: &Document) -> Self {
        Self {
            chunk: chunk.map(Arc::new),
            read: vec![None; document.buffers.len()],
        }
    }

    fn buffer(
        &mut self,
        number: u32,
        document: &Document,
        beside: &mut Beside,
    ) -> Result<Arc<Vec<u8>>, Problem> {
        let index = number as usize;
        let missing = || broken(format!("buffer {number} is named, but it is not there"));
        let buffer = document.buffers.get(index).ok_or_else(missing)?;
        let slot = self.read.get_mut(index).ok_or_else(missing)?;
        if let Some(bytes) = slot {
            return Ok(Arc::clone(bytes));
        }
        let bytes = match (&buffer.uri, &self.chunk) {
            (Some(uri), _) => resource(uri, beside).map_err(|why| {
                broken(format!("its buffer {number}, {}, {why}", shown_name(uri)))
            })?,
            (None, Some(chunk)) if index == 0 => Arc::clone(chunk),
            (None, _) => return Err(broken(format!("buffer {number} has no content"))),
        };
        if (bytes.len() as u64) < buffer.byte_length {
            return Err(broken(format!(
                "buffer {number} is {} bytes long, not {}; it was cut short, so copy or export it \
                 again",
                bytes.len(),
                buffer.byte_length
            )));
        }
        *slot = Some(Arc::clone(&bytes));
        Ok(bytes)
    }

    /// The bytes of a view, and how far it is from one of its elements to the next, if it says.
    pub(super) fn view(
        &mut self,
        number: u32,
        document: &Document,
        beside: &mut Beside,
    ) -> Result<View, Problem> {
        let missing = || {
            broken(format!(
                "buffer view {number} is named, but it is not there"
            ))
        };
        let view = document
            .buffer_views
            .get(number as usize)
            .ok_or_else(missing)?;
        if view
            .extensions
            .keys()
            .any(|name| name.contains("meshopt_compression"))
        {
            return Err(packed("meshopt"));
        }
        let bytes = self.buffer(view.buffer, document, beside)?;
        let from = usize::try_from(view.byte_offset).unwrap_or(usize::MAX);
        let length = usize::try_from(view.byte_length).unwrap_or(usize::MAX);
        let to = from.saturating_add(length);
        match bytes.get(from..to) {
            Some(_) => Ok(View {
                bytes,
                from,
                to,
                stride: view
                    .byte_stride
                    .and_then(|stride| usize::try_from(stride).ok()),
            }),
            None => Err(broken(format!(
                "buffer view {number} ends beyond its buffer"
            ))),
        }
    }

    /// The numbers of an accessor.
    pub(super) fn values(
        &mut self,
        number: u32,
        document: &Document,
        beside: &mut Beside,
    ) -> Result<Values, Problem> {
        let missing = || broken(format!("accessor {number} is named, but it is not there"));
        let accessor = document
            .accessors
            .get(number as usize)
            .ok_or_else(missing)?;
        if accessor.sparse.is_some() {
            return Err(Problem::Refused(format!(
                "accessor {number} is sparse, which is not read; export it without"
            )));
        }
        let component = Component::numbered(accessor.component_type)
            .ok_or_else(|| broken(format!("accessor {number} has an unknown component type")))?;
        let width = match &*accessor.kind {
            "SCALAR" => 1,
            "VEC2" => 2,
            "VEC3" => 3,
            "VEC4" => 4,
            _ => {
                let what = format!("accessor {number} has vectors of an unexpected size");
                return Err(broken(what));
            }
        };
        let view = accessor.buffer_view.ok_or_else(|| {
            broken(format!(
                "accessor {number} has no buffer view, so there is nothing in it"
            ))
        })?;
        let view = self.view(view, document, beside)?;
        let size = component.bytes() * width;
        let stride = view.stride.unwrap_or(size);
        let count = usize::try_from(accessor.count).unwrap_or(usize::MAX);
        let offset = usize::try_from(accessor.byte_offset).unwrap_or(usize::MAX);
        let from = view.from.saturating_add(offset);
        let needed = count
            .saturating_sub(1)
            .saturating_mul(stride)
            .saturating_add(if count > 0 { size } else { 0 });
        if stride < size || from.saturating_add(needed) > view.to {
            return Err(broken(format!(
                "accessor {number} has {count} elements, which do not fit its buffer view"
            )));
        }
        Ok(Values {
            bytes: view.bytes,
            from,
            stride,
            count,
            component,
            normalized: accessor.normalized,
            width,
        })
    }
}

/// What a file packed by an extension is told.
pub(super) fn packed(by: &str) -> Problem {
    Problem::Refused(format!(
        "its shapes are packed with {by}, which is not read; export it without compression"
    ))
}

/// The name of the file that a URI means; none where it holds the bytes itself.
pub(super) fn file_of(uri: &str) -> Option<String> {
    match uri.starts_with("data:") {
        true => None,
        false => plain(&percent_decoded(uri)),
    }
}

/// The bytes that a URI names: within it, or beside the file.
pub(super) fn resource(uri: &str, beside: &mut Beside) -> Result<Arc<Vec<u8>>, String> {
    if let Some(data) = uri.strip_prefix("data:") {
        let (head, data) = data.split_once(',').ok_or("is no data URI")?;
        if !head.ends_with(";base64") {
            return Err("is not in Base64".into());
        }
        let bytes = BASE64.decode(data.as_bytes());
        return bytes
            .map(Arc::new)
            .map_err(|e| format!("is not in Base64: {e}"));
    }
    beside.read(&percent_decoded(uri))
}

/// A URI's name with `%20` and the like as what they stand for (RFC 3986, 2.1).
fn percent_decoded(uri: &str) -> String {
    let mut bytes = Vec::with_capacity(uri.len());
    let mut rest = uri.as_bytes();
    while let Some((&first, after)) = rest.split_first() {
        let digits = after.get(..2).and_then(|d| std::str::from_utf8(d).ok());
        let code = digits.and_then(|d| u8::from_str_radix(d, 16).ok());
        match (first, code) {
            (b'%', Some(code)) => {
                bytes.push(code);
                rest = after.get(2..).unwrap_or_default();
            }
            _ => {
                bytes.push(first);
                rest = after;
            }
        }
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

/// Bytes of a buffer.
pub(super) struct View {
    bytes: Arc<Vec<u8>>,
    from: usize,
    to: usize,
    stride: Option<usize>,
}

impl View {
    pub(super) fn bytes(&self) -> &[u8] {
        self.bytes.get(self.from..self.to).unwrap_or_default()
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Component {
    I8,
    U8,
    I16,
    U16,
    U32,
    F32,
}

impl Component {
    /// Section 3.6.2.2 of the specification.
    fn numbered(number: u32) -> Option<Self> {
        Some(match number {
            5120 => Self::I8,
            5121 => Self::U8,
            5122 => Self::I16,
            5123 => Self::U16,
            5125 => Self::U32,
            5126 => Self::F32,
            _ => return None,
        })
    }

    fn bytes(self) -> usize {
        match self {
            Self::I8 | Self::U8 => 1,
            Self::I16 | Self::U16 => 2,
            Self::U32 | Self::F32 => 4,
        }
    }
}

/// The numbers of an accessor; all of them are there.
pub(super) struct Values {
    bytes: Arc<Vec<u8>>,
    from: usize,
    stride: usize,
    pub(super) count: usize,
    pub(super) component: Component,
    normalized: bool,
    pub(super) width: usize,
}

impl Values {
    fn raw(&self, element: usize, part: usize) -> Option<[u8; 4]> {
        let size = self.component.bytes();
        let at = self.from + element * self.stride + part * size;
        let mut raw = [0; 4];
        raw.get_mut(..size)?
            .copy_from_slice(self.bytes.get(at..at + size)?);
        Some(raw)
    }

    /// A whole number; none beyond the last one.
    pub(super) fn whole(&self, element: usize) -> Option<u32> {
        if element >= self.count {
            return None;
        }
        let [a, b, ..] = self.raw(element, 0)?;
        match self.component {
            Component::U8 => Some(u32::from(a)),
            Component::U16 => Some(u32::from(u16::from_le_bytes([a, b]))),
            Component::U32 => Some(u32::from_le_bytes(self.raw(element, 0)?)),
            _ => None,
        }
    }

    /// The first numbers of an element; none beyond the last one, or where it has fewer.
    pub(super) fn vector<const N: usize>(&self, element: usize) -> Option<[f32; N]> {
        if element >= self.count || self.width < N {
            return None;
        }
        let mut values = [0.0; N];
        for (part, value) in values.iter_mut().enumerate() {
            *value = self.number(self.raw(element, part)?);
        }
        Some(values)
    }

    fn number(&self, raw: [u8; 4]) -> f32 {
        let [a, b, ..] = raw;
        let (value, most) = match self.component {
            Component::I8 => (f32::from(a as i8), 127.0),
            Component::U8 => (f32::from(a), 255.0),
            Component::I16 => (f32::from(i16::from_le_bytes([a, b])), 32767.0),
            Component::U16 => (f32::from(u16::from_le_bytes([a, b])), 65535.0),
            Component::U32 => (u32::from_le_bytes(raw) as f32, 1.0),
            Component::F32 => (f32::from_le_bytes(raw), 1.0),
        };
        match self.normalized {
            true => (value / most).max(-1.0),
            false => value,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_files_are_decoded() {
        assert_eq!(percent_decoded("my%20skin%2e.png"), "my skin..png");
        assert_eq!(percent_decoded("100%.png%2"), "100%.png%2");
        let mut beside = Beside::new(None);
        let inside = resource("data:application/octet-stream;base64,AAEC", &mut beside);
        assert_eq!(*inside.unwrap(), [0, 1, 2]);
        assert!(resource("data:;base64,***", &mut beside).is_err());
        assert!(resource("a.bin", &mut beside).is_err());
    }
}
