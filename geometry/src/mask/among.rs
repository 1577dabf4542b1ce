//! One colour of a list, as a plan names it: its code, the list, and how nearness is measured.

use serde::{Deserialize, Serialize};

use super::MaskError;

/// The most colours of a list.
pub const MOST_COLOURS: usize = 32;

/// How the nearness of two colours is measured.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Nearness {
    /// By their whole difference.
    #[default]
    Difference,
    /// By their lightness first of all.
    Lightness,
}

impl Nearness {
    pub(crate) fn is_difference(&self) -> bool {
        *self == Self::Difference
    }
}

/// Whether a list is one of sRGB codes, and a colour is in it.
pub(crate) fn check(colour: &str, among: &[String]) -> Result<(), MaskError> {
    if among.is_empty() || among.len() > MOST_COLOURS {
        return Err(MaskError::Colours {
            count: among.len(),
            most: MOST_COLOURS,
        });
    }
    let is_code = |code: &&String| {
        let digits = code.strip_prefix('#').unwrap_or_default();
        digits.len() == 6 && digits.bytes().all(|digit| digit.is_ascii_hexdigit())
    };
    if let Some(code) = among.iter().find(|code| !is_code(code)) {
        let code = code.chars().take(24).collect();
        return Err(MaskError::NoColour { code });
    }
    match place(colour, among) {
        Some(_) => Ok(()),
        None => Err(MaskError::NotAmong {
            colour: colour.chars().take(24).collect(),
        }),
    }
}

/// The place of a colour in a list.
pub(crate) fn place(colour: &str, among: &[String]) -> Option<u8> {
    let place = among.iter().position(|code| code == colour)?;
    u8::try_from(place).ok()
}
