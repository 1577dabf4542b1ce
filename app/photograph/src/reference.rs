//! References of known reflectance, as a person names them.

use std::str::FromStr;

use crate::card;

/// The least reflectance that a reference may have.
const LEAST: f64 = 0.02;

/// A reference that lies on the card: which of the [`card::PLACES`], and its reflectance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reference {
    /// Its place, from 0.
    pub place: usize,
    /// The share of the light that it reflects, the same at all wavelengths.
    pub reflectance: f64,
}

impl FromStr for Reference {
    type Err = String;

    /// From `0.18`, which lies on the first place, or `B=0.9`.
    fn from_str(text: &str) -> Result<Self, String> {
        let first = card::PLACE_NAMES.first().copied().unwrap_or_default();
        let (place, share) = text.split_once('=').unwrap_or((first, text));
        let place = card::PLACE_NAMES
            .iter()
            .position(|name| name.eq_ignore_ascii_case(place.trim()))
            .ok_or("the places are A, B and C")?;
        match share.trim().parse::<f64>() {
            Ok(reflectance) if (LEAST..=1.0).contains(&reflectance) => {
                Ok(Self { place, reflectance })
            }
            _ => Err("give a reflectance from 0.02 to 1, such as 0.18 for a grey card".to_owned()),
        }
    }
}

/// The place on which more than one of some references lies, by its name.
pub fn named_twice(references: &[Reference]) -> Option<&'static str> {
    let twice = references.iter().enumerate().find_map(|(i, one)| {
        let mut before = references.iter().take(i);
        before.find(|r| r.place == one.place)
    })?;
    Some(card::PLACE_NAMES.get(twice.place).copied().unwrap_or("?"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn references_are_named_by_place_and_reflectance() {
        let read = |text: &str| text.parse::<Reference>();
        let of = |place, reflectance| Ok(Reference { place, reflectance });
        assert_eq!(read("0.18"), of(0, 0.18));
        assert_eq!(read(" b = 0.9 "), of(1, 0.9));
        for text in ["D=0.9", "A=1.1", "A=0.01", "A=", "", "A=NaN"] {
            assert!(read(text).is_err(), "{text}");
        }
        let all = [
            read("A=0.9").unwrap(),
            read("C=0.1").unwrap(),
            read("C=0.9").unwrap(),
        ];
        assert_eq!(named_twice(&all), Some("C"));
        assert_eq!(named_twice(&all[..2]), None);
    }
}
