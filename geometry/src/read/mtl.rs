//! The materials of an OBJ file: diffuse colours and their textures.
//!
//! Source: Wavefront Technologies, Advanced Visualizer manual, appendix 5.2 (Property File
//! Formats, MTL). `Kd` is taken for a code value of sRGB, and a texture is shown as it is, not
//! multiplied by `Kd`: common practice, no source.

use rustc_hash::FxHashMap;

use super::beside::Beside;
use super::text::{Lines, number, words};
use crate::appearance::{Appearance, Material, Texture, Wrap};

/// The most materials that are kept.
const MOST_MATERIALS: usize = 1 << 16;

/// Options of `map_Kd` before the file's name, and how many values each takes at most; the
/// numbers among them may be left out from the end.
const OPTIONS: [(&[u8], usize); 10] = [
    (b"-blendu", 1),
    (b"-blendv", 1),
    (b"-cc", 1),
    (b"-clamp", 1),
    (b"-mm", 2),
    (b"-o", 3),
    (b"-s", 3),
    (b"-t", 3),
    (b"-texres", 1),
    (b"-bm", 1),
];

/// The materials of an OBJ file, by their names.
#[derive(Default)]
pub(super) struct Library {
    numbers: FxHashMap<Vec<u8>, u32>,
    textures: FxHashMap<String, Option<u32>>,
}

impl Library {
    /// The number of a material; none if no file beside the mesh has it.
    pub(super) fn number(&self, name: &[u8]) -> Option<u32> {
        self.numbers.get(name).copied()
    }

    /// Reads a file of materials into an appearance. What can't be read is told in the notes.
    pub(super) fn read(
        &mut self,
        file: &str,
        beside: &mut Beside,
        looks: &mut Appearance,
        notes: &mut Vec<String>,
    ) {
        let bytes = match beside.read(file) {
            Ok(bytes) => bytes,
            Err(why) => {
                notes.push(not_read("The file of its materials", file, &why));
                return;
            }
        };
        let mut lines = Lines::new(bytes.as_slice());
        // Reading from memory does not fail.
        while let Ok(Some(line)) = lines.next(true) {
            self.line(line, beside, looks, notes);
        }
    }

    fn line(
        &mut self,
        line: &[u8],
        beside: &mut Beside,
        looks: &mut Appearance,
        notes: &mut Vec<String>,
    ) {
        let mut parts = words(line);
        match parts.next() {
            Some(b"newmtl") if looks.materials.len() < MOST_MATERIALS => {
                let name = parts.collect::<Vec<_>>().join(&b' ');
                self.numbers.insert(name, looks.materials.len() as u32);
                looks.materials.push(Material {
                    // The default is not said; white shows a texture as it is.
                    colour: [1.0; 3],
                    texture: None,
                    wrap: [Wrap::Repeat; 2],
                });
            }
            Some(b"Kd") => {
                let values: Vec<f32> = parts.filter_map(number).map(|v| v as f32).collect();
                if let (Some(material), [r, rest @ ..]) =
                    (looks.materials.last_mut(), values.as_slice())
                    && material.texture.is_none()
                {
                    // Green and blue are as red where they are left out.
                    let at = |i: usize| rest.get(i).copied().unwrap_or(*r).clamp(0.0, 1.0);
                    material.colour = [r.clamp(0.0, 1.0), at(0), at(1)];
                }
            }
            Some(b"map_Kd") => {
                let (file, clamped) = texture_name(&parts.collect::<Vec<_>>());
                let texture = self.texture(&file, beside, looks, notes);
                if let (Some(material), Some(_)) = (looks.materials.last_mut(), texture) {
                    material.texture = texture;
                    material.colour = [1.0; 3];
                    if clamped {
                        material.wrap = [Wrap::Clamp; 2];
                    }
                }
            }
            _ => {}
        }
    }

    /// The number of a texture; each file is read once.
    fn texture(
        &mut self,
        file: &str,
        beside: &mut Beside,
        looks: &mut Appearance,
        notes: &mut Vec<String>,
    ) -> Option<u32> {
        if let Some(known) = self.textures.get(file) {
            return *known;
        }
        let number = match beside.read(file) {
            Ok(bytes) => {
                looks.textures.push(Texture {
                    name: file.to_owned(),
                    bytes,
                });
                Some(looks.textures.len() as u32 - 1)
            }
            Err(why) => {
                notes.push(not_read("Its texture", file, &why));
                None
            }
        };
        self.textures.insert(file.to_owned(), number);
        number
    }
}

/// The name of the picture that a `map_Kd` names after its options, and whether it is clamped.
fn texture_name(words: &[&[u8]]) -> (String, bool) {
    let (mut at, mut clamped) = (0, false);
    while let Some(option) = words.get(at) {
        let Some((name, most)) = OPTIONS.iter().find(|(name, _)| name == option) else {
            break;
        };
        at += 1;
        let is_value = |word: &&[u8]| number(word).is_some() || matches!(*word, b"on" | b"off");
        let values = words.get(at..).unwrap_or_default();
        let values = values.iter().copied().take(*most).take_while(is_value);
        let values: Vec<&[u8]> = values.collect();
        clamped |= *name == b"-clamp" && values.first() == Some(&b"on".as_slice());
        at += values.len();
    }
    let name = words.get(at..).unwrap_or_default().join(&b' ');
    (String::from_utf8_lossy(&name).into_owned(), clamped)
}

/// A note on a file that is missing.
pub(super) fn not_read(what: &str, file: &str, why: &str) -> String {
    let shown: String = file.chars().take(80).collect();
    format!("{what}, '{}', {why}.", shown.escape_debug())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn options_stand_before_the_name() {
        let name = |line: &str| {
            let words: Vec<&[u8]> = words(line.as_bytes()).collect();
            texture_name(&words)
        };
        assert_eq!(name("skin.png"), ("skin.png".into(), false));
        assert_eq!(
            name("-s 1 1 1 -o 0.5 my skin.png"),
            ("my skin.png".into(), false)
        );
        assert_eq!(name("-clamp on -bm 0.2 1.png"), ("1.png".into(), true));
        assert_eq!(name(""), (String::new(), false));
    }
}
