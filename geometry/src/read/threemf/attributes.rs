//! Attributes of XML elements.

use quick_xml::events::BytesStart;

use super::faults::broken;
use crate::read::Problem;
use crate::read::text::shown;

pub(super) fn whole(value: &[u8]) -> Result<u32, Problem> {
    let text = std::str::from_utf8(value.trim_ascii()).ok();
    let parsed = text.and_then(|t| t.parse().ok());
    parsed.ok_or_else(|| broken(format!("{} is not a whole number from 0", shown(value))))
}

pub(super) fn id(tag: &BytesStart<'_>, name: &[u8]) -> Result<u32, Problem> {
    match attribute(tag, name)? {
        Some(value) => whole(value.as_bytes()),
        None => Err(broken(format!("an element lacks its {}", shown(name)))),
    }
}

/// An attribute's text, by its local name.
pub(super) fn attribute(tag: &BytesStart<'_>, name: &[u8]) -> Result<Option<String>, Problem> {
    for attribute in tag.attributes().with_checks(false) {
        let attribute = attribute.map_err(|e| broken(format!("its XML: {e}")))?;
        if attribute.key.local_name().as_ref() == name {
            let value: &[u8] = attribute.value.as_ref();
            let text = std::str::from_utf8(value);
            let text = text.map_err(|_| broken(format!("{} is not UTF-8", shown(value))))?;
            let plain = quick_xml::escape::unescape(text);
            let plain = plain.map_err(|e| broken(format!("its XML: {e}")))?;
            return Ok(Some(plain.into_owned()));
        }
    }
    Ok(None)
}
